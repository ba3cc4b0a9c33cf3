"""The Parquet layout of a collection: its tables, their columns, its version, and its README.

Folder `layout-2/<table>/month=YYYY-MM/part-0.parquet`: partitioned as Hive does it, which DuckDB,
Dask, Spark and Trino read as they are. A changed column or table is a new version and folder.
"""

from __future__ import annotations

import shutil
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from voicecheck.review.optional import library

VERSION = 2
Row = Mapping[str, Any]
Rows = Mapping[str, Sequence[Row]]
"""Table → its rows."""

TABLES: Mapping[str, Mapping[str, tuple[str, str]]] = {
    "cases": {
        "file": ("string", "name of the log; the key that all tables share"),
        "sha256": ("string", "of the log's bytes, FIPS 180-4"),
        "case": ("string", "the pseudonym in the log"),
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
        "recogniser": ("string", "model that listened"),
        "items_required": ("int64", "how many items the procedure requires"),
        "items_stated": ("int64", "of those, how many were stated and satisfied, in the course"),
        "items_standing": ("int64", "of those, how many stood at the end"),
        "criteria_s": ("double", "when all criteria first stood together; null if never"),
        "first_act_s": ("double", "when the first clipping or dividing came on record; or null"),
        "first_act_outside": ("bool", "whether it was noted outside the course; or null"),
        "criteria_stood_s": ("double", "for how long all criteria had stood by then; or null"),
        "pause_before_act": ("bool", "whether the pause stood at the first act; or null"),
        "pauses_begun": ("int64", "how often the pause was begun"),
        "pauses_held": ("int64", "how often it was confirmed as held"),
        "refusals": ("int64", "commands refused"),
        "withdrawals": ("int64", "statements withdrawn or answered anew"),
        "lapses": ("int64", "lines that let statements fall"),
        "bail_outs": ("int64", "bail-outs stated"),
        "overrides": ("int64", "emergencies stated"),
        "heard": ("int64", "utterances"),
        "understood": ("int64", "utterances that were a command or a reply"),
        "other_speech": ("int64", "utterances that are none of the phrases"),
        "not_a_phrase": ("int64", "known words in no known order"),
        "reply_to_nothing": ("int64", "replies while nothing waited"),
        "unsure": ("int64", "phrases heard with too little confidence, asked for again"),
        "negatives": ("int64", "read-backs denied or dropped"),
        "no_replies": ("int64", "read-backs without reply in time"),
        "asked_again": ("int64", "say again"),
        "entered": ("int64", "phrases put in by hand"),
        "confidence_median": ("double", "of what was understood; null if nothing was"),
        "deaf_s": ("double", "while the machine spoke"),
        "trouble_s": ("double", "while a part was out of order"),
    },
    "items": {
        "file": ("string", "name of the log"),
        "item": ("string", "its id"),
        "name": ("string", "its name"),
        "kind": ("string", "step, hold, criterion, pause or act"),
        "phase": ("string", "title of its phase"),
        "place": ("int64", "its place in the procedure, from 1"),
        "required": ("bool", "whether the procedure requires it"),
        "stated": ("bool", "whether it was ever stated and satisfied, in the course"),
        "standing": ("bool", "whether it stood at the end"),
        "first_s": ("double", "when it was first so stated; or null"),
        "fell": ("int64", "how often it stood and then did not"),
    },
    "happenings": {
        "file": ("string", "name of the log"),
        "line": ("int64", "of the log"),
        "elapsed_s": ("double", "since the opening"),
        "kind": ("string", "refused, lapsed, event, negative, …"),
        "what": ("string", "which"),
        "why": ("string", "cause, or what was answered"),
    },
    "labels": {
        "case": ("string", "the pseudonym in the log"),
        "label": ("string", "name of a column of the labels file"),
        "value": ("string", "what it says for this case"),
    },
    "newer": {
        "file": ("string", "name of the log"),
        "made_by": ("string", "that a later version of voicecheck made it, and which"),
    },
    "damaged": {
        "file": ("string", "name of the log"),
        "damage": ("string", "what is wrong, naming the line; or the log of which it is a copy"),
    },
}
"""Table → column → Arrow type and meaning."""

PARTITIONED = ("cases", "items", "happenings")
"""By month of the opening, in UTC; the other tables are one file each."""


def write(out: Path, tables: Rows) -> Path:
    """Write the tables under `out`, in place of an earlier collection; the layout's folder."""
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
    arrow = library("pyarrow")
    fields = [
        arrow.field(column, _TYPES[kind](arrow), metadata={"meaning": meaning})
        for column, (kind, meaning) in TABLES[name].items()
    ]
    schema = arrow.schema(fields, metadata={"voicecheck.layout": str(VERSION)})
    path.parent.mkdir(parents=True, exist_ok=True)
    library("pyarrow.parquet").write_table(arrow.Table.from_pylist(rows, schema=schema), path)


_TYPES: Mapping[str, Any] = {
    "string": lambda arrow: arrow.string(),
    "int64": lambda arrow: arrow.int64(),
    "double": lambda arrow: arrow.float64(),
    "bool": lambda arrow: arrow.bool_(),
}


def readme() -> str:
    """The layout in words, as it lies beside the tables."""
    lines = [
        f"Collected cases of voicecheck, layout {VERSION}.",
        "",
        "Everything is what was stated and when; nothing says that anything was so.",
        "A log that does not hold is in `damaged` and in no other table.",
        "So is a second copy of a record (same case, same opening): its longest log counts.",
        "A log that a later version made is in `newer` alone; that version can read it.",
        "Partitioned tables have the column `month` (YYYY-MM of the opening, UTC) in their path.",
    ]
    for name, columns in TABLES.items():
        lines += ["", f"{name}{' (by month)' if name in PARTITIONED else ''}"]
        lines += [f"  {column:18} {kind:7} {text}" for column, (kind, text) in columns.items()]
    return "\n".join(lines) + "\n"
