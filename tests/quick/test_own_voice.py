"""The machine knows its own voice when it comes back, and takes nobody else's for it."""

from __future__ import annotations

import numpy as np
import pytest
from echo import room
from numpy.typing import NDArray
from speech import RATE_HZ, noise, say

from voicecheck.sound.own_voice import KEPT_S, LATEST_S, OwnVoice
from voicecheck.sound.pcm import BYTES_A_SECOND

PROMPT = say("shall i record triangle cleared of fat")
SPOKEN_FROM_S, SPOKEN_TO_S = 0.4, len(PROMPT) / RATE_HZ - 0.8
BLOCK = 320


def hearing(sound: NDArray[np.float64], said_s: float) -> OwnVoice:
    """It said the prompt at this second, and all this sound was heard since the start."""
    own = OwnVoice()
    own.say(PROMPT, said_s)
    samples = sound.clip(-32768, 32767).astype("<i2")
    for end in range(BLOCK, len(samples) + 1, BLOCK):
        own.hear(samples[end - BLOCK : end].tobytes(), end / RATE_HZ)
    return own


def after(seconds: float, sound: NDArray[np.float64] | NDArray[np.int16]) -> NDArray[np.float64]:
    """A sound that comes so late, in a quiet room, with a second of quiet behind it."""
    parts = (np.zeros(round(seconds * RATE_HZ)), sound.astype(np.float64), np.zeros(RATE_HZ))
    late = np.concatenate(parts)
    return np.asarray(late + noise(len(late), seed=1))


@pytest.mark.parametrize("late_s", [0.05, 0.9, 3.0])
@pytest.mark.parametrize("level", [0.1, 1.0])
@pytest.mark.parametrize("around", [np.ones(1), room()], ids=["dry", "through a room"])
def test_any_part_of_a_prompt_is_known_again(
    late_s: float, level: float, around: NDArray[np.float64]
) -> None:
    own = hearing(after(1.0 + late_s, np.convolve(PROMPT * level, around)), said_s=1.0)
    begin_s = 1.0 + late_s + SPOKEN_FROM_S
    for from_s in np.arange(0.0, SPOKEN_TO_S - SPOKEN_FROM_S - 0.5, 0.25):
        assert own.is_it(begin_s + from_s, begin_s + from_s + 0.5), from_s


@pytest.mark.parametrize("words", ["confirm", "no", "that's right", "affirmative", "negative"])
@pytest.mark.parametrize("voice", ["en-gb+f3", "en-us", "en-gb-scotland+m4"])
def test_a_person_who_replies_is_not_taken_for_it(words: str, voice: str) -> None:
    """Also a voice of the same make as the machine's."""
    spoken = say(words, voice)
    own = hearing(after(4.0, spoken), said_s=1.0)
    assert not own.is_it(4.4, 4.0 + len(spoken) / RATE_HZ - 0.8)


def test_a_person_over_a_faint_echo_is_not_taken_for_it() -> None:
    spoken = say("confirm", "en-us")
    both = np.zeros(max(len(spoken), len(PROMPT)))
    both[: len(spoken)] += spoken
    both[: len(PROMPT)] += 0.06 * PROMPT
    own = hearing(after(2.0, both), said_s=1.0)
    assert not own.is_it(2.4, 2.0 + len(spoken) / RATE_HZ - 0.8)


def test_what_comes_later_than_any_echo_was_said_by_somebody() -> None:
    late_s = LATEST_S + 0.5
    own = hearing(after(1.0 + late_s, PROMPT), said_s=1.0)
    assert not own.is_it(1.0 + late_s + SPOKEN_FROM_S, 1.0 + late_s + SPOKEN_TO_S)


def test_it_keeps_no_more_sound_than_it_needs() -> None:
    own, block = OwnVoice(), bytes(BYTES_A_SECOND // 10)
    for end in range(1, 10 * 60 * 5):
        own.hear(block, end / 10)
    kept = len(own._blocks) * len(block) / BYTES_A_SECOND
    assert KEPT_S <= kept <= KEPT_S + 0.2


def test_where_nothing_was_said_or_heard_it_is_nobody() -> None:
    assert not OwnVoice().is_it(0.0, 1.0)
    silent = OwnVoice()
    silent.say(np.zeros(0, np.int16), 0.0)
    silent.hear(bytes(3200), 0.1)
    assert not silent.is_it(0.0, 0.1)
