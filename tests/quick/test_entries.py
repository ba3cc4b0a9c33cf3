"""Each entry by hand is answered exactly once, and with 204 only after it was recorded.

That nothing is acknowledged that is not recorded is the customer's list, under "What is told must
be so". The status codes: RFC 9110.
"""

from __future__ import annotations

import threading
import time
from collections import Counter
from collections.abc import Callable

import pytest
from doubles import ScriptedClock

from voicecheck.core.inputs import Entered
from voicecheck.display.entries import (
    CLOSED,
    MOST_WAITING,
    NOT_OPEN,
    NOT_RECORDED,
    PATIENCE_S,
    RECORDED,
    STANDS_STILL,
    STOPPED,
    TOO_MANY,
    Answer,
    Entries,
)

CONFIRM = Entered(text="confirm", line=3)


@pytest.fixture
def now(monkeypatch: pytest.MonkeyPatch) -> ScriptedClock:
    clock = ScriptedClock()
    monkeypatch.setattr(time, "monotonic", clock)
    return clock


def offered(entries: Entries, entered: Entered = CONFIRM) -> list[Answer]:
    """The answers to an entry that is made now, as they come."""
    answers: list[Answer] = []
    entries.offer(entered, time.monotonic(), answers.append)
    return answers


def opened() -> Entries:
    entries = Entries()
    entries.open()
    return entries


@pytest.mark.usefixtures("now")
def test_an_entry_is_acknowledged_once_it_is_recorded_and_not_when_it_is_taken() -> None:
    entries = opened()
    answers = offered(entries)
    assert entries.take() == CONFIRM
    assert answers == []
    entries.recorded()
    assert answers == [RECORDED]
    assert entries.take() is None
    entries.recorded()
    assert answers == [RECORDED], "once"


@pytest.mark.usefixtures("now")
def test_before_the_record_is_open_and_after_its_end_nothing_comes_in() -> None:
    entries = Entries()
    assert offered(entries) == [NOT_OPEN]
    entries.open()
    waiting, taken = [offered(entries) for _ in range(2)]
    assert entries.take() == CONFIRM
    entries.refuse(STOPPED)
    assert (waiting, taken) == ([STOPPED], [STOPPED])
    assert offered(entries) == [STOPPED]
    assert entries.take() is None
    entries.refuse(CLOSED)
    assert offered(entries) == [CLOSED]


@pytest.mark.usefixtures("now")
def test_one_that_was_taken_and_not_recorded_is_not_acknowledged() -> None:
    entries = opened()
    first, second = [offered(entries) for _ in range(2)]
    entries.take()
    entries.take()
    assert (first, second) == ([NOT_RECORDED], [])
    entries.recorded()
    assert (first, second) == ([NOT_RECORDED], [RECORDED])


@pytest.mark.usefixtures("now")
def test_no_more_wait_than_a_person_could_have_meant() -> None:
    entries = opened()
    assert [offered(entries) for _ in range(MOST_WAITING)] == [[]] * MOST_WAITING
    assert offered(entries) == [TOO_MANY]
    entries.take()
    assert offered(entries) == []


@pytest.mark.parametrize("meets_it", [Entries.take, Entries.withdraw_overdue])
def test_one_that_waited_too_long_is_withdrawn_and_never_taken(
    now: ScriptedClock, meets_it: Callable[[Entries], object]
) -> None:
    entries = opened()
    answers = offered(entries)
    now.wait(PATIENCE_S)
    assert entries.take() == CONFIRM, "not yet"
    entries.recorded()
    late = offered(entries)
    now.wait(PATIENCE_S + 0.1)
    meets_it(entries)
    assert (answers, late) == ([RECORDED], [STANDS_STILL])
    assert entries.take() is None


def test_one_that_was_on_its_way_too_long_does_not_come_in(now: ScriptedClock) -> None:
    entries, answers = opened(), list[Answer]()
    made_s = time.monotonic()
    now.wait(PATIENCE_S + 0.1)
    entries.offer(CONFIRM, made_s, answers.append)
    assert answers == [STANDS_STILL]


def test_under_many_hands_each_is_answered_once_and_acknowledged_only_if_recorded() -> None:
    entries, answers, recorded = opened(), list[tuple[int, Answer]](), list[Entered]()

    def offer(line: int) -> None:
        def answer(given: Answer) -> None:
            answers.append((line, given))

        entries.offer(Entered(text="confirm", line=line), time.monotonic(), answer)

    def enter(hand: int) -> None:
        for number in range(200):
            offer(1000 * hand + number)

    hands = [threading.Thread(target=enter, args=(hand,)) for hand in range(4)]
    for hand in hands:
        hand.start()
    until_s = time.monotonic() + 60
    while len(answers) < 800 and time.monotonic() < until_s:
        if entered := entries.take():
            recorded.append(entered)
            entries.recorded()
    times = Counter(line for line, _ in answers)
    assert (len(times), set(times.values())) == (800, {1})
    acknowledged = {line for line, answer in answers if answer is RECORDED}
    assert acknowledged == {entered.line for entered in recorded}
    assert {answer for _, answer in answers} <= {RECORDED, TOO_MANY}
