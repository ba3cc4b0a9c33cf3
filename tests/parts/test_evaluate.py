"""The evaluation's own arithmetic: verdicts, bounds, latencies, noise levels."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
import soundfile
from speech import RATE_HZ, say

from voicecheck.acoustic import evaluate
from voicecheck.acoustic.evaluate import Measurement
from voicecheck.acoustic.figures import (
    AGAIN,
    CORRECT,
    IGNORED,
    WRONG,
    Clip,
    Outcome,
    confusions,
    judge,
    poisson_bound,
    tradeoff,
)
from voicecheck.acoustic.noises import NOISES, active_speech_rms, mask, mix
from voicecheck.acoustic.peer import jsgf
from voicecheck.core.inputs import Heard

KNOWN = dict.fromkeys(("confirm", "checklist artery divided"), 0.0)


@pytest.mark.parametrize(
    ("said", "accepted", "anything", "verdict"),
    [
        ("confirm", ["confirm"], True, CORRECT),
        ("confirm", ["confirm", "confirm"], True, WRONG),  # one statement counted twice
        ("confirm", ["checklist artery divided"], True, WRONG),
        ("confirm", [], True, AGAIN),
        ("confirm", [], False, IGNORED),
        ("good morning", ["confirm"], True, WRONG),
        ("good morning", [], True, AGAIN),
    ],
)
def test_a_verdict_compares_what_was_said_and_accepted(
    said: str, accepted: list[str], anything: bool, verdict: str
) -> None:
    assert judge(said, accepted, anything=anything) == verdict


def heard(*texts: str, confidence: float = 1.0) -> tuple[Heard, ...]:
    return tuple(
        Heard(text=text, confidence=confidence, audio_from_s=0.0, audio_to_s=1.0) for text in texts
    )


def outcome(said: str, *texts: str, confidence: float = 1.0) -> Outcome:
    return Outcome(
        clip=Clip(path=Path("said.flac"), text=said, voice="none", condition="clean"),
        ears="Scripted",
        noise="none",
        heard=heard(*texts, confidence=confidence),
        accepted=texts,
        verdict=judge(said, texts, anything=True),
        latency_s=None,
        audio_s=1.0,
        compute_s=0.1,
    )


def test_only_what_is_a_phrase_and_sure_enough_is_accepted() -> None:
    measurement = Measurement(
        "Scripted", "none", 1, {"confirm": 0.8, "checklist artery divided": 0.9}
    )
    for text, confidence, accepted in (
        ("confirm", 0.8, True),
        ("confirm", 0.79, False),
        ("checklist artery divided", 0.85, False),
        ("checklist artery divided", 0.9, True),
        ("[unk]", 1.0, False),
    ):
        assert measurement.accepts(*heard(text, confidence=confidence)) == accepted


def test_the_trade_off_counts_what_each_least_confidence_would_accept(
    capsys: pytest.CaptureFixture[str],
) -> None:
    done = [
        outcome("confirm", "confirm", confidence=0.97),
        outcome("confirm", "checklist artery divided", confidence=0.82),
        outcome("good morning", "confirm", confidence=0.55),
    ]
    tradeoff(done, KNOWN, {"checklist artery divided"})
    rows = dict(line.split(": ") for line in capsys.readouterr().out.strip().splitlines()[1:])
    assert rows["  0.00"] == "1 of 2; 2 of 3; 1"
    assert rows["  0.60"] == "1 of 2; 1 of 3; 1"
    assert rows["  0.85"] == "1 of 2; 0 of 3; 0"
    assert rows["  0.98"] == "0 of 2; 0 of 3; 0"


@pytest.mark.parametrize(
    ("events", "bound"),
    [(0, 2.996), (1, 4.744), (2, 6.296), (3, 7.754), (10, 16.962), (400, 434.497)],
)
def test_the_bound_is_that_of_poisson_tables(events: int, bound: float) -> None:
    """One-sided 95 % upper limits of a Poisson count, half of chi-squared's: from memory.

    The last by the Wilson–Hilferty approximation.
    """
    assert poisson_bound(events) == pytest.approx(bound, abs=0.001)


def test_zero_false_accepts_in_six_hours_bound_half_a_one_an_hour() -> None:
    """The customer's trade facts, check value 39: 5.99 hours without one for 0.5 an hour."""
    assert poisson_bound(0) / 5.99 == pytest.approx(0.5, abs=0.001)


def test_the_end_of_speech_is_where_its_power_ends() -> None:
    tone = np.sin(np.arange(RATE_HZ) * 0.3)
    samples = np.concatenate((np.zeros(RATE_HZ), tone, 0.001 * tone))
    assert evaluate.end_of_speech_s(samples) == pytest.approx(2.0, abs=0.02)


@pytest.mark.parametrize("peak", [0.9, 0.1, 0.01])
@pytest.mark.parametrize("pause_s", [0, 1, 5])
def test_the_level_of_speech_is_that_of_its_active_time(peak: float, pause_s: int) -> None:
    """ITU-T P.56, method B (from memory): active is speech and 0.2 s after, whatever the pauses.

    Worked by hand: a second of tone and a pause, four times, are active for 1.2 s of each.
    """
    tone = peak * np.sin(np.arange(RATE_HZ) * 0.3)
    bursts = np.concatenate((tone, np.zeros(RATE_HZ * pause_s)))
    active = 1.2 if pause_s else 1.0
    expected_db = 20 * np.log10(peak) - 10 * np.log10(2 * active)
    measured_db = 20 * np.log10(active_speech_rms(np.tile(bursts, 4)))
    assert measured_db == pytest.approx(expected_db, abs=0.4)  # its envelope falls for some 0.1 s


def test_the_level_of_silence_is_not_told() -> None:
    with pytest.raises(ValueError, match="no speech"):
        active_speech_rms(np.zeros(RATE_HZ))


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


def test_a_mask_takes_high_sounds_only() -> None:
    """Goldin, Weinstein and Shiman (2020): up to 12 dB at 2 to 7 kHz, next to nothing below."""
    at = np.arange(RATE_HZ) / RATE_HZ
    for hz, loss_db in ((300, 0), (1000, 0), (2000, 6), (4000, 12), (7000, 12)):
        tone = np.sin(2 * np.pi * hz * at)
        masked = mask(tone)
        assert 20 * np.log10(tone.std() / masked.std()) == pytest.approx(loss_db, abs=0.1)


@pytest.mark.parametrize("noise", ["none", "mask", "suction:10", "mask+suction:10"])
def test_a_condition_is_read_as_a_mask_and_a_noise(noise: str) -> None:
    """What is left of a high tone and of the quiet after it tells which of the two there was."""
    tone = 0.1 * np.sin(np.arange(RATE_HZ) * 2 * np.pi * 5000 / RATE_HZ)
    clean = np.concatenate((tone, np.zeros(RATE_HZ)))
    heard = evaluate.disturbed(clean, noise, np.random.default_rng(1), [])
    level = (heard[:RATE_HZ] @ tone) / (tone @ tone)
    assert level == pytest.approx(10 ** (-12 / 20) if "mask" in noise else 1, rel=0.1)
    rest_db = 20 * np.log10(heard[RATE_HZ + 1000 :].std())
    assert (rest_db > -50) == ("suction" in noise)
    assert rest_db > -76  # no microphone gives digital silence


def test_a_recorded_noise_plays_over_and_over_at_its_level(tmp_path: Path) -> None:
    hum = 0.02 * np.sin(2 * np.pi * 3_000 * np.arange(RATE_HZ // 2) / RATE_HZ)
    soundfile.write(tmp_path / "hum.flac", hum, RATE_HZ)
    clean = 0.1 * np.sign(np.sin(np.arange(2 * RATE_HZ) * 0.3))
    noise = f"{tmp_path / 'hum.flac'}:10"
    rest = evaluate.disturbed(clean, noise, np.random.default_rng(1), []) - clean
    ratio_db = 10 * np.log10(np.mean(clean**2) / np.mean(rest**2))
    assert ratio_db == pytest.approx(10, abs=0.6)
    loudest_hz = np.abs(np.fft.rfft(rest)).argmax() / 2
    assert loudest_hz == pytest.approx(3_000, abs=1)


def test_what_is_neither_a_noise_nor_a_recording_is_told(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "fast.flac", np.zeros(100), 44_100)
    for kind, cause in (("suctoin", "nor a recording"), (tmp_path / "fast.flac", "16000 Hz")):
        with pytest.raises(evaluate.RecordingError, match=cause):
            evaluate.disturbed(np.ones(9), f"{kind}:10", np.random.default_rng(1), [])


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


def test_a_share_of_the_recordings_has_every_voice_and_every_phrase(tmp_path: Path) -> None:
    listed = [
        Clip(path=tmp_path, text=str(phrase), voice=voice, condition="command")
        for voice in "abcd"
        for phrase in range(8)
    ]
    chosen = [(clip.voice, int(clip.text)) for clip in evaluate.one_in(4, listed)]
    assert sorted({phrase for _, phrase in chosen}) == list(range(8))
    assert [[p for v, p in chosen if v == voice] for voice in "abcd"] == [
        [0, 4],
        [3, 7],
        [2, 6],
        [1, 5],
    ]
    assert list(evaluate.one_in(1, listed)) == listed


def test_latency_counts_streamed_audio_from_the_end_of_speech(tmp_path: Path) -> None:
    clean = np.concatenate((0.1 * np.ones(RATE_HZ), np.zeros(RATE_HZ)))
    clip = Clip(path=tmp_path, text="confirm", voice="none", condition="clean")
    measurement = Measurement("Scripted", "none", 1, KNOWN)
    measured = evaluate.trial(Scripted("confirm", 13), clip, clean, clean, measurement)
    assert measured.verdict == CORRECT
    assert measured.latency_s == pytest.approx(0.3, abs=0.05)  # 1.3 s streamed, 1.0 s spoken
    assert measured.audio_s == 2.0


@pytest.mark.parametrize(
    ("said", "accepted", "printed"),
    [
        ("checklist artery divided", ("checklist artery divided",), "of 1 said 0 taken"),
        ("checklist artery divided", ("confirm",), "of 1 said 1 taken"),
        ("checklist artery divided", (), "of 1 said 0 taken"),
        ("confirm", ("checklist artery divided",), "unsaid, accepted 1 times in 1 trials"),
        ("good morning", ("checklist artery divided",), "unsaid, accepted 1 times in 1 trials"),
        ("good morning", ("confirm",), "unsaid, accepted 0 times in 1 trials"),
    ],
)
def test_wrong_critical_commands_are_counted_by_themselves(
    said: str, accepted: tuple[str, ...], printed: str, capsys: pytest.CaptureFixture[str]
) -> None:
    confusions([outcome(said, *accepted)], {"checklist artery divided"})
    assert printed in capsys.readouterr().out


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
    arguments += ["--rows", str(tmp_path / "rows.csv"), "--noise", "none", "suction:30"]
    monkeypatch.setattr("sys.argv", arguments)
    evaluate.main()
    printed = capsys.readouterr().out
    assert printed.count("2 100.0%") == 2 * 4  # voice, all, condition, all; in both noises
    assert printed.count("clean: 0 of 1 accepted") == 2
    assert "latency: median" in printed
    with (tmp_path / "rows.csv").open(newline="") as file:
        written = [(row["noise"], row["heard"]) for row in csv.DictReader(file) if row["latency_s"]]
    assert written == [(noise, text) for noise in ("none", "suction:30") for text in phrases]


@pytest.mark.parametrize(
    ("content", "reason"),
    [(None, "No such file"), (b"no sound", "cannot be read as sound"), (b"", "is silent")],
)
def test_a_recording_that_cannot_be_used_is_named(
    content: bytes | None,
    reason: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    said = tmp_path / "said.flac"
    if content:
        said.write_bytes(content)
    else:
        soundfile.write(said, np.zeros(RATE_HZ), RATE_HZ)
    trials = tmp_path / "trials.csv"
    if content is not None:
        trials.write_text("path,text,voice\nsaid.flac,confirm,none\n", encoding="utf-8")
    monkeypatch.setattr("sys.argv", ["evaluate", str(trials)])
    with pytest.raises(SystemExit, match="2"):
        evaluate.main()
    told = capsys.readouterr().err
    assert reason in told
    assert str(trials if content is None else said) in told


def test_the_peers_grammar_holds_every_phrase() -> None:
    """The JSpeech Grammar Format's self-identifying header, its name and one public rule."""
    lines = jsgf(KNOWN).splitlines()
    assert lines[:3] == ["#JSGF V1.0;", "grammar phrases;", "public <phrase> ="]
    assert [line.strip(" |;") for line in lines[3:]] == sorted(KNOWN)
