"""A log as a table for any spreadsheet: CSV after RFC 4180, one row a line."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping

from voicecheck.core.wording import in_words, took
from voicecheck.review.told import Step, Told

FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\0", "＝", "＋", "－", "＠")
"""A cell that begins so would be run by a spreadsheet: OWASP, CSV Injection, and its ASVS 5.0,
requirement 1.2.10; the remedy is theirs, too: a single quote in front."""


def sheet(log: Told) -> str:
    """Header and rows, lines ending in CR LF, quoted only where needed, no cell a formula."""
    rows = [_row(log, step) for step in log.steps]
    memory = io.StringIO(newline="")
    writer = csv.DictWriter(memory, fieldnames=list(rows[0]), lineterminator="\r\n")
    writer.writeheader()
    writer.writerows({name: harmless(cell) for name, cell in row.items()} for row in rows)
    return memory.getvalue()


def harmless(cell: object) -> object:
    """A text that a spreadsheet would take for a formula, with a single quote before it."""
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(FORMULA) else cell


def _row(log: Told, step: Step) -> Mapping[str, object]:
    fact = step.record.fact
    item = getattr(fact, "item", "")
    return {
        "line": step.at.line,
        "utc": step.at.utc,
        "elapsed_s": round(step.at.since_s, 3),
        "taken_as": took(fact),
        "fact": type(fact).__name__,
        "item": item,
        "name": log.procedure.item(item).name if item else "",
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
        "answered": step.told,
    }


def _has(fact: object, key: str) -> bool:
    return hasattr(fact, key) and not hasattr(fact, "procedure")  # Opened has a caution text


def _blank(number: float | None) -> float | str:
    return "" if number is None else number
