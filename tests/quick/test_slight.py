"""Too few sounds state nothing critical, whatever the patterns take."""

from __future__ import annotations

import pytest
from stories import shipped

from voicecheck.core.conduct import CURRENT
from voicecheck.core.conduct_2.understanding import LEAST_CONTENT
from voicecheck.core.inputs import Answer, Meaning, Unclear


def meant(sentence: str) -> Meaning | Unclear:
    return CURRENT.interpret(shipped(), f"checklist {sentence}")


@pytest.mark.parametrize(
    "slight",
    ["two go", "so pause", "low done", "plate done", "aye two righto", "just the two", "all stop"],
)
def test_a_slight_wording_states_nothing_critical(slight: str) -> None:
    assert not isinstance(meant(slight), Answer)


@pytest.mark.parametrize(
    ("enough", "item"),
    [("two only", "two"), ("duct cut", "duct_divided"), ("calot's done", "triangle")],
)
def test_a_few_more_sounds_do(enough: str, item: str) -> None:
    stated = meant(enough)
    assert isinstance(stated, Answer)
    assert stated.item == item


def test_the_safe_direction_and_what_is_harmless_may_be_as_short_as_people_say_it() -> None:
    assert meant("three go") == meant("more than two structures")


def test_of_all_that_may_be_said_nothing_critical_is_slight() -> None:
    """Every wording of up to three words, whether all its words were understood or not."""
    procedure = shipped()
    sayable = CURRENT.sayable(procedure)
    fillers = set(procedure.common.words.fillers)
    checked = 0
    for meaning in set(sayable.meanings):
        if not isinstance(meaning, Answer) or not CURRENT.is_critical(procedure.item(meaning.item)):
            continue
        if not procedure.item(meaning.item).answer(meaning.answer).satisfies:
            continue
        ways = sayable.ways(meaning)
        reached: list[tuple[int, tuple[str, ...]]] = [(0, ())]
        for _ in range(3):
            reached = [
                (to, (*words, word))
                for place, words in reached
                for word, to in ways.onward(place).items()
                if sum(len(w) for w in (*words, word) if w not in fillers) < LEAST_CONTENT
            ]
            said = (" ".join(words) for place, words in reached if ways.meanings(place))
            for sentence in said:
                checked += 1
                assert meant(sentence) != meaning, sentence
    assert checked > 100
