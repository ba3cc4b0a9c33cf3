"""All wordings as one automaton: counted and shown as if each were spelled out."""

from __future__ import annotations

import pytest
from stories import PLAIN_COMMON, SMALL_TEXT

from voicecheck.core.conduct import CURRENT
from voicecheck.core.inputs import Answer, ReportEvent
from voicecheck.core.sayable import Sayable

CLIPPED = Answer(item="clipped", answer="yes")


def sayable(*patterns: str) -> Sayable:
    """What an invented procedure lets people say, with these patterns of one statement."""
    return CURRENT.sayable(
        CURRENT.parse(f'{SMALL_TEXT}\n[heard]\n"clipped.yes" = {[*patterns]}', PLAIN_COMMON)
    )


@pytest.mark.parametrize(
    ("patterns", "number"),
    [
        ((), 1),  # the shown phrase
        (("clips on",), 1),
        (("duct clipped",), 2),
        (("[cystic] (duct | artery) clipped",), 5),
        (("[a] [a] b",), 4),  # "a b" in two ways is one wording
        (("(a | b) (c | d)", "a [c] [d]"), 1 + 4 + 2),  # "a", "a c d"; the others twice
    ],
)
def test_each_wording_is_counted_once(patterns: tuple[str, ...], number: int) -> None:
    assert sayable(*patterns).ways(CLIPPED).number() == number


def test_those_of_all_meanings_are_those_of_each() -> None:
    made = sayable("[cystic] (duct | artery) clipped", "bleeding")
    each = sum(made.ways(meaning).number() for meaning in {*made.meanings})
    assert made.ways().number() == each - 1  # "bleeding" is an event, too
    assert made.ways(ReportEvent(event="bleeding")).number() == 1


def test_the_examples_are_wordings_one_of_each_length() -> None:
    made = sayable("[the] [long] cystic (duct | artery) clipped [shut]", "gone")
    examples = [*made.ways(CLIPPED).examples()]
    every = {
        *("clips on", "gone"),
        *(
            " ".join(filter(None, (the, long, "cystic", vessel, "clipped", shut)))
            for the in ("", "the")
            for long in ("", "long")
            for vessel in ("duct", "artery")
            for shut in ("", "shut")
        ),
    }
    assert {*examples} <= every
    assert [len(example.split()) for example in examples] == [1, 2, 3, 4, 5, 6]
