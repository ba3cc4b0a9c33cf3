"""A log as a table for spreadsheets: CSV (RFC 4180), one row for each line."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping

from voicecheck.core.wording import in_words, took
from voicecheck.review.trace import Step, Trace

FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\0", "＝", "＋", "－", "＠")
"""A spreadsheet runs a cell that begins with one of these. A single quote before it prevents that:
OWASP, CSV Injection; OWASP ASVS 5.0, requirement 1.2.10."""


def sheet(trace: Trace) -> str:
    """Header and rows. Lines end in CR LF; cells are quoted only if needed; none is a formula."""
    rows = [_row(trace, step) for step in trace.steps]
    memory = io.StringIO(newline="")
    writer = csv.DictWriter(memory, fieldnames=list(rows[0]), lineterminator="\r\n")
    writer.writeheader()
    writer.writerows({name: harmless(cell) for name, cell in row.items()} for row in rows)
    return memory.getvalue()


def harmless(cell: object) -> object:
    """The cell, with a single quote before it if a spreadsheet would run it as a formula."""
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(FORMULA) else cell


def _row(trace: Trace, step: Step) -> Mapping[str, object]:
    fact = step.record.fact
    item = getattr(fact, "item", "")
    return {
        "line": step.at.line,
        "utc": step.at.utc,
        "elapsed_s": round(step.at.since_s, 3),
        "taken_as": took(fact),
        "fact": type(fact).__name__,
        "item": item,
        "name": trace.procedure.item(item).name if item else "",
        "answer": getattr(fact, "answer", ""),
        "about": next(
            (getattr(fact, key) for key in ("event", "caution", "way", "part") if _has(fact, key)),
            "",
        ),
        "why": getattr(fact, "why", ""),
        "lapsed": " ".join(getattr(fact, "lapsed", ())),
        "outstanding": " ".join(getattr(fact, "outstanding", ())),
        "source": step.cause.source,
        "said": in_words(step.cause.text),
        "confidence": _blank(step.cause.confidence),
        "audio_from_s": _blank(step.cause.audio_from_s),
        "audio_to_s": _blank(step.cause.audio_to_s),
        "answered": step.answered,
    }


def _has(fact: object, key: str) -> bool:
    return hasattr(fact, key) and not hasattr(fact, "procedure")  # the opening's caution is a text


def _blank(number: float | None) -> float | str:
    return "" if number is None else number
