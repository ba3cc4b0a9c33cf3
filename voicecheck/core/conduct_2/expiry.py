"""Time: what was stated too long ago, and when the next of it expires."""

from __future__ import annotations

from voicecheck.core.facts import At
from voicecheck.core.procedure import Item, Kind
from voicecheck.core.state import Situation

from .rules import CRITICAL
from .standing import satisfied

_RENEWS = {Kind.CRITERION: CRITICAL, Kind.PAUSE: frozenset({Kind.PAUSE, Kind.ACT})}
"""What expires, and the kinds whose statements renew it: the criteria are one view, which whoever
states the next of them, pauses or clips has in front of the camera."""


def expires_us(case: Situation) -> int | None:
    """When the pause or the criteria expire next; None if nothing does.

    In microseconds of the monotonic clock. Nothing expires once every act stands.
    """
    moments = [moment for kind in _RENEWS if (moment := _moment_us(case, kind)) is not None]
    return min(moments, default=None)


def expired(case: Situation, at: At) -> tuple[str, ...]:
    """The items that no longer stand at this moment because of their age."""
    kinds = {
        kind
        for kind in _RENEWS
        if (moment := _moment_us(case, kind)) is not None and at.mono_us >= moment
    }
    return tuple(item.id for item in _standing(case) if item.kind in kinds)


def _moment_us(case: Situation, kind: Kind) -> int | None:
    head = case.procedure.head
    holds_s = head.pause_holds_s if kind is Kind.PAUSE else head.criteria_hold_s
    standing = _standing(case)
    if not holds_s or _all_acts_stand(case) or not any(item.kind is kind for item in standing):
        return None
    renewed = (case.stated_at[item.id].mono_us for item in standing if item.kind in _RENEWS[kind])
    return max(renewed) + holds_s * 1_000_000


def _standing(case: Situation) -> list[Item]:
    answers = zip(case.procedure.items, case.state.standing, strict=True)
    return [item for item, answer in answers if answer]


def _all_acts_stand(case: Situation) -> bool:
    return all(
        satisfied(case.procedure, case.state.standing, place)
        for place, item in enumerate(case.procedure.items)
        if item.kind is Kind.ACT and item.required
    )
