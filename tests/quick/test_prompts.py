"""Whatever is said is short, and nothing that is said answers the machine's own questions.

The cases are random, but lead on: every fact is met, at many moments, in both wordings.
"""

from __future__ import annotations

import re
import typing
from collections.abc import Iterable, Iterator
from dataclasses import replace
from functools import cache
from random import Random

from stories import Story, shipped

from voicecheck.core import facts
from voicecheck.core.case import Case
from voicecheck.core.conduct import CURRENT
from voicecheck.core.facts import Fact, Opened, Record
from voicecheck.core.inputs import (
    Answer,
    Confirm,
    Due,
    Meaning,
    Negative,
    Restarted,
    Said,
    Trouble,
    Unclear,
)
from voicecheck.core.state import ASIDE, Mode
from voicecheck.voice.speech import estimated_s

MOST_S = 5.0
MOST_WITH_THE_OPEN_QUESTION_S = 6.0
MOST_EVERYDAY_S = 3.0
ADDRESS = shipped().common.listening.address
PHRASES = CURRENT.phrases(shipped())
ANSWERS = {phrase: each for phrase, each in PHRASES.items() if isinstance(each, Answer)}
BESIDE = (
    *(ADDRESS, f"{ADDRESS} the weather is nice", "[unk]", f"{ADDRESS} what is outstanding"),
    *(f"{ADDRESS} {word} {p.removeprefix(ADDRESS)}" for word in ("not", "maybe") for p in ANSWERS),
)


class Prompts:
    """One case under random inputs, and all that the machine says in it."""

    def __init__(self, wording: str, seed: int) -> None:
        self.chance = Random(seed)  # noqa: S311  # no secret
        self.story = Story(as_shipped=seed % 4 > 0)
        first = self.story.records[0]
        assert isinstance(first.fact, Opened)
        self.story.records[0] = replace(first, fact=replace(first.fact, wording=wording))
        self.story.case.close()
        self.story.case = Case(self.story.records[0])

    def live(self) -> Iterator[tuple[Record, str]]:
        """Give inputs until the record is closed or there are enough."""
        case = self.story.case
        yield case.last, CURRENT.spoken(case, case.last)
        for _ in range(120):
            if case.state.mode is Mode.CLOSED:
                break
            self._step()
            yield case.last, CURRENT.spoken(case, case.last)
        case.close()

    def _step(self) -> None:
        kind = self.chance.random()
        over = self.chance.random() < 0.5
        if kind < 0.08 and self.story.case.wakes_us is not None:
            now_us = self.story.records[-1].at.mono_us
            left_us = max(0, self.story.case.wakes_us - now_us)
            self.story.give(Due(), after_us=left_us)
        elif kind < 0.11:
            part = self.chance.choice(("microphone", "recogniser", "voice", "display", "clock"))
            self.story.give(Trouble(part=part, message="x", over=over))
        elif kind < 0.13:
            self.story.give(Restarted(gap_s=self.chance.choice((-1.0, 2.0, 70.0, 5_400.0))))
        elif kind < 0.15:
            said = CURRENT.ask(self.story.case)
            self.story.give(Said(text=said, audio_from_s=0.0, audio_to_s=1.0))
        else:
            self.story.say(self._phrase())

    def _phrase(self) -> str:
        case, kind = self.story.case, self.chance.random()
        if kind < 0.45 and case.state.pending is not None:
            return "confirm"
        if kind < 0.5 and case.state.mode in (*ASIDE, Mode.STANDING_BY):
            return CURRENT.carry_on(case)
        left = case.outstanding()
        if kind < 0.75 and left:
            return self.chance.choice([p for p, each in ANSWERS.items() if each.item == left[0]])
        return self.chance.choice(list(PHRASES) if kind < 0.9 else BESIDE)


@cache
def prompts() -> frozenset[tuple[Fact, str, str]]:
    """Each fact, what was said of it, and the open question that was asked again with it."""
    return frozenset(
        (record.fact, text, CURRENT.read_back(case.story.case))
        for wording in ("full", "brief")
        for seed in range(30)
        for case in [Prompts(wording, seed)]
        for record, text in case.live()
    )


def test_every_fact_is_met() -> None:
    assert {type(fact) for fact, _, _ in prompts()} == {*typing.get_args(Fact)}


def test_no_prompt_holds_the_address_word() -> None:
    assert not [text for _, text, _ in prompts() if ADDRESS in text.lower()]


def replies_in(text: str) -> Iterator[tuple[str, Meaning | Unclear]]:
    """Every run of words that would be a reply if it were said alone."""
    words = re.findall(r"[a-z']+", text.lower())
    for begin in range(len(words)):
        for end in range(begin + 1, begin + 7):
            run = " ".join(words[begin:end])
            meant = CURRENT.interpret(shipped(), run)
            if isinstance(meant, Confirm | Negative):
                yield run, meant


def test_no_prompt_holds_a_confirm() -> None:
    """Not even in the middle: the ears may catch a part of what the machine says."""
    found = {
        (run, text)
        for text in {text for _, text, _ in prompts()}
        for run, meant in replies_in(text)
        if isinstance(meant, Confirm)
    }
    assert found == set()


def test_no_sentence_of_a_prompt_is_a_reply() -> None:
    """A "not" within one is: "Not recorded" cannot be said without it, and confirms nothing."""
    sentences = {
        " ".join(re.findall(r"[a-z']+", sentence.lower()))
        for _, text, _ in prompts()
        for sentence in re.split(r"[.?!:;,]", text)
    }
    meant = {sentence: CURRENT.interpret(shipped(), sentence) for sentence in sentences}
    assert not [each for each, what in meant.items() if isinstance(what, Confirm | Negative)]


def too_long(texts: Iterable[str], most_s: float) -> list[tuple[float, str]]:
    """Those that take longer to say, the longest first."""
    measured = {(round(estimated_s(text), 1), text) for text in texts if estimated_s(text) > most_s}
    return sorted(measured, reverse=True)


def test_no_prompt_is_long() -> None:
    """Estimated from its letters, within 13 % of how it is rendered (voice/speech.py)."""
    assert too_long((text for _, text, _ in prompts()), MOST_WITH_THE_OPEN_QUESTION_S) == []


def test_no_prompt_is_long_but_for_the_question_that_is_asked_again_after_it() -> None:
    assert too_long((alone(text) for _, text, _ in prompts()), MOST_S) == []


def alone(text: str) -> str:
    """The answer without the question that was open before, and is asked again after it."""
    return re.sub(r"(?<=[.?]) Shall I [^?]*\?$", "", text)


def is_everyday(fact: Fact) -> bool:
    """What is heard many times in each case."""
    match fact:
        case facts.Stated(item=item):
            return not CURRENT.is_critical(shipped().item(item))
        case facts.Retracted() | facts.Lapsed() | facts.Proposed():
            return True
        case facts.Addressed() | facts.NotUnderstood():
            return True
        case _:
            return False


def test_what_is_heard_every_day_is_short() -> None:
    """But for the question that was open before, and is asked again after it."""
    everyday = (
        text if isinstance(fact, facts.Proposed) else alone(text)
        for fact, text, _ in prompts()
        if is_everyday(fact)
    )
    assert too_long(everyday, MOST_EVERYDAY_S) == []
