"""A procedure is data altogether: one of another trade, with its own events and words."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest
from stories import PLAIN_COMMON, Story

from voicecheck.core import facts
from voicecheck.core.conduct import CURRENT
from voicecheck.core.procedure import Procedure
from voicecheck.ears import lexicon
from voicecheck.ears.soundcheck import weaknesses

TEXT = (Path(__file__).parents[1] / "procedures" / "scaffold.toml").read_text(encoding="utf-8")


@cache
def scaffold() -> Procedure:
    return CURRENT.parse(TEXT, PLAIN_COMMON)


def told(*said: str) -> str:
    """What the machine says last, after these."""
    story = Story(text=TEXT)
    story.say(*said)
    return CURRENT.spoken(story.case, story.records[-1])


def test_every_word_can_be_pronounced_and_no_critical_phrase_sounds_like_another() -> None:
    lexicon.check(CURRENT.vocabulary(scaffold()).words, scaffold().file.lexicon)
    assert list(weaknesses(scaffold())) == []


def test_its_events_lapse_what_the_file_says() -> None:
    story = Story(text=TEXT)
    story.say("checklist the stabilisers are locked", "checklist all the braces are in", "confirm")
    (fact,) = story.say("checklist there's strong wind")
    assert fact == facts.Occurred(event="wind", lapsed=("stabilisers", "braces"))


@pytest.mark.parametrize(
    ("said", "answer"),
    [
        ("what is outstanding", "4 outstanding before any climb: ground; stabilisers; braces."),
        ("up the platform from inside", "Refused: climb. 4 missing. Next: ground."),
        ("about to climb", "Refused: climb. 4 missing. Next: ground."),
        ("we're taking the tower down", "Taken down. Scaffold given up, noted."),
        ("the braces aren't in", "Not recorded: braces. State it once done."),
        ("a brace is loose", "A brace is missing. Stop."),
    ],
)
def test_it_answers_in_the_words_of_the_trade(said: str, answer: str) -> None:
    assert told(f"checklist {said}") == answer


def test_the_gate_holds_back_the_climb_until_the_second_look() -> None:
    story = Story(text=TEXT)
    story.say("checklist the ground is firm", "checklist stabilisers out and locked")
    story.say("checklist every brace is fastened", "confirm", "checklist begin the second look")
    story.wait()
    story.say("confirm", "checklist platform climbed from inside", "confirm")
    assert story.case.outstanding() == ()
