"""The second pass: in doubt the second network must agree; without doubt it is not asked."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from speech import RATE_HZ, Samples, noise, say
from stories import shipped

from voicecheck.ears import decoder
from voicecheck.ears.decoder import Decoder
from voicecheck.ears.lexicon import variants
from voicecheck.ears.pronunciation import Pronunciation
from voicecheck.ears.recogniser import Recogniser
from voicecheck.ears.second_pass import SecondPass, agreed
from voicecheck.ears.tuning import (
    CERTAIN,
    CLEARLY,
    FOUND,
    MISSED_FACTOR,
    NOT_CLEAR_AT_MOST,
    STARTS_LATER_S,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from voicecheck.ears.decoder import NBest

PHRASES = ("checklist artery divided", "checklist duct divided", "confirm")


@pytest.fixture(scope="module")
def second() -> Iterator[tuple[Pronunciation, Decoder]]:
    (first, hearing), (opened, weights) = decoder.ours(PHRASES, {})
    first.close()
    yield Pronunciation(variants, hearing, weights), opened
    opened.close()


class Counting:
    """The real decoder, which also counts how often it is asked."""

    def __init__(self, asked: Decoder) -> None:
        self.asked, self.count = asked, 0

    def decode(self, sound: bytes) -> NBest:
        self.count += 1
        return self.asked.decode(sound)


def judged(
    second: tuple[Pronunciation, Decoder], said: Samples, phrase: str, first: float
) -> tuple[float, int]:
    """The confidence if the evidence gives `first`, and how often the second network decoded."""
    counting = Counting(second[1])
    second_pass = SecondPass(second[0], counting, lambda _: first)  # type: ignore[arg-type]
    begin, end = RATE_HZ * 2 // 5, len(said) - RATE_HZ * 4 // 5  # speech.say's quiet
    return second_pass.confidence(phrase, 1.0, said, begin, end), counting.count


@pytest.mark.parametrize("phrase", PHRASES)
def test_the_second_network_hears_the_phrases_too(
    second: tuple[Pronunciation, Decoder], phrase: str
) -> None:
    for other in PHRASES:
        posterior = second[1].decode(say(phrase).tobytes()).posterior(other)
        assert posterior > 0.9 if other == phrase else posterior < FOUND


def test_what_is_certain_is_not_decoded_again(second: tuple[Pronunciation, Decoder]) -> None:
    assert judged(second, say("anything at all"), PHRASES[0], CERTAIN) == (CERTAIN, 0)


def test_a_sound_is_decoded_once_for_all_that_is_asked_of_it(
    second: tuple[Pronunciation, Decoder],
) -> None:
    counting = Counting(second[1])
    second_pass = SecondPass(second[0], counting, lambda _: 0.9)  # type: ignore[arg-type]
    said, other = say(PHRASES[0]), say(PHRASES[1])
    begin = RATE_HZ * 2 // 5
    asked = ((PHRASES[0], said), (PHRASES[1], said), (PHRASES[1], other))
    sure = [
        second_pass.confidence(phrase, 1.0, sound, begin, len(sound) - 2 * begin)
        for phrase, sound in asked
    ]
    assert sure == [0.9, 0.9 * MISSED_FACTOR, 0.9]
    assert counting.count == 2 * len(STARTS_LATER_S)


def test_a_doubtful_phrase_that_both_networks_hear_is_as_sure_as_it_was(
    second: tuple[Pronunciation, Decoder],
) -> None:
    said = say(PHRASES[0])
    hissed = (said + noise(len(said), seed=2, level=1500)).astype(np.int16)
    for sound in (said, hissed):
        assert judged(second, sound, PHRASES[0], 0.9) == (0.9, len(STARTS_LATER_S))


@pytest.mark.parametrize("said", ["checklist something was divided", "checklist artery", ""])
def test_a_doubtful_phrase_that_one_network_alone_hears_is_not_believed(
    second: tuple[Pronunciation, Decoder], said: str
) -> None:
    sound = say(said) if said else noise(RATE_HZ * 3, seed=2, level=3000).astype(np.int16)
    sure, count = judged(second, sound, PHRASES[0], CERTAIN - 0.001)
    assert count == len(STARTS_LATER_S) // 2 + 1, "then the third could change nothing"
    assert shipped().common.listening.least_asked < sure
    assert sure < shipped().common.listening.least_confidence


@pytest.mark.parametrize(
    ("first", "posteriors", "then"),
    [
        (0.94, (CLEARLY, 1.0, 1.0), 0.94),
        (0.94, (1.0, CLEARLY - 0.01, 1.0), NOT_CLEAR_AT_MOST),
        (0.94, (FOUND, 0.0, FOUND), NOT_CLEAR_AT_MOST),
        (0.7, (FOUND, FOUND, 0.0), 0.7),
        (0.94, (FOUND - 0.01, 0.0, 1.0), 0.47),
    ],
)
def test_it_counts_how_often_and_how_clearly_the_second_network_found_it(
    first: float, posteriors: tuple[float, ...], then: float
) -> None:
    assert agreed(first, posteriors) == then


def test_what_the_recogniser_says_has_passed_the_second_network(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The real recogniser, but the evidence leaves every phrase in doubt."""
    asked: list[tuple[bytes, NBest]] = []
    decode = Decoder.decode

    def noting(self: Decoder, sound: bytes) -> NBest:
        asked.append((sound, decode(self, sound)))
        return asked[-1][1]

    monkeypatch.setattr(Decoder, "decode", noting)
    with Recogniser(PHRASES, weigh=lambda _: 0.8) as ears:
        for phrase in PHRASES:
            (heard,) = ears.hear(say(phrase).tobytes()) + ears.finish()
            assert (heard.text, heard.confidence) == (phrase, 0.8)
    expected = [phrase for phrase in PHRASES for _ in STARTS_LATER_S]
    for phrase, (_, found) in zip(expected, asked, strict=True):
        assert found.posterior(phrase) >= CLEARLY
    whole = [sound for sound, _ in asked[:: len(STARTS_LATER_S)] for _ in STARTS_LATER_S]
    for at, ((sound, _), all_of_it) in enumerate(zip(asked, whole, strict=True)):
        later = at % 3 * RATE_HZ // 100  # 10 ms and 20 ms: other frames begin there
        assert sound == all_of_it[2 * later :]
