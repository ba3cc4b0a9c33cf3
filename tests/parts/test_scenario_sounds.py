"""The shipped recordings: synthetic voices, one cue a line, faint noise between, small enough.

The limits are the customer's: the issue "A spoken case, end to end, offline".
"""

from __future__ import annotations

import itertools
from collections import Counter
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
from rooms import ROOMS, SCENARIOS, SOUNDS, recording, scenario

from voicecheck.live.scenario import Speaker


def sounds_id(sound: Path) -> str:
    return f"{sound.parent.name}-{sound.stem}"


every_sound = pytest.mark.parametrize("sound", SOUNDS, ids=sounds_id)


@every_sound
def test_a_recording_has_one_cue_a_line_inside_the_sound(sound: Path) -> None:
    info = soundfile.info(sound)
    cues, lines = recording(sound).cues, scenario(sound.parent.name).lines
    assert (info.samplerate, info.channels, info.subtype) == (16_000, 1, "OPUS")
    assert len(cues) == len(lines)
    assert cues[-1][1] < info.duration


@every_sound
def test_a_recording_holds_speech_at_its_cues_and_faint_noise_elsewhere(sound: Path) -> None:
    samples, rate_hz = soundfile.read(sound)
    edges_s = [0.0, *itertools.chain(*recording(sound).cues), len(samples) / rate_hz]
    cut = [
        samples[round(from_s * rate_hz) : round(to_s * rate_hz)]
        for from_s, to_s in itertools.pairwise(edges_s)
    ]
    for quiet in cut[::2]:
        assert len(quiet) >= 0.6 * rate_hz
        # The codec smears a few milliseconds of speech over the edges.
        assert -70 < level_dbfs(quiet[800:-800]) < -50
    for speech in cut[1::2]:
        assert 0.3 < len(speech) / rate_hz < 4
        assert -32 < level_dbfs(speech) < -20


def level_dbfs(samples: npt.NDArray[np.float64]) -> float:
    return float(10 * np.log10(np.square(samples).mean()))


@every_sound
def test_everybody_who_speaks_has_a_voice_and_a_licence_that_the_readme_names(sound: Path) -> None:
    voices = recording(sound).voices
    assert set(voices) == {line.speaker for line in scenario(sound.parent.name).lines}
    assert voices[Speaker.SURGEON].name == sound.stem
    readme = (ROOMS / "README.md").read_text("utf-8")
    for voice in voices.values():
        assert voice.package.split(",")[0] in readme
        assert voice.licence.split(" ")[0] in readme


def test_every_scenario_has_three_recordings_and_all_families_speak() -> None:
    counted = Counter(sound.parent.name for sound in SOUNDS)
    assert all(counted[name] >= 3 for name in SCENARIOS)
    surgeons = {sound.stem.removesuffix("_low") for sound in SOUNDS}
    assert surgeons == {"awb", "rms", "slt", "pico_us", "pico_gb", "ked"}


def test_the_recordings_are_small_enough_to_travel_in_the_wheel() -> None:
    """At most 12 MB: the issue."""
    assert sum(path.stat().st_size for path in ROOMS.rglob("*") if path.is_file()) <= 12_000_000
