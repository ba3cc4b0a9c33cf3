"""The figures of sounds whose figures are known, and the advice in plain words."""

from __future__ import annotations

import numpy as np
import pytest
from speech import say

from voicecheck.sound.levels import (
    LOWEST_DBFS,
    Figures,
    Samples,
    advice,
    clipped,
    delay_s,
    figures,
    rms_dbfs,
    sum_db,
)
from voicecheck.sound.pcm import RATE_HZ

SECOND = np.arange(RATE_HZ)


def sine(amplitude: float = 32_767.0, hz: float = 1000.0) -> Samples:
    return np.rint(amplitude * np.sin(2 * np.pi * hz * SECOND / RATE_HZ)).astype(np.int16)


def noise(rms: float, seconds: float = 1.0) -> Samples:
    length = round(seconds * RATE_HZ)
    return np.random.default_rng(5).normal(0, rms, length).astype(np.int16)


def test_a_sine_at_full_scale_has_3_db_less_than_a_square_wave() -> None:
    """A sine's RMS is its amplitude over the square root of two: 20 lg(1/√2) = -3.01 dB."""
    assert rms_dbfs(sine()) == pytest.approx(-3.01, abs=0.005)
    square = np.where(sine() >= 0, 32_767, -32_768).astype(np.int16)
    assert rms_dbfs(square) == pytest.approx(0.0, abs=0.001)


@pytest.mark.parametrize("amplitude", [1, 10, 1000, 20_000])
def test_ten_times_the_amplitude_is_20_db_more(amplitude: int) -> None:
    louder = np.full(1000, amplitude, np.int16)
    assert rms_dbfs(louder) == pytest.approx(20 * np.log10(amplitude / 32_768), abs=1e-9)


def test_digital_silence_and_nothing_have_the_lowest_level() -> None:
    assert rms_dbfs(np.zeros(100, np.int16)) == rms_dbfs(np.zeros(0, np.int16)) == LOWEST_DBFS


def test_levels_add_as_powers() -> None:
    """ISO 9613 and every handbook of acoustics: 60 dB and 60 dB are 63.01 dB."""
    assert sum_db(60, 60) == pytest.approx(63.01, abs=0.001)
    assert sum_db(60, 50) == pytest.approx(60.414, abs=0.001)
    together = rms_dbfs(noise(1000) + sine(1414))
    assert together == pytest.approx(sum_db(rms_dbfs(noise(1000)), rms_dbfs(sine(1414))), abs=0.1)


def test_clipped_counts_what_lies_at_either_end() -> None:
    sound = np.array([0, 32_767, -32_768, 32_766], np.int16)
    assert clipped(sound) == 0.5
    assert clipped(sine(30_000)) == 0


def test_the_figures_find_noise_and_signal_where_they_were_put() -> None:
    quiet = noise(33, seconds=4)
    speech = noise(3277, seconds=2)
    found = figures(np.concatenate((quiet, speech, quiet)))
    assert found.noise_dbfs == pytest.approx(-60, abs=1.0)
    assert found.signal_dbfs == pytest.approx(-20, abs=1.0)
    assert found.above_noise_db == pytest.approx(40, abs=2.0)


@pytest.mark.parametrize("late_s", [0.0, 0.137, 1.25])
def test_the_delay_of_an_echo_in_noise_is_found_to_the_sample(late_s: float) -> None:
    played = say("this is the voice of the checklist")
    recorded = np.concatenate((np.zeros(round(late_s * RATE_HZ), np.int16), played // 8))
    found = delay_s(played, recorded + noise(20, len(recorded) / RATE_HZ))
    assert found == pytest.approx(late_s, abs=1 / RATE_HZ)


def test_where_there_is_no_echo_no_delay_is_claimed() -> None:
    assert delay_s(say("this is the voice of the checklist"), noise(200, 5)) is None
    assert delay_s(say("anything"), np.zeros(RATE_HZ, np.int16)) is None


@pytest.mark.parametrize(
    ("noise_dbfs", "signal_dbfs", "share", "said"),
    [
        (-60, -20, 0.0, ""),
        (-40, -36, 0.0, "too far away: signal 4 dB above the noise; use a headset"),
        (-60, -3, 0.02, "too loud: turn its level down"),
        (-90, -50, 0.0, "too quiet: turn its level up"),
        (-96, -96, 0.0, "check its switch, cable and level"),
        (-30, -10, 0.0, "move the microphone away from what hums"),
    ],
)
def test_the_advice_is_in_plain_words(
    noise_dbfs: float, signal_dbfs: float, share: float, said: str
) -> None:
    """The first sentence is the customer's; where each begins is common practice, no source."""
    room = Figures(noise_dbfs=noise_dbfs, signal_dbfs=signal_dbfs, clipped=share)
    given = " ".join(advice(room))
    assert (said in given) if said else not given
