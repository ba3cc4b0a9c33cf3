"""No part of a question that the machine asks sounds like a word that confirms it.

The ears may catch any part of a prompt that comes back late: from any sound on, up to a pause.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import cache
from itertools import product

import numpy as np
import pytest
from numpy.typing import NDArray
from prompted import SCAFFOLD_TEXT, said_in_cases, scaffold
from stories import SHIPPED_TEXT, shipped

from voicecheck.core.conduct import CURRENT
from voicecheck.core.conduct_2.understanding import replies
from voicecheck.core.inputs import Confirm
from voicecheck.core.procedure import Procedure
from voicecheck.ears.lexicon import Phones, pronunciations, variants

LEAST = 1 / 3
"""Of the sounds of a confirm, so many must be changed to make it part of a prompt. One in five was
the nearest when a room made "aye" of "wrong"; common practice, no source."""
MOST_WORDS = 3
"""Longer replies hold shorter ones, and have more sounds to tell them by."""
LONGEST = 16
"""Sounds; a longer reply is far from any part of a prompt."""
WAYS = 3
"""Ways to pronounce a prompt: all its words in their usual way, in the second, in the third."""


@cache
def confirms() -> frozenset[str]:
    """Every confirm of few words."""
    automaton = replies(shipped())
    found: set[str] = set()
    begins = frozenset(state for word in automaton.begins for state in automaton.first(word))
    waiting: list[tuple[tuple[str, ...], frozenset[int]]] = [((), begins)]
    while waiting:
        before, states = waiting.pop()
        for state in states:
            for word in automaton.labels[state]:
                words = (*before, word)
                if state in automaton.ends:
                    found.add(" ".join(words))
                if len(words) < MOST_WORDS:
                    waiting += [(words, each.states) for each in automaton.follow[state]]
    return frozenset(w for w in found if isinstance(CURRENT.interpret(shipped(), w), Confirm))


def ends(text: str, procedure: Procedure) -> Iterator[Phones]:
    """The last sounds of a prompt before each of its pauses."""
    extra = {**procedure.file.lexicon, "recogniser": ("R EH K AH G N AY Z ER",)}
    for pause in re.finditer(r"[.?!:;,](?= |$)", text):
        words = re.findall(r"[a-z']+", text[: pause.start()].lower())
        for way in range(WAYS):
            spoken = [variants(word, extra) for word in words]
            phones = [phone for each in spoken for phone in each[min(way, len(each) - 1)]]
            yield tuple(phones[-LONGEST:])


class Table:
    """Sequences of sounds, all compared at once with one other."""

    def __init__(self, spoken: Sequence[Phones]) -> None:
        names = sorted({phone for each in spoken for phone in each})
        self.number = {phone: n for n, phone in enumerate(names)}
        longest = max(map(len, spoken))
        self.phones = np.full((longest, len(spoken)), -1)  # ends in the last row
        for column, each in enumerate(spoken):
            self.phones[longest - len(each) :, column] = [self.number[phone] for phone in each]

    def edits(self, other: Phones) -> NDArray[np.int64]:
        """The fewest sounds to change between it and any end of each sequence.

        Sellers, Journal of Algorithms 1980;1:359-373 (from memory): a beginning costs nothing.
        """
        cost = np.zeros((len(self.phones) + 1, self.phones.shape[1]), np.int64)
        for count, phone in enumerate(other, 1):
            changed = self.phones != self.number.get(phone, -2)
            least = np.minimum(cost[:-1] + changed, cost[1:] + 1)
            cost[0] = count
            for row, each in enumerate(least):
                np.minimum(each, cost[row] + 1, out=cost[row + 1])
        return np.asarray(cost[-1])


def nearest(text: str, procedure: Procedure) -> tuple[float, str, str]:
    """How far the nearest confirm is from any part of the questions, as a share of its sounds."""
    questions = {
        said for story, _, said in said_in_cases(text) if said and CURRENT.read_back(story.case)
    }
    spoken = {end: question for question in questions for end in ends(question, procedure)}
    table, names = Table(list(spoken)), list(spoken.values())
    found: list[tuple[float, str, str]] = []
    for reply in confirms():
        for way in product(*(pronunciations(word) for word in reply.split())):
            phones = sum(way, ())
            edits = table.edits(phones)
            place = int(edits.argmin())
            found.append((edits[place] / len(phones), reply, names[place]))
    return min(found)


def test_there_are_confirms() -> None:
    assert {"confirm", "correct", "affirmative", "that's right"} < confirms()


@pytest.mark.parametrize(
    ("text", "procedure"), [(SHIPPED_TEXT, shipped()), (SCAFFOLD_TEXT, scaffold())]
)
def test_no_part_of_a_question_sounds_like_a_confirm(text: str, procedure: Procedure) -> None:
    share, reply, question = nearest(text, procedure)
    assert share >= LEAST, f'"{reply}" sounds like a part of "{question}"'


def test_what_once_was_a_confirm_would_be_found() -> None:
    """ "Aye, record" is "I record", sound for sound."""
    spoken = list(ends("Shall I record: triangle cleared of fat?", shipped()))
    phones = sum((pronunciations(word)[0] for word in ("aye", "record")), ())
    assert Table(spoken).edits(phones).min() <= 1
