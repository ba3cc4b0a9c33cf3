"""What happened stays on the screen: what fell and by what, unsafe answers, acts noted, trouble.

What must stay is the customer's list: the issue "Screens and records that tell the truth at a
glance", under "The prompt display".
"""

from __future__ import annotations

import pytest
from shown import BEFORE, CRITERIA, MUTE, PAUSE, UNPLUGGED
from states import ALL, BLEEDING, GATE_OPEN, HELP, SCAFFOLD_TEXT, SLIPPED, Said, seen, told, view_of
from stories import Story

from voicecheck.core import facts
from voicecheck.core.inputs import Trouble
from voicecheck.core.replay import replay
from voicecheck.display.screen import Line, Mark, Told, View
from voicecheck.display.view import view


def line(shown: View, label: str) -> Line:
    (found,) = (each for stage in shown.phases for each in stage.lines if each.label == label)
    return found


def kept(shown: View, mark: Mark) -> list[str]:
    return [each.text for each in shown.kept if each.mark is mark]


def when(story: Story, fact: type[facts.Fact]) -> str:
    """The time of its last such line."""
    return [record.at.utc for record in story.records if isinstance(record.fact, fact)][-1]


def test_a_lapse_has_its_mark_word_cause_and_time_until_it_is_stated_again() -> None:
    story = told([*GATE_OPEN, BLEEDING, "[unk]", "checklist what is outstanding"])
    happened = when(story, facts.Occurred)
    for label in ("triangle", "lower third", "structures", "pause"):
        fell = line(seen(story), label)
        assert (fell.mark, fell.word, fell.since_utc) == (Mark.FELL, "lapsed: bleeding", happened)
    assert Told(mark=Mark.FELL, text="lapsed: bleeding", at_utc=happened) in seen(story).kept
    assert line(seen(story), "artery clips").mark is Mark.OPEN, "never stated looks otherwise"
    story.say(*CRITERIA)
    assert line(seen(story), "triangle").mark is Mark.STANDS
    assert kept(seen(story), Mark.FELL) == ["lapsed: bleeding"], "of the pause"


@pytest.mark.parametrize(
    ("said", "label", "word"),
    [
        ([*GATE_OPEN, SLIPPED], "neck", "lapsed: retraction slipped"),
        ([*GATE_OPEN, HELP], "pause", "lapsed: help called"),
        ([*GATE_OPEN, "…"], "pause", "lapsed: too long ago"),
        ([*GATE_OPEN, "checklist duct looks short"], "pause", "lapsed: short duct"),
        ([*GATE_OPEN, "checklist stand by"], "pause", "lapsed: standing by"),
        ([*GATE_OPEN, "checklist emergency"], "triangle", "lapsed: emergency"),
        ([*GATE_OPEN, "checklist converting to open"], "triangle", "lapsed: conversion to open"),
        ([*GATE_OPEN, "checklist withdraw the triangle"], "triangle", "withdrawn: triangle"),
        ([*GATE_OPEN, "checklist withdraw the triangle"], "pause", "withdrawn: triangle"),
        ([*GATE_OPEN, "checklist more than two structures"], "pause", "lapsed: structures"),
    ],
)
def test_every_cause_of_a_lapse_is_named(said: list[Said], label: str, word: str) -> None:
    fell = line(seen(told(said)), label)
    assert (fell.mark, fell.word) == (Mark.FELL, word)


def test_the_events_of_another_trade_are_causes_too() -> None:
    ready = ["checklist every brace is fastened", "confirm"]
    shown = seen(told([*ready, "checklist wind is picking up"], SCAFFOLD_TEXT))
    assert line(shown, "braces").word == "lapsed: strong wind"
    assert line(shown, "ground").mark is Mark.OPEN


def test_a_case_that_is_taken_up_again_remembers_as_much() -> None:
    story = told([*GATE_OPEN, BLEEDING, HELP, "checklist what is outstanding"])
    again = replay(story.lines())
    assert view(again, again.last, listening=True) == seen(story)
    again.close()


@pytest.mark.parametrize(
    ("said", "label", "word"),
    [
        ([*BEFORE, *CRITERIA[:4], "checklist structures uncertain"], "structures", "unclear"),
        ([*BEFORE[:3], "checklist neck pulled the wrong way"], "neck", "neck pulled up"),
    ],
)
def test_an_unsafe_answer_is_never_plainly_stated(said: list[Said], label: str, word: str) -> None:
    shown = seen(told(said))
    assert (line(shown, label).mark, word in line(shown, label).word) == (Mark.UNSAFE, True)
    assert shown.heard is not None
    assert shown.heard.taken == f"stated, not as required: {label}"
    assert shown.heard.mark is Mark.UNSAFE


def test_outside_the_course_what_was_left_since_when_help_and_acts_stay() -> None:
    act = "checklist clips on the artery"
    story = told([*GATE_OPEN, "checklist emergency", HELP, act, "[unk]", "[unk]"])
    shown = seen(story)
    assert line(shown, "dissection").mark is Mark.STANDS
    assert line(shown, "artery clips").mark is Mark.NOTED
    assert [(each.text, each.at_utc) for each in shown.kept] == [
        ("aside since", when(story, facts.Overridden)),
        ("help", when(story, facts.HelpCalled)),
        ("artery clips", when(story, facts.Noted)),
    ]
    story.say("checklist carry on")
    assert "aside since" not in kept(seen(story), Mark.NOTED)
    assert line(seen(story), "artery clips").mark is Mark.NOTED, "noted does not stand"
    story.say(*CRITERIA, PAUSE[0])
    story.wait()
    story.say("confirm", act, "confirm")
    assert line(seen(story), "artery clips").mark is Mark.STANDS


def test_an_unsafe_answer_noted_outside_the_course_is_told_as_that() -> None:
    shown = seen(told(["checklist emergency", "checklist structures uncertain"]))
    assert line(shown, "structures").word == "noted outside the course, not as required"


@pytest.mark.parametrize("trouble", [UNPLUGGED, MUTE, Trouble(part="recogniser", message="m")])
def test_a_machine_in_trouble_never_says_say(trouble: Trouble) -> None:
    said: dict[str, list[Said]] = {
        "a question": [*BEFORE],
        "a read-back": [*BEFORE, CRITERIA[0]],
        "standing by": ["checklist stand by"],
        "emergency": ["checklist emergency"],
        "bailed out": ["checklist leaving a drain"],
        "the end": [*GATE_OPEN, BLEEDING],
    }
    for name, story in said.items():
        shown = seen(told([*story, trouble]))
        words = [shown.asked.text, shown.asked.say_label, shown.gate.sentence, shown.missing]
        words += [each.text for each in shown.kept]
        assert not any("say" in text.lower().split() for text in words), (name, words)
        assert shown.asked.say, f"{name}: what may be entered stays"
        assert shown.kept[0].mark is Mark.TROUBLE, "first, because it changes how to go on"


def test_every_fact_has_words_on_the_screen_and_no_state_lacks_an_answer_for_the_room() -> None:
    for name in ALL:
        shown = view_of(name)
        assert shown.asked.text, name
        assert shown.gate.sentence, name
        for phase in shown.phases:
            for each in phase.lines:
                assert (each.mark is Mark.OPEN) == (not each.word), (name, each)


def test_there_are_as_many_states_as_the_customer_asks_for() -> None:
    assert len(ALL) >= 36
    views = [view_of(name) for name in ALL]
    assert {each.mark for shown in views for stage in shown.phases for each in stage.lines} == {
        Mark.STANDS,
        Mark.UNSAFE,
        Mark.OPEN,
        Mark.FELL,
        Mark.NOTED,
    }
    marks = {each.mark for shown in views for each in shown.kept}
    marks |= {shown.heard.mark for shown in views if shown.heard}
    assert marks == set(Mark) - {Mark.OPEN}


def test_a_rehearsal_carries_its_mark() -> None:
    assert seen(told([])).rehearsal == ""
    assert seen(told([], rehearsal=True)).rehearsal == "Rehearsal"
