"""The evaluation set: texts that are no phrase, the same for the same seed, in the manifest's form.

The sources of the checks: what the words "near miss", "cut off" and "in another order" say.
"""

from __future__ import annotations

from random import Random
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile
from speech import RATE_HZ, say

from voicecheck.acoustic import evaluate, trials
from voicecheck.acoustic.making import talkers, voices
from voicecheck.acoustic.making.voices import DEV_VOICES, ESPEAK_VARIANTS

if TYPE_CHECKING:
    from pathlib import Path

    from voicecheck.acoustic.making.talkers import Sound

COMMANDS = (
    "checklist artery divided",
    "checklist duct transected",
    "checklist neck held down and out",
    "checklist emergency",
    "confirm",
)


@pytest.fixture
def wordnet(tmp_path: Path) -> Path:
    """Four lines in the form of WordNet's data files (its wndb manual page): gloss after a bar."""
    folder = tmp_path / "wordnet"
    folder.mkdir()
    for number, name in enumerate(("noun", "verb", "adj", "adv")):
        line = f'0000{number} 03 n 01 thing 0 000 | the {name} of a thing; "we saw the {name} once"'
        (folder / f"data.{name}").write_text(f"{line}\n", encoding="ascii")
    return folder


def near(seed: int) -> list[trials.Said]:
    return list(trials.near_misses(COMMANDS, Random(seed)))  # noqa: S311


@pytest.mark.parametrize("seed", range(20))
def test_no_near_miss_is_a_phrase(seed: int) -> None:
    """And none of talk's sentences is, though each holds a phrase's words."""
    talk = trials.talk(COMMANDS, 30, Random(seed))  # noqa: S311
    texts = [text for _, text in (*near(seed), *talk)]
    assert len(texts) == 3 * 5 + 30  # one word after the address word, or none, is too few to miss
    assert not set(texts) & set(COMMANDS)


@pytest.mark.parametrize("seed", range(5))
def test_a_near_miss_is_what_its_kind_says(seed: int) -> None:
    misses = near(seed)
    for at, phrase in enumerate(COMMANDS[:3]):
        said, texts = phrase.split(), {kind: t.split() for kind, t in misses[5 * at : 5 * at + 5]}
        changed = texts["a word changed"]
        assert len(changed) == len(said)
        assert sum(a != b for a, b in zip(changed, said, strict=True)) == 1
        assert sorted(texts["another order"]) == sorted(said)
        assert texts["another order"][0] == said[0]
        assert texts["without address"] == said[1:]
        assert texts["cut off"] == said[:-1]
        assert texts["gone on"][: len(said)] == said
        assert len(texts["gone on"]) > len(said)


def test_the_same_seed_gives_the_same_texts() -> None:
    assert near(3) == near(3)
    assert near(3) != near(4)


def test_a_set_is_made_whole_again_and_read_by_the_evaluation(
    tmp_path: Path, wordnet: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    spoken: list[str] = []

    def speaks(voice: str) -> talkers.Talker:
        def talker(text: str, _stretch: float) -> Sound:
            spoken.append(text)
            return say(text, voice) / 32768

        return talker

    monkeypatch.setattr(trials, "held_out", lambda: {v: speaks(v) for v in ("en-us", "en-gb")})
    (tmp_path / "phrases.txt").write_text("\n".join(COMMANDS), encoding="utf-8")
    arguments = ["--voices", "heldout", "--grammar", str(tmp_path / "phrases.txt")]
    arguments += ["--wordnet", str(wordnet), "--general", "4", "--talk", "2"]
    monkeypatch.setattr("sys.argv", ["trials", "--out", str(tmp_path / "set"), *arguments])
    trials.main()
    clips = {
        name: list(evaluate.read(tmp_path / "set" / f"{name}.csv"))
        for name in ("commands", "general", "near")
    }
    assert [(clip.voice, clip.text) for clip in clips["commands"]] == [
        (voice, text) for voice in ("en-us", "en-gb") for text in sorted(COMMANDS)
    ]
    assert {clip.condition for clip in clips["general"]} == {"general speech"}
    assert [clip.condition for clip in clips["near"]].count("talk of the trade") == 2
    assert len(clips["near"]) == 2 + 3 * 5
    for clip in (*clips["commands"], *clips["general"], *clips["near"]):
        samples, rate_hz = soundfile.read(clip.path)
        assert rate_hz == RATE_HZ
        assert np.abs(samples).max() == pytest.approx(0.5, abs=0.001)
    count = len(spoken)
    trials.main()
    assert len(spoken) == count  # every file was there


def test_what_measures_has_trained_nothing() -> None:
    """The lists of voices.py and the card's "Never trained on"."""
    assert {voice.partition("+")[2] for voice in talkers.DEV_ESPEAK} == {"m4", "m7", "f3", "f5"}
    assert not {voice.partition("+")[2] for voice in talkers.DEV_ESPEAK} & set(ESPEAK_VARIANTS)
    assert len(talkers.held_out()) == 12
    assert not any("kal" in name or "kokoro" in name for name in talkers.held_out())
    assert len(talkers.development(None)) == 12


def test_kokoro_measures_only_with_its_reserved_identities(tmp_path: Path) -> None:
    added = talkers.development(tmp_path).keys() - talkers.development(None).keys()
    assert added == {f"kokoro {name}" for name in DEV_VOICES}


def test_a_higher_voice_keeps_its_pace() -> None:
    def hums(_text: str, stretch: float) -> Sound:
        return np.sin(2 * np.pi * 200 * np.arange(round(stretch * 16_000)) / 16_000)

    higher = talkers._at_height(hums, 1.15)("", 1.0)
    assert len(higher) == pytest.approx(16_000, abs=16)
    assert np.abs(np.fft.rfft(higher)).argmax() == pytest.approx(230, abs=1)


def test_the_voices_unlike_all_others_neither_train_nor_measure() -> None:
    assert len(talkers.unlike()) == 3
    assert not talkers.unlike().keys() & (talkers.held_out() | talkers.development(None)).keys()
    assert not any("flite" in name.lower() for name in vars(voices)), "what may train"
