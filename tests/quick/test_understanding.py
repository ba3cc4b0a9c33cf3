"""What anybody's words mean: a denial, a doubt, a question or an announcement is no statement."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from stories import shipped

from voicecheck.core.conduct import CURRENT
from voicecheck.core.conduct_2.understanding import replies
from voicecheck.core.inputs import (
    Address,
    Answer,
    AskOutstanding,
    BailOut,
    CallHelp,
    CarryOn,
    CloseRecord,
    Command,
    Confirm,
    DeclareEmergency,
    Meaning,
    NameDifficulty,
    Negative,
    ReportEvent,
    SayAgain,
    StandBy,
    Unclear,
    Unsettle,
    Withdraw,
)
from voicecheck.core.procedure import Item, Kind
from voicecheck.ears.lexicon import pronunciations
from voicecheck.ears.wordings import wordings

WORDS = shipped().common.words
ADDRESS = shipped().common.listening.address


def meaning(sentence: str) -> Meaning | Unclear:
    """What it means after the address word."""
    return CURRENT.interpret(shipped(), f"{ADDRESS} {sentence}")


def reply(text: str) -> Meaning | Unclear:
    """What it means without it."""
    return CURRENT.interpret(shipped(), text)


def critical(*kinds: Kind) -> Iterator[tuple[str, Answer]]:
    """Every shown phrase of these kinds of item that satisfies, and its statement."""
    for item in shipped().items:
        for words in item.answers:
            if item.kind in kinds and words.satisfies:
                for phrase in words.phrases:
                    yield phrase, Answer(item=item.id, answer=words.id)


DONE_OR_SEEN = dict(critical(Kind.CRITERION, Kind.ACT))
ALL_CRITICAL = dict(critical(Kind.CRITERION, Kind.ACT, Kind.PAUSE))


# ------------------------------------------------------------------------- denied, doubted, asked


def test_every_critical_phrase_is_tried() -> None:
    assert len(DONE_OR_SEEN) >= 8
    assert len(ALL_CRITICAL) == len(DONE_OR_SEEN) + 1
    assert min(map(len, (WORDS.denials, WORDS.hedges, WORDS.questions))) >= 20


@pytest.mark.parametrize("denial", WORDS.denials)
@pytest.mark.parametrize("phrase", ALL_CRITICAL)
def test_a_denial_anywhere_is_never_the_statement(phrase: str, denial: str) -> None:
    words = phrase.split()
    for place in range(len(words) + 1):
        sentence = " ".join([*words[:place], denial, *words[place:]])
        assert not isinstance(meaning(sentence), Answer), sentence


def satisfies(meant: Answer) -> bool:
    """Whether it opens a gate: "a second artery" is more than two, the safe direction."""
    return shipped().item(meant.item).answer(meant.answer).satisfies


@pytest.mark.parametrize("phrase", DONE_OR_SEEN)
@pytest.mark.parametrize("hedge", WORDS.hedges)
def test_a_doubt_or_an_announcement_before_or_after_is_never_the_statement(
    phrase: str, hedge: str
) -> None:
    """Not so for the pause: whoever says that it will begin begins it."""
    for sentence in (f"{hedge} {phrase}", f"{phrase} {hedge}"):
        meant = meaning(sentence)
        assert not (isinstance(meant, Answer) and satisfies(meant)), sentence


@pytest.mark.parametrize("phrase", DONE_OR_SEEN)
@pytest.mark.parametrize("question", WORDS.questions)
def test_a_question_is_never_the_statement(phrase: str, question: str) -> None:
    for asked in _SUBJECTS.get(question, ("", "the ", "we ", "you see ")):
        sentence = f"{question} {asked}{phrase}"
        assert not isinstance(meaning(sentence), Answer), sentence


_SUBJECTS = {"am": ("i ",), "have": ("we ", "you ")}
"""Some say "have two and only two" for "I have": these words ask only with their subjects."""


@pytest.mark.parametrize(
    ("sentence", "item", "denied"),
    [
        ("the artery isn't clipped yet", "artery_clipped", True),
        ("we have not got two structures", "two", True),
        ("no fat gone the triangle is not clear", "triangle", True),
        ("has the artery been clipped", "artery_clipped", False),
        ("are there two and only two structures", "two", False),
        ("can you see two and only two", "two", False),
        ("artery nearly clipped", "artery_clipped", False),
        ("maybe the triangle is clear", "triangle", False),
        ("i think the duct is divided", "duct_divided", False),
        ("we will have two and only two in a minute", "two", False),
    ],
)
def test_what_is_not_so_is_told_from_what_is_not_yet_known(
    sentence: str, item: str, denied: bool
) -> None:
    assert meaning(sentence) == Unsettle(item=item, denied=denied)


@pytest.mark.parametrize(
    ("sentence", "item"),
    [
        ("going to clip the artery", "artery_clipped"),
        ("clipping the artery now", "artery_clipped"),
        ("about to divide the duct", "duct_divided"),
        ("let's cut the duct", "duct_divided"),
        ("did we clip the artery", "artery_clipped"),
        ("what about the artery clips", "artery_clipped"),
        ("have we clipped the artery", "artery_clipped"),
    ],
)
def test_an_act_that_is_announced_or_asked_about_is_not_denied(sentence: str, item: str) -> None:
    """What stands is taken back only by a denial: a question must not undo a clip on record."""
    assert meaning(sentence) == Unsettle(item=item, denied=False)


@pytest.mark.parametrize(
    "sentence", ["have we got two and only two", "two and only two in a minute"]
)
def test_a_question_and_an_announcement_of_a_criterion_state_nothing(sentence: str) -> None:
    assert not isinstance(meaning(sentence), Answer)


@pytest.mark.parametrize("phrase", DONE_OR_SEEN)
def test_an_unknown_word_neither_states_nor_denies(phrase: str) -> None:
    for sentence in (f"kettle {phrase}", f"{phrase} kettle"):
        meant = meaning(sentence)
        assert not isinstance(meant, Answer), sentence
        assert not (isinstance(meant, Unsettle) and meant.denied), sentence


# ------------------------------------------------------------------------------ taken in any words


@pytest.mark.parametrize(
    ("sentence", "command"),
    [
        ("um okay the artery is clipped now", Answer(item="artery_clipped", answer="clipped")),
        ("yes the artery is clipped", Answer(item="artery_clipped", answer="clipped")),
        ("we have two and only two structures", Answer(item="two", answer="two")),
        ("the triangle is cleared nicely", Answer(item="triangle", answer="cleared")),
        ("call the consultant", CallHelp()),
        ("get help please", CallHelp()),
        ("oh no bleeding", ReportEvent(event="bleeding")),
        ("we have a bleed", ReportEvent(event="bleeding")),
        ("lost the view", ReportEvent(event="view_lost")),
        ("there is bile everywhere", ReportEvent(event="spillage")),
        ("emergency now", DeclareEmergency()),
        ("we need to convert", BailOut(way="open")),
        ("say that again", SayAgain()),
        ("what's left", AskOutstanding()),
        ("stop listening", StandBy()),
        ("let's carry on please", CarryOn()),
        ("close the record please", CloseRecord()),
        ("cannot see the tip", NameDifficulty(caution="blind")),
    ],
)
def test_it_is_understood_in_other_words(sentence: str, command: Command) -> None:
    assert meaning(sentence) == command


@pytest.mark.parametrize(
    ("urgent", "command"),
    [
        ("emergency", DeclareEmergency()),
        ("bleeding", ReportEvent(event="bleeding")),
        ("call for help", CallHelp()),
        ("convert to open", BailOut(way="open")),
    ],
)
def test_what_is_urgent_is_understood_among_other_words(urgent: str, command: Command) -> None:
    for sentence in (f"kettle {urgent}", f"{urgent} kettle kettle", f"oh kettle {urgent} now"):
        assert meaning(sentence) == command


@pytest.mark.parametrize(
    "sentence", ["there is no bleeding", "it's not bleeding", "not an emergency", "no emergency"]
)
def test_what_is_urgent_but_denied_is_not_reported(sentence: str) -> None:
    assert isinstance(meaning(sentence), Unclear | StandBy | CarryOn)


def test_the_address_word_alone_is_an_address() -> None:
    assert CURRENT.interpret(shipped(), ADDRESS) == Address()


@pytest.mark.parametrize(
    ("sentence", "item"),
    [
        ("withdraw the triangle it is not cleared", "triangle"),
        ("withdraw the arterial clips they are not on", "artery_clipped"),
        ("take back the artery clips they're not on", "artery_clipped"),
        ("cancel the triangle that was wrong", "triangle"),
        ("undo the lower third", "plate"),
    ],
)
def test_to_withdraw_wins_over_to_deny(sentence: str, item: str) -> None:
    assert meaning(sentence) == Withdraw(item=item)


@pytest.mark.parametrize("item", shipped().items, ids=lambda item: item.id)
def test_a_withdrawal_with_a_denial_after_it_is_still_one(item: Item) -> None:
    assert meaning(f"{item.withdraw} it is not so") == Withdraw(item=item.id)


# -------------------------------------------------------------------------- two statements in one


def statements(sentence: str) -> list[Meaning | Unclear]:
    """What each part of an utterance means."""
    text = f"{ADDRESS} {sentence}"
    parts = CURRENT.parts(shipped(), text)
    assert [part for part, _, _ in wordings(shipped()).statements(text.split())] == [*parts]
    return [CURRENT.interpret(shipped(), part) for part in parts]


TILTED = Answer(item="table", answer="tilted")
PLACED = Answer(item="ports", answer="placed")
CLIPPED = Answer(item="artery_clipped", answer="clipped")
DIVIDED = Answer(item="artery_divided", answer="divided")


@pytest.mark.parametrize(
    ("sentence", "meant"),
    [
        ("table tilted head up and all four ports in place", [TILTED, PLACED]),
        ("clips on the artery and artery divided", [CLIPPED, DIVIDED]),
        ("clips on the artery then artery divided", [CLIPPED, DIVIDED]),
        ("two and only two", [Answer(item="two", answer="two")]),
        ("table tilted head up and table tilted head up", [TILTED]),
        (
            "table tilted head up and artery not clipped",
            [TILTED, Unsettle(item="artery_clipped", denied=True)],
        ),
    ],
)
def test_two_statements_joined_by_and_are_two(sentence: str, meant: list[Command]) -> None:
    assert statements(sentence) == meant


def test_a_statement_joined_to_anything_else_is_not_two() -> None:
    assert len(statements("clips on the artery and the weather is nice")) == 1
    assert not isinstance(statements("clips on the artery and the weather is nice")[0], Answer)


@pytest.mark.parametrize(
    "sentence",
    [
        "clips on the artery and artery divided",
        "triangle free of fat and lower third off the plate",
    ],
)
def test_two_statements_by_hand_take_nothing_back(sentence: str) -> None:
    """Nobody splits an entry by hand, so as a whole it must not deny either."""
    meant = meaning(sentence)
    assert not (isinstance(meant, Unsettle) and meant.denied)


# ---------------------------------------------------------------------------------------- replies


@pytest.mark.parametrize(
    "text",
    [
        "confirm",
        "yes confirm",
        "yes i agree",
        "yes that's right",
        "that's right",
        "that is correct",
        "correct thanks",
    ],
)
def test_a_yes_in_other_words_confirms(text: str) -> None:
    assert reply(text) == Confirm()


@pytest.mark.parametrize(
    "text",
    ["negative", "no", "not yet", "no not yet", "that's wrong", "not correct", "do not confirm"],
)
def test_a_no_in_other_words_denies(text: str) -> None:
    assert reply(text) == Negative()


@pytest.mark.parametrize(
    "text",
    [
        *("is that correct", "is it correct", "is that right", "is it right", "is this correct"),
        *(
            "yes no",
            "confirm negative",
            "yes but wait",
            "no confirm",
            "yes kettle",
            "okay",
            "right",
        ),
        *("maybe yes", "should i confirm", "who confirms", "i think yes", ""),
    ],
)
def test_a_question_a_doubt_or_both_at_once_confirms_nothing(text: str) -> None:
    assert reply(text) != Confirm()


@pytest.mark.parametrize("denial", [each for each in WORDS.denials if " " not in each])
def test_a_yes_with_a_denial_beside_it_confirms_nothing(denial: str) -> None:
    for word in ("confirm", "yes", "correct"):
        assert reply(f"{denial} {word}") != Confirm()
        assert reply(f"{word} {denial}") != Confirm()


@pytest.mark.parametrize(
    "doubt", [each for each in WORDS.hedges + WORDS.questions if each not in ("do", "can")]
)
def test_a_yes_with_a_doubt_beside_it_confirms_nothing(doubt: str) -> None:
    """Not so "do" and "can": "I do confirm that"."""
    for word in ("confirm", "yes", "correct"):
        for text in (f"{doubt} it {word}", f"{doubt} that {word}"):
            assert reply(text) != Confirm(), text


def test_a_reply_after_the_address_word_is_the_same_reply() -> None:
    """Whoever addresses the machine gets an answer."""
    assert meaning("confirm") == meaning("correct") == Confirm()
    assert meaning("no") == Negative()


def test_hesitation_may_come_before_a_reply_and_no_other_word() -> None:
    """The ears put an "uh" before many a reply."""
    assert {reply(f"{each} confirm") for each in ("uh", "um uh", "er")} == {Confirm()}
    assert {reply(f"{each} confirm") for each in ("please", "so", "duct", "last")} == {Unclear()}


def test_no_short_sound_confirms() -> None:
    """One voice's "wrong" was heard as "aye", the machine's own "last" as "yes"."""
    assert {reply(text) for text in ("yes", "aye", "yep", "yup", "ja", "yeah", "um yes")} == {
        Unclear()
    }


def test_every_confirm_has_two_syllables_or_more() -> None:
    """Short sounds are in every noise. In CMUdict a vowel's name begins with one."""
    single = {each for each in replies(shipped()).sentences(1) if reply(each) == Confirm()}
    assert {"confirm", "correct"} <= single
    for word in single:
        for spoken in pronunciations(word):
            assert sum(phone[0] in "AEIOU" for phone in spoken) >= 2, word
