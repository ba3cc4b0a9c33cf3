"""How alike the wordings of the shipped procedure sound, and what it costs to find out."""

from __future__ import annotations

import pytest
from stories import shipped

from voicecheck.core.conduct import CURRENT
from voicecheck.core.inputs import Answer
from voicecheck.ears import lexicon
from voicecheck.ears.soundalikes import Alike, Search

MOST_EXPANDED = 3_000_000
"""Pairs of places; it comes to 0.9 million, in a quarter of a minute."""


@pytest.fixture(scope="module")
def search() -> Search:
    return Search(shipped())


@pytest.fixture(scope="module")
def pairs(search: Search) -> list[Alike]:
    return [*search.closest()]


def test_each_critical_statement_has_its_closest_pair(
    search: Search, pairs: list[Alike], counted: list[str]
) -> None:
    critical = {
        Answer(item=item.id, answer=words.id)
        for item in shipped().items
        for words in item.answers
        if CURRENT.is_critical(item)
    }
    assert {each for pair in pairs for each in (pair.critical, pair.other)} >= critical
    counted.append(f"pairs of places looked at for wordings that sound alike: {search.expanded}")
    assert search.expanded <= MOST_EXPANDED


def test_none_sounds_the_same_and_each_means_what_is_told(pairs: list[Alike]) -> None:
    for pair in pairs:
        assert pair.edits == lexicon.edits(pair.wording, pair.other_wording) > 0, pair
        assert CURRENT.interpret(shipped(), f"checklist {pair.wording}") == pair.critical
        assert CURRENT.interpret(shipped(), f"checklist {pair.other_wording}") == pair.other
