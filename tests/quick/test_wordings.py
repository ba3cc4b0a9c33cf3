"""What imagined surgeons say in their own words, to choose patterns by and to measure with.

All were written without sight of the grammar, each as another surgeon would speak; nobody was
recorded. Those with an odd number are shipped (grammars/*.sentences.tsv): patterns were chosen by
them, and the ears' language model is made of them. Those with an even number, in wordings/, are
held aside: they are measured with, and never read while patterns are chosen. The totals of 2 to 20
were seen meanwhile and steered a few choices (model/CARD.md), so they are not quite blind. 32 to 38
came after all patterns of their time, 42 to 50 after all of these: each was measured once, as new.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from pathlib import Path

import pytest
from stories import GRAMMARS, shipped

from voicecheck.acoustic.intents import Wording, addressed, intent, is_right, read
from voicecheck.core.conduct import CURRENT
from voicecheck.core.inputs import Answer, Meaning, Unclear
from voicecheck.shipped import SENTENCES

ASIDE = sorted((Path(__file__).parents[1] / "wordings").glob("surgeon-*.toml"))


def _every() -> dict[int, list[Wording]]:
    """The number of each imagined surgeon, and what they say: its intent and its text.

    One in nine that are held aside was imagined word for word by another too: it is left out.
    """
    every: dict[int, list[Wording]] = {}
    with (GRAMMARS / SENTENCES).open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file, delimiter="\t"):
            said = Wording(row["intent"], row["text"])
            every.setdefault(int(row["imagined_surgeon"]), []).append(said)
    chosen_by = {each.text for said in every.values() for each in said}
    for path in ASIDE:
        every[int(path.stem[-2:])] = [each for each in read(path) if each.text not in chosen_by]
    return every


SURGEONS = _every()


def is_aside(surgeon: int) -> bool:
    """Whether this surgeon is kept for measuring."""
    return surgeon % 2 == 0


def understood(said: Wording) -> Meaning | Unclear:
    """What these words mean, a reply without the address word."""
    return CURRENT.interpret(shipped(), addressed(said, shipped().common.listening.address))


def critical() -> set[str]:
    """The statements that open the gate or say that something was clipped or divided."""
    return {
        f"{item.id}.{words.id}"
        for item in shipped().items
        for words in item.answers
        if CURRENT.is_critical(item) and words.satisfies
    }


def test_there_are_enough_of_them_and_many_are_held_aside() -> None:
    said = Counter(is_aside(surgeon) for surgeon, said in SURGEONS.items() for _ in said)
    assert len(SURGEONS) >= 12
    assert min(said[True], said[False]) >= 300
    for path in ASIDE:
        assert "imagined" in path.read_text(encoding="utf-8").lower()


@pytest.mark.parametrize("surgeon", SURGEONS)
def test_every_intent_has_words_that_can_be_spoken(surgeon: int) -> None:
    known = {intent(command) for command in CURRENT.phrases(shipped()).values()}
    meant = {said.intent for said in SURGEONS[surgeon]}
    assert {each.removeprefix("not.") for each in meant} <= known
    if not is_aside(surgeon):
        assert {each for each in known if not each.startswith("withdraw.")} <= meant
    for said in SURGEONS[surgeon]:
        assert re.fullmatch(r"[a-z']+( [a-z']+)*", said.text), said


LEAST_RIGHT = {False: 0.95, True: 0.84}
"""The least share of the wordings to choose by, and of those held aside, that are understood."""

MOST_TAKEN = 1 / 200
"""Of denials, doubts and announcements of a critical statement, the most that are taken for it."""

MOST_FROM_ELSEWHERE = 2
"""The most wordings of anything else, of all 8 983, that are taken for a critical statement."""


def test_most_are_understood_also_of_those_held_aside(counted: list[str]) -> None:
    rights: Counter[bool] = Counter()
    wrongs: Counter[bool] = Counter()
    alls: Counter[bool] = Counter()
    for surgeon, every in SURGEONS.items():
        for said in every:
            taken, aside = understood(said), is_aside(surgeon)
            right = is_right(said.intent, taken)
            alls[aside] += 1
            rights[aside] += right
            wrongs[aside] += not right and not isinstance(taken, Unclear)
    counted.append(
        f"imagined wordings understood: {rights[False]} of {alls[False]} to choose by, "
        f"{rights[True]} of {alls[True]} held aside; taken for something else: "
        f"{wrongs[False]} and {wrongs[True]}"
    )
    for aside, least in LEAST_RIGHT.items():
        assert rights[aside] / alls[aside] >= least


def test_hardly_any_critical_statement_is_taken_from_its_denial(counted: list[str]) -> None:
    """Even then it is read back, or only begins the pause: nothing stands without a confirm."""
    denied = [
        (surgeon, said.intent, understood(said))
        for surgeon, every in SURGEONS.items()
        for said in every
        if said.intent.removeprefix("not.") in critical() and said.intent.startswith("not.")
    ]
    taken = [
        (surgeon, meant)
        for surgeon, meant, command in denied
        if isinstance(command, Answer) and intent(command) == meant.removeprefix("not.")
    ]
    counted.append(
        f"imagined denials of a critical statement taken for it: {len(taken)} of {len(denied)}"
    )
    assert len(denied) >= 100
    assert len(taken) / len(denied) <= MOST_TAKEN, taken


def test_a_critical_statement_is_hardly_ever_taken_from_anything_else() -> None:
    taken = [
        (surgeon, said.intent, intent(command))
        for surgeon, every in SURGEONS.items()
        for said in every
        if isinstance(command := understood(said), Answer)
        and intent(command) in critical()
        and said.intent.removeprefix("not.").rpartition(".")[0] != command.item
    ]
    assert len(taken) <= MOST_FROM_ELSEWHERE, taken


def test_every_shown_phrase_means_what_the_table_says() -> None:
    for phrase, command in CURRENT.phrases(shipped()).items():
        assert CURRENT.interpret(shipped(), phrase) == command
