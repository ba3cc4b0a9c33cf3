"""Imagined wordings, spoken and measured by what was meant.

Sources: what was written in the file, and the meaning of the English words in it.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from speech import say
from stories import shipped

from voicecheck import shipped as files
from voicecheck.acoustic.imagined import (
    AGAIN,
    ANSWERED,
    RIGHT,
    SILENT,
    TAKEN,
    WRONG,
    judge,
    measure,
    report,
    speak,
)
from voicecheck.acoustic.making.talkers import Sound
from voicecheck.core.inputs import Heard

WORDINGS = """
[[said]]
intent = "event.bleeding"
text = "we have active bleeding"

[[said]]
intent = "reply.confirm"
text = "yes please"

[[said]]
intent = "not.artery_clipped.clipped"
text = "artery not clipped"
"""

BLEEDING = "checklist active bleeding"


def heard(text: str, confidence: float = 0.99, addressed: float = 0.0) -> Heard:
    return Heard(
        text=text, confidence=confidence, addressed=addressed, audio_from_s=0.0, audio_to_s=1.0
    )


@pytest.mark.parametrize(
    ("meant", "words", "verdict"),
    [
        ("event.bleeding", [heard(BLEEDING)], RIGHT),
        ("event.bleeding", [heard(BLEEDING, 0.3)], AGAIN),
        ("event.bleeding", [heard("checklist wobbly", 0.0, 0.9)], AGAIN),
        ("event.bleeding", [heard("checklist view lost")], WRONG),
        (
            "event.bleeding",
            [heard(BLEEDING), heard("checklist view lost")],
            WRONG,
        ),
        ("event.bleeding", [heard("wobbly", 0.05)], SILENT),
        ("event.bleeding", [], SILENT),
        ("not.artery_clipped.clipped", [heard("checklist artery clipped")], TAKEN),
        ("not.artery_clipped.clipped", [heard("checklist artery not clipped")], ANSWERED),
        ("not.artery_clipped.clipped", [], SILENT),
        ("withdraw.triangle", [heard("checklist triangle not clear")], RIGHT),
    ],
)
def test_a_verdict_compares_what_was_meant_with_what_is_taken(
    meant: str, words: list[Heard], verdict: str
) -> None:
    assert judge(shipped(), meant, words) == verdict


def test_a_critical_statement_needs_more_confidence_than_a_harmless_one() -> None:
    unsure = [heard("checklist artery clipped", 0.7)]
    assert judge(shipped(), "artery_clipped.clipped", unsure) == AGAIN


def test_wordings_are_spoken_and_heard_from_end_to_end(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "surgeon.toml").write_text(WORDINGS, encoding="utf-8")

    def voice(text: str, _stretch: float) -> Sound:
        return np.asarray(say(text), np.float64)

    speak([tmp_path / "surgeon.toml"], tmp_path, {"a voice": voice}, 1)
    grammar = files.folder("grammars") / files.PROCEDURE
    done = measure(tmp_path / "imagined.csv", grammar, "none", 1)
    report(done)
    assert [clip.condition for clip, _, _ in done] == [
        "event.bleeding",
        "not.artery_clipped.clipped",
    ]  # no reply: nothing is read back
    assert [verdict for _, verdict, _ in done] == [RIGHT, ANSWERED]
    assert "all: 2 said: 1 right, 1 denial answered" in capsys.readouterr().out
