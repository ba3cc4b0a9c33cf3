"""How likely one word follows another: worked by hand, and the axioms of probability."""

from __future__ import annotations

from math import exp, log

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.ears.language import START, Bigrams
from voicecheck.ears.tuning import PAIRS_SHARE, UNSEEN_COUNT

WORDS = ("duct", "is", "artery", "clipped", "short")
SENTENCES = ("duct is clipped", "duct is short", "artery is clipped")


def probability(bigrams: Bigrams, one: str, other: str) -> float:
    """Of a word after another, by whichever way the graph has."""
    cost = dict(bigrams.followers(one)).get(other)
    return exp(-(bigrams.leaving(one) + bigrams.alone(other)) if cost is None else -cost)


def test_what_sentences_have_is_weighed_as_witten_and_bell_do() -> None:
    """Their estimate, worked by hand: "is" was followed three times, by two different words."""
    bigrams = Bigrams(WORDS, (), SENTENCES)
    whole = 9 + 5 * UNSEEN_COUNT
    assert bigrams.alone("clipped") == pytest.approx(-log((2 + UNSEEN_COUNT) / whole))
    assert bigrams.leaving("is") == pytest.approx(-log(2 / (3 + 2)))
    clipped = 3 / 5 * 2 / 3 + 2 / 5 * (2 + UNSEEN_COUNT) / whole
    assert probability(bigrams, "is", "clipped") == pytest.approx(clipped)
    assert probability(bigrams, START, "duct") > probability(bigrams, START, "clipped")


def test_without_sentences_a_pair_of_a_pattern_is_likelier_than_any_other() -> None:
    bigrams = Bigrams(WORDS, [({"duct"}, {"clipped", "short"})], ())
    rest = (1 - PAIRS_SHARE) / 5
    assert probability(bigrams, "duct", "clipped") == pytest.approx(PAIRS_SHARE / 2 + rest)
    assert probability(bigrams, "duct", "artery") == pytest.approx(rest)


def test_words_that_nobody_listens_for_are_left_out() -> None:
    bigrams = Bigrams(WORDS, (), ["duct wonderfully clipped"])
    assert "wonderfully" not in dict(bigrams.followers("duct"))
    assert bigrams.leaving("duct") == 0


@given(
    st.lists(st.lists(st.sampled_from((*WORDS, "unheard")), min_size=1).map(" ".join)),
    st.lists(st.tuples(*[st.sets(st.sampled_from(WORDS))] * 2)),
)
def test_after_each_word_the_probabilities_sum_to_one(
    sentences: list[str], beside: list[tuple[set[str], set[str]]]
) -> None:
    bigrams = Bigrams(WORDS, beside, sentences)
    for one in (START, *WORDS):
        assert sum(probability(bigrams, one, other) for other in WORDS) == pytest.approx(1)
