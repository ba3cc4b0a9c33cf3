"""Hours of sound that must not be taken for commands: what they hold, how they are counted."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable
from itertools import islice
from pathlib import Path

import numpy as np
import pytest
import soundfile
from speech import RATE_HZ, say
from stories import Story
from stories import shipped as procedure

from voicecheck import shipped
from voicecheck.acoustic import stream
from voicecheck.acoustic.grammar_file import replies
from voicecheck.core.conduct_2.grammar import phrases
from voicecheck.core.facts import Doubt, NotUnderstood
from voicecheck.core.inputs import Heard


@pytest.fixture
def talk(tmp_path: Path) -> list[Path]:
    said = ("please move the lamp a little", "who has seen the other instrument")
    paths = [tmp_path / f"{number}.flac" for number in range(len(said))]
    for path, text in zip(paths, said, strict=True):
        soundfile.write(path, say(text), RATE_HZ)
    return paths


def test_the_scenes_hold_every_kind_and_are_the_same_for_a_seed(talk: list[Path]) -> None:
    first = list(islice(stream.scenes(talk, np.random.default_rng(2)), 12))
    again = list(islice(stream.scenes(talk, np.random.default_rng(2)), 12))
    assert {kind for kind, _ in first} == set(stream.SHARES)
    for (kind, scene), (same, sound) in zip(first, again, strict=True):
        assert kind == same
        np.testing.assert_array_equal(scene, sound)
        assert len(scene) == stream.SCENE_S * RATE_HZ
        assert 0 < np.abs(scene).max() <= 1.0001


def test_music_is_tones_on_a_beat() -> None:
    """Its spectrum stands out in lines: the strongest bin is far above the middle one."""
    sound = stream.music(20 * RATE_HZ, np.random.default_rng(2))
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound)))) ** 2
    audible = spectrum[60 * 20 : 4000 * 20]
    assert 10 * np.log10(audible.max() / np.median(audible)) > 40


def test_accepts_are_counted_by_kind_with_their_bound() -> None:
    """Nothing in ten hours bounds the rate at 0.3 an hour (rule of three: Hanley & Lippman-Hand,
    JAMA 1983;249:1743-1745, from memory)."""
    count = stream.Count(lambda heard: heard.text != "[unk]", {"confirm"})
    count.take("music", 36_000, [])
    music, everything = count.rows()
    assert "0 utterances, 0 accepted, 0.00 an hour (95 %: below 0.30), " in music
    assert everything.startswith("all: 10.00 h")
    said = [
        Heard(text=text, confidence=1.0, audio_from_s=0.0, audio_to_s=1.0)
        for text in ("checklist artery divided", "confirm", "[unk]")
    ]
    count.take("noise", 36_000, said)
    noise, _, everything = count.rows()
    assert "3 utterances, 1 accepted, 0.10 an hour (95 %: below 0.47), " in noise
    assert everything.startswith("all: 20.00 h, 3 utterances, 1 accepted")
    assert [each.text for _, each in count.replied] == ["confirm"]


def test_a_reply_while_nothing_waits_is_no_command() -> None:
    """By the rules of conduct themselves: decide.py, of a case that has just been opened."""
    nothing = NotUnderstood(why=Doubt.NOTHING_TO_CONFIRM)
    counted_apart = replies(shipped.folder("grammars") / shipped.PROCEDURE)
    assert {
        text for text in phrases(procedure()) if Story().say(text) == [nothing]
    } == counted_apart


@pytest.fixture
def streamed(
    talk: list[Path], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> Callable[[], str]:
    """What the stream prints after three minutes of the sounds in `talk`."""

    def run() -> str:
        manifest = talk[0].parent / "talk.csv"
        with manifest.open("w", newline="", encoding="utf-8") as file:
            listed = ((path.name, "talk", "espeak") for path in talk)
            csv.writer(file).writerows([("path", "text", "voice"), *listed])
        monkeypatch.setattr("sys.argv", ["stream", str(manifest), "--hours", "0.05", "--seed", "2"])
        stream.main()
        return capsys.readouterr().out

    return run


def test_talk_is_heard_through_the_recogniser_and_none_of_it_is_accepted(
    streamed: Callable[[], str],
) -> None:
    printed = streamed()
    total = re.search(r"all: 0.05 h, (\d+) utterances, 0 accepted", printed)
    assert total, printed
    assert int(total[1]) > 10, "two sentences, again and again"
    assert "critical: 0 accepted" in printed


def test_a_critical_command_among_the_talk_is_accepted_and_counted(
    talk: list[Path], streamed: Callable[[], str]
) -> None:
    command = "checklist artery divided"
    soundfile.write(talk[0], say(command), RATE_HZ)
    printed = streamed()
    count = re.search(r"^critical: (\d+) accepted", printed, re.MULTILINE)
    assert count, printed
    assert int(count[1]) == printed.count(f'"{command}" (') > 5
