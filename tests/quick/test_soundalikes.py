"""The search for wordings that sound most alike, against every wording spelled out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import product

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from stories import PLAIN_COMMON, SMALL_TEXT

from voicecheck.core.conduct import CURRENT
from voicecheck.core.inputs import Answer, Meaning, ReportEvent, Unclear, Unsettle
from voicecheck.core.procedure import Procedure
from voicecheck.ears import lexicon
from voicecheck.ears.soundalikes import MOST_EDITS, Alike, most_alike, same_sounding

CLIPPED = Answer(item="clipped", answer="yes")
SPILLAGE = ReportEvent(event="spillage")


def procedure(**heard: Sequence[str]) -> Procedure:
    """An invented one, with these patterns; "__" in a key stands for its dot."""
    table = (f'"{key.replace("__", ".")}" = {[*each]}' for key, each in heard.items())
    return CURRENT.parse("\n".join((SMALL_TEXT, "[heard]", *table)), PLAIN_COMMON)


def found(made: Procedure, *meanings: Meaning) -> Alike | None:
    """The pair of these two meanings."""
    pairs = (each for each in most_alike(made) if {each.critical, each.other} == {*meanings})
    return next(pairs, None)


def test_the_closest_pair_is_the_one_that_a_reader_finds() -> None:
    made = procedure(
        clipped__yes=["[cystic] duct (sealed | stapled) [shut | twice]"],
        event__spillage=["(gallbladder | bag) torn | [torn] duct healed"],
    )
    assert found(made, CLIPPED, SPILLAGE) == Alike(
        critical=CLIPPED,
        wording="duct sealed",
        other=SPILLAGE,
        other_wording="duct healed",
        edits=1,  # S or HH
        distance=1 / 8,  # of D AH K T S IY L D
    )


@pytest.mark.parametrize(
    ("wording", "other"), [("duct sealed", "ducked sealed"), ("clips cold", "clip scold")]
)
def test_the_same_sound_is_refused_in_two_meanings_alone(wording: str, other: str) -> None:
    twice = procedure(clipped__yes=[wording], event__spillage=[other])
    (told,) = same_sounding(twice)
    assert told == f'"{wording}" and "{other}" sound the same and mean two things'
    assert not [*same_sounding(procedure(clipped__yes=[wording, other]))]


def test_a_wording_of_two_meanings_has_the_one_that_the_rules_give_it() -> None:
    """Not so, in this case: so nobody can mistake it for itself."""
    made = procedure(clipped__yes=["duct sealed"], unsettled__clipped=["duct sealed"])
    assert CURRENT.interpret(made, "checklist duct sealed") == Unsettle(
        item="clipped", denied=False
    )
    assert not [*same_sounding(made)]
    assert "duct sealed" not in {each.wording for each in most_alike(made)}


# ------------------------------------------------------------------------ every wording spelled out

Slots = Sequence[Sequence[str]]
"""For each place of a pattern the words it may have; "" for none."""

_WORDS = (
    *("duct", "ducked", "duck", "dutch", "clip", "clips", "slip", "eclipse"),
    *("seal", "sealed", "healed"),
)


@st.composite
def drawn(draw: st.DrawFn) -> Slots:
    """No word twice: who says the same again says it once."""
    words = [*draw(st.permutations(_WORDS))]
    slots = [[words.pop() for _ in range(draw(st.integers(1, 2)))] for _ in range(3)]
    maybe = [slot + [""] * draw(st.integers(0, 1)) for slot in slots[1:]]
    return [slots[0], *maybe]


def written(slots: Slots) -> str:
    """The pattern of the slots."""
    ways = ((" | ".join(filter(None, slot)), "" in slot) for slot in slots)
    return " ".join(f"[{ways}]" if optional else f"({ways})" for ways, optional in ways)


def spelled(slots: Slots) -> Iterator[str]:
    """Every wording of the pattern."""
    return (" ".join(filter(None, words)) for words in product(*slots))


def closest(made: Procedure, wordings: Sequence[str]) -> Mapping[Answer, int]:
    """For each critical statement the fewest edits to any wording of another meaning."""
    meant = {each: CURRENT.interpret(made, f"checklist {each}") for each in dict.fromkeys(wordings)}
    fewest: dict[Answer, int] = {}
    for (one, meaning), (other, another) in product(meant.items(), repeat=2):
        if not isinstance(meaning, Answer) or isinstance(another, Unclear) or meaning == another:
            continue
        if CURRENT.is_critical(made.item(meaning.item)):
            edits = lexicon.edits(one, other)
            fewest[meaning] = min(edits, fewest.get(meaning, edits))
    return {meaning: edits for meaning, edits in fewest.items() if edits <= MOST_EDITS}


@settings(max_examples=300)
@given(patterns=st.lists(drawn(), min_size=4, max_size=4))
def test_the_search_finds_what_comparing_all_wordings_finds(patterns: list[Slots]) -> None:
    keys = ("clipped__yes", "two__more", "event__spillage", "unsettled__clipped")
    made = procedure(**{key: [written(slots)] for key, slots in zip(keys, patterns, strict=True)})
    shown = [each.removeprefix("checklist ") for each in CURRENT.phrases(made) if " " in each]
    every = [*shown, *(each for slots in patterns for each in spelled(slots))]
    # Words of two patterns have one meaning, and may hide another wording (Search._said).
    assume(len(set(every)) == len(every))
    edits: dict[Meaning, int] = {}
    for pair in most_alike(made):
        assert CURRENT.interpret(made, f"checklist {pair.wording}") == pair.critical
        assert CURRENT.interpret(made, f"checklist {pair.other_wording}") == pair.other
        assert lexicon.edits(pair.wording, pair.other_wording) == pair.edits
        assert lexicon.distance(pair.wording, pair.other_wording) == pair.distance
        for meaning in (pair.critical, pair.other):
            edits[meaning] = min(pair.edits, edits.get(meaning, MOST_EDITS))
    expected = closest(made, every)
    assert {each: edits.get(each) for each in expected} == expected
