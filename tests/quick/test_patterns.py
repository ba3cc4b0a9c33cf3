"""Patterns of wordings: what sentences they hold, and how closely a sentence matches one."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.core.conduct_2.automaton import Automaton
from voicecheck.core.conduct_2.matching import (
    DENIAL,
    FILLER,
    HEDGE,
    STRAY,
    Match,
    matches,
)
from voicecheck.core.conduct_2.notation import PatternError


def automaton(*patterns: str, pieces: Mapping[str, str] | None = None) -> Automaton:
    """One with these patterns, each meaning itself."""
    made = Automaton(pieces or {})
    for pattern in patterns:
        made.add(pattern, pattern)
    return made


def sentences(pattern: str, pieces: Mapping[str, str] | None = None) -> set[str]:
    """All of the pattern's sentences, none of them longer than 9 words here."""
    return set(automaton(pattern, pieces=pieces).sentences(9))


def found(made: Automaton, sentence: str, kinds: str = "") -> dict[str, Match]:
    """The matches in a sentence; kinds has a letter a word: s, d, h or f. Without: all strays."""
    words = sentence.split()
    letters = kinds or "s" * len(words)
    numbers = [{"s": STRAY, "d": DENIAL, "h": HEDGE, "f": FILLER}[letter] for letter in letters]
    return {str(meaning): match for meaning, match in matches(made, words, numbers).items()}


# --------------------------------------------------------------------------------- what is written


@pytest.mark.parametrize(
    ("pattern", "meant"),
    [
        ("duct clipped", {"duct clipped"}),
        ("duct | artery", {"duct", "artery"}),
        ("cystic (duct | artery)", {"cystic duct", "cystic artery"}),
        ("[cystic] duct", {"duct", "cystic duct"}),
        ("duct [now]", {"duct", "duct now"}),
        ("a [b] [c] d", {"a d", "a b d", "a c d", "a b c d"}),
        ("a [b | c d] e", {"a e", "a b e", "a c d e"}),
        ("a b | c d", {"a b", "c d"}),
        ("(a | b) (c | d)", {"a c", "a d", "b c", "b d"}),
        ("(a | [b]) c", {"a c", "b c", "c"}),
        ("((a))", {"a"}),
        ("[a] [b] c", {"c", "a c", "b c", "a b c"}),
        ("artery's x-ray", {"artery's x-ray"}),
        ("a a", {"a a"}),
    ],
)
def test_a_pattern_holds_these_sentences_and_no_others(pattern: str, meant: set[str]) -> None:
    assert sentences(pattern) == meant


def test_a_piece_stands_for_its_pattern_wherever_it_is_named() -> None:
    pieces = {"vessel": "[cystic] artery | $tube", "tube": "duct | pipe"}
    assert sentences("clip $vessel", pieces) == {
        "clip artery",
        "clip cystic artery",
        "clip duct",
        "clip pipe",
    }
    assert sentences("$tube [$tube]", pieces) == {
        "duct",
        "pipe",
        *(" ".join(each) for each in product(("duct", "pipe"), repeat=2)),
    }


def test_worked_examples_of_srgs() -> None:
    """From SRGS 1.0 (W3C Recommendation, 16 March 2004), sections 2.2 to 2.6, from memory.

    Only its words are lower-case here, a rule is a piece, and repeats and weights are left out.
    """
    assert sentences("this is a test") == {"this is a test"}
    assert sentences("michael | yuriko | mary | duke | $others", {"others": "another"}) == {
        *("michael", "yuriko", "mary", "duke", "another")
    }
    assert sentences("(flight to (boston | miami))") == {"flight to boston", "flight to miami"}
    assert sentences("[please] open [very] big window") == {
        "open big window",
        "please open big window",
        "open very big window",
        "please open very big window",
    }
    courtesy = {"polite": "please | kindly", "start": "[$polite]", "end": "please | thanks | $t"}
    command = {**courtesy, "t": "thank you", "action": "open | close", "object": "[the] window"}
    assert sentences("$start $action $object [$end]", command) == {
        " ".join([*begin, action, *the, "window", *end])
        for begin in ([], ["please"], ["kindly"])
        for action in ("open", "close")
        for the in ([], ["the"])
        for end in ([], ["please"], ["thanks"], ["thank", "you"])
    }


def test_a_sequence_binds_closer_than_alternatives_as_srgs_says() -> None:
    """SRGS 1.0, section 2.6: grouping, references and tokens, then sequence, then alternatives."""
    assert sentences("a b | c [d]") == sentences("((a b) | (c [d]))")
    assert sentences("a b | c [d]") != sentences("a (b | c) [d]")


@pytest.mark.parametrize(
    ("pattern", "mistake"),
    [
        ("clip $vein", "names $vein, which is no piece"),
        ("clip $loop", "$loop holds itself"),
        ("clip $ring", "$ring holds itself"),
        ("(a | b", "lacks a ')'"),
        ("[a", "lacks a ']'"),
        ("(a]", "lacks a ')'"),
        ("a)", "has a ')' that nothing opened"),
        ("a ] b", "has a ']' that nothing opened"),
        ("", "may be empty"),
        ("[a] [b]", "may be empty"),
        ("a |", "may be empty"),
        ("()", "may be empty"),
        ("$nothing", "may be empty"),
        ("Duct", "has 'D', which is no word"),
        ("duct 2", "has '2', which is no word"),
        ("clip * duct", "has '*', which is no word"),
        ("duct<0-1>", "has '<', which is no word"),
        ("clip $ duct", "has '$', which is no word"),
        ("клипса", "has 'к', which is no word"),
    ],
)
def test_a_pattern_that_cannot_be_read_names_its_mistake(pattern: str, mistake: str) -> None:
    pieces = {"loop": "a [$loop]", "ring": "$gnir", "gnir": "b $ring", "nothing": "[a]"}
    with pytest.raises(PatternError) as error:
        automaton(pattern, pieces=pieces)
    assert mistake in str(error.value)


def test_a_mistake_in_a_piece_is_found_where_it_is_named() -> None:
    with pytest.raises(PatternError, match="lacks a"):
        automaton("clip $tube", pieces={"tube": "(duct"})
    automaton("clip it", pieces={"tube": "(duct"})


def test_the_pairs_are_the_words_that_may_stand_side_by_side() -> None:
    made = automaton("a [b] (c | d)", "e $p", pieces={"p": "f | g h"})
    assert {pair for each in made.beside for pair in product(*each)} == {
        *(("a", "b"), ("a", "c"), ("a", "d"), ("b", "c"), ("b", "d")),
        *(("e", "f"), ("e", "g"), ("g", "h")),
    }


# --------------------------------------------------------------------------------------- matching


def test_a_sentence_of_a_pattern_leaves_nothing_over() -> None:
    match = found(automaton("cystic [duct | artery] clipped"), "cystic duct clipped")
    (only,) = match.values()
    assert (only.whole, only.inner, only.begin, only.end) == ((0, 0, 0), (0, 0, 0), 0, 2)


def test_words_beside_a_match_are_counted_by_kind_and_fillers_are_not() -> None:
    made = automaton("duct clipped")
    match = found(made, "um maybe duct is not nicely clipped banana", "fhsfdfss")["duct clipped"]
    assert (match.whole, match.inner) == ((1, 1, 1), (0, 1, 0))
    assert (match.begin, match.end) == (2, 6)


@pytest.mark.parametrize("sentence", ["clipped duct", "duct", "clipped", "", "ducts clipped"])
def test_the_words_of_a_pattern_must_all_be_there_in_its_order(sentence: str) -> None:
    assert found(automaton("duct clipped"), sentence) == {}


def test_a_match_takes_as_many_words_as_it_can_and_begins_late() -> None:
    match = found(automaton("[cystic] duct clipped"), "duct cystic duct clipped")
    (only,) = match.values()
    assert (only.whole, only.inner, only.begin, only.end) == ((1, 0, 0), (0, 0, 0), 1, 3)


def test_each_meaning_is_found_and_the_closest_of_its_patterns_counts() -> None:
    made = Automaton({})
    for pattern, meaning in (("duct", 1), ("duct clipped", 1), ("clipped", 2)):
        made.add(pattern, meaning)
    match = found(made, "duct clipped")
    assert {meaning: each.whole for meaning, each in match.items()} == {
        "1": (0, 0, 0),
        "2": (1, 0, 0),
    }


def test_a_word_that_a_pattern_takes_counts_for_nothing_else() -> None:
    """So "cannot see" may be said of a view that is lost, though "cannot" denies elsewhere."""
    match = found(automaton("cannot see", "see"), "cannot see", "ds")
    assert match["cannot see"].whole == (0, 0, 0)
    assert match["see"].whole == (0, 1, 0)


_WORD = st.sampled_from("abc")
_PATTERN = st.recursive(
    _WORD,
    lambda part: st.one_of(
        st.lists(part, min_size=1, max_size=3).map(" ".join),
        st.lists(part, min_size=1, max_size=3).map(lambda parts: f"({' | '.join(parts)})"),
        st.tuples(_WORD, part).map(lambda both: f"{both[0]} [{both[1]}]"),
    ),
    max_leaves=6,
)


@given(pattern=_PATTERN, sentence=st.lists(_WORD, max_size=5), kinds=st.data())
def test_a_match_leaves_over_what_no_sentence_of_the_pattern_takes(
    pattern: str, sentence: list[str], kinds: st.DataObject
) -> None:
    """Against the definition: the longest of the pattern's sentences that the words hold."""
    letters = kinds.draw(st.text("sdhf", min_size=len(sentence), max_size=len(sentence)))
    made = automaton(pattern)
    every = {tuple(each.split()) for each in made.sentences(6)}
    costs = []
    for taken in product((False, True), repeat=len(sentence)):
        if tuple(w for w, t in zip(sentence, taken, strict=True) if t) in every:
            left = [k for k, t in zip(letters, taken, strict=True) if not t]
            costs.append(sum(letter != "f" for letter in left))
    match = found(made, " ".join(sentence), letters)
    assert bool(match) == bool(costs)
    if costs:
        assert sum(match[pattern].whole) == min(costs)
