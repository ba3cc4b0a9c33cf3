"""What happened earlier in a case and is still told: what fell and by what, acts noted, help."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from voicecheck.core import facts
from voicecheck.core.facts import Record


@dataclass(frozen=True, kw_only=True, slots=True)
class Past:
    """The lines that a screen still tells of."""

    fell: Mapping[str, Record] = field(default_factory=dict)
    """Item -> the line by which it fell, for each that stood once and stands no more."""
    noted: Mapping[str, Record] = field(default_factory=dict)
    """Item -> the line that noted it outside the course, until it is stated."""
    helped: Record | None = None
    """The last call for help."""
    left: Record | None = None
    """By which the course was left or interrupted, while it is."""


def after(past: Past, record: Record) -> Past:
    """The past once this record belongs to it."""
    fact = record.fact
    fell = {**past.fell, **dict.fromkeys(getattr(fact, "lapsed", ()), record)}
    noted, helped, left = dict(past.noted), past.helped, past.left
    match fact:
        case facts.Stated(item=item):
            fell.pop(item, None)
            noted.pop(item, None)
        case facts.Withdrawn(item=item):
            fell[item] = record
        case facts.Noted(item=item):
            noted[item] = record
        case facts.HelpCalled():
            helped = record
        case facts.BailedOut() | facts.Overridden() | facts.StoodBy():
            left = record
        case facts.Resumed():
            left = None
    return Past(fell=fell, noted=noted, helped=helped, left=left)
