"""Refusal, machine and effect agree, for any fact in any reachable state."""

from __future__ import annotations

import typing
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stories import SMALL_TEXT, moment, opening, small
from test_facts import built
from walk import Walk, Walker

from voicecheck.core import facts
from voicecheck.core.case import Case, IllegalFact, machine, machine_rows
from voicecheck.core.conduct import CURRENT
from voicecheck.core.conduct_2 import rules
from voicecheck.core.conduct_2.standing import start
from voicecheck.core.facts import Fact, Record, Why
from voicecheck.core.inputs import Entered
from voicecheck.core.procedure import Kind
from voicecheck.core.state import Mode, State

PROCEDURE = small()
WALKER = Walker(PROCEDURE)


def _reachable() -> list[State]:
    seen = {start(PROCEDURE): None}
    todo = list(seen)
    while todo:
        found = dict.fromkeys(WALKER.steps([todo.pop()], Walk()))
        todo += [state for state in found if state not in seen]
        seen |= found
    return list(seen)


STATES = st.sampled_from(_reachable())
IDS = st.sampled_from([*PROCEDURE.index, "", "nothing"])
KNOWN = st.sampled_from(WALKER.forgeries)
RANDOM = st.one_of(*(built(kind) for kind in typing.get_args(Fact)))


def case_in(state: State) -> Case:
    """A real case put into a state that a real case can reach."""
    case = Case(opening(SMALL_TEXT))
    case.state = state
    case._course.state = state.mode.value
    return case


def after_one(case: Case, fact: Fact) -> Record:
    """A record that follows in time and number."""
    return Record(seq=2, at=moment(1), cause=Entered(text=""), fact=fact, prev=case.last.prev)


@given(state=STATES, fact=KNOWN)
def test_rules_machine_and_case_agree(state: State, fact: Fact) -> None:
    case = case_in(state)
    try:
        against = case.why_not(fact)
        assert case.may(fact) is (against is None)
        if against is None:
            case.apply(after_one(case, fact))
            assert case.state == rules.next_state(case.procedure, state, fact)
            assert case.state.mode == case._course.state == rules.TABLE[type(fact)][state.mode]
        else:
            assert isinstance(against.why, Why)
            with pytest.raises(IllegalFact):
                case.apply(after_one(case, fact))
            assert (case.state, case._course.state) == (state, state.mode.value)
            assert case.last.seq == 1
    finally:
        case.close()


@given(state=STATES, fact=RANDOM)
def test_a_fact_that_names_nothing_known_changes_nothing(state: State, fact: Fact) -> None:
    """A forged or mistaken fact, whatever it holds: believed if the rules allow it, or illegal."""
    case = case_in(state)
    try:
        may = case.may(fact)
        if may:
            case.apply(after_one(case, fact))
        else:
            with pytest.raises(IllegalFact):
                case.apply(after_one(case, fact))
            assert (case.state, case._course.state, case.last.seq) == (state, state.mode.value, 1)
    finally:
        case.close()


@given(state=STATES, fact=KNOWN, seq=st.integers(0, 4), mono_us=st.integers(-2, 2))
def test_a_record_out_of_order_changes_nothing(
    state: State, fact: Fact, seq: int, mono_us: int
) -> None:
    case = case_in(state)
    record = replace(after_one(case, fact), seq=seq, at=replace(moment(0), mono_us=mono_us))
    in_order = seq == 2 and mono_us >= 0
    try:
        if in_order and case.may(fact):
            case.apply(record)
        else:
            with pytest.raises(IllegalFact):
                case.apply(record)
            assert (case.state, case._course.state, case.last.seq) == (state, state.mode.value, 1)
    finally:
        case.close()


# ---------------------------------------------------------------------------------------- the table


def test_every_fact_but_the_opening_has_its_rows() -> None:
    assert set(rules.TABLE) == set(typing.get_args(Fact)) - {facts.Opened}


def test_there_is_one_row_for_each_fact_and_mode() -> None:
    """With two, `transitions` would fall through to the second when the first guard refuses."""
    rows = [(row["trigger"], row["source"]) for row in machine_rows(CURRENT)]
    assert len(set(rows)) == len(rows)


def test_the_machine_holds_the_table_and_nothing_else() -> None:
    for fact, moves in rules.TABLE.items():
        event = machine(CURRENT.VERSION).events[fact.__name__]
        there = {mode: rows for mode, rows in event.transitions.items() if rows}
        assert {mode: row.dest for mode, (row,) in there.items()} == dict(moves)
    assert set(machine(CURRENT.VERSION).events) == {fact.__name__ for fact in rules.TABLE}


def test_nothing_walks_past_the_guards() -> None:
    """With its automatic transitions `transitions` would offer to_closed() and the like."""
    case = case_in(start(PROCEDURE))
    assert not [name for name in dir(case._course) if name.startswith(("to_", "may_to_"))]
    assert not [name for name in machine(CURRENT.VERSION).events if name.startswith("to_")]
    case.close()


def test_the_machine_takes_nothing_as_a_string() -> None:
    """`transitions` imports what a string names; a guard is always a function of ours."""
    assert all(callable(row["conditions"]) for row in machine_rows(CURRENT))


def test_a_closed_record_takes_no_fact() -> None:
    assert not [fact for fact, moves in rules.TABLE.items() if Mode.CLOSED in moves]


@pytest.mark.parametrize("fact", rules._BESIDE)
def test_what_is_beside_the_course_is_always_recorded(fact: type[Fact]) -> None:
    assert rules.TABLE[fact] == {mode: mode for mode in Mode if mode is not Mode.CLOSED}


@pytest.mark.parametrize("event", PROCEDURE.file.events)
def test_an_event_lapses_the_kinds_that_the_file_says_and_what_needs_them(event: str) -> None:
    """So the file decides, and no name of an event means anything to the rules."""
    standing = tuple(item.answers[0].id for item in PROCEDURE.items)
    fell = rules.fallen(
        PROCEDURE, State(mode=Mode.IN_COURSE, standing=standing), facts.Occurred(event=event)
    )
    lapses = PROCEDURE.file.events[event].lapses
    kinds = {PROCEDURE.item(item).kind for item in fell}
    assert kinds == ({*lapses, Kind.PAUSE} if lapses else set())
    assert not {Kind.ACT, Kind.STEP} & kinds
