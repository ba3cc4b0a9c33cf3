"""Parses and checks a procedure file, and reports every mistake at once."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from itertools import pairwise
from typing import Any, TypeVar

from voicecheck.core.codec import Mistakes, decode, encode
from voicecheck.core.procedure import (
    Common,
    Event,
    File,
    Head,
    Kind,
    Listening,
    Procedure,
    ProcedureError,
)

from .grammar import phrases

T = TypeVar("T")


def parse(text: str, common_text: str, name: str = "the procedure file") -> Procedure:
    """Parse and check both texts; raises ProcedureError with every mistake, headed by `name`."""
    procedure = Procedure(
        file=_decoded(File, text, name),
        common=_decoded(Common, common_text, "_common.toml"),
        text=text,
        common_text=common_text,
    )
    found = [
        *_head(procedure.head),
        *_listening(procedure.common.listening),
        *_claims(encode(procedure.file)),
        *_empty(encode(procedure.file)),
        *(f"_common.toml: {mistake}" for mistake in _empty(encode(procedure.common))),
        *_names(procedure),
        *_order(procedure),
        *_events(procedure),
        *_answers(procedure),
        *_phrases(procedure),
    ]
    if found:
        raise ProcedureError(name, found)
    return procedure


def _phrases(procedure: Procedure) -> Iterator[str]:
    try:
        phrases(procedure)
    except ProcedureError as error:
        yield from error.found


def _decoded(kind: type[T], text: str, name: str) -> T:
    try:
        return decode(kind, tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise ProcedureError(name, [f"not TOML: {error}"]) from None
    except RecursionError:
        raise ProcedureError(name, ["not TOML: nested too deeply"]) from None
    except Mistakes as mistakes:
        raise ProcedureError(name, mistakes.found) from None


def _head(head: Head) -> Iterator[str]:
    times = {"read_back_s": head.read_back_s, "pause_s": head.pause_s}
    yield from (f"procedure.{key} must be at least 1" for key, s in times.items() if s < 1)


def _listening(listening: Listening) -> Iterator[str]:
    """Each point is from 0 up to 1 and not less than the one before it; one left out is 0."""
    points = {
        "least_asked": listening.least_asked,
        "least_confidence": listening.least_confidence,
        "least_confidence_critical": listening.least_confidence_critical,
        "least_confidence_confirm": listening.least_confidence_confirm,
    }
    for key, share in points.items():
        if not 0 <= share < 1:
            yield f"_common.toml: listening.{key} must be from 0 up to, but not, 1"
    for (lower, low), (higher, high) in pairwise(points.items()):
        if low > high:
            yield f"_common.toml: listening.{higher} must not be less than listening.{lower}"


def _empty(value: Any, where: str = "") -> Iterator[str]:
    """Empty texts and lists: they would leave the machine nothing to say or to hear."""
    if isinstance(value, dict):
        for key, part in value.items():
            if key != "after":  # an item need not come after another
                yield from _empty(part, f"{where}.{key}".lstrip("."))
    elif isinstance(value, list) and value:
        for n, part in enumerate(value, 1):
            yield from _empty(part, f"{where}[{n}]")
    elif value == [] or (isinstance(value, str) and not value.strip()):
        yield f"{where} is empty"


_CLAIM = re.compile(r"\b(safe to|achieved|prevents)\b", re.IGNORECASE)


def _claims(value: Any) -> Iterator[str]:
    """Wording that says something is so: the machine knows only what was stated."""
    if isinstance(value, (dict, list)):
        for part in value.values() if isinstance(value, dict) else value:
            yield from _claims(part)
    elif isinstance(value, str) and (found := _CLAIM.search(value)):
        yield f"{value!r} claims what nobody here can see ({found[0]}): word it as a statement"


def _names(procedure: Procedure) -> Iterator[str]:
    seen: set[str] = set()
    for item in procedure.items:
        if item.id in seen:
            yield f"two items are called {item.id!r}"
        seen.add(item.id)


def _order(procedure: Procedure) -> Iterator[str]:
    known: set[str] = set()
    for item in procedure.items:
        yield from (
            f"{item.id}: after names {other!r}, which is not an earlier item"
            for other in item.after
            if other not in known
        )
        known.add(item.id)
    acts = {item.id for item in procedure.items if item.kind is Kind.ACT}
    yield from (
        f"{item.id}: an act comes after acts only; the gate holds back the rest"
        for item in procedure.items
        if item.id in acts and not acts.issuperset(item.after)
    )
    kinds = [item.kind for item in procedure.items]
    if kinds.count(Kind.PAUSE) != 1:
        yield "exactly one item must be of kind pause"
    elif Kind.ACT in kinds and kinds.index(Kind.ACT) < kinds.index(Kind.PAUSE):
        yield "the pause must come before the first item of kind act"
    if Kind.CRITERION not in kinds:
        yield "no item is of kind criterion: nothing would keep the gate closed"
    if not acts:
        yield "no item is of kind act: the gate would have nothing to hold back"
    yield from _gate_phases(procedure)


def _gate_phases(procedure: Procedure) -> Iterator[str]:
    """The gate counts whole earlier phases, so no phase may mix gating and gated items."""
    for phase in procedure.phases:
        kinds = {item.kind for item in phase.items}
        if Kind.PAUSE in kinds and len(phase.items) > 1:
            yield f"phase {phase.id}: the pause must be the only item of its phase"
        if Kind.ACT in kinds and kinds != {Kind.ACT}:
            yield f"phase {phase.id}: acts share no phase with other items"
    places = [n for n, item in enumerate(procedure.items) if item.kind is Kind.CRITERION]
    first_act = next((n for n, i in enumerate(procedure.items) if i.kind is Kind.ACT), None)
    if places and first_act is not None and places[-1] > first_act:
        yield "every criterion must come before the first act"
    yield from (
        f"{item.id}: a {item.kind} is always required"
        for item in procedure.items
        if item.kind in (Kind.CRITERION, Kind.PAUSE) and not item.required
    )


def _events(procedure: Procedure) -> Iterator[str]:
    worded = set(procedure.file.events)
    yield from (f"events.{event} is missing" for event in Event if event not in worded)
    yield from (f"events.{name}: no such event" for name in worded - set(Event))


def _answers(procedure: Procedure) -> Iterator[str]:
    for item in procedure.items:
        ids = [words.id for words in item.answers]
        if item.kind is Kind.PAUSE and len(ids) > 1:
            yield f"{item.id}: a pause has one answer only: that it was held"
        if len(set(ids)) < len(ids):
            yield f"{item.id}: two answers have the same id"
        if not any(words.satisfies for words in item.answers):
            yield f"{item.id}: no answer satisfies it, so it could never stand"
