"""A procedure of another trade, written as text alone, is heard: nothing is trained for it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from speech import say
from test_second_procedure import scaffold

from voicecheck.core.conduct import CURRENT
from voicecheck.core.inputs import Answer, Meaning, ReportEvent
from voicecheck.ears.recogniser import Recogniser
from voicecheck.ears.wordings import wordings


@pytest.fixture(scope="module")
def ears() -> Iterator[Recogniser]:
    procedure = scaffold()
    with Recogniser(
        CURRENT.phrases(procedure),
        words=procedure.file.lexicon,
        wordings=wordings(procedure),
        listening=procedure.common.listening,
    ) as opened:
        yield opened


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("checklist ground level and firm", Answer(item="ground", answer="firm")),
        ("checklist every brace is fastened", Answer(item="braces", answer="in")),
        ("checklist the ground is solid", Answer(item="ground", answer="firm")),
        ("checklist wind is picking up", ReportEvent(event="wind")),
        ("checklist the scaffold has moved", ReportEvent(event="moved")),
    ],
)
def test_it_is_heard(ears: Recogniser, said: str, meant: Meaning) -> None:
    heard = [*ears.hear(say(said).tobytes()), *ears.finish()]
    assert [CURRENT.interpret(scaffold(), each.text) for each in heard] == [meant]
    assert heard[0].confidence >= CURRENT.least_confidence(scaffold(), meant)
