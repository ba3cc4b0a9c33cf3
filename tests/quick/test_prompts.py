"""Whatever is said is short, and nothing that is said answers the machine's own questions.

The cases are random, but lead on: every fact is met, at many moments, in both wordings.
"""

from __future__ import annotations

import re
import typing
from collections.abc import Iterable, Iterator
from functools import cache

from prompted import SCAFFOLD_TEXT, said_in_cases
from stories import SHIPPED_TEXT, shipped

from voicecheck.core import facts
from voicecheck.core.conduct import CURRENT
from voicecheck.core.facts import Fact
from voicecheck.core.inputs import Confirm, Meaning, Negative, Unclear
from voicecheck.voice.speech import estimated_s

MOST_S = 5.0
MOST_WITH_THE_OPEN_QUESTION_S = 6.0
MOST_EVERYDAY_S = 3.0
ADDRESS = shipped().common.listening.address


@cache
def prompts() -> frozenset[tuple[Fact, str, str]]:
    """Each fact, what was said of it, and the open question that was asked again with it."""
    return frozenset(
        (record.fact, text, CURRENT.read_back(story.case))
        for story, record, text in said_in_cases(SHIPPED_TEXT)
    )


@cache
def texts() -> frozenset[str]:
    """All that is said in either procedure."""
    others = (text for _, _, text in said_in_cases(SCAFFOLD_TEXT))
    return frozenset((*(text for _, text, _ in prompts()), *others))


def test_every_fact_is_met() -> None:
    assert {type(fact) for fact, _, _ in prompts()} == {*typing.get_args(Fact)}


def test_no_prompt_holds_the_address_word() -> None:
    assert not [text for text in texts() if ADDRESS in text.lower()]


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
        for text in texts()
        for run, meant in replies_in(text)
        if isinstance(meant, Confirm)
    }
    assert found == set()


def test_no_sentence_of_a_prompt_is_a_reply() -> None:
    """A "not" within one is: "Not recorded" cannot be said without it, and confirms nothing."""
    sentences = {
        " ".join(re.findall(r"[a-z']+", sentence.lower()))
        for text in texts()
        for sentence in re.split(r"[.?!:;,]", text)
    }
    meant = {sentence: CURRENT.interpret(shipped(), sentence) for sentence in sentences}
    assert not [each for each, what in meant.items() if isinstance(what, Confirm | Negative)]


def test_no_end_of_a_prompt_means_anything() -> None:
    """What comes back late begins anywhere, for the ears begin anew as a prompt ends."""
    spoken = [re.findall(r"[a-z']+", text.lower()) for text in texts()]
    ends = {" ".join(words[begin:]) for words in spoken for begin in range(len(words))}
    assert [end for end in ends if not isinstance(CURRENT.interpret(shipped(), end), Unclear)] == []


def test_the_answer_to_the_address_word_alone_means_nothing_behind_it() -> None:
    """For then no address word is needed."""
    (answer,) = {
        text for fact, text, asks in prompts() if isinstance(fact, facts.Addressed) and not asks
    }
    assert answer == "Listening."
    assert isinstance(CURRENT.interpret(shipped(), f"{ADDRESS} listening"), Unclear)


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
