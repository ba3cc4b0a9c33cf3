"""Names what the proof allows but nobody should overlook: odd times and confidences."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice, pairwise

from voicecheck.core.facts import Record
from voicecheck.core.inputs import Heard, Restarted, Said

MOST = 10
"""More remarks than this are only counted."""


def remarks(records: Iterable[Record]) -> tuple[str, ...]:
    """A sentence for each oddity, with its line, in the order of the log."""
    found = _all(records)
    named = list(islice(found, MOST))
    more = sum(1 for _ in found)
    return (*named, f"{more} more.") if more else tuple(named)


def _all(records: Iterable[Record]) -> Iterator[str]:
    for before, record in pairwise(records):
        for oddity in (*_clock(before, record), *_input(record)):
            yield f"line {record.seq}: {oddity}."


def _clock(before: Record, record: Record) -> Iterator[str]:
    earlier, later = before.at.utc, record.at.utc
    if later < earlier:  # of equal length, so they sort as times (RFC 3339, 5.1)
        yield f"the wall clock runs backwards here, from {earlier} to {later}"


def _input(record: Record) -> Iterator[str]:
    cause = record.cause
    if isinstance(cause, Heard) and not 0 <= cause.confidence <= 1:
        yield f"the confidence {cause.confidence:g} is not between 0 and 1"
    if isinstance(cause, Heard | Said) and cause.audio_from_s > cause.audio_to_s:
        yield (
            f"the sound ends before it begins, at {cause.audio_to_s:g} s after "
            f"{cause.audio_from_s:g} s"
        )
    if isinstance(cause, Restarted) and cause.gap_s < 0:
        yield "nobody knows how long nobody listened before it: the clocks disagree"
