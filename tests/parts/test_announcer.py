"""What is said is audible when it is said; nothing half-rendered is ever kept or spoken.

The engine really speaks here (pyttsx3 drives espeak-ng from its wheel). Its sound is judged by
energy and length, which give a half-rendered text away.
"""

from __future__ import annotations

import importlib
import subprocess
import sys
import threading
import time
import wave
from types import SimpleNamespace
from typing import TYPE_CHECKING, cast

import numpy as np
import pytest

from voicecheck.live.live_case import voice_for
from voicecheck.voice.announcer import AnnouncerError, Loudspeaker, Muted, Player, Speech, WavFile
from voicecheck.voice.resilient import ResilientVoice
from voicecheck.voice.speech import estimated_s

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from voicecheck.live.live_case import Setup
    from voicecheck.voice.speech import Samples

PROMPTS = (
    "All four ports in place.",
    "Shall I record: two structures only?",
    "Position: table head up, right side up.",
    "Lower third of the gallbladder off its plate.",
    "Retraction: fundus up, toward the right shoulder.",
    "Retraction: neck down and out, toward the right hip.",
    "Stand by is noted; say carry on when you are ready.",
    "Not recorded. Outstanding before clipping: triangle cleared, lower third, two structures.",
)
"""Four to sixteen words, as prompts are."""


@pytest.fixture(scope="module")
def cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("cache")


@pytest.fixture(scope="module")
def speech(cache: Path) -> Iterator[Speech]:
    speech = Speech(cache)
    yield speech
    speech.close()


def level(samples: Samples) -> float:
    return float(np.sqrt(np.mean(samples.astype(float) ** 2))) if len(samples) else 0.0


# --------------------------------------------------------------------------------------- rendering


def test_the_engine_names_itself(speech: Speech) -> None:
    assert "pyttsx3" in speech.voice
    assert "words a minute" in speech.voice


@pytest.mark.parametrize("text", PROMPTS)
def test_a_prompt_is_speech_at_the_rate_asked_for(speech: Speech, text: str) -> None:
    samples = speech.samples(text)
    words_a_minute = len(text.split()) * 60 * 16_000 / len(samples)
    assert 100 < words_a_minute < 260, "165 on average; long words take longer"
    assert level(samples) > 1000
    assert level(samples[:800]) > 30, "no silence before it"
    assert level(samples[-800:]) > 30, "nor after it"


@pytest.mark.parametrize("text", PROMPTS)
def test_a_text_is_rendered_whole(speech: Speech, text: str) -> None:
    spoken_s = len(speech.samples(text)) / 16_000
    assert spoken_s == pytest.approx(estimated_s(text), rel=0.25)


def test_the_muted_voice_takes_no_time_so_nobody_is_deaf_meanwhile() -> None:
    assert Muted().say("Lower third of the gallbladder off its plate.") == 0.0


def test_same_text_same_bytes_from_the_cache_and_from_a_new_process(
    speech: Speech, cache: Path
) -> None:
    first = speech.samples(PROMPTS[0]).tobytes()
    assert speech.samples(PROMPTS[0]).tobytes() == first
    other = Speech(cache)
    assert other.samples(PROMPTS[0]).tobytes() == first
    other.close()


@pytest.mark.parametrize("damage", ["cut", "flip", "empty"])
def test_a_damaged_cache_is_rendered_again(tmp_path: Path, damage: str) -> None:
    speech = Speech(tmp_path)
    whole = speech.samples(PROMPTS[1])
    [kept] = tmp_path.iterdir()
    content = kept.read_bytes()
    flipped = content[:5000] + bytes([content[5000] ^ 1]) + content[5001:]
    kept.write_bytes({"cut": content[:-1000], "flip": flipped, "empty": b""}[damage])
    again = speech.samples(PROMPTS[1])
    speech.close()
    assert len(again) == pytest.approx(len(whole), rel=0.02)
    assert kept.read_bytes()[32:] == again.tobytes()


def test_without_a_place_for_the_cache_it_speaks_still(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    speech = Speech(tmp_path / "file" / "cache")
    assert level(speech.samples(PROMPTS[0])) > 1000
    speech.close()


# ------------------------------------------------------------------------------- a child in trouble

HELLO = 'import sys, time; print(\'{"voice": "v"}\', flush=True); sys.stdin.readline(); '


@pytest.mark.parametrize(
    ("child", "cause"),
    [
        (HELLO + "time.sleep(60)", "no answer within 1 seconds"),
        (HELLO + "sys.exit(1)", "or ended"),
        (HELLO + "import os; os.kill(os.getpid(), 9)", "or ended"),
        (HELLO + "print('{}', flush=True); sys.stdin.readline()", "does not speak"),
        (HELLO + 'print(\'{"error": "out of breath"}\', flush=True)', "out of breath"),
        (HELLO + "print('{\"err', end='', flush=True); time.sleep(60)", "no answer"),
    ],
)
def test_a_child_that_hangs_or_dies_is_told_in_time_and_leaves_nothing(
    tmp_path: Path, child: str, cause: str
) -> None:
    speech = Speech(tmp_path, timeout_s=1, command=[sys.executable, "-c", child])
    begun_s = time.monotonic()
    with pytest.raises(AnnouncerError, match=f"{cause}.*install espeakng-loader"):
        speech.samples(PROMPTS[0])
    assert time.monotonic() - begun_s < 30, "the child would sleep for 60"
    assert list(tmp_path.iterdir()) == []
    speech.close()


def test_the_real_engine_hangs_when_it_cannot_write_and_speaks_again_afterwards(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Found by trying pyttsx3 2.99: where it cannot write its file, it waits for ever."""
    speech = Speech(tmp_path / "cache", timeout_s=1.5)
    monkeypatch.setattr("voicecheck.voice.speech._WAV", "no such folder/said.wav")
    with pytest.raises(AnnouncerError):
        speech.samples(PROMPTS[0])
    monkeypatch.undo()
    assert level(speech.samples(PROMPTS[0])) > 1000
    speech.close()


def test_without_an_engine_the_sentence_says_what_to_do(tmp_path: Path) -> None:
    for command in (["no-such-program"], [sys.executable, "-c", 'print(\'{"error": "none"}\')']):
        with pytest.raises(AnnouncerError, match="install espeakng-loader or espeak-ng"):
            Speech(tmp_path, command=command)


def test_a_text_without_words_is_refused_rather_than_passed_over(speech: Speech) -> None:
    with pytest.raises(AnnouncerError, match="gave no sound for '…'"):
        speech.samples("…")


def test_the_child_ends_with_its_parent(tmp_path: Path) -> None:
    """It reads until its standard input ends; the system closes that however the parent ends."""
    child = subprocess.Popen(
        [sys.executable, "-m", "voicecheck.voice.speech_render"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=tmp_path,
    )
    out, _ = child.communicate("", timeout=10)
    assert '"voice"' in out
    assert child.returncode == 0


# --------------------------------------------------------------------------------------- WAV file


def read(path: Path) -> Samples:
    with wave.open(str(path), "rb") as file:
        assert file.getparams()[:3] == (1, 2, 16_000)
        return np.frombuffer(file.readframes(file.getnframes()), "<i2")


def test_a_wav_file_has_speech_where_it_was_said_and_silence_elsewhere(
    tmp_path: Path, cache: Path
) -> None:
    now_s = 0.0
    voice = WavFile(tmp_path / "said.wav", lambda: now_s, Speech(cache))
    voice.prepare(PROMPTS)
    spans = []
    for now_s, text in ((1.5, PROMPTS[0]), (10.0, PROMPTS[2])):
        spans.append((now_s, now_s + voice.say(text)))
    now_s = 20.0
    voice.close()
    heard = read(tmp_path / "said.wav")
    assert len(heard) == 20 * 16_000
    at = np.arange(len(heard)) / 16_000
    said = np.logical_or.reduce([(at >= begin) & (at < end) for begin, end in spans])
    assert level(heard[said]) > 1000
    assert not heard[~said].any()


def test_stop_and_a_new_prompt_cut_what_is_being_said(tmp_path: Path, cache: Path) -> None:
    now_s = 1.0
    voice = WavFile(tmp_path / "said.wav", lambda: now_s, Speech(cache))
    assert voice.say(PROMPTS[5]) > 2
    now_s = 2.0
    voice.say(PROMPTS[4])
    now_s = 2.5
    voice.stop()
    voice.stop()
    now_s = 4.0
    voice.close()
    heard = read(tmp_path / "said.wav")
    first, second = Speech(cache), slice(2 * 16_000, int(2.5 * 16_000))
    assert (heard[16_000:32_000] == first.samples(PROMPTS[5])[:16_000]).all()
    assert (heard[second] == first.samples(PROMPTS[4])[:8_000]).all()
    assert not heard[40_000:].any()
    assert len(heard) == 64_000
    first.close()


def test_the_last_prompt_is_finished_and_the_header_is_right_at_any_time(
    tmp_path: Path, cache: Path
) -> None:
    voice = WavFile(tmp_path / "said.wav", lambda: 0.0, Speech(cache))
    assert len(read(tmp_path / "said.wav")) == 0
    assert voice.say("") == 0.0
    seconds = voice.say(PROMPTS[0])
    voice.close()
    assert len(read(tmp_path / "said.wav")) == round(seconds * 16_000)


def test_a_wav_file_that_cannot_be_written_says_so(tmp_path: Path, cache: Path) -> None:
    with pytest.raises(AnnouncerError, match="cannot be written"):
        WavFile(tmp_path / "missing" / "said.wav", lambda: 0.0, Speech(cache))


def test_a_record_taken_up_again_speaks_into_a_file_of_its_own(tmp_path: Path) -> None:
    setup = cast("Setup", SimpleNamespace(wav=True, mute=False))
    for _ in range(3):
        voice = voice_for(setup, tmp_path / "a.log", lambda: 0.0)
        assert voice.say(PROMPTS[0]) > 0
        voice.close()
    sounds = sorted(tmp_path.glob("*.wav"))
    assert [sound.name for sound in sounds] == ["a-2.wav", "a-3.wav", "a.wav"]
    assert len({sound.read_bytes() for sound in sounds}) == 1


def test_a_disk_that_fills_while_a_prompt_is_cut_short_stops_no_case(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, cache: Path
) -> None:
    voice = ResilientVoice(lambda: WavFile(tmp_path / "said.wav", lambda: 0.5, Speech(cache)))
    assert voice.say(PROMPTS[0]) > 0

    def full(_self: object, _data: bytes) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(wave.Wave_write, "writeframes", full)
    voice.stop()
    news = voice.news()
    assert news is not None
    assert "No space left" in news.message
    monkeypatch.undo()
    voice.close()


def test_an_engine_that_dies_is_told_once_and_the_case_goes_on_unspoken(tmp_path: Path) -> None:
    dies = [sys.executable, "-c", HELLO + "sys.exit(1)"]
    speech = Speech(tmp_path / "cache", timeout_s=1, command=dies)
    voice = ResilientVoice(lambda: WavFile(tmp_path / "said.wav", lambda: 0.0, speech))
    assert voice.news() is None
    voice.prepare(PROMPTS[:1])
    assert voice.say(PROMPTS[0]) == 0.0
    news = voice.news()
    assert news is not None
    assert "install espeakng-loader" in news.message
    assert voice.news() is None
    voice.close()


# ------------------------------------------------------------------------------------- loudspeaker


def blocks(player: Player, count: int) -> Samples:
    """What the sound card would get, in blocks of 10 ms."""
    out = np.full((count, 160), 99, np.int16)  # a card's buffer holds old sound
    for block in out:
        player.fill(block)
    return out.ravel()


def test_the_player_gives_all_samples_once_and_then_silence() -> None:
    player, samples = Player(), np.arange(1, 1001, dtype=np.int16)
    assert not blocks(player, 3).any()
    player.play(samples)
    heard = blocks(player, 10)
    assert (heard[:1000] == samples).all()
    assert not heard[1000:].any()


def test_stop_is_silent_within_30_ms_and_without_a_step() -> None:
    player = Player()
    player.play(np.full(16_000, 8000, np.int16))
    before = blocks(player, 5)
    player.stop()
    after = blocks(player, 3)
    assert (before == 8000).all()
    assert not after[160:].any(), "one block of 10 ms fades, the rest is silence"
    assert np.max(np.abs(np.diff(after.astype(int)))) < 60
    player.play(np.full(160, 5, np.int16))
    assert (blocks(player, 1) == 5).all(), "the next prompt is whole"


def test_what_is_said_while_the_card_asks_is_never_lost() -> None:
    player, begun = Player(), threading.Event()

    def card() -> None:
        block = np.zeros(160, np.int16)
        while not begun.is_set():
            player.fill(block)

    thread = threading.Thread(target=card)
    thread.start()
    long = np.ones(10**7, np.int16)
    for _ in range(2000):
        player.stop()
        player.play(long)
        with player._lock:
            assert len(player._samples) > 0
    begun.set()
    thread.join()


def test_without_a_loudspeaker_the_sentence_says_what_to_do(cache: Path) -> None:
    try:
        importlib.import_module("sounddevice")
        cause = "no such loudspeaker cannot be opened"
    except OSError:
        cause = "libportaudio2"
    speech = Speech(cache)
    with pytest.raises(AnnouncerError, match=cause):
        Loudspeaker("no such loudspeaker", speech)
    speech.close()
