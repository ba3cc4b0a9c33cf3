"""Reads the state: what stands, and what must stand before an item may be stated."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

from voicecheck.core.procedure import Item, Kind, Procedure
from voicecheck.core.state import Mode, State

GATED = frozenset({Kind.PAUSE, Kind.ACT})
"""The kinds that the gate holds back."""


def start(procedure: Procedure) -> State:
    """The state before anything is stated."""
    return State(mode=Mode.IN_COURSE, standing=("",) * len(procedure.items))


def satisfied(procedure: Procedure, standing: Sequence[str], place: int) -> bool:
    """Whether the item at this place stands with an answer that satisfies it."""
    return standing[place] in procedure.satisfying[place]


def missing(procedure: Procedure, state: State, item: Item) -> tuple[str, ...]:
    """The items that must still be stated before this one may be."""
    return tuple(
        procedure.items[place].id
        for place in needed(procedure, item.id)
        if not satisfied(procedure, state.standing, place)
    )


@cache
def needed(procedure: Procedure, item_id: str) -> tuple[int, ...]:
    """The places of the items that must stand first: its `after`, and the gate if it is gated."""
    item = procedure.item(item_id)
    gate = procedure.before[item_id] if item.kind in GATED else ()
    return tuple(sorted({*procedure.after[item_id], *gate}))


def outstanding(procedure: Procedure, state: State) -> tuple[str, ...]:
    """Required items that do not stand with a satisfying answer, in order."""
    return tuple(
        item.id
        for place, item in enumerate(procedure.items)
        if item.required and not satisfied(procedure, state.standing, place)
    )


def gate_missing(procedure: Procedure, state: State) -> tuple[str, ...]:
    """What keeps the gate closed; empty when nothing is missing before the first act."""
    act = next(item for item in procedure.items if item.kind is Kind.ACT)
    return missing(procedure, state, act)
