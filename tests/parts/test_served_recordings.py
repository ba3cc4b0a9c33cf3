"""`serve --audio` on the recording of each scenario: the case goes as in a rehearsal, to its end.

A recording of a scenario takes turns with the machine, which is deaf while it speaks. Here time is
the sound's own and nobody waits for it to pass; everything else is as served.
"""

from __future__ import annotations

from functools import partial
from pathlib import Path

import pytest
from click.testing import CliRunner
from rooms import ROOMS, SCENARIOS, scenario, told
from stories import shipped

from voicecheck import cli_live
from voicecheck.cli import main
from voicecheck.core import facts
from voicecheck.core.facts import decode_record
from voicecheck.core.inputs import Heard
from voicecheck.core.replay import replay
from voicecheck.journal import read
from voicecheck.live import clock, serving
from voicecheck.live.ending import Ending
from voicecheck.live.live_case import LiveCase
from voicecheck.live.rehearsal import understood, written


@pytest.fixture
def hurried(monkeypatch: pytest.MonkeyPatch) -> None:
    """The pace of the sound is that of the computer, and so is the clock's."""
    monkeypatch.setattr(cli_live, "paced", lambda blocks: blocks)
    monkeypatch.setattr(serving, "LiveCase", partial(LiveCase, runs=clock.of_the_sound))
    monkeypatch.setattr(Ending, "wait", lambda _ending, _seconds: None)


@pytest.mark.usefixtures("hurried")
@pytest.mark.parametrize("name", SCENARIOS)
def test_a_served_recording_goes_as_its_scenario_says_to_a_closed_record(
    name: str, tmp_path: Path
) -> None:
    """As test_recordings.py has it rehearsed, and test_scenarios.py told as text."""
    sound = ROOMS / name / f"{scenario(name).voice}.opus"
    options = ("--audio", str(sound), "--case-dir", str(tmp_path), "--port", "0", "--wav")
    ran = CliRunner().invoke(main, ["serve", "--case", f"invented-{name}", *options])
    assert ran.exit_code == 0, ran.output
    lines = read(tmp_path / f"invented-{name}.log").lines
    records = [decode_record(line) for line in lines]
    assert replay(lines).state.mode == "closed"
    heard = [(r.cause.text, type(r.fact).__name__) for r in records if isinstance(r.cause, Heard)]
    expected = written(scenario(name), mute=False)
    assert understood(shipped(), heard) == understood(shipped(), expected)
    for kind in (facts.Stated, facts.Closed):
        assert [r.fact for r in records if isinstance(r.fact, kind)] == [
            fact for fact in told(name).facts if isinstance(fact, kind)
        ]
    spoke = sum(isinstance(record.fact, facts.Spoke) for record in records)
    assert spoke > 10, "it spoke, and was deaf meanwhile"
