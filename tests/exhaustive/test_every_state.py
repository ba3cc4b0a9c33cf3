"""Every reachable state × every input: no path to an act while something it needs does not stand.

The walk is whole: every state that any sequence of inputs can reach from the opening of the shipped
procedure, and in each of them every distinct command of the grammar, besides silence, talk in the
room, the machine's own speech and trouble. It runs the real `decide` and the real rules; what must
hold is said in walk.py from the procedure file alone. A claim that no mutation can break would
prove nothing, so below it every guard and every row of the table is broken in turn.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from importlib import import_module
from typing import TypeVar

import pytest
from stories import COMMON_TEXT, SHIPPED_TEXT, shipped, small
from walk import Walk, Walker, explore, explore_on_all_cores

from voicecheck.core import facts
from voicecheck.core.conduct_2 import rules, standing
from voicecheck.core.facts import Fact
from voicecheck.core.inputs import Answer
from voicecheck.core.procedure import Kind, Procedure
from voicecheck.core.state import Mode

decide = import_module("voicecheck.core.conduct_2.decide")
"""The module: the package gives its name to the function."""

K = TypeVar("K")
V = TypeVar("V")


@pytest.fixture(scope="module")
def walk(counted: list[str]) -> Walk:
    walk = explore_on_all_cores(SHIPPED_TEXT, COMMON_TEXT)
    counted.append(
        f"every state: {walk.states:,} states × {len(Walker(shipped()).inputs)} inputs, "
        f"{walk.transitions:,} transitions"
    )
    return walk


def test_no_path_leads_past_a_claim(walk: Walk) -> None:
    assert walk.broken == {}


def test_the_walk_went_everywhere(walk: Walk) -> None:
    """It would also hold if nothing could ever happen; so everything does happen."""
    _went_everywhere(walk, shipped())


def test_the_small_procedure_holds_too() -> None:
    walk = explore(small())
    assert walk.broken == {}
    _went_everywhere(walk, small())


def test_the_rules_alone_hold_the_gate() -> None:
    """Whatever `decide` may do: no sequence of facts that the guards allow breaks a claim."""
    walk = explore(small(), forged=True)
    assert walk.broken == {}
    assert walk.transitions > 10_000


def _went_everywhere(walk: Walk, procedure: Procedure) -> None:
    assert walk.modes == set(Mode)
    assert walk.stated == set(_every_answer(procedure))
    assert set(walk.facts) == {fact.__name__ for fact in rules.TABLE}


def _every_answer(procedure: Procedure) -> Iterator[Answer]:
    for item in procedure.items:
        yield from (Answer(item=item.id, answer=words.id) for words in item.answers)


# ------------------------------------------------------------------ what the walk would have caught


def caught() -> bool:
    """Whether either walk of the small procedure notices that something is wrong."""
    by_input = explore(small())
    went_everywhere = by_input.modes == set(Mode) and by_input.stated == {*_every_answer(small())}
    return bool(by_input.broken or not went_everywhere or explore(small(), forged=True).broken)


def test_nothing_is_caught_while_nothing_is_wrong() -> None:
    assert not caught()


REFUSE_NOTHING = (facts.Noted, facts.Expired, facts.Occurred, facts.Cautioned, facts.BailedOut)
"""Their guards only stumble over names that the procedure does not know: see test_rules.py."""


@pytest.mark.parametrize("fact", [fact for fact in rules.GUARDS if fact not in REFUSE_NOTHING])
def test_every_missing_guard_is_caught(fact: type[Fact], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delitem(dict_of(rules.GUARDS), fact)
    assert caught()


HARMLESS = {
    # no criterion stands outside the standard course: the guard refuses by itself
    (facts.PauseBegun, Mode.BAILED_OUT),
    (facts.PauseBegun, Mode.EMERGENCY),
    # nothing can wait while a pause runs or once the record is closed: the guard refuses by itself
    (facts.Retracted, Mode.PAUSING),
    (facts.Lapsed, Mode.PAUSING),
    (facts.Closed, Mode.PAUSING),
    (facts.Retracted, Mode.CLOSED),
    (facts.Lapsed, Mode.CLOSED),
    (facts.Closed, Mode.CLOSED),
    # in the safe direction, and only a question of manners
    (facts.PauseBegun, Mode.PAUSING),
    (facts.Withdrawn, Mode.STANDING_BY),
    (facts.StoodBy, Mode.STANDING_BY),
    (facts.StoodBy, Mode.BAILED_OUT),
    (facts.StoodBy, Mode.EMERGENCY),
    (facts.Resumed, Mode.IN_COURSE),
    (facts.Resumed, Mode.PAUSING),
}
"""Rows that could be added without harm to any claim."""


def _missing_rows() -> Iterator[tuple[type[Fact], Mode]]:
    changing = [fact for fact in rules.TABLE if fact not in rules._BESIDE]
    for fact in changing:
        yield from ((fact, mode) for mode in Mode if mode not in rules.TABLE[fact])


@pytest.mark.parametrize(("fact", "mode"), [*_missing_rows()])
def test_every_row_too_many_is_caught(
    fact: type[Fact], mode: Mode, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = rules.TABLE[fact]
    lead_to = set(rows.values())
    then = lead_to.pop() if len(lead_to) == 1 else mode
    monkeypatch.setitem(dict_of(rules.TABLE), fact, {**rows, mode: then})
    assert caught() is ((fact, mode) not in HARMLESS)


@pytest.mark.parametrize("fact", [facts.Overridden, facts.BailedOut, facts.Occurred])
@pytest.mark.parametrize("mode", [mode for mode in Mode if mode is not Mode.CLOSED])
def test_every_missing_row_of_what_is_never_blocked_is_caught(
    fact: type[Fact], mode: Mode, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = {before: then for before, then in rules.TABLE[fact].items() if before is not mode}
    monkeypatch.setitem(dict_of(rules.TABLE), fact, rows)
    assert caught()


@pytest.mark.parametrize("kind", sorted(rules.CRITICAL))
def test_a_kind_that_is_not_read_back_is_caught(
    kind: Kind, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rules, "CRITICAL", rules.CRITICAL - {kind})
    assert caught()


@pytest.mark.parametrize("kind", sorted(standing.GATED))
def test_a_kind_that_is_not_gated_is_caught(kind: Kind, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(standing, "GATED", standing.GATED - {kind})
    assert caught()


@pytest.mark.parametrize(
    ("module", "name", "wrong"),
    [
        (rules, "_settle", lambda _procedure, standing: tuple(standing)),
        (rules, "_without_kinds", lambda *_: None),
        (rules, "missing", lambda *_: ()),
        (decide, "fallen", lambda *_: ()),
        (decide, "_is_due", lambda case, _at: case.due_us is not None),
        (decide, "_is_due", lambda *_: False),
        (decide, "needs_read_back", lambda *_: False),
        (decide, "_unclear", lambda *_: facts.Overridden()),
    ],
)
def test_a_wrong_function_is_caught(
    module: object, name: str, wrong: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, name, wrong)
    assert caught()


def dict_of(mapping: Mapping[K, V]) -> dict[K, V]:
    """The same object, which the rules promise not to change and a mutation must."""
    assert isinstance(mapping, dict)
    return mapping
