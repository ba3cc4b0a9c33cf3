"""What a report says of stories with known times, and of invented cases."""

from __future__ import annotations

from itertools import pairwise

import pytest
from invented import invent
from stories import THREE_CRITERIA, UP_TO_THE_CRITERIA, Story

from voicecheck.core import facts
from voicecheck.core.inputs import Entered, Heard, Restarted, Said, Trouble
from voicecheck.core.replay import story
from voicecheck.review.examine import examine
from voicecheck.review.findings import Report
from voicecheck.review.report import report
from voicecheck.review.summary import duration

CLIPPED = ("checklist clips on the artery", "confirm")


def report_of(tale: Story) -> Report:
    return report(story(tale.lines()))


def up_to_the_clip() -> Story:
    """Opened at 0 s, six items at 1-6 s; criteria stand from 8, 10, 12 s, the pause from 19 s."""
    tale = Story()
    tale.say(*UP_TO_THE_CRITERIA, *THREE_CRITERIA, "checklist begin the pause")
    tale.wait()
    tale.say("confirm")
    return tale


@pytest.fixture(scope="module")
def clipped() -> Report:
    """The same, clipped at 21 s."""
    tale = up_to_the_clip()
    tale.say(*CLIPPED)
    return report_of(tale)


# ------------------------------------------------------------------------- what stood, how long


def test_how_long_each_criterion_had_stood_before_the_first_act(clipped: Report) -> None:
    act = clipped.first_act
    assert act is not None
    assert (act.name, act.at.since_s, act.during) == ("artery clipped", 21.0, "")
    assert [one.stood_s for one in act.criteria] == [13.0, 11.0, 9.0]
    assert act.pause.stood_s == 2.0


def test_the_summary_is_one_sentence_about_what_was_stated(clipped: Report) -> None:
    assert clipped.summary == (
        "Laparoscopic cholecystectomy, 21 s; 11 of 17 required items were stated and stood at the "
        "end; a clip or division was first called for after 20 s (artery clipped) and recorded; "
        "the first act (artery clipped) was recorded after 21 s, when the criteria had stood for "
        "9 s; the record was not closed."
    )


def test_a_statement_has_its_phrase_its_source_and_the_reply(clipped: Report) -> None:
    triangle = next(one for one in clipped.statements if one.item == "triangle")
    assert triangle.said.text == "checklist triangle free of fat"
    assert triangle.confirmed is not None
    assert (triangle.confirmed.text, triangle.confirmed.source) == ("confirm", "heard")
    assert triangle.said.confidence == 0.99
    table = next(one for one in clipped.statements if one.item == "table")
    assert table.confirmed is None


def test_the_pause_has_the_phrase_that_began_it(clipped: Report) -> None:
    pause = next(one for one in clipped.statements if one.item == "pause")
    assert pause.said.text == "checklist begin the pause"
    assert (clipped.pause.begun, clipped.pause.held) == (1, 1)


def test_an_answer_that_drops_a_read_back_is_not_confirmed() -> None:
    tale = Story()
    tale.say(*UP_TO_THE_CRITERIA, "checklist two and only two", "checklist structures uncertain")
    last = report_of(tale).statements[-1]
    assert (last.said.text, last.confirmed) == ("checklist structures uncertain", None)
    assert not last.satisfies
    assert (last.says, last.answered) == ("unclear", "Unclear. Stop: image, help or bail out.")


def test_an_event_is_named_as_the_cause_of_what_it_lapses() -> None:
    tale = up_to_the_clip()
    tale.say("checklist view is lost")
    found = report_of(tale)
    fell = {span.item for span in found.spans if span.ended == "view lost"}
    assert fell == {"triangle", "plate", "two", "pause"}
    lapse = found.corrections[-1]
    assert (lapse.kind, lapse.why) == ("lapsed", "view lost")
    assert lapse.what.startswith("triangle cleared; lower third off the plate")


def test_a_phase_comes_back_when_one_of_its_items_lapses() -> None:
    tale = up_to_the_clip()
    tale.say("checklist view is lost")
    titles = [stretch.title for stretch in report_of(tale).stretches]
    assert titles[-2:] == ["Clip and divide", "Three criteria"]


def test_an_act_in_an_emergency_shows_that_no_criterion_stood() -> None:
    tale = Story()
    tale.say(*UP_TO_THE_CRITERIA, "checklist emergency", "checklist clips on the artery")
    found = report_of(tale)
    (act,) = found.acts_outside
    assert act.during == "emergency"
    assert [one.stood_s for one in act.criteria] == [None, None, None]
    assert found.first_act is None
    assert "artery clipped noted outside the course (emergency); " in found.summary
    assert "no clipping or dividing was stated in the course" in found.summary


def test_after_an_emergency_the_first_act_is_the_one_stated_in_the_course() -> None:
    tale = Story()
    tale.say(*UP_TO_THE_CRITERIA, "checklist going for subtotal", "checklist emergency")
    tale.say("checklist clips on the artery", "checklist clips on the artery", "checklist carry on")
    tale.say(*THREE_CRITERIA, "checklist begin the pause")
    tale.wait()
    tale.say("confirm", *CLIPPED)
    found = report_of(tale)
    assert [act.during for act in found.acts] == ["emergency", "emergency", ""]
    assert found.first_act == found.acts[-1]
    assert [one.stood_s is None for one in found.acts[-1].criteria] == [False] * 3
    assert (
        "artery clipped noted outside the course (emergency); the first act in the course (artery "
        "clipped) was recorded after 26 s, when the criteria had stood for 9 s"
    ) in found.summary


def test_an_act_in_an_emergency_after_the_first_act_comes_after_it_in_the_summary(
    clipped: Report,
) -> None:
    tale = up_to_the_clip()
    tale.say(*CLIPPED, "checklist emergency", "checklist duct clipped leaving a pair")
    first, later = report_of(tale).acts
    assert report_of(tale).first_act == first == clipped.first_act
    assert later.during == "emergency"
    assert (
        "the criteria had stood for 9 s; duct clipped noted outside the course (emergency); "
    ) in report_of(tale).summary


def test_an_act_in_a_bail_out_names_the_bail_out() -> None:
    tale = Story()
    tale.say("checklist going for subtotal", "checklist clips on the artery")
    assert report_of(tale).acts_outside[0].during.startswith("bail-out: ")


# -------------------------------------------------------------- called for, lapsed, stated again


def test_the_first_call_for_a_clip_tells_when_what_stood_and_what_was_missing() -> None:
    """Six items at 1-6 s, a criterion from 8 s, a clip called for at 9 s, the rest after."""
    tale = Story()
    tale.say(*UP_TO_THE_CRITERIA, *THREE_CRITERIA[:2], "checklist clips on the artery")
    tale.say(*THREE_CRITERIA[2:], "checklist begin the pause")
    tale.wait()
    tale.say("confirm", *CLIPPED)
    found = report_of(tale)
    call = found.first_call
    assert call is not None
    assert (call.at.since_s, call.name, call.became) == (9.0, "artery clipped", "refused")
    assert [one.stood_s for one in call.criteria] == [1.0, None, None]
    assert (call.criteria_standing, call.pause.stood_s) == (1, None)
    assert list(call.missing) == ["plate", "two", "pause"]
    assert [one.became for one in found.calls] == ["refused", "recorded"]
    assert found.called_for_s == 22.0 - 9.0
    assert (
        "a clip or division was first called for after 9 s (artery clipped) and refused with 3 "
        "items missing; of 2 such calls 1 was refused; the first act (artery clipped) was recorded "
        "after 22 s, when the criteria had stood for 9 s; the record"
    ) in found.summary


@pytest.mark.parametrize(
    ("said", "became"),
    [
        (("checklist clips on the artery", "confirm"), ["recorded"]),
        (("checklist clips on the artery", "negative"), ["not recorded"]),
        (("checklist clips on the artery", "checklist active bleeding"), ["not recorded"]),
        (("checklist clips on the artery",), ["waits for confirm"]),
        (("checklist clips on the artery", "checklist clips on the artery"), None),
        (("checklist about to clip the artery",), ["refused"]),
        (("checklist the artery is not clipped",), []),
        (("checklist stand by", "checklist clips on the artery"), ["refused"]),
        (("checklist stand by", "checklist withdraw the arterial clips"), []),
        (("checklist withdraw the arterial clips",), []),
        (("checklist", "clips on the artery", "confirm"), ["recorded"]),
    ],
)
def test_what_counts_as_a_call_and_what_it_became(
    said: tuple[str, ...], became: list[str] | None
) -> None:
    tale = up_to_the_clip()
    tale.say(*said)
    found = [one.became for one in report_of(tale).calls]
    assert found == (["not recorded", "waits for confirm"] if became is None else became)


def test_a_call_in_an_emergency_tells_what_would_have_been_missing() -> None:
    tale = Story()
    tale.say(*UP_TO_THE_CRITERIA, "checklist emergency", "checklist clips on the artery")
    (call,) = report_of(tale).calls
    assert (call.became, call.during) == ("noted outside the course", "emergency")
    assert list(call.missing) == ["triangle", "plate", "two", "pause"]


def test_a_lapse_tells_its_cause_and_when_each_item_was_stated_again() -> None:
    """The view is lost at 20 s; the criteria stand again from 22 and 24 s, the third never."""
    tale = up_to_the_clip()
    tale.say("checklist view is lost", *THREE_CRITERIA[:4])
    found = report_of(tale)
    (lapse,) = found.lapses
    assert (lapse.at.since_s, lapse.why) == (20.0, "view lost")
    assert {one.item: lapse.took_s(one) for one in lapse.items} == {
        "triangle": 2.0,
        "plate": 4.0,
        "two": None,
        "pause": None,
    }


# -------------------------------------------------------------------- refused, corrected, left


def test_a_refusal_has_what_was_said_what_was_in_its_way_and_what_was_answered() -> None:
    tale = Story()
    tale.say("checklist clips on the artery")
    refusal = report_of(tale).refusals[0]
    assert (refusal.cause.text, refusal.what) == ("checklist clips on the artery", "artery clipped")
    assert refusal.why.startswith("outstanding: table head up, right side up; camera port")
    assert refusal.answered.startswith("Refused: artery clips. 10 missing. Next: table.")


def test_withdrawn_and_answered_anew_are_corrections() -> None:
    tale = Story()
    tale.say(
        *UP_TO_THE_CRITERIA,
        "checklist sulcus not seen",
        "checklist neck pulled the wrong way",
        "checklist withdraw the fundus",
    )
    kinds = [(one.kind, one.what) for one in report_of(tale).corrections]
    assert ("answered anew", "safe line shown") in kinds
    assert ("withdrawn", "fundus toward the right shoulder") in kinds


def test_a_bail_out_has_at_most_five_lines_that_led_to_it() -> None:
    tale = up_to_the_clip()
    tale.say(
        "checklist wall too thick to grasp",
        "checklist active bleeding",
        "checklist more than two structures",
        "checklist call for help",
        "checklist clips on the artery",
        "checklist converting to open",
        "checklist carry on",
    )
    departure = report_of(tale).departures[0]
    assert departure.what == "bail-out: conversion to open"
    assert [one.kind for one in departure.led] == ["event", "lapsed", "answer", "help", "refused"]
    assert departure.resumed is not None
    assert departure.resumed.since_s == departure.at.since_s + 1.0


# ------------------------------------------------------------------------------ how it was heard


def test_a_denied_read_back_has_the_phrase_that_was_read_back() -> None:
    tale = Story()
    tale.say(*UP_TO_THE_CRITERIA, "[unk]", "confirm", "checklist the the", "checklist say again")
    tale.say("checklist triangle free of fat", "negative", "checklist triangle free of fat")
    tale.wait()
    found = report_of(tale)
    assert [one.kind for one in found.misunderstood] == [
        "other speech",
        "reply to nothing",
        "not understood",
        "asked again",
        "negative",
        "no reply",
    ]
    assert found.misunderstood[4].why == (
        'read back after "checklist triangle free of fat", confidence 0.99'
    )
    heard = found.hearing
    assert (heard.heard, heard.understood, heard.other_speech) == (13, 10, 1)
    assert (heard.negatives, heard.no_replies, heard.asked_again) == (1, 1, 1)
    assert heard.not_understood == 1
    assert heard.confidence_median == heard.confidence_lowest == 0.99


def test_deafness_lasts_as_long_as_the_speech_did() -> None:
    tale = Story()
    tale.give(Said(text="Position.", audio_from_s=0.0, audio_to_s=0.75))
    deaf = report_of(tale).deaf[0]
    assert (deaf.start_s, deaf.end_s) == (0.25, 1.0)


def test_trouble_lasts_from_the_first_failure_until_it_is_over() -> None:
    tale = Story()
    for message, over in (("gone", False), ("still gone", False), ("back", True)):
        tale.give(Trouble(part="microphone", message=message, over=over))
    tale.give(Trouble(part="display", message="dark"))
    tale.give(Entered(text="checklist table tilted head up"))
    found = report_of(tale)
    spans = [(span.part, span.start.since_s, span.end) for span in found.troubles]
    assert spans[0][:2] == ("microphone", 1.0)
    assert found.troubles[0].end is not None
    assert found.troubles[0].end.since_s == 3.0
    assert spans[1] == ("display", 4.0, None)
    assert found.hearing.trouble_s == 3.0
    assert found.statements[0].said.source == "entered"


def test_a_gap_in_which_nobody_listened_is_an_event_and_trouble_of_the_program() -> None:
    tale = Story()
    tale.give(Restarted(gap_s=90.0), after_us=90_000_000)
    found = report_of(tale)
    assert (found.events[0].kind, found.events[0].what) == ("gap", "nobody listened for 1 min 30 s")
    assert (found.troubles[0].part, found.hearing.trouble_s) == ("program", 90.0)


# --------------------------------------------------------------------------------- every report


@pytest.fixture(scope="module")
def invented_reports() -> list[tuple[list[bytes], Report]]:
    logs = [invent(number) for number in range(30)]
    return [(log, report(story(log))) for log in logs]


def test_the_stretches_cover_the_record_without_gap_or_overlap(
    invented_reports: list[tuple[list[bytes], Report]],
) -> None:
    for _, found in invented_reports:
        stretches = found.stretches
        assert stretches[0].start == found.opened
        assert stretches[-1].end == found.ended
        assert all(a.end == b.start for a, b in pairwise(stretches))


def test_one_answer_at_a_time_stands_for_an_item(
    invented_reports: list[tuple[list[bytes], Report]],
) -> None:
    for _, found in invented_reports:
        for item in found.asked:
            spans = [span for span in found.spans if span.item == item.item]
            assert all(a.end is not None and a.end.line <= b.start.line for a, b in pairwise(spans))
            assert item.stands == any(span.end is None and span.satisfies for span in spans)


def test_what_was_heard_adds_up(invented_reports: list[tuple[list[bytes], Report]]) -> None:
    for _, found in invented_reports:
        heard = found.hearing
        unclear = heard.other_speech + heard.not_understood + heard.reply_to_nothing + heard.unsure
        assert heard.heard == heard.understood + unclear


def test_no_summary_claims_that_anything_is_so(
    invented_reports: list[tuple[list[bytes], Report]],
) -> None:
    for _, found in invented_reports:
        assert "achieved" not in found.summary
        assert "safe to" not in found.summary


def test_a_log_can_end_after_any_line() -> None:
    log = invent(0)
    for length in range(1, len(log) + 1, 3):
        found = examine(log[:length])
        assert found.intact
        assert found.report is not None
        assert found.report.ended.line == length


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0, "0 s"), (59.9, "59 s"), (60, "1 min 00 s"), (3661, "1 h 01 min 01 s")],
)
def test_a_duration_in_words(seconds: float, words: str) -> None:
    assert duration(seconds) == words


def test_an_utterance_has_its_place_in_the_sound() -> None:
    tale = Story()
    tale.give(Heard(text="[unk]", confidence=0.5, audio_from_s=0.0, audio_to_s=0.5))
    assert isinstance(tale.records[-1].fact, facts.NotUnderstood)
    assert report_of(tale).misunderstood[0].cause.audio_to_s == 0.5
