"""The evaluation's own arithmetic: verdicts, bounds, latencies, noise levels."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile
from speech import RATE_HZ, say

from voicecheck.acoustic import evaluate
from voicecheck.acoustic.evaluate import AGAIN, CORRECT, IGNORED, WRONG, Clip, judge, poisson_bound
from voicecheck.acoustic.noises import NOISES, mix
from voicecheck.acoustic.peer import jsgf
from voicecheck.inputs import Heard

if TYPE_CHECKING:
    from pathlib import Path

KNOWN = frozenset({"confirm", "checklist artery divided"})


@pytest.mark.parametrize(
    ("said", "heard", "verdict"),
    [
        ("confirm", ["confirm"], CORRECT),
        ("confirm", ["[unk]", "confirm"], CORRECT),
        ("confirm", ["confirm", "confirm"], WRONG),  # one statement counted twice
        ("confirm", ["checklist artery divided"], WRONG),
        ("confirm", ["[unk]"], AGAIN),
        ("confirm", [], IGNORED),
        ("good morning", ["confirm"], WRONG),
        ("good morning", ["[unk]"], AGAIN),
    ],
)
def test_a_verdict_compares_what_was_said_and_heard(
    said: str, heard: list[str], verdict: str
) -> None:
    assert judge(said, heard, KNOWN) == verdict


@pytest.mark.parametrize(
    ("events", "bound"), [(0, 2.996), (1, 4.744), (2, 6.296), (3, 7.754), (10, 16.962)]
)
def test_the_bound_is_that_of_poisson_tables(events: int, bound: float) -> None:
    """One-sided 95 % upper limits of a Poisson count, half of chi-squared's: from memory."""
    assert poisson_bound(events) == pytest.approx(bound, abs=0.001)


def test_zero_false_accepts_in_six_hours_bound_half_a_one_an_hour() -> None:
    """The customer's trade facts, check value 39: 5.99 hours without one for 0.5 an hour."""
    assert poisson_bound(0) / 5.99 == pytest.approx(0.5, abs=0.001)


def test_the_end_of_speech_is_where_its_power_ends() -> None:
    tone = np.sin(np.arange(RATE_HZ) * 0.3)
    samples = np.concatenate((np.zeros(RATE_HZ), tone, 0.001 * tone))
    assert evaluate.end_of_speech_s(samples) == pytest.approx(2.0, abs=0.02)


@pytest.mark.parametrize("kind", sorted(NOISES))
@pytest.mark.parametrize("snr_db", [20, 0])
def test_noise_is_mixed_at_its_level(kind: str, snr_db: float) -> None:
    rng = np.random.default_rng(5)
    tone = 0.1 * np.sign(np.sin(np.arange(RATE_HZ * 2) * 0.3))
    speech = [rng.standard_normal(RATE_HZ), rng.standard_normal(RATE_HZ // 2)]
    noise = NOISES[kind](len(tone), rng, speech)
    assert len(noise) == len(tone)
    mixed = mix(tone, noise, snr_db)
    gain = (mixed @ tone) / (tone @ tone)  # what a least-squares fit finds of the tone in it
    rest = mixed - gain * tone
    ratio_db = 10 * np.log10(np.mean((gain * tone) ** 2) / np.mean(rest**2))
    assert ratio_db == pytest.approx(snr_db, abs=0.6)


def test_babble_without_speech_is_refused() -> None:
    with pytest.raises(ValueError, match="manifest of general speech"):
        NOISES["babble"](100, np.random.default_rng(1), [])


class Scripted:
    """Ears that hear one given utterance at one given block."""

    def __init__(self, text: str, at_block: int) -> None:
        self.text, self.at_block, self.blocks = text, at_block, 0

    def hear(self, _block: bytes) -> list[Heard]:
        self.blocks += 1
        heard = Heard(text=self.text, confidence=1.0, audio_from_s=0.0, audio_to_s=1.0)
        return [heard] if self.blocks == self.at_block else []

    def finish(self) -> list[Heard]:
        return []


def test_latency_counts_streamed_audio_from_the_end_of_speech(tmp_path: Path) -> None:
    clean = np.concatenate((0.1 * np.ones(RATE_HZ), np.zeros(RATE_HZ)))
    clip = Clip(path=tmp_path, text="confirm", voice="none", condition="clean")
    outcome = evaluate.trial(Scripted("confirm", 13), clip, clean, clean, KNOWN)
    assert outcome.verdict == CORRECT
    assert outcome.latency_s == pytest.approx(0.3, abs=0.05)  # 1.3 s streamed, 1.0 s spoken
    assert outcome.audio_s == 2.0


def test_a_manifest_is_measured_from_end_to_end(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    phrases = ("confirm", "checklist artery divided")
    (tmp_path / "phrases.txt").write_text("\n".join(phrases))
    with (tmp_path / "clips.csv").open("w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(["path", "text", "voice"])
        for number, text in enumerate((*phrases, "please open the other window")):
            soundfile.write(tmp_path / f"{number}.flac", say(text), RATE_HZ)
            rows.writerow([f"{number}.flac", text, "espeak"])
    arguments = [
        "evaluate",
        str(tmp_path / "clips.csv"),
        "--grammar",
        str(tmp_path / "phrases.txt"),
    ]
    monkeypatch.setattr("sys.argv", [*arguments, "--noise", "none", "suction:30"])
    evaluate.main()
    printed = capsys.readouterr().out
    assert printed.count("2 100.0%") == 2 * 4  # voice, all, condition, all; in both noises
    assert printed.count("clean: 0 of 1 accepted") == 2
    assert "latency: median" in printed


def test_the_peers_grammar_holds_every_phrase() -> None:
    """The JSpeech Grammar Format's self-identifying header, its name and one public rule."""
    lines = jsgf(KNOWN).splitlines()
    assert lines[:3] == ["#JSGF V1.0;", "grammar phrases;", "public <phrase> ="]
    assert [line.strip(" |;") for line in lines[3:]] == sorted(KNOWN)
