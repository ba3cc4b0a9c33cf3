"""What stands in a case, and what must stand before the next thing may: reading the state."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache

from voicecheck.inputs import Answer, CloseRecord
from voicecheck.procedure import Item, Kind, Procedure


class Mode(StrEnum):
    """Where the course of the case is, as an adjective of the case."""

    IN_COURSE = "in_course"
    PAUSING = "pausing"
    STANDING_BY = "standing_by"
    BAILED_OUT = "bailed_out"
    EMERGENCY = "emergency"
    CLOSED = "closed"


ASIDE = (Mode.BAILED_OUT, Mode.EMERGENCY)
"""Outside the standard course, where nothing is asked."""
GATED = frozenset({Kind.PAUSE, Kind.ACT})


@dataclass(frozen=True, kw_only=True, slots=True)
class State:
    """All that conduct depends on."""

    mode: Mode
    standing: tuple[str, ...]
    """The answer that stands for each item, in the procedure's order; "" where none does."""
    pending: Answer | CloseRecord | None = None
    """What was read back and waits for confirm or negative."""


def start(procedure: Procedure) -> State:
    """The state before anything was stated."""
    return State(mode=Mode.IN_COURSE, standing=("",) * len(procedure.items))


def satisfied(procedure: Procedure, standing: Sequence[str], place: int) -> bool:
    """Whether the item at this place stands with an answer that satisfies it."""
    return standing[place] in procedure.satisfying[place]


def missing(procedure: Procedure, state: State, item: Item) -> tuple[str, ...]:
    """Items that must stand before this one may be stated: `after`, and for the gated the gate."""
    return tuple(
        procedure.items[place].id
        for place in needed(procedure, item.id)
        if not satisfied(procedure, state.standing, place)
    )


@cache
def needed(procedure: Procedure, item_id: str) -> tuple[int, ...]:
    """The places of the items that must stand before this one may be stated."""
    item = procedure.item(item_id)
    gate = procedure.before[item_id] if item.kind in GATED else ()
    return tuple(sorted({*procedure.after[item_id], *gate}))


def outstanding(procedure: Procedure, state: State) -> tuple[str, ...]:
    """Required items that do not stand satisfied, in order."""
    return tuple(
        item.id
        for place, item in enumerate(procedure.items)
        if item.required and not satisfied(procedure, state.standing, place)
    )


def gate_missing(procedure: Procedure, state: State) -> tuple[str, ...]:
    """What keeps the gate closed: empty when the first act would not be refused for the gate."""
    act = next(item for item in procedure.items if item.kind is Kind.ACT)
    return missing(procedure, state, act)
