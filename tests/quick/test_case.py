"""A case is the fold of its facts: what it waits for, and what it refuses to believe."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stories import (
    COMMON_TEXT,
    SMALL_TEXT,
    THREE_CRITERIA,
    UP_TO_THE_CRITERIA,
    Story,
    moment,
    opening,
    small,
)
from walk import Moment

from voicecheck.core import facts
from voicecheck.core.case import Case, IllegalFact, machine
from voicecheck.core.conduct import CURRENT
from voicecheck.core.conduct_2.grammar import phrases
from voicecheck.core.inputs import (
    UNKNOWN,
    Due,
    Entered,
    Heard,
    Input,
    Restarted,
    Said,
    Trouble,
)
from voicecheck.core.procedure import ProcedureError
from voicecheck.core.state import Mode, NothingDue

SPOKE = Said(text="anything", audio_from_s=0.0, audio_to_s=1.0)
PHRASES = st.sampled_from([*phrases(small()), "anything else"])


def test_a_log_begins_with_its_opening() -> None:
    with pytest.raises(IllegalFact, match="begins with its opening"):
        Case(replace(opening(), fact=facts.HelpCalled()))
    with pytest.raises(IllegalFact, match="begins with its opening"):
        Case(replace(opening(), seq=2))


def test_a_case_whose_procedure_has_mistakes_does_not_open() -> None:
    with pytest.raises(ProcedureError, match="the embedded procedure cannot be used"):
        Case(opening(SMALL_TEXT.replace("version = 1", "")))
    with pytest.raises(ProcedureError, match="beginning of"):
        Case(opening(SMALL_TEXT, COMMON_TEXT.replace('["negative"]', '["confirm not"]')))


def test_a_second_opening_is_illegal() -> None:
    story = Story()
    with pytest.raises(IllegalFact):
        story.case.apply(replace(opening(), seq=2))


@given(said=st.lists(st.one_of(PHRASES, st.just(Due()), st.just(SPOKE)), max_size=40))
def test_a_case_waits_exactly_while_it_pauses_or_has_read_back(
    said: list[str | Due | Said],
) -> None:
    """So the stand-in in test_every_state.py waits exactly where a real case does."""
    story = Story(text=SMALL_TEXT)
    for given_ in said:
        if story.case.state.mode is Mode.CLOSED:
            break
        if isinstance(given_, str):
            story.say(given_)
        elif isinstance(given_, Said):
            story.give(given_)
        elif story.case.due_us is not None:
            story.wait()
        stands_in = Moment(story.case.procedure, story.case.state)
        assert (story.case.due_us is None) == (stands_in.due_us is None)
    story.case.close()


def closed() -> Story:
    story = Story()
    story.say("checklist close the record", "confirm")
    return story


def heard(text: str) -> Heard:
    return Heard(text=text, confidence=1.0, audio_from_s=0.0, audio_to_s=1.0)


@pytest.mark.parametrize(
    "late",
    [
        heard("checklist emergency"),
        heard("checklist converting to open"),
        heard("confirm"),
        heard(UNKNOWN),
        Entered(text="checklist table tilted head up"),
        Entered(text="not a phrase"),
        SPOKE,
        Trouble(part="microphone", message="unplugged"),
        Trouble(part="microphone", message="back", over=True),
        Restarted(gap_s=1.0),
    ],
    ids=repr,
)
def test_a_closed_case_takes_no_input_of_any_kind(late: Input) -> None:
    story = closed()
    records, state = [*story.records], story.case.state
    with pytest.raises(IllegalFact, match=r"^[A-Z]\w+ cannot follow line 3\.$"):
        story.give(late)
    assert (story.records, story.case.state) == (records, state)


def test_nothing_comes_due_in_a_closed_case() -> None:
    with pytest.raises(NothingDue):
        closed().give(Due())


def waits_s(story: Story) -> float | None:
    """How long from the last fact until something is due."""
    due_us = story.case.due_us
    return None if due_us is None else (due_us - story.records[-1].at.mono_us) / 1e6


def test_a_read_back_waits_its_time_from_the_end_of_the_last_words() -> None:
    story = Story()
    story.say("checklist triangle free of fat")
    assert waits_s(story) == story.case.procedure.head.read_back_s
    story.give(SPOKE, after_us=4_000_000)
    assert waits_s(story) == story.case.procedure.head.read_back_s


def test_talk_in_the_room_gives_no_more_time() -> None:
    story = Story()
    story.say("checklist triangle free of fat")
    story.say("anything else", "anything else")
    assert waits_s(story) == story.case.procedure.head.read_back_s - 2


def test_a_new_read_back_has_its_full_time() -> None:
    story = Story()
    story.say("checklist triangle free of fat")
    story.say("anything else", "checklist lower third off the plate")
    assert waits_s(story) == story.case.procedure.head.read_back_s


def test_the_pause_runs_its_seconds_and_then_the_read_back_its_own() -> None:
    story = Story()
    story.say(*UP_TO_THE_CRITERIA, *THREE_CRITERIA, "checklist begin the pause")
    assert story.case.state.mode is Mode.PAUSING
    assert waits_s(story) == story.case.procedure.head.pause_s
    assert story.wait() == facts.Proposed(item="pause", answer="held")
    assert waits_s(story) == story.case.procedure.head.read_back_s
    story.say("confirm")
    assert waits_s(story) is None


def test_when_each_item_was_stated_is_remembered() -> None:
    story = Story()
    story.say("checklist table tilted head up", "anything else")
    assert story.case.stated_at == {"table": moment(1_000_000)}


def test_two_cases_share_the_machine_but_not_their_state() -> None:
    one, other = Story(), Story()
    one.say("checklist emergency")
    assert (one.case.state.mode, other.case.state.mode) == (Mode.EMERGENCY, Mode.IN_COURSE)


def test_a_closed_case_lets_go_of_the_machine() -> None:
    before = len(machine(CURRENT.VERSION).models)
    story = Story()
    assert len(machine(CURRENT.VERSION).models) == before + 1
    story.case.close()
    assert len(machine(CURRENT.VERSION).models) == before
