"""The Parquet layout of a collection: its tables and columns, its version and its README.

Files are named `layout-2/<table>/month=YYYY-MM/part-0.parquet`: Hive partitions, which DuckDB,
Dask, Spark and Trino read directly. A changed column or table needs a new version, and so a new
folder.
"""

from __future__ import annotations

import shutil
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from voicecheck.core.wording import CAUTION
from voicecheck.review.optional import library

VERSION = 2
Row = Mapping[str, Any]
Rows = Mapping[str, Sequence[Row]]
"""Table → its rows."""

TABLES: Mapping[str, Mapping[str, tuple[str, str]]] = {
    "cases": {
        "file": ("string", "name of the log; the key of all tables"),
        "sha256": ("string", "of the log's bytes, FIPS 180-4"),
        "case": ("string", "the pseudonym in the log"),
        "rehearsal": ("bool", "whether it was no operation"),
        "caution": ("string", "the cautions as they were shown"),
        "opened_utc": ("string", "RFC 3339"),
        "length_s": ("double", "from the first line to the last"),
        "lines": ("int64", "of the log"),
        "checkpoint": ("string", "number of lines, colon, hash of the last"),
        "closed": ("bool", "whether the record was closed"),
        "procedure": ("string", "its id"),
        "procedure_version": ("int64", "as its file says"),
        "program": ("string", "version that recorded it"),
        "log_format": ("int64", "version of the log's format"),
        "rules": ("int64", "version of the rules"),
        "recogniser": ("string", "which recogniser listened"),
        "items_required": ("int64", "how many items the procedure requires"),
        "items_stated": ("int64", "of these, how many were stated and satisfied in the course"),
        "items_standing": ("int64", "of these, how many stood at the end"),
        "criteria_s": ("double", "when all criteria first stood together; null if never"),
        "first_act_s": (
            "double",
            "when the first clipping or dividing was recorded; or null",
        ),
        "first_act_outside": ("bool", "whether it was noted outside the course; or null"),
        "criteria_stood_s": ("double", "how long all criteria had stood by then; or null"),
        "pause_before_act": ("bool", "whether the pause stood at the first act; or null"),
        "calls": ("int64", "how often a clip or a division was called for, whatever came of it"),
        "calls_refused": ("int64", "of these, how many were refused"),
        "first_call_s": ("double", "when one was first called for; null if never"),
        "first_call": ("string", "id of the item that was called for then; or null"),
        "first_call_became": (
            "string",
            "refused, recorded, not recorded, noted outside the course; or null",
        ),
        "first_call_missing": ("int64", "how many items stood in its way, or would have; or null"),
        "first_call_criteria": ("int64", "how many criteria stood then; or null"),
        "called_for_s": (
            "double",
            "from the first call to the first act in the course; null if there was none",
        ),
        "lapsed": ("int64", "how many statements lapsed"),
        "restored": ("int64", "of these, how many were stated again"),
        "restored_s": ("double", "how long that took, median; null if none was"),
        "pauses_begun": ("int64", "how often the pause was begun"),
        "pauses_held": ("int64", "how often it was confirmed as held"),
        "refusals": ("int64", "commands refused"),
        "withdrawals": ("int64", "statements withdrawn or answered anew"),
        "lapses": ("int64", "lines by which statements lapsed"),
        "bail_outs": ("int64", "bail-outs stated"),
        "overrides": ("int64", "emergencies stated"),
        "heard": ("int64", "utterances"),
        "understood": ("int64", "utterances that were a command or a reply"),
        "other_speech": ("int64", "utterances that were talk in the room"),
        "not_understood": ("int64", "meant for the machine, but it means nothing"),
        "reply_to_nothing": ("int64", "confirm or negative when nothing was read back"),
        "unsure": ("int64", "phrases heard with too little confidence, asked for again"),
        "spoken_over": ("int64", "utterances that began while the machine spoke"),
        "negatives": ("int64", "read-backs denied or dropped"),
        "no_replies": ("int64", "read-backs without reply in time"),
        "asked_again": ("int64", "how often the machine was asked to repeat itself"),
        "entered": ("int64", "phrases entered by hand"),
        "confidence_median": ("double", "of the understood utterances; null if there were none"),
        "deaf_s": ("double", "how long the machine spoke, and so was deaf"),
        "trouble_s": ("double", "how long a part was out of order"),
    },
    "items": {
        "file": ("string", "name of the log"),
        "item": ("string", "its id"),
        "name": ("string", "its name"),
        "kind": ("string", "step, hold, criterion, pause or act"),
        "phase": ("string", "title of its phase"),
        "place": ("int64", "its place in the procedure, from 1"),
        "required": ("bool", "whether the procedure requires it"),
        "stated": ("bool", "whether it was ever stated and satisfied in the course"),
        "standing": ("bool", "whether it stood at the end"),
        "first_s": ("double", "when that was first so; null if never"),
        "fell": ("int64", "how often it stood and then fell"),
    },
    "calls": {
        "file": ("string", "name of the log"),
        "line": ("int64", "its number"),
        "elapsed_s": ("double", "since the opening"),
        "item": ("string", "id of the clip or division that was called for"),
        "name": ("string", "its name"),
        "became": ("string", "refused, recorded, not recorded, noted outside the course"),
        "during": ("string", "the emergency or bail-out in which it was noted"),
        "criteria": ("int64", "how many criteria stood"),
        "criteria_stood_s": ("double", "how long all had stood; or null"),
        "missing": ("string", "ids of the items in its way, with spaces between them"),
    },
    "lapses": {
        "file": ("string", "name of the log"),
        "line": ("int64", "its number"),
        "elapsed_s": ("double", "since the opening"),
        "why": ("string", "what the item lapsed by"),
        "item": ("string", "its id"),
        "name": ("string", "its name"),
        "restored_s": ("double", "how long until it was stated again; null if never"),
    },
    "lines": {
        "file": ("string", "name of the log"),
        "line": ("int64", "its number"),
        "utc": ("string", "RFC 3339"),
        "elapsed_s": ("double", "since the opening"),
        "source": ("string", "heard, entered or machine: who said it"),
        "said": ("string", "what was said"),
        "confidence": ("double", "of the recogniser; null if nothing was heard"),
        "audio_from_s": ("double", "where it is in the sound; or null"),
        "audio_to_s": ("double", "likewise"),
        "counts_as": ("string", "what it counts as, whole, in words"),
        "answered": ("string", "what the machine answered"),
        "fact": ("string", "what it counts as: Stated, Refused, Occurred, …"),
        "taken_as": ("string", "the same in words"),
        "name": ("string", "of the item, event, caution, bail-out or part"),
        "means": ("string", "the answer in words, or why it was refused or not recorded"),
        "satisfies": ("bool", "whether the answer satisfies the item; or null"),
        "item": ("string", "id of the item"),
        "answer": ("string", "id of the answer"),
        "about": ("string", "id of the event, caution, bail-out or part"),
        "why": ("string", "id of the reason"),
        "lapsed": ("string", "ids of the items that fell, with spaces between them"),
        "outstanding": ("string", "ids of the items that were outstanding, likewise"),
        "gap_s": ("double", "how long nobody listened; negative if nobody knows; or null"),
    },
    "labels": {
        "case": ("string", "the pseudonym in the log"),
        "label": ("string", "name of a column of the labels file"),
        "value": ("string", "what it says for this case"),
    },
    "unmatched": {
        "case": ("string", "a case with labels of which no log was found that holds"),
    },
    "rehearsals": {
        "file": ("string", "name of the log"),
        "case": ("string", "the pseudonym in the log"),
    },
    "newer": {
        "file": ("string", "name of the log"),
        "made_by": ("string", "says which later version of voicecheck made it"),
    },
    "damaged": {
        "file": ("string", "name of the log"),
        "damage": ("string", "what is wrong and at which line, or which log it copies"),
    },
}
"""Table → column → Arrow type, meaning."""

PARTITIONED = ("cases", "items", "calls", "lapses", "lines")
"""Tables with one file for each month of the opening (UTC); the others have a single file."""


def write(out: Path, tables: Rows) -> Path:
    """Write the tables under `out`, replacing earlier ones; returns the layout's folder."""
    home, fresh = out / f"layout-{VERSION}", out / f"layout-{VERSION}.new"
    shutil.rmtree(fresh, ignore_errors=True)
    for name in TABLES:
        for folder, rows in _parts(name, tables[name]):
            _write_part(fresh / name / folder / "part-0.parquet", name, rows)
    (fresh / "README.txt").write_text(readme(), encoding="utf-8")
    shutil.rmtree(home, ignore_errors=True)
    return fresh.rename(home)


def _parts(name: str, rows: Iterable[Row]) -> Iterable[tuple[str, list[Row]]]:
    if name not in PARTITIONED:
        return [("", list(rows))]
    months: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        months[row["month"]].append(row)
    return [(f"month={month}", months[month]) for month in sorted(months)]


def _write_part(path: Path, name: str, rows: list[Row]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    library("pyarrow.parquet").write_table(table(name, rows), path)


def packed(name: str, rows: list[Row]) -> Any:
    """The rows as Arrow keeps them: in a quarter of the memory."""
    return library("pyarrow").RecordBatch.from_pylist(rows, schema=schema(name))


def table(name: str, rows: Sequence[Row]) -> Any:
    """The rows as an Arrow table; those of `lines` are packed, one `PACKED` for each log."""
    arrow = library("pyarrow").Table
    if name == "lines":
        return arrow.from_batches([row[PACKED] for row in rows], schema=schema(name))
    return arrow.from_pylist(list(rows), schema=schema(name))


PACKED = "packed"


def schema(name: str) -> Any:
    """The Arrow schema of a table's files; the month is not in it but in their path."""
    arrow = library("pyarrow")
    fields = [
        arrow.field(column, arrow.type_for_alias(kind), metadata={"meaning": meaning})
        for column, (kind, meaning) in TABLES[name].items()
    ]
    about = {"voicecheck.layout": str(VERSION), "voicecheck.caution": CAUTION}
    return arrow.schema(fields, metadata=about)


def readme() -> str:
    """The text of the README that is written beside the tables."""
    lines = [
        f"Collected cases of voicecheck, layout {VERSION}.",
        "",
        CAUTION,
        "The tables say what was stated, and when. They do not say that it was true.",
        "What was said, what it counts as and what was answered are three columns of `lines`.",
        "A damaged log is in `damaged` and in no other table.",
        "So is a copy of a record (same case, same opening); the longest log counts.",
        "A rehearsal is only in `rehearsals`, unless rehearsals were asked for.",
        "A log made by a later version is only in `newer`; that version can read it.",
        "Partitioned tables have the column `month` (YYYY-MM of the opening, UTC) in their path.",
    ]
    for name, columns in TABLES.items():
        lines += ["", f"{name}{' (by month)' if name in PARTITIONED else ''}"]
        lines += [f"  {column:18} {kind:7} {text}" for column, (kind, text) in columns.items()]
    return "\n".join(lines) + "\n"
