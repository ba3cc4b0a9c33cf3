"""The second network must agree where the first is not sure, and is not asked where it is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from speech import RATE_HZ, Samples, noise, say
from stories import shipped

from voicecheck import decoder
from voicecheck.acoustic.lexicon import variants
from voicecheck.acoustic.likeness import Likeness
from voicecheck.decoder import Decoder
from voicecheck.recogniser import Recogniser
from voicecheck.second_look import AGREES, CERTAIN, SecondLook

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
        assert share > 0.9 if other == phrase else share < AGREES


def test_what_is_sure_is_not_heard_again(second: tuple[Likeness, Decoder]) -> None:
    assert looked_at(second, say("anything at all"), PHRASES[0], CERTAIN) == (CERTAIN, 0)


def test_a_doubtful_phrase_that_both_networks_hear_is_as_sure_as_it_was(
    second: tuple[Likeness, Decoder],
) -> None:
    said = say(PHRASES[0])
    hissed = (said + noise(len(said), seed=2, level=1500)).astype(np.int16)
    for sound in (said, hissed):
        assert looked_at(second, sound, PHRASES[0], 0.9) == (0.9, 2)


@pytest.mark.parametrize("said", ["checklist something was divided", "checklist artery", ""])
def test_a_doubtful_phrase_that_one_network_alone_hears_is_not_believed(
    second: tuple[Likeness, Decoder], said: str
) -> None:
    sound = say(said) if said else noise(RATE_HZ * 3, seed=2, level=3000).astype(np.int16)
    sure, count = looked_at(second, sound, PHRASES[0], CERTAIN - 0.001)
    assert count == 1
    assert shipped().common.listening.least_asked < sure
    assert sure < shipped().common.listening.least_confidence


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
    assert [phrase for phrase, _, _ in asked] == [each for each in PHRASES for _ in range(2)]
    assert all(found >= AGREES for _, _, found in asked)
    for (_, once, _), (_, again, _) in zip(asked[::2], asked[1::2], strict=True):
        assert again == once[2 * RATE_HZ // 100 :], "10 ms later, where other frames begin"
