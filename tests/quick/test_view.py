"""What the display shows of a case, checked against what the case does when spoken to.

What must be shown is the customer's list: the issue "The live theatre", under "Prompt display".
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from itertools import chain

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from states import SCAFFOLD_TEXT
from stories import COMMON_TEXT, SMALL_TEXT, Story, shipped, small

from voicecheck.core import facts
from voicecheck.core.codec import decode, encode
from voicecheck.core.conduct_2.grammar import phrases
from voicecheck.core.conduct_2.procedure_file import parse
from voicecheck.core.inputs import UNKNOWN, Due, Entered, Trouble
from voicecheck.core.procedure import Kind
from voicecheck.core.state import Mode
from voicecheck.core.wording import JOURNAL_FAILED
from voicecheck.display.keys import keys
from voicecheck.display.screen import Asking, Barrier, Hearing, Mark, Role, View
from voicecheck.display.view import stopped, view

BEFORE = (
    "checklist table tilted head up",
    "checklist all four ports in place",
    "checklist fundus to the shoulder",
    "checklist neck held down and out",
    "checklist sulcus identified",
    "checklist dissecting above the line",
)
CRITERIA = (
    "checklist triangle free of fat",
    "confirm",
    "checklist lower third off the plate",
    "confirm",
    "checklist two and only two",
    "confirm",
)
FIRST_ACT = "checklist clips on the artery"


def told(*said: str) -> Story:
    """The shipped procedure, spoken to; "…" waits for what is due."""
    story = Story()
    for phrase in said:
        if phrase == "…":
            story.wait()
        else:
            story.say(phrase)
    return story


def seen(story: Story, *, listening: bool = True) -> View:
    return view(story.case, story.records[-1], listening=listening)


def marks(shown: View) -> dict[str, Mark]:
    return {line.name: line.mark for stage in shown.phases for line in stage.lines}


def missing(shown: View) -> tuple[str, ...]:
    return tuple(line.name for stage in shown.phases for line in stage.lines if line.missing)


def open_gate() -> Story:
    return told(*BEFORE, *CRITERIA, "checklist begin the pause", "…", "confirm")


def test_a_new_case_asks_its_first_question_and_lists_all_that_comes_before_a_clip() -> None:
    shown = seen(told())
    assert (shown.asked.kind, shown.asked.wait_s) == (Asking.QUESTION, 0)
    assert shown.asked.text == shipped().items[0].ask
    before = [item for item in shipped().items if item.kind is not Kind.ACT][:10]
    assert missing(shown) == tuple(item.name for item in before)
    assert shown.gate.barrier is Barrier.CLOSED
    assert "10" in shown.gate.sentence
    assert shown.heard is None
    assert shown.machine.hearing is Hearing.LISTENING


def test_what_stands_is_shown_with_the_time_of_its_statement_in_the_order_of_the_course() -> None:
    story = told(*BEFORE[:2])
    shown = seen(story)
    assert [stage.title for stage in shown.phases] == [phase.title for phase in shipped().phases]
    first, second = shown.phases[0].lines[0], shown.phases[1].lines[0]
    assert (first.mark, first.since_utc) == (Mark.STANDS, story.records[1].at.utc)
    assert (second.mark, second.since_utc) == (Mark.STANDS, story.records[2].at.utc)
    assert [stage.current for stage in shown.phases].index(True) == 2
    assert shown.opened_utc == story.records[0].at.utc


def test_an_answer_that_does_not_satisfy_has_a_mark_of_its_own_and_its_warning_shown() -> None:
    shown = seen(told(*BEFORE, *CRITERIA[:4], "checklist more than two structures"))
    assert marks(shown)["two and only two structures"] is Mark.UNSAFE
    assert shown.answer is not None
    assert (shown.answer.mark, "bail out" in shown.answer.text) == (Mark.UNSAFE, True)
    assert shown.asked.kind is Asking.QUESTION, "and it is still asked"
    assert len(shown.asked.say) == 3
    assert shown.gate.barrier is Barrier.CLOSED


def test_a_read_back_is_shown_with_the_time_that_is_left_for_the_reply() -> None:
    story = told(*BEFORE, CRITERIA[0])
    shown = seen(story)
    assert shown.asked.kind is Asking.READ_BACK
    assert shown.asked.text == "Shall I record: triangle cleared of fat?"
    assert shown.asked.wait_s == shipped().head.read_back_s
    story.say(UNKNOWN)
    assert seen(story).asked.wait_s == shipped().head.read_back_s - 1
    assert marks(seen(story))["triangle cleared"] is Mark.OPEN, "not believed before the confirm"
    story.wait()
    lapsed = seen(story)
    assert lapsed.asked.kind is Asking.QUESTION
    assert lapsed.heard is not None
    assert (lapsed.heard.how, lapsed.heard.mark) == ("No reply", Mark.REFUSED)


def test_an_early_clip_is_shown_as_refused_with_the_number_of_what_is_missing() -> None:
    heard = seen(told(*BEFORE, *CRITERIA[:2], FIRST_ACT)).heard
    assert heard is not None
    assert (heard.how, heard.words) == ("Heard", "clips on the artery")
    assert (heard.mark, heard.taken) == (Mark.REFUSED, "refused: artery clips, 3 missing")


def test_what_was_put_in_by_hand_is_marked_as_entered() -> None:
    heard = seen(told("by hand: checklist table tilted head up")).heard
    assert heard is not None
    assert (heard.how, heard.words) == ("Entered", "table tilted head up")
    assert (heard.mark, heard.taken) == (Mark.STANDS, "stated: table")


def test_talk_in_the_room_is_shown_as_heard_but_does_not_wipe_away_a_remark() -> None:
    story = told(*BEFORE, *CRITERIA, "checklist active bleeding", UNKNOWN)
    shown = seen(story)
    assert shown.heard is not None
    assert (shown.heard.how, shown.heard.words) == ("Heard", "")
    assert (shown.heard.mark, shown.heard.answered) == (Mark.IGNORED, False)
    assert shown.answer is not None
    assert shown.answer.text == f"Bleeding. {shipped().file.events['bleeding'].says}"
    story.say(CRITERIA[0], "negative")
    assert seen(story).answer is None


@pytest.mark.parametrize(
    ("said", "barrier", "word"),
    [
        ((), Barrier.OPEN, "Gate open"),
        (("checklist view is lost",), Barrier.CLOSED, "Gate closed"),
        (("checklist stand by",), Barrier.STANDING_BY, "Standing by"),
        (("checklist converting to open",), Barrier.BAILED_OUT, "Bailed out"),
        (("checklist emergency",), Barrier.EMERGENCY, "Emergency"),
        (("checklist close the record", "confirm"), Barrier.RECORD_CLOSED, "Record closed"),
    ],
)
def test_the_gate_has_one_word_for_each_way_that_a_case_can_be(
    said: tuple[str, ...], barrier: Barrier, word: str
) -> None:
    story = open_gate()
    story.say(*said)
    shown = seen(story)
    assert (shown.gate.barrier, shown.gate.word) == (barrier, word)
    assert shown.gate.sentence


def test_the_pause_is_shown_with_its_seconds() -> None:
    shown = seen(told(*BEFORE, *CRITERIA, "checklist begin the pause"))
    assert (shown.asked.kind, shown.asked.wait_s) == (Asking.PAUSE, shipped().head.pause_s)


def test_trouble_is_shown_since_the_first_failure_until_the_part_works_again() -> None:
    story = told(*BEFORE)
    story.give(Trouble(part="microphone", message="It was unplugged; plug it in again."))
    failed_at = story.records[-1].at.utc
    story.give(Trouble(part="microphone", message="It is still unplugged."))
    shown = seen(story)
    assert shown.machine.hearing is Hearing.DEAF
    assert shown.machine.trouble == "Microphone out"
    assert shown.machine.since_utc == failed_at
    assert shown.machine.messages == ("It was unplugged; plug it in again.",)
    story.give(Trouble(part="microphone", message="It works.", over=True))
    assert seen(story).machine == seen(told(*BEFORE)).machine


def test_a_machine_without_a_voice_still_listens_and_a_speaking_one_is_deaf() -> None:
    story = told()
    assert seen(story, listening=False).machine.hearing is Hearing.SPEAKING
    story.give(Trouble(part="voice", message="No loudspeaker."))
    assert seen(story).machine.hearing is Hearing.LISTENING
    assert "Voice" in seen(story).machine.trouble


def test_once_the_log_has_failed_the_fixed_sentence_takes_the_first_place() -> None:
    shown = stopped(seen(told(*BEFORE, CRITERIA[0])), "The disk is full.")
    assert shown.asked.text == JOURNAL_FAILED
    assert shown.machine.messages == (shown.asked.say_label,) == ("The disk is full.",)
    assert (shown.asked.say, missing(shown), shown.heard) == ((), (), None), (
        "nothing looks as if a reply still counted"
    )
    assert not any(stage.current for stage in shown.phases)
    assert (shown.gate.barrier, shown.machine.hearing) == (Barrier.STOPPED, Hearing.OFF)


def test_a_refusal_names_what_is_missing_and_leaves_the_question_where_it_is() -> None:
    """Until something else is taken; the machine said the same aloud."""
    story = open_gate()
    question = seen(story).asked
    story.say("checklist duct transected")
    shown = seen(story)
    assert shown.asked == question
    assert shown.heard is not None
    assert shown.heard.taken == "refused: duct division, duct clips missing"
    assert (shown.missing, missing(shown)) == ("Not yet stated", ("duct clipped",))
    story.say("[unk]")
    assert missing(seen(story)) == ("duct clipped",)
    story.say("checklist clips on the artery")
    assert "artery clipped" in missing(seen(story))


def test_what_is_outstanding_is_answered_with_the_names() -> None:
    shown = seen(told("checklist what is outstanding"))
    assert shown.heard is not None
    assert shown.heard.taken == "10 outstanding"
    assert len(missing(shown)) == 10
    aside = seen(told("checklist emergency", "checklist what is outstanding"))
    assert aside.asked.kind is Asking.NOTICE


@pytest.mark.parametrize(
    "said",
    [
        ("checklist active bleeding",),
        ("checklist call for help",),
        ("checklist duct looks short",),
        ("checklist clips on the artery",),
        ("checklist what is outstanding",),
        ("[unk]",),
    ],
)
def test_whatever_happens_beside_it_the_question_and_its_answers_stay(
    said: tuple[str, ...],
) -> None:
    """Lapsing nothing that is asked first, it changes nothing in what is asked."""
    before = seen(told(*BEFORE))
    assert seen(told(*BEFORE, *said)).asked == before.asked


def test_what_may_be_said_is_a_phrase_for_every_answer() -> None:
    """Never one alone: "two and only two" alone would be a nudge toward two."""
    shown = seen(told(*BEFORE, *CRITERIA[:4]))
    assert shown.asked.say_label == "Say “checklist” and"
    assert shown.asked.say == (
        "two and only two",
        "more than two structures",
        "structures uncertain",
    )
    for name, phrase in zip(shipped().index, BEFORE, strict=False):
        place = BEFORE.index(phrase)
        say = seen(told(*BEFORE[:place])).asked.say
        assert phrase.removeprefix("checklist ") in say
        assert len(say) == len(shipped().item(name).answers)


def test_a_read_back_shows_its_two_replies() -> None:
    shown = seen(told(*BEFORE, CRITERIA[0]))
    assert (shown.asked.say_label, shown.asked.say) == ("Say", ("confirm", "negative"))


def test_while_closing_waits_all_that_would_be_left_unstated_is_listed() -> None:
    shown = seen(told(*BEFORE, *CRITERIA, "checklist close the record"))
    assert shown.asked.text == "Shall I close the record, 8 outstanding?"
    assert len(missing(shown)) == 8
    closed = seen(told(*BEFORE, "checklist close the record", "confirm"))
    assert (closed.missing, closed.kept, closed.asked.say) == ("Left unstated", (), ())
    assert not any(stage.current for stage in closed.phases)


@pytest.mark.parametrize(
    ("said", "phases"),
    [
        ("checklist call for help", ["Three criteria"]),
        ("checklist stand by", []),
        ("checklist close the record", []),
    ],
)
def test_the_course_points_at_a_phase_only_while_one_of_its_items_is_asked(
    said: str, phases: list[str]
) -> None:
    shown = seen(told(*BEFORE, said))
    assert [stage.title for stage in shown.phases if stage.current] == phases


def test_outside_the_standard_course_nothing_is_asked_and_the_way_back_is_shown() -> None:
    shown = seen(told(*BEFORE, "checklist emergency"))
    assert missing(shown) == ()
    assert not any(stage.current for stage in shown.phases)
    assert shown.asked.say_label == "To come back, say “checklist” and"
    assert shown.asked.say == ("carry on",)


def test_the_phases_beyond_the_gate_are_those_of_the_acts_and_after() -> None:
    gated = [stage.title for stage in seen(told()).phases if stage.gated]
    assert gated == ["Clip and divide", "Closing"]


WORDS = (*phrases(small()), UNKNOWN, "…", "trouble", "over")


@settings(max_examples=300, deadline=None)
@given(said=st.lists(st.sampled_from(WORDS), max_size=25))
def test_whatever_is_said_the_shown_gate_is_what_a_clip_would_meet(said: list[str]) -> None:
    story = Story(text=SMALL_TEXT)
    for phrase in said:
        if story.case.state.mode is Mode.CLOSED:
            break
        _one(story, phrase)
    shown = seen(story)
    assert decode(View, json.loads(json.dumps(encode(shown)))) == shown
    assert not any(_claims(text) for text in texts(encode(shown)))
    if story.case.state.mode in (Mode.IN_COURSE, Mode.PAUSING):
        refused_before = shown.missing == "Not yet stated"
        (fact,) = story.say("checklist clips on")
        opens = shown.gate.barrier is Barrier.OPEN
        assert isinstance(fact, facts.Proposed if opens else facts.Refused)
        if isinstance(fact, facts.Refused) and not refused_before:
            names = tuple(small().item(item).name for item in fact.outstanding)
            assert missing(shown) == names


def _one(story: Story, phrase: str) -> None:
    if phrase == "…":
        if story.case.due_us is not None:
            story.wait()
    elif phrase in ("trouble", "over"):
        story.give(Trouble(part="microphone", message="m", over=phrase == "over"))
    else:
        story.say(phrase)


def texts(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        yield from chain.from_iterable(texts(part) for part in value.values())
    elif isinstance(value, list):
        yield from chain.from_iterable(texts(part) for part in value)


def _claims(text: str) -> bool:
    """The machine records speech; words that would claim more are the customer's own list."""
    return re.search(r"safe to|achieved|prevents|verified", text, re.IGNORECASE) is not None


def test_the_keys_are_exactly_the_phrases_of_the_grammar_each_once() -> None:
    entered = [key.phrase for group in keys(shipped()) for key in group.keys]
    assert sorted(entered) == sorted(phrases(shipped()))
    titles = [group.title for group in keys(shipped())]
    assert titles[0] == "At once"
    assert titles[1:9] == [phase.title for phase in shipped().phases]
    assert "Reply" not in titles, "both are on fixed keys"


def test_the_fixed_keys_come_from_the_file_by_what_they_are_for() -> None:
    first = keys(shipped())[0].keys
    assert [key.label for key in first] == [
        "emergency",
        "bleeding",
        "view lost",
        "retraction slipped",
        "call for help",
        "confirm",
        "negative",
    ]
    assert [key.role for key in first][1:4] == [Role.EVENT] * 3
    scaffold = parse(SCAFFOLD_TEXT, COMMON_TEXT)
    assert [key.label for key in keys(scaffold)[0].keys] == [
        "emergency",
        "strong wind",
        "scaffold moved",
        "call for help",
        "confirm",
        "negative",
    ]


def test_a_phase_titled_as_a_group_of_keys_shares_it() -> None:
    text = SMALL_TEXT.replace('title = "Criteria"', 'title = "Events"')
    procedure = parse(text, COMMON_TEXT)
    entered = [key.phrase for group in keys(procedure) for key in group.keys]
    assert sorted(entered) == sorted(phrases(procedure))


def test_a_wait_that_is_over_is_shown_as_none() -> None:
    story = told(*BEFORE, CRITERIA[0])
    story.give(Trouble(part="clock", message="m"), after_us=30_000_000)
    assert seen(story).asked.wait_s == 0
    story.give(Due())
    assert seen(story).asked.kind is Asking.QUESTION


def test_what_expired_is_told_and_listed_until_it_is_stated_again() -> None:
    story = told(*BEFORE, *CRITERIA, "checklist begin the pause", "…", "confirm", "…")
    shown = seen(story)
    assert shown.answer is not None
    assert (shown.answer.mark, shown.answer.text) == (Mark.FELL, "Stated too long ago.")
    assert missing(shown) == ("five-second pause",)
    assert marks(shown)["five-second pause"] is Mark.FELL
    assert shown.heard is not None
    assert (shown.heard.how, shown.heard.mark) == ("Expired", Mark.FELL)
    assert shown.gate.barrier is Barrier.CLOSED


def test_a_key_to_an_earlier_question_is_shown_as_refused() -> None:
    story = told(*BEFORE, CRITERIA[0])
    story.give(Entered(text="confirm", line=2))
    shown = seen(story)
    assert shown.heard is not None
    assert (shown.heard.words, shown.heard.taken) == ("confirm", "refused: to an earlier question")
    assert shown.asked.kind is Asking.READ_BACK
