"""Collect many logs: prove each one, and write what they say as Parquet tables."""

from __future__ import annotations

import csv
import hashlib
import os
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from multiprocessing import get_context
from pathlib import Path

from voicecheck.cases.choice import ALL, Choice
from voicecheck.cases.layout import PARTITIONED, TABLES, Row, Rows, write
from voicecheck.cases.rows import rows
from voicecheck.core.legible import legible
from voicecheck.journal import JournalError, read
from voicecheck.review.case_page import case_page
from voicecheck.review.examine import examine

BATCH = 100
"""Logs that a process takes at a time. Up to this many logs need no second process."""

FRESH_AFTER = 10
"""Batches after which a fresh process takes over: a process remembers every procedure it has seen,
and would grow."""


REVIEWS = "reviews"
"""The folder of the cases' reviews, beside the tables."""


class CollectionError(Exception):
    """The folder or the labels cannot be used; says why, and what to do."""


def collect(
    folder: Path,
    out: Path,
    labels: Path | None = None,
    *,
    rehearsals: bool = False,
    reviews: bool = False,
    choice: Choice = ALL,
) -> Path:
    """Prove every .log under `folder` and write the tables under `out`; returns the tables' folder.

    `labels` is a CSV file with the column `case` and one column for each label. Rehearsals count
    only if they are asked for; so are the reviews of all cases written. Raises CollectionError, and
    ChoiceError for a choice that leaves no case.
    """
    if not folder.is_dir():
        raise CollectionError(f"There is no folder {folder}. Name the folder that holds the logs.")
    logs = sorted(folder.rglob("*.log"))
    if not logs:
        raise CollectionError(f"There is no log (*.log) in {folder}. Name the folder of the logs.")
    tables: dict[str, list[Row]] = {name: [] for name in TABLES}
    tables["labels"].extend(_labels(labels) if labels else [])
    for found in _all(partial(_proved, folder, rehearsals), logs):
        for name, more in found.items():
            tables[name].extend(more)
    kept = _chosen(_each_once(tables), choice)
    if reviews:
        _write_reviews(folder, out / REVIEWS, kept["cases"])
    return write(out, kept)


def _chosen(tables: Rows, choice: Choice) -> Rows:
    """Only the rows of cases that count; and the cases with labels that match no log."""
    cases = choice.of(tables["cases"], tables["labels"])
    files = {row["file"] for row in cases}
    names = {row["case"] for row in cases}
    held = {row["case"] for name in ("cases", "rehearsals") for row in tables[name]}
    labelled = dict.fromkeys(row["case"] for row in tables["labels"])
    return {
        **tables,
        **{name: [row for row in tables[name] if row["file"] in files] for name in PARTITIONED},
        "labels": [row for row in tables["labels"] if row["case"] in names],
        "unmatched": [{"case": case} for case in labelled if case not in held],
    }


def review_of(row: Row) -> str:
    """Name of a case's review among the reviews: whatever the log's name, it fits any disk."""
    return f"{row['sha256'][:16]}.html"


def _write_reviews(folder: Path, place: Path, cases: Sequence[Row]) -> None:
    """Write the review of each case, and delete those of cases that do not count any more."""
    place.mkdir(parents=True, exist_ok=True)
    for old in place.glob("*.html"):
        if re.fullmatch("[0-9a-f]{16}", old.stem):
            old.unlink()
    wanted = {row["file"]: review_of(row) for row in cases}
    logs = [log for log in sorted(folder.rglob("*.log")) if _name(folder, log) in wanted]
    for _ in _all(partial(_review, folder, place, wanted), logs):
        pass


def _review(folder: Path, place: Path, wanted: Mapping[str, str], log: Path) -> Rows:
    kept, name = read(log), _name(folder, log)
    page = case_page(examine(kept.lines, kept.torn), legible(log.name))
    (place / wanted[name]).write_text(page, encoding="utf-8", newline="")
    return {}


def _each_once(tables: dict[str, list[Row]]) -> Rows:
    """Move all but the longest log of a record to `damaged`: a copy would count the case twice."""
    kept: dict[tuple[str, str], Row] = {}
    for row in sorted(tables["cases"], key=lambda row: (-row["lines"], row["file"])):
        kept.setdefault((row["case"], row["opened_utc"]), row)
    copies = [
        {
            "file": row["file"],
            "damage": f"the same record as {first['file']} (case {legible(row['case'])}, opened "
            f"{row['opened_utc']}), which is counted",
        }
        for row in tables["cases"]
        if (first := kept[row["case"], row["opened_utc"]]) is not row
    ]
    left_out = {row["file"] for row in copies}
    counted = {
        name: [row for row in tables[name] if row["file"] not in left_out] for name in PARTITIONED
    }
    return {**tables, **counted, "damaged": [*tables["damaged"], *copies]}


def _all(one: Callable[[Path], Rows], logs: list[Path]) -> Iterator[Rows]:
    processes = os.cpu_count() or 1
    if len(logs) <= BATCH or processes == 1:
        yield from map(one, logs)
        return
    with get_context("spawn").Pool(processes, maxtasksperchild=FRESH_AFTER) as pool:
        yield from pool.imap(one, logs, chunksize=BATCH)


def _proved(folder: Path, rehearsals: bool, log: Path) -> Rows:
    """One log as rows; what is wrong with it becomes a row, too."""
    name = _name(folder, log)
    try:
        kept = read(log)
    except JournalError as error:
        return {"damaged": [{"file": name, "damage": legible(str(error))}]}
    digest = hashlib.sha256(b"\n".join([*kept.lines, kept.torn])).hexdigest()
    return rows(name, digest, examine(kept.lines, kept.torn), rehearsals=rehearsals)


def _name(folder: Path, log: Path) -> str:
    return legible(log.relative_to(folder).as_posix(), _PATH)


_PATH = 4096
"""Longest path that is kept whole: PATH_MAX of limits.h on Linux."""


def _labels(path: Path) -> Iterator[Row]:
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            table = csv.DictReader(file)
            if "case" not in (table.fieldnames or ()):
                raise CollectionError(
                    f"{path} has no column named case. Its first line must name the columns, for "
                    "example: case,level,grade"
                )
            named: set[str] = set()
            for line in table:
                case = line.pop("case")
                if case in named:
                    raise CollectionError(
                        f"{path} has two lines for the case {legible(case, 80)}. Keep only one."
                    )
                named.add(case)
                yield from (
                    {"case": case, "label": label, "value": value}
                    for label, value in line.items()
                    if label and value
                )
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise CollectionError(
            f"The labels {path} cannot be read ({error}). Check the name."
        ) from error
