"""The shipped recordings, through the real recogniser, into live cases, to a log that holds.

The voices are synthetic and trained nothing here (recordings_synthetic/README.md): this shows that
the path works from sound to log, and says nothing of accuracy on people.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from voicecheck.cli import main
from voicecheck.facts import decode_record
from voicecheck.inputs import Heard
from voicecheck.journal import read
from voicecheck.replay import replay
from voicecheck.scenario import parse_recording, parse_scenario
from voicecheck.shipped import folder

ROOM = folder("recordings_synthetic")
PERFORMANCES = sorted(
    (place.parent.name, place.stem)
    for place in ROOM.glob("*/*.toml")
    if place.name != "scenario.toml"
)


@pytest.mark.parametrize(("scenario", "voice"), PERFORMANCES)
def test_every_line_of_every_voice_is_taken_as_written(
    scenario: str, voice: str, tmp_path: Path
) -> None:
    ran = CliRunner().invoke(
        main, ["rehearse", scenario, "--voice", voice, "--fast", "--case-dir", str(tmp_path)]
    )
    (path,) = tmp_path.glob("*.log")
    lines = read(path).lines
    written = parse_scenario((ROOM / scenario / "scenario.toml").read_text()).lines
    heard = [
        (record.cause.text, type(record.fact).__name__)
        for record in map(decode_record, lines)
        if isinstance(record.cause, Heard)
    ]
    assert heard == [(line.heard, line.then) for line in written]
    assert ran.exit_code == 0, ran.output
    assert replay(lines).state.mode == "closed"


def test_every_scenario_has_at_least_three_recordings() -> None:
    for place in ROOM.glob("*/scenario.toml"):
        assert len([name for name, _ in PERFORMANCES if name == place.parent.name]) >= 3


def test_no_voice_that_trained_the_model_speaks_here() -> None:
    trained = {"kokoro", "hibari", "espeak", "kal"}
    for place in ROOM.glob("*/*.toml"):
        if place.name != "scenario.toml":
            for voice in parse_recording(place.read_text()).voices.values():
                assert not any(name in voice.name.lower() for name in trained), voice
