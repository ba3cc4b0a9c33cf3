"""The second network must agree where the first is not sure, and is not asked where it is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from speech import RATE_HZ, Samples, noise, say
from stories import shipped

from voicecheck.ears import decoder
from voicecheck.ears.decoder import Decoder
from voicecheck.ears.lexicon import variants
from voicecheck.ears.likeness import Likeness
from voicecheck.ears.recogniser import Recogniser
from voicecheck.ears.second_look import (
    CERTAIN,
    CLEARLY,
    FOUND,
    LATER_S,
    NOT_CLEAR_AT_MOST,
    SecondLook,
    agreed,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

PHRASES = ("checklist artery divided", "checklist duct divided", "confirm")


@pytest.fixture(scope="module")
def second() -> Iterator[tuple[Likeness, Decoder]]:
    (first, hearing), (opened, weights) = decoder.ours(PHRASES, {})
    first.close()
    yield Likeness(variants, hearing, weights), opened
    opened.close()


class Counting:
    """The real decoder, counting how often it is asked."""

    def __init__(self, asked: Decoder) -> None:
        self.asked, self.count = asked, 0

    def share(self, phrase: str, sound: bytes) -> float:
        self.count += 1
        return self.asked.share(phrase, sound)


def looked_at(
    second: tuple[Likeness, Decoder], said: Samples, phrase: str, sure: float
) -> tuple[float, int]:
    """How sure it is at last, if the fit leaves it so sure; how often the second network heard."""
    counting = Counting(second[1])
    look = SecondLook(second[0], counting, lambda _: sure)  # type: ignore[arg-type]
    begin, end = RATE_HZ * 2 // 5, len(said) - RATE_HZ * 4 // 5  # speech.say's quiet
    return look.certainty(phrase, 1.0, said, begin, end), counting.count


@pytest.mark.parametrize("phrase", PHRASES)
def test_the_second_network_hears_the_phrases_too(
    second: tuple[Likeness, Decoder], phrase: str
) -> None:
    for other in PHRASES:
        share = second[1].share(other, say(phrase).tobytes())
        assert share > 0.9 if other == phrase else share < FOUND


def test_what_is_sure_is_not_heard_again(second: tuple[Likeness, Decoder]) -> None:
    assert looked_at(second, say("anything at all"), PHRASES[0], CERTAIN) == (CERTAIN, 0)


def test_a_doubtful_phrase_that_both_networks_hear_is_as_sure_as_it_was(
    second: tuple[Likeness, Decoder],
) -> None:
    said = say(PHRASES[0])
    hissed = (said + noise(len(said), seed=2, level=1500)).astype(np.int16)
    for sound in (said, hissed):
        assert looked_at(second, sound, PHRASES[0], 0.9) == (0.9, len(LATER_S))


@pytest.mark.parametrize("said", ["checklist something was divided", "checklist artery", ""])
def test_a_doubtful_phrase_that_one_network_alone_hears_is_not_believed(
    second: tuple[Likeness, Decoder], said: str
) -> None:
    sound = say(said) if said else noise(RATE_HZ * 3, seed=2, level=3000).astype(np.int16)
    sure, count = looked_at(second, sound, PHRASES[0], CERTAIN - 0.001)
    assert count == len(LATER_S)
    assert shipped().common.listening.least_asked < sure
    assert sure < shipped().common.listening.least_confidence


@pytest.mark.parametrize(
    ("sure", "shares", "then"),
    [
        (0.94, (CLEARLY, 1.0, 1.0), 0.94),
        (0.94, (1.0, CLEARLY - 0.01, 1.0), NOT_CLEAR_AT_MOST),
        (0.94, (FOUND, 0.0, FOUND), NOT_CLEAR_AT_MOST),
        (0.7, (FOUND, FOUND, 0.0), 0.7),
        (0.94, (FOUND - 0.01, 0.0, 1.0), 0.47),
    ],
)
def test_it_counts_how_often_and_how_clearly_the_second_network_found_it(
    sure: float, shares: tuple[float, ...], then: float
) -> None:
    assert agreed(sure, shares) == then


def test_what_is_not_clear_is_enough_for_what_is_harmless_only() -> None:
    listening = shipped().common.listening
    assert listening.least_confidence <= NOT_CLEAR_AT_MOST
    assert listening.least_confidence_critical > NOT_CLEAR_AT_MOST
    assert listening.least_confidence_confirm > NOT_CLEAR_AT_MOST


def test_what_the_recogniser_says_has_passed_the_second_network(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The real recogniser, with weights of the evidence that leave everything in doubt."""
    asked: list[tuple[str, bytes, float]] = []
    share = Decoder.share

    def noting(self: Decoder, phrase: str, sound: bytes) -> float:
        asked.append((phrase, sound, share(self, phrase, sound)))
        return asked[-1][2]

    monkeypatch.setattr(Decoder, "share", noting)
    with Recogniser(PHRASES, sure=lambda _: 0.8) as ears:
        for phrase in PHRASES:
            (heard,) = ears.hear(say(phrase).tobytes()) + ears.finish()
            assert (heard.text, heard.confidence) == (phrase, 0.8)
    assert [phrase for phrase, _, _ in asked] == [each for each in PHRASES for _ in LATER_S]
    assert all(found >= CLEARLY for _, _, found in asked)
    whole = [sound for _, sound, _ in asked[:: len(LATER_S)] for _ in LATER_S]
    for at, ((_, sound, _), all_of_it) in enumerate(zip(asked, whole, strict=True)):
        later = at % 3 * RATE_HZ // 100  # 10 ms and 20 ms: other frames begin there
        assert sound == all_of_it[2 * later :]
