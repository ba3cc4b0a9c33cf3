"""One input in, one fact out: the customer's stories, told in phrases."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stories import (
    PLAIN_COMMON,
    SMALL_TEXT,
    THREE_CRITERIA,
    UP_TO_THE_CRITERIA,
    Story,
    moment,
    shipped,
    small,
)

from voicecheck.core import conduct_1, facts
from voicecheck.core.conduct_2.decide import decide
from voicecheck.core.conduct_2.grammar import phrases
from voicecheck.core.conduct_2.listening import least_confidence
from voicecheck.core.conduct_2.wording import spoken
from voicecheck.core.facts import Doubt, Fact, Why
from voicecheck.core.inputs import UNKNOWN, Due, Entered, Heard, Said, Trouble
from voicecheck.core.state import Mode, NothingDue
from voicecheck.ears.soundcheck import critical_phrases

UP_TO_THE_PAUSE = (*UP_TO_THE_CRITERIA, *THREE_CRITERIA)
CRITERIA = ("triangle", "plate", "two")


def at_the_gate() -> Story:
    """A case with everything stated but the acts."""
    story = Story()
    story.say(*UP_TO_THE_PAUSE, "checklist begin the pause")
    story.wait()
    story.say("confirm")
    return story


def standing(story: Story) -> set[str]:
    """The items that stand."""
    items = story.case.procedure.items
    return {i.id for i, answer in zip(items, story.case.state.standing, strict=True) if answer}


def refused(why: Why, item: str = "", *outstanding: str) -> facts.Refused:
    """A refusal."""
    return facts.Refused(why=why, item=item, outstanding=outstanding)


def test_a_full_case_runs_to_its_close() -> None:
    story = at_the_gate()
    for phrase in (
        "checklist clips on the artery",
        "checklist duct clipped leaving a pair",
        "checklist artery divided",
        "checklist duct transected",
    ):
        proposed, stated = story.say(phrase, "confirm")
        assert isinstance(proposed, facts.Proposed)
        assert isinstance(stated, facts.Stated)
    story.say(
        "checklist liver bed inspected",
        "checklist specimen removed",
        "checklist counts handed over",
    )
    assert story.say("checklist close the record", "confirm") == [
        facts.CloseProposed(),
        facts.Closed(outstanding=()),
    ]
    assert story.case.state.mode is Mode.CLOSED


def test_an_early_clip_is_refused_and_names_all_that_is_outstanding() -> None:
    story = Story()
    story.say(*UP_TO_THE_CRITERIA, *THREE_CRITERIA[:2])
    assert story.say("checklist clips on the artery", "confirm") == [
        refused(Why.OUTSTANDING, "artery_clipped", "plate", "two", "pause"),
        facts.NotUnderstood(why=Doubt.NOTHING_TO_CONFIRM),
    ]


def test_the_pause_is_refused_while_a_criterion_is_outstanding() -> None:
    story = Story()
    story.say(*UP_TO_THE_CRITERIA, *THREE_CRITERIA[:4])
    assert story.say("checklist begin the pause") == [refused(Why.OUTSTANDING, "pause", "two")]


def test_more_than_two_is_stated_at_once_and_keeps_the_gate_closed() -> None:
    story = Story()
    story.say(*UP_TO_THE_CRITERIA, *THREE_CRITERIA[:4])
    assert story.say("checklist more than two structures", "checklist begin the pause") == [
        facts.Stated(item="two", answer="more"),
        refused(Why.OUTSTANDING, "pause", "two"),
    ]


def test_more_than_two_takes_back_a_pause_that_stood() -> None:
    story = at_the_gate()
    assert story.say("checklist more than two structures") == [
        facts.Stated(item="two", answer="more", lapsed=("pause",))
    ]


def test_silence_believes_nothing() -> None:
    story = Story()
    story.say("checklist triangle free of fat")
    assert story.wait() == facts.Lapsed(item="triangle")
    assert story.say("confirm") == [facts.NotUnderstood(why=Doubt.NOTHING_TO_CONFIRM)]
    assert standing(story) == set()


def test_a_confirm_that_comes_late_believes_nothing() -> None:
    """Even if no Due came first: a confirm counts only within a set time (the customer's rule)."""
    story = Story()
    story.say("checklist triangle free of fat")
    due_us = story.case.due_us
    assert due_us is not None
    late_us = due_us - story.records[-1].at.mono_us
    assert story.give(Entered(text="confirm"), after_us=late_us) == facts.Lapsed(item="triangle")
    assert standing(story) == set()


def test_a_late_confirm_closes_nothing() -> None:
    story = Story()
    story.say("checklist close the record")
    assert story.give(Entered(text="confirm"), after_us=10_000_000) == facts.Lapsed(item="")


def test_negative_takes_the_read_back_back() -> None:
    story = Story()
    story.say("checklist triangle free of fat")
    assert story.say("negative", "confirm") == [
        facts.Retracted(item="triangle"),
        facts.NotUnderstood(why=Doubt.NOTHING_TO_CONFIRM),
    ]


def test_the_pause_is_stated_only_after_its_time() -> None:
    story = Story()
    story.say(*UP_TO_THE_PAUSE)
    assert story.say("checklist begin the pause", "confirm") == [
        facts.PauseBegun(item="pause"),
        facts.NotUnderstood(why=Doubt.NOTHING_TO_CONFIRM),
    ]
    assert story.wait() == facts.Proposed(item="pause", answer="held")


@pytest.mark.parametrize(
    ("event", "lapsed"),
    [
        ("checklist active bleeding", (*CRITERIA, "pause")),
        ("checklist view is lost", (*CRITERIA, "pause")),
        ("checklist retraction slipped", ("fundus", "neck", "above", *CRITERIA, "pause")),
        ("checklist bile is spilling", ()),
    ],
)
def test_an_event_lapses_what_it_must_and_names_it(event: str, lapsed: tuple[str, ...]) -> None:
    """The customer's rule: view lost, bleeding or slipped retraction lapses the criteria."""
    story = at_the_gate()
    before = standing(story)
    (fact,) = story.say(event)
    assert isinstance(fact, facts.Occurred)
    assert fact.lapsed == lapsed
    assert standing(story) == before - set(lapsed)


@pytest.mark.parametrize("event", ["active bleeding", "view is lost", "bile is spilling"])
def test_an_event_stops_a_running_pause(event: str) -> None:
    story = Story()
    story.say(*UP_TO_THE_PAUSE, "checklist begin the pause", f"checklist {event}")
    assert story.case.state.mode is Mode.IN_COURSE
    assert story.case.due_us is None


def test_what_was_lapsed_is_stated_again() -> None:
    story = at_the_gate()
    story.say("checklist view is lost", *THREE_CRITERIA, "checklist begin the pause")
    story.wait()
    *_, fact = story.say("confirm", "checklist clips on the artery")
    assert fact == facts.Proposed(item="artery_clipped", answer="clipped")


def test_an_act_that_is_done_stays_done() -> None:
    story = at_the_gate()
    story.say("checklist clips on the artery", "confirm", "checklist active bleeding")
    assert "artery_clipped" in standing(story)


def test_what_is_withdrawn_takes_with_it_what_needed_it() -> None:
    story = at_the_gate()
    assert story.say("checklist withdraw the triangle") == [
        facts.Withdrawn(item="triangle", lapsed=("pause",))
    ]
    assert story.say("checklist withdraw the triangle") == [refused(Why.NOT_STANDING, "triangle")]


def test_what_stands_is_withdrawn_also_while_it_is_stated_anew() -> None:
    story = Story()
    story.say("checklist triangle free of fat", "confirm", "checklist triangle free of fat")
    assert story.say("checklist withdraw the triangle") == [facts.Withdrawn(item="triangle")]
    assert standing(story) == set()
    assert story.case.state.pending is None


def test_what_only_waits_is_dropped_when_it_is_withdrawn() -> None:
    story = Story()
    story.say("checklist triangle free of fat")
    assert story.say("checklist withdraw the triangle") == [facts.Retracted(item="triangle")]


@pytest.mark.parametrize(
    "before",
    [
        (),
        ("checklist triangle free of fat",),
        ("checklist stand by",),
        ("checklist converting to open",),
        (*UP_TO_THE_PAUSE, "checklist begin the pause"),
        ("checklist close the record",),
    ],
)
def test_an_emergency_is_never_blocked(before: tuple[str, ...]) -> None:
    """The customer's rule: accepted at once from every state, recorded as an override."""
    story = Story()
    story.say(*before)
    lapsed = tuple(item for item in (*CRITERIA, "pause") if item in standing(story))
    assert story.say("checklist emergency", "checklist clips on the artery") == [
        facts.Overridden(lapsed=lapsed),
        facts.Noted(item="artery_clipped", answer="clipped"),
    ]
    assert "artery_clipped" not in standing(story)


def test_after_an_emergency_the_criteria_are_stated_again() -> None:
    story = at_the_gate()
    story.say("checklist emergency", "checklist carry on")
    assert story.say("checklist clips on the artery") == [
        refused(Why.OUTSTANDING, "artery_clipped", *CRITERIA, "pause")
    ]


def test_standing_by_takes_no_statements_until_resumed() -> None:
    story = at_the_gate()
    assert story.say("checklist stand by", "checklist table tilted head up") == [
        facts.StoodBy(lapsed=("pause",)),
        refused(Why.STANDING_BY, "table"),
    ]
    assert story.say("checklist carry on", "checklist table tilted head up") == [
        facts.Resumed(),
        facts.Stated(item="table", answer="tilted"),
    ]


def test_what_is_beside_the_course_leaves_a_read_back_open() -> None:
    story = Story()
    story.say("checklist triangle free of fat")
    pending = story.case.state.pending
    assert story.say(
        "checklist say again",
        "checklist what is outstanding",
        "checklist wall too thick to grasp",
        "checklist the weather is nice",
        "anything else",
    ) == [
        facts.Repeated(),
        facts.Listed(outstanding=tuple(item.id for item in story.case.procedure.items)),
        facts.Cautioned(caution="thick_wall"),
        facts.NotUnderstood(why=Doubt.NOT_UNDERSTOOD),
        facts.NotUnderstood(why=Doubt.OTHER_SPEECH),
    ]
    assert story.case.state.pending == pending


@pytest.mark.parametrize(
    ("doubt", "fact"),
    [
        ("checklist call for help", facts.HelpCalled(lapsed=("pause",))),
        ("checklist cannot see the tip", facts.Cautioned(caution="blind", lapsed=("pause",))),
        ("checklist duct looks short", facts.Cautioned(caution="short_duct", lapsed=("pause",))),
    ],
)
def test_a_doubt_before_a_clip_drops_its_read_back_and_asks_for_the_pause_again(
    doubt: str, fact: Fact
) -> None:
    """Which cautions do is said in the procedure file (common practice, no source)."""
    story = at_the_gate()
    story.say("checklist clips on the artery")
    assert story.say(doubt, "confirm", "checklist clips on the artery") == [
        fact,
        facts.NotUnderstood(why=Doubt.NOTHING_TO_CONFIRM),
        facts.Refused(why=Why.OUTSTANDING, item="artery_clipped", outstanding=("pause",)),
    ]


def test_a_difficulty_named_during_the_pause_ends_it() -> None:
    story = Story()
    story.say(*UP_TO_THE_CRITERIA, *THREE_CRITERIA, "checklist begin the pause")
    story.say("checklist wall too thick to grasp")
    assert story.case.state.mode is Mode.IN_COURSE
    assert story.case.due_us is None


# ------------------------------------------------------------------------------------------- age


def test_the_pause_is_good_for_five_minutes_and_each_act_renews_it() -> None:
    story = at_the_gate()
    story.give(by_voice("checklist clips on the artery"), after_us=200_000_000)
    assert story.say("confirm") == [facts.Stated(item="artery_clipped", answer="clipped")]
    story.give(by_voice("checklist duct clipped leaving a pair"), after_us=299_000_000)
    (fell,) = {story.wait()}
    assert fell == facts.Expired(lapsed=("pause",))
    assert story.case.state.pending is None
    assert story.say("confirm") == [facts.NotUnderstood(why=Doubt.NOTHING_TO_CONFIRM)]


def test_a_confirm_that_comes_when_the_pause_has_expired_confirms_nothing() -> None:
    story = at_the_gate()
    story.give(by_voice("checklist clips on the artery"), after_us=299_000_000)
    assert story.say("confirm") == [facts.Lapsed(item="artery_clipped")]


def test_the_criteria_are_good_for_half_an_hour_after_the_last_of_them() -> None:
    story = Story()
    story.say(*UP_TO_THE_CRITERIA, *THREE_CRITERIA[:2])
    story.give(by_voice("checklist lower third off the plate"), after_us=1_700_000_000)
    story.say("confirm", "checklist view is lost", *THREE_CRITERIA[:2])
    assert story.wait() == facts.Expired(lapsed=("triangle",))
    assert story.records[-1].at.mono_us - story.case.stated_at["triangle"].mono_us == 1_800_000_000


def test_once_everything_is_divided_nothing_expires() -> None:
    story = at_the_gate()
    for phrase in (
        "checklist clips on the artery",
        "checklist duct clipped leaving a pair",
        "checklist artery divided",
        "checklist duct transected",
    ):
        assert story.case.wakes_us is not None
        story.say(phrase, "confirm")
    assert story.case.wakes_us is None


# ------------------------------------------------------------------- replies to an earlier question


def test_a_key_pressed_before_the_question_was_on_the_screen_confirms_nothing() -> None:
    story = Story()
    story.say(*UP_TO_THE_CRITERIA, "checklist triangle free of fat")
    shown = story.records[-1].seq
    story.say("confirm", "checklist lower third off the plate")
    late = story.give(Entered(text="confirm", line=shown), after_us=400_000)
    assert late == facts.Refused(why=Why.STALE, item="plate")
    assert story.give(Entered(text="negative", line=shown)) == late
    assert story.give(Entered(text="confirm", line=story.records[-1].seq)) == facts.Stated(
        item="plate", answer="off"
    )


def test_what_is_no_reply_counts_whatever_was_on_the_screen() -> None:
    story = Story()
    story.say("checklist triangle free of fat")
    assert story.give(Entered(text="checklist emergency", line=1)) == facts.Overridden()


# -------------------------------------------------------------- the address word alone, and beside


def test_for_some_seconds_after_the_address_word_alone_none_is_needed() -> None:
    story = Story()
    assert story.say("checklist", "table tilted head up", "all four ports in place") == [
        facts.Addressed(),
        facts.Stated(item="table", answer="tilted"),
        facts.NotUnderstood(why=Doubt.OTHER_SPEECH),
    ]
    attends_us = shipped().common.listening.attends_s * 1_000_000
    lasts_us = 1_250_000  # the utterance itself, from 1.25 to 2.5 s
    for after_us, fact in (
        (attends_us + lasts_us, facts.Stated(item="ports", answer="placed")),
        (attends_us + lasts_us + 1, facts.NotUnderstood(why=Doubt.OTHER_SPEECH)),
    ):
        story.say("checklist")
        assert story.give(by_voice("all four ports in place"), after_us=after_us) == fact


def test_the_time_runs_from_the_end_of_the_answer() -> None:
    story = Story()
    story.say("checklist")
    story.give(Said(text="Listening.", audio_from_s=0.0, audio_to_s=1.0), after_us=5_000_000)
    fact = story.give(by_voice("table tilted head up"), after_us=5_000_000)
    assert fact == facts.Stated(item="table", answer="tilted")


def test_a_critical_statement_after_the_address_word_alone_is_read_back_too() -> None:
    assert Story().say("checklist", "triangle free of fat") == [
        facts.Addressed(),
        facts.Proposed(item="triangle", answer="cleared"),
    ]


@pytest.mark.parametrize(
    ("addressed", "doubt"), [(0.0, Doubt.OTHER_SPEECH), (0.99, Doubt.NOT_UNDERSTOOD)]
)
def test_only_who_surely_said_the_address_word_gets_an_answer(
    addressed: float, doubt: Doubt
) -> None:
    story = Story()
    mumbled = replace(by_voice(f"checklist {UNKNOWN}"), addressed=addressed)
    assert story.give(mumbled) == facts.NotUnderstood(why=doubt)
    assert bool(spoken(story.case, story.records[-1])) is (doubt is Doubt.NOT_UNDERSTOOD)
    unheard = replace(unsure("checklist table tilted head up", 0.0), addressed=addressed)
    why = Doubt.UNSURE if addressed else Doubt.OTHER_SPEECH
    assert story.give(unheard) == facts.NotUnderstood(why=why)


def test_an_unsure_address_word_alone_opens_no_ears() -> None:
    story = Story()
    least = shipped().common.listening.least_addressed
    assert story.give(unsure("checklist", least - 0.001)) == facts.NotUnderstood(
        why=Doubt.OTHER_SPEECH
    )
    assert story.say("table tilted head up") == [facts.NotUnderstood(why=Doubt.OTHER_SPEECH)]


# --------------------------------------------------------------- what is not so, or not yet so


def test_what_is_denied_falls_if_it_stood_and_takes_with_it_what_needed_it() -> None:
    story = at_the_gate()
    assert story.say("checklist triangle not free of fat") == [
        facts.Withdrawn(item="triangle", lapsed=("pause",))
    ]


def test_what_stands_falls_if_it_is_denied_also_while_it_is_stated_anew() -> None:
    story = Story()
    story.say("checklist triangle free of fat", "confirm", "checklist triangle free of fat")
    assert story.say("checklist triangle not free of fat") == [facts.Withdrawn(item="triangle")]
    assert standing(story) == set()
    assert story.case.state.pending is None


def test_what_is_denied_while_it_waits_is_not_recorded() -> None:
    story = Story()
    assert story.say(
        "checklist triangle free of fat", "checklist triangle not free of fat", "confirm"
    ) == [
        facts.Proposed(item="triangle", answer="cleared"),
        facts.Retracted(item="triangle"),
        facts.NotUnderstood(why=Doubt.NOTHING_TO_CONFIRM),
    ]


@pytest.mark.parametrize("said", ["maybe triangle free of fat", "is triangle free of fat"])
def test_a_doubt_or_a_question_states_nothing_and_takes_nothing_back(said: str) -> None:
    story = Story()
    assert story.say(f"checklist {said}") == [refused(Why.UNSETTLED, "triangle")]
    story.say("checklist triangle free of fat")
    pending = story.case.state.pending
    assert story.say(f"checklist {said}") == [refused(Why.UNSETTLED, "triangle")]
    assert story.case.state.pending == pending
    story.say("confirm", f"checklist {said}")
    assert standing(story) == {"triangle"}


def test_a_clip_that_is_only_announced_is_refused_while_the_gate_is_closed() -> None:
    story = Story()
    story.say(*UP_TO_THE_CRITERIA, *THREE_CRITERIA[:4])
    assert story.say("checklist going to clip the artery") == [
        refused(Why.OUTSTANDING, "artery_clipped", "two", "pause")
    ]
    assert at_the_gate().say("checklist going to clip the artery") == [
        refused(Why.UNSETTLED, "artery_clipped")
    ]


def by_voice(phrase: str) -> Heard:
    return Heard(text=phrase, confidence=0.99, audio_from_s=1.25, audio_to_s=2.5)


def test_closing_names_what_was_never_stated() -> None:
    story = Story()
    story.say(*UP_TO_THE_CRITERIA)
    *_, closed = story.say("checklist close the record", "confirm")
    assert isinstance(closed, facts.Closed)
    assert closed.outstanding[:4] == (*CRITERIA, "pause")


def test_other_speech_and_unknown_words_are_told_apart() -> None:
    assert Story().say(
        UNKNOWN, "clip it", "checklist thank you nurse", "by hand: clip it", "confirm", "negative"
    ) == [
        facts.NotUnderstood(why=Doubt.OTHER_SPEECH),
        facts.NotUnderstood(why=Doubt.OTHER_SPEECH),
        facts.NotUnderstood(why=Doubt.NOT_UNDERSTOOD),
        facts.NotUnderstood(why=Doubt.NOT_UNDERSTOOD),
        facts.NotUnderstood(why=Doubt.NOTHING_TO_CONFIRM),
        facts.NotUnderstood(why=Doubt.NOTHING_TO_CONFIRM),
    ]


def unsure(phrase: str, confidence: float) -> Heard:
    return Heard(text=phrase, confidence=confidence, audio_from_s=0.0, audio_to_s=1.0)


@pytest.mark.parametrize("phrase", sorted(phrases(shipped())))
def test_a_phrase_heard_with_too_little_confidence_is_asked_again_and_changes_nothing(
    phrase: str,
) -> None:
    least = least_confidence(shipped(), phrases(shipped())[phrase])
    assert shipped().common.listening.least_asked < least < 1
    story = Story()
    before = story.case.state
    fact = story.give(unsure(phrase, least - 0.001))
    reply = phrase in ("confirm", "negative")  # nothing waits: talk, and nobody is asked
    assert fact == facts.NotUnderstood(why=Doubt.NOTHING_TO_CONFIRM if reply else Doubt.UNSURE)
    assert story.case.state == before
    assert spoken(story.case, story.records[-1]) == ("" if reply else "Say again.")
    assert not isinstance(story.give(unsure(phrase, least)), facts.NotUnderstood) or reply


def test_what_was_hardly_said_is_other_speech_and_nobody_is_asked() -> None:
    least = shipped().common.listening.least_asked
    assert 0 < least < shipped().common.listening.least_confidence
    story = Story()
    for phrase in sorted(phrases(shipped())):
        fact = story.give(unsure(phrase, least - 0.001))
        assert isinstance(fact, facts.NotUnderstood)
        assert fact.why != "unsure"
        assert spoken(story.case, story.records[-1]) == ""
    assert story.give(unsure("checklist emergency", least)) == facts.NotUnderstood(why=Doubt.UNSURE)


def test_a_critical_statement_needs_more_and_a_confirm_most() -> None:
    """Also the safe way: "more than two" opens nothing, but no read-back catches it if misheard."""
    needs = {
        phrase: least_confidence(shipped(), each) for phrase, each in phrases(shipped()).items()
    }
    order = ("checklist emergency", "checklist two and only two", "confirm")
    assert needs[order[0]] < needs[order[1]] < needs[order[2]]
    grave = set(critical_phrases(shipped()))
    assert "checklist more than two structures" in grave
    assert {needs[phrase] for phrase in grave} == {needs[order[1]]}


def test_an_unsure_confirm_leaves_the_read_back_open() -> None:
    story = Story()
    story.say("checklist triangle free of fat")
    enough_for_a_phrase = shipped().common.listening.least_confidence
    assert story.give(unsure("confirm", enough_for_a_phrase)) == facts.NotUnderstood(
        why=Doubt.UNSURE
    )
    assert story.say("confirm") == [facts.Stated(item="triangle", answer="cleared")]


def test_logs_from_before_the_operating_point_was_data_are_read_as_they_were_decided() -> None:
    """Then the recogniser decided, and passed on only what it believed."""
    common = PLAIN_COMMON.splitlines(keepends=True)
    before = "".join(line for line in common if not line.startswith("least_"))
    assert before != PLAIN_COMMON
    procedure = conduct_1.parse(SMALL_TEXT, before)
    commands = set(conduct_1.phrases(procedure).values())
    assert {conduct_1.least_confidence(procedure, each) for each in commands} == {0.0}


def test_words_by_hand_count_as_words_heard() -> None:
    story = Story()
    assert story.say("by hand: checklist triangle free of fat", "by hand: confirm") == [
        facts.Proposed(item="triangle", answer="cleared"),
        facts.Stated(item="triangle", answer="cleared"),
    ]


def test_the_machine_and_its_parts_leave_lines_too() -> None:
    story = Story()
    trouble = Trouble(part="microphone", message="unplugged")
    assert story.give(Said(text="x", audio_from_s=0.0, audio_to_s=1.0)) == facts.Spoke()
    assert story.give(trouble) == facts.Failed(part="microphone")
    assert story.give(replace(trouble, over=True)) == facts.Recovered(part="microphone")


def test_nothing_is_due_before_its_time() -> None:
    story = Story()
    with pytest.raises(NothingDue):
        story.give(Due())
    story.say("checklist triangle free of fat")
    with pytest.raises(NothingDue):
        story.give(Due(), after_us=9_999_999)
    assert len(story.records) == 2


@given(
    said=st.lists(st.sampled_from([*phrases(small())]), max_size=60),
    confidence=st.floats(0.98, 1),
    from_s=st.floats(0, 1e6),
)
def test_the_same_words_at_the_same_time_are_the_same_facts(
    said: list[str], confidence: float, from_s: float
) -> None:
    """Only the input, the moment and the facts before it decide: no randomness."""
    one, other = Story(text=SMALL_TEXT), Story(text=SMALL_TEXT)
    for phrase in said:
        if one.case.state.mode is Mode.CLOSED:
            break
        heard = Heard(
            text=phrase, confidence=confidence, audio_from_s=from_s, audio_to_s=from_s + 1
        )
        first: Fact = one.say(phrase)[0]
        assert other.give(heard) == first
        again = decide(other.case, heard, moment(other.records[-1].at.mono_us))
        assert again == decide(one.case, heard, moment(one.records[-1].at.mono_us))
    one.case.close()
    other.case.close()


# ------------------------------------------------------------------------- cut off after an "and"


@pytest.mark.parametrize(
    ("before", "paused_s", "fact"),
    [
        ("checklist table tilted head up and", 0.4, facts.Stated(item="ports", answer="placed")),
        ("checklist table tilted head up then", 1.0, facts.Stated(item="ports", answer="placed")),
        ("checklist table tilted head up and", 1.1, None),
        ("checklist table tilted head up", 0.4, None),
    ],
)
def test_what_follows_an_and_in_the_same_breath_needs_no_address_word(
    before: str, paused_s: float, fact: Fact | None
) -> None:
    story = Story()
    story.say(before)
    after = Heard(
        text="all four ports in place",
        confidence=0.99,
        audio_from_s=2.5 + paused_s,
        audio_to_s=4.0 + paused_s,
    )
    nobodys = facts.NotUnderstood(why=Doubt.OTHER_SPEECH)
    assert story.give(after) == (fact or nobodys)
    again = Story()
    again.say(before)
    told = again.give(replace(after, over=True))
    assert told == (facts.NotUnderstood(why=Doubt.SPOKEN_OVER) if fact else nobodys)
