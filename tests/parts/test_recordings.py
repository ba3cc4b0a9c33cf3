"""The shipped recordings, through the real recogniser, into live cases, to a log that holds.

The voices are synthetic and trained nothing here (recordings_synthetic/README.md): this shows that
the path works from sound to log, and says nothing of accuracy on people.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest
from click.testing import CliRunner
from rooms import SCENARIOS, SOUNDS, recording, scenario, sounds_of
from stories import shipped

from voicecheck.cli import main
from voicecheck.core.facts import decode_record
from voicecheck.core.inputs import Heard
from voicecheck.core.replay import replay
from voicecheck.journal import read
from voicecheck.live.rehearsal import understood, written
from voicecheck.sound.recording import from_file


@pytest.mark.parametrize("name", SCENARIOS)
def test_a_rehearsal_goes_as_written_to_a_closed_log_that_holds(name: str, tmp_path: Path) -> None:
    ran = CliRunner().invoke(main, ["rehearse", name, "--fast", "--case-dir", str(tmp_path)])
    (path,) = tmp_path.glob("*.log")
    lines = read(path).lines
    heard = [
        (record.cause.text, type(record.fact).__name__)
        for record in map(decode_record, lines)
        if isinstance(record.cause, Heard)
    ]
    expected = written(scenario(name), mute=True)
    assert understood(shipped(), heard) == understood(shipped(), expected)
    assert ran.exit_code == 0, ran.output
    assert replay(lines).state.mode == "closed"


@pytest.mark.parametrize("name", ["third_structure", "speaks_over"])
def test_a_rehearsal_that_is_spoken_is_deaf_meanwhile_and_goes_the_same_way(
    name: str, tmp_path: Path
) -> None:
    """Needs only the speech engine's wheel; the prompts go into a sound file beside the log."""
    spoken = ["rehearse", name, "--fast", "--wav", "--case-dir", str(tmp_path)]
    ran = CliRunner().invoke(main, spoken)
    assert ran.exit_code == 0, ran.output
    (path,) = tmp_path.glob("*.log")
    facts = Counter(type(decode_record(line).fact).__name__ for line in read(path).lines)
    assert facts["Spoke"] > 10
    assert b"".join(from_file(path.with_suffix(".wav"))).strip(b"\0")


def test_every_scenario_has_at_least_three_recordings() -> None:
    assert min(len(sounds_of(name)) for name in SCENARIOS) >= 3


def test_no_voice_that_trained_the_model_speaks_here() -> None:
    trained = {"kokoro", "hibari", "espeak", "kal_diphone", "kal16"}
    voices = [voice for sound in SOUNDS for voice in recording(sound).voices.values()]
    assert len(voices) > len(SOUNDS)
    for voice in voices:
        named = f"{voice.name} {voice.package}".lower()
        assert not any(name in named for name in trained), voice
