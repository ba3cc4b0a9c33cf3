"""A log as a table for spreadsheets: CSV (RFC 4180), one row for each line."""

from __future__ import annotations

import csv
import io

from voicecheck.review.lines import lines
from voicecheck.review.trace import Trace

FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\0", "＝", "＋", "－", "＠")
"""A spreadsheet runs a cell that begins with one of these. A single quote before it prevents that:
OWASP, CSV Injection; OWASP ASVS 5.0, requirement 1.2.10."""


def sheet(trace: Trace) -> str:
    """Header and rows. Lines end in CR LF; cells are quoted only if needed; none is a formula.

    Each row names its case and bears its cautions, because a spreadsheet sorts and filters rows.
    """
    opened = trace.opened
    whose = {"case": opened.case, "rehearsal": opened.rehearsal}
    rows = [{**whose, **line.cells, "caution": opened.caution} for line in lines(trace)]
    memory = io.StringIO(newline="")
    writer = csv.DictWriter(memory, fieldnames=list(rows[0]), lineterminator="\r\n")
    writer.writeheader()
    writer.writerows({name: harmless(cell) for name, cell in row.items()} for row in rows)
    return memory.getvalue()


def harmless(cell: object) -> object:
    """The cell, with a single quote before it if a spreadsheet would run it as a formula."""
    if isinstance(cell, bool):
        return str(cell).lower()
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(FORMULA) else cell
