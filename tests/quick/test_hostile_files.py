"""No procedure file opens the gate without saying so: it is refused, or its shape is another one.

Each file here is the shipped one with one change that would let a clip be recorded too early, or
something else stand for it. A file whose shape differs says so at every start (wording.py).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache

import pytest
import stories
from stories import Story, opening

from voicecheck.core import facts
from voicecheck.core.conduct import CURRENT
from voicecheck.core.conduct_2.procedure_file import parse
from voicecheck.core.facts import Opened
from voicecheck.core.inputs import Restarted
from voicecheck.core.procedure import Kind, Procedure, ProcedureError

Files = tuple[str, str]

COMMON_TEXT = stories.PLAIN_COMMON
SHIPPED_TEXT = stories.SHIPPED_TEXT.partition("other wordings\n")[0] + "\n"
"""Without the other wordings, for they are parsed often; these are tried apart."""


@cache
def shipped() -> Procedure:
    """The procedure without other wordings."""
    return parse(SHIPPED_TEXT, COMMON_TEXT)


def blocks(item: str) -> str:
    """The text of one item, up to the next item, phase or part."""
    start = SHIPPED_TEXT.index(f'[[phases.items]]\nid = "{item}"')
    end = re.compile(r"^(\[\[phases(\.items)?\]\]|# -)", re.MULTILINE)
    return SHIPPED_TEXT[start : end.search(SHIPPED_TEXT, start + 5).start()]  # type: ignore[union-attr]


def other_kinds() -> Iterator[tuple[str, Files]]:
    """An act as a step, a criterion as a hold, the table as the criterion, …"""
    for item in shipped().items:
        was = blocks(item.id)
        for kind in (kind for kind in Kind if kind is not item.kind):
            text = was.replace(f'kind = "{item.kind}"', f'kind = "{kind}"')
            yield f"{item.id} as {kind}", (SHIPPED_TEXT.replace(was, text), COMMON_TEXT)


def without() -> Iterator[tuple[str, Files]]:
    """What gates is left out, or need not be stated."""
    for item in shipped().items:
        was = blocks(item.id)
        if item.kind in (Kind.CRITERION, Kind.PAUSE) or item.id in ("fundus", "neck", "above"):
            yield f"no {item.id}", (SHIPPED_TEXT.replace(was, ""), COMMON_TEXT)
            text = was.replace("name = ", "required = false\nname = ", 1)
            yield f"{item.id} not required", (SHIPPED_TEXT.replace(was, text), COMMON_TEXT)


def one_change(source: str, *changes: tuple[str, str]) -> Iterator[tuple[str, str]]:
    for was, becomes in changes:
        assert was in source, was
        yield f"{was} becomes {becomes[:40]}", source.replace(was, becomes, 1)


CONTENT = (
    ("satisfies = false", "satisfies = true"),
    ("satisfies = false\n", ""),
    ('"another structure in view"]\nsatisfies = false', '"another one"]\nsatisfies = true'),
    ('phrases = ["structures uncertain"]\nsatisfies = false', 'phrases = ["structures uncertain"]'),
    ('["structures uncertain"]\nsatisfies = false', '["structures uncertain"]\nsatisfies = true'),
    ('phrases = ["two and only two"]', 'phrases = ["two and only two", "many structures in view"]'),
    ('says = "two and only two structures"', 'says = "thank you"'),
    ('phrases = ["triangle free of fat"]', 'phrases = ["thank you all"]'),
    ("read_back_s = 10", "read_back_s = 86400"),
    ("read_back_s = 10", "read_back_s = 59"),
    ("pause_s = 5", "pause_s = 1"),
    ("pause_s = 5", "pause_s = 3"),
    ("restate_after_s = 300", "restate_after_s = 86400"),
    ("restate_after_s = 300", "restate_after_s = 1800"),
    ("restate_after_s = 300", ""),
    ("criteria_hold_s = 1800", "criteria_hold_s = 0"),
    ("criteria_hold_s = 1800", "criteria_hold_s = 7200"),
    ("criteria_hold_s = 1800", ""),
    ("pause_holds_s = 300", "pause_holds_s = 999999"),
    ("pause_holds_s = 300", "pause_holds_s = 1800"),
    ("pause_holds_s = 300", ""),
    ('lapses = ["pause"]', "lapses = []"),
    ('lapses = ["pause"]', ""),
    ('after = ["artery_clipped"]', "after = []"),
    ('after = ["duct_clipped"]', 'after = ["artery_clipped"]'),
    ("[events.bleeding]", "[events.spilling]"),
    ('phrases = ["active bleeding"]', 'phrases = ["bleeding from the very deepest hepatic bed"]'),
    ('phrases = ["converting to open"]', 'phrases = ["opening after a very long while"]'),
    ('says = "Stop. Restore the view."', 'says = "You may clip now."'),
    ('says = "Stop. Restore the view."', 'says = "Go ahead."'),
    ('says = "Stop. Restore the view."', 'says = "All clear."'),
    ('title = "Pause"', 'title = "Three criteria"'),
    ('title = "Pause"', 'title = "Clip\\u202ednuora"'),
    ('title = "Pause"', 'title = "Pause\\u0007"'),
    ('name = "triangle cleared"', 'name = "five-second pause"'),
    ("version = 2", 'version = 2\n[lexicon]\nconfirm = ["B L IY D IH NG"]\n[x]'),
)
COMMON_CONTENT = (
    ("least_confidence = 0.6", "least_confidence = 0.01"),
    ("least_confidence = 0.6", "least_confidence = 0.5"),
    ("least_confidence = 0.6", ""),
    ("least_confidence_critical = 0.8", "least_confidence_critical = 0.6"),
    ("least_confidence_critical = 0.8", ""),
    ("least_confidence_confirm = 0.85", "least_confidence_confirm = 0.8"),
    ("least_confidence_confirm = 0.85", ""),
    ('confirm = ["confirm"]', 'confirm = ["the"]'),
    ('confirm = ["confirm"]', 'confirm = ["confirm", "continue"]'),
    ('confirm = ["confirm"]', 'confirm = ["negative"]\nnegative = ["confirm"]'),
    ('negative = ["negative"]', 'negative = ["negatively speaking now"]'),
    ('emergency = ["emergency"]', 'emergency = ["emergency of the greatest possible kind"]'),
    ('address = "checklist"', 'address = "and"'),
)


def hostile() -> Iterator[tuple[str, Files]]:
    """Every file, with a name."""
    yield from other_kinds()
    yield from without()
    for name, text in one_change(SHIPPED_TEXT, *CONTENT):
        yield name, (text, COMMON_TEXT)
    for name, text in one_change(COMMON_TEXT, *COMMON_CONTENT):
        yield name, (SHIPPED_TEXT, text)
    lexicon = SHIPPED_TEXT + '\n[lexicon]\nconfirm = ["B L IY D IH NG"]\n'
    yield "confirm sounds like bleeding", (lexicon, COMMON_TEXT)


HOSTILE = dict(hostile())


def test_there_are_enough_of_them() -> None:
    assert len(HOSTILE) >= 90
    assert len(set(HOSTILE.values())) == len(HOSTILE)
    assert (SHIPPED_TEXT, COMMON_TEXT) not in HOSTILE.values()


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_file_is_refused_or_says_what_it_is(name: str) -> None:
    try:
        procedure = parse(*HOSTILE[name])
    except ProcedureError:
        return
    assert CURRENT.shape(procedure) != CURRENT.shape(shipped())


def test_most_of_them_are_refused_and_the_rest_named(counted: list[str]) -> None:
    refused = 0
    for files in HOSTILE.values():
        try:
            parse(*files)
        except ProcedureError:
            refused += 1
    assert 0 < refused < len(HOSTILE), "both ways are tried"
    counted.append(f"{refused} of {len(HOSTILE)} hostile files refused, the rest named")


HEARD = (
    ("a criterion in one common word", '[heard]\n"triangle.cleared" = ["the"]\n', ""),
    ("a criterion as its opposite", '[heard]\n"two.two" = ["many structures in view"]\n', ""),
    ("a confirm in one common word", "", '[heard]\n"reply.confirm" = ["the"]\n'),
    ("a confirm as a doubt", "", '[heard]\n"reply.confirm" = ["not so sure"]\n'),
)


@pytest.mark.parametrize(
    ("text", "common"), [each[1:] for each in HEARD], ids=[each[0] for each in HEARD]
)
def test_other_wordings_of_what_is_critical_are_part_of_the_gate(text: str, common: str) -> None:
    """Whoever signs the shape must see what is taken for a critical statement or a confirm."""
    try:
        procedure = parse(SHIPPED_TEXT + text, COMMON_TEXT + common)
    except ProcedureError:
        return
    assert CURRENT.shape(procedure) != CURRENT.shape(shipped())


def test_words_that_no_longer_deny_are_part_of_the_gate() -> None:
    words = COMMON_TEXT.replace('"not", "isn\'t"', '"isn\'t"').replace(
        '"um", "uh", "er", "ah"', '"not"'
    )
    assert words != COMMON_TEXT
    try:
        procedure = parse(SHIPPED_TEXT, words)
    except ProcedureError:
        return
    assert CURRENT.shape(procedure) != CURRENT.shape(shipped())


def test_other_wording_of_a_question_is_the_same_gate() -> None:
    text = SHIPPED_TEXT.replace('ask = "Position: table', 'ask = "First of all: table')
    assert text != SHIPPED_TEXT
    assert CURRENT.shape(parse(text, COMMON_TEXT)) == CURRENT.shape(shipped())


def test_another_gate_is_told_at_every_start() -> None:
    first = opening()
    assert isinstance(first.fact, Opened)
    story = Story(as_shipped=False)
    assert "Gate not as shipped." in CURRENT.spoken(story.case, story.records[0])
    assert "Gate not as shipped." not in CURRENT.spoken(Story().case, first)
    reopened = story.give(Restarted(gap_s=1.0))
    assert isinstance(reopened, facts.Reopened)
    assert "Gate not as shipped." in CURRENT.spoken(story.case, story.records[-1])
