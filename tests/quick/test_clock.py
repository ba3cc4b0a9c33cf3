"""The clocks of a case, the pace of a recording, and being asked to end."""

from __future__ import annotations

import signal
import time
from datetime import UTC, datetime, timedelta

import pytest
from doubles import ScriptedClock
from stories import Story

from voicecheck.core.facts import At
from voicecheck.core.inputs import Restarted
from voicecheck.live import clock
from voicecheck.live.ending import Ending, when_asked
from voicecheck.live.rehearsal import paced
from voicecheck.sound.pcm import BYTES_A_SECOND


def utc(ago_s: float) -> str:
    return f"{datetime.now(UTC) - timedelta(seconds=ago_s):%Y-%m-%dT%H:%M:%S}.000Z"


def test_a_new_record_begins_at_zero_and_its_clock_never_steps_back() -> None:
    now, gap_s = clock.wall(None)
    moments = [now(0.0).mono_us for _ in range(100)]
    assert gap_s == 0
    assert moments == sorted(moments)
    assert 0 <= moments[0] < 60_000_000


def ended(ago_s: float, ran_s: float = 5.0, boot: str = "") -> clock.Ended:
    """A record that ended so long ago by the wall clock, after running for so long."""
    ran_us, up_us = round(ran_s * 1e6), clock.boot_us()
    return clock.Ended(
        at=At(utc=utc(ago_s), mono_us=ran_us),
        began=At(utc=utc(ago_s + ran_s), mono_us=0),
        boot=boot,
        boot_us=up_us - ran_us - 2_000_000,  # by this clock it ended two seconds ago
    )


def test_a_record_that_is_taken_up_goes_on_after_the_gap() -> None:
    now, gap_s = clock.wall(ended(ago_s=600))
    assert 600 <= gap_s < 660
    assert now(0.0).mono_us >= 5_000_000 + round(gap_s * 1e6)


@pytest.mark.parametrize("ago_s", [600, -600])
def test_until_the_computer_is_started_anew_its_own_clock_measures_the_gap(ago_s: float) -> None:
    """Whatever the wall clock was set to; boot_id is that of random(4)."""
    assert clock.boot()
    now, gap_s = clock.wall(ended(ago_s, boot=clock.boot()))
    assert 2 <= gap_s < 62
    assert now(0.0).mono_us >= 7_000_000


@pytest.mark.parametrize("boot", ["", "another"])
def test_a_gap_by_a_wall_clock_that_was_set_back_is_unknown(boot: str) -> None:
    now, gap_s = clock.wall(ended(ago_s=-600, boot=boot))
    assert gap_s < 0
    assert now(0.0).mono_us >= 5_000_000


def test_a_gap_shorter_than_the_computer_has_been_running_is_unknown() -> None:
    """It was started anew since, so the gap is at least as long as that."""
    running_s = clock.boot_us() / 1e6
    assert clock.wall(ended(ago_s=running_s / 2, boot="another"))[1] < 0
    assert clock.wall(ended(ago_s=running_s + 60, boot="another"))[1] >= running_s


def test_a_record_ends_with_its_last_line_and_its_last_start() -> None:
    """Two runs: the boot clock is that of the second."""
    story = Story()
    story.say("checklist table tilted head up")
    story.give(Restarted(gap_s=4.0, boot="second", boot_us=77))
    began = story.records[-1].at
    story.say("checklist all four ports in place")
    end = clock.ended(story.records)
    assert end == clock.Ended(at=story.records[-1].at, began=began, boot="second", boot_us=77)
    assert clock.ended([]) is None


def test_the_clock_of_a_recording_moves_only_as_its_sound_does() -> None:
    now, gap_s = clock.of_the_sound()
    assert gap_s == 0
    assert [now(at_s).mono_us for at_s in (0.0, 1.5, 1.5)] == [0, 1_500_000, 1_500_000]
    apart = datetime.fromisoformat(now(90.25).utc) - datetime.fromisoformat(now(0.0).utc)
    assert apart == timedelta(seconds=90.25)


def test_a_step_of_the_wall_clock_is_told_once(monkeypatch: pytest.MonkeyPatch) -> None:
    steps, wall_s = clock.Steps(), time.time
    assert steps.seen() == ""
    monkeypatch.setattr(time, "time", lambda: wall_s() - 3600)
    assert steps.seen() == "The wall clock was set by -3600.0 s."
    assert steps.seen() == ""


def test_a_recording_comes_at_the_pace_at_which_it_was_spoken(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Each block once its sound has passed; a listener that took too long is not kept waiting."""
    scripted = ScriptedClock()
    monkeypatch.setattr(time, "monotonic", scripted)
    monkeypatch.setattr(time, "sleep", scripted.wait)
    came_s = []
    for number, _ in enumerate(paced([bytes(BYTES_A_SECOND)] * 5)):
        came_s.append(scripted.now_s)
        scripted.wait(2.5 if number == 1 else 0.25)
    assert came_s == [1.0, 2.0, 4.5, 4.75, 5.0]


def test_the_first_signal_asks_and_the_second_ends_the_program() -> None:
    before = signal.getsignal(signal.SIGTERM)
    with when_asked() as ending:
        assert not ending.asked
        signal.raise_signal(signal.SIGTERM)
        assert ending.asked
        assert signal.getsignal(signal.SIGTERM) == signal.SIG_DFL
        assert signal.getsignal(signal.SIGINT) == signal.SIG_DFL
    assert signal.getsignal(signal.SIGTERM) == before


def test_nobody_waits_once_asked_to_end(monkeypatch: pytest.MonkeyPatch) -> None:
    scripted, ending = ScriptedClock(), Ending()
    monkeypatch.setattr(time, "monotonic", scripted)
    monkeypatch.setattr(time, "sleep", scripted.wait)
    ending.wait(2.0)
    assert scripted.now_s == pytest.approx(2.0, abs=0.1)
    ending.asked = True
    ending.wait(60.0)
    assert scripted.now_s == pytest.approx(2.0, abs=0.1)
