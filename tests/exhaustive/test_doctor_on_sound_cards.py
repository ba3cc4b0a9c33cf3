"""The doctor on virtual sound cards: the delay that it measures, and how it judges a voice."""

from __future__ import annotations

import os
import signal
import subprocess
import threading
import time
from pathlib import Path

import numpy as np
import pytest
from sound_card import sound_cards
from speech import say
from theatre import PROGRAM

from voicecheck.sound.levels import Samples, figures
from voicecheck.sound.pcm import RATE_HZ


@pytest.mark.parametrize(("gain", "said"), [(1.0, ""), (0.003, "too far away")])
def test_on_sound_cards_it_measures_the_delay_and_judges_a_voice(
    tmp_path: Path, gain: float, said: str
) -> None:
    """A voice at full level is well; 50 dB down it drowns in the noise of the room."""
    with sound_cards() as cards, cards.fed_back(0.3):
        command = [str(PROGRAM), "doctor", "--case-dir", str(tmp_path)]
        with subprocess.Popen(
            command,
            env=cards.environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        ) as ran:
            assert ran.stdout is not None
            watch = threading.Timer(120, os.kill, (ran.pid, signal.SIGKILL))
            watch.start()
            told = ""
            for line in ran.stdout:
                told += line
                if line.startswith("Say now"):
                    time.sleep(1.0)
                    cards.microphone.play((say("checklist say again") * gain).astype(np.int16))
            watch.cancel()
    late_s = float(told.split("Delay: ")[1].split(" s")[0])
    assert 0 < late_s < 2
    if said:
        assert said in told
        assert ran.returncode == 1
    else:
        level = float(told.split("signal ")[1].split(" dBFS")[0])
        assert level == pytest.approx(rms_level(say("checklist say again")), abs=3)
        assert "too far away" not in told
        assert "was not understood" not in told


def rms_level(samples: Samples) -> float:
    """Of the loudest tenth of six seconds, as the doctor listens."""
    padded = np.concatenate((samples, np.zeros(6 * RATE_HZ - len(samples), np.int16)))
    return figures(padded).signal_dbfs
