"""The second pass: the confidence that a phrase which the decoder found was said.

Both networks score how well the phrase fits its sound. If that leaves a doubt, the second network
decodes the sound itself, several times. Noise can pass for a phrase, but which noise depends on the
network and on where its frames fall. So the second network must find the phrase in most decodings,
and clearly in all of them if the phrase is critical.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicecheck.ears.confidence import Evidence
from voicecheck.ears.tuning import (
    CERTAIN,
    CLEARLY,
    FOUND,
    MISSED_FACTOR,
    NOT_CLEAR_AT_MOST,
    START_BEFORE_S,
    STARTS_LATER_S,
)
from voicecheck.sound.pcm import RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    import numpy as np
    from numpy.typing import NDArray

    from voicecheck.ears.decoder import Decoder, NBest
    from voicecheck.ears.pronunciation import Pronunciation


class SecondPass:
    """Judges each phrase found; `weigh` turns its evidence into a confidence.

    Speech just before counts against a reply, but not against what has the address word first.
    """

    def __init__(
        self,
        pronunciation: Pronunciation,
        second: Decoder,
        weigh: Callable[[Evidence], float],
        address: str = "",
    ) -> None:
        self._pronunciation, self._second, self._weigh = pronunciation, second, weigh
        self._address = address
        self._last: tuple[bytes, list[NBest]] = b"", []

    def confidence(
        self,
        phrase: str,
        posterior: float,
        sound: NDArray[np.int16],
        begin: int,
        end: int,
        *,
        spoken: str = "",
        earlier: int = 0,
    ) -> float:
        """Return the confidence, 0 to 1, that the phrase was said from sample `begin` to `end`.

        `posterior` is the first decoder's. The sound is 16 kHz, up to the last sample heard.
        `spoken` are the words in this time, if they are not all of the phrase; then the sentence
        began so many samples `earlier`.
        """
        goodness = self._pronunciation.goodness(spoken or phrase, sound, begin, end)
        if phrase.partition(" ")[0] == self._address:  # then it may follow on talk
            goodness = goodness._replace(speech_before=0.0)
        first = self._weigh(Evidence(posterior, goodness))
        if first >= CERTAIN:
            return first
        again = sound[max(0, begin - earlier - int(START_BEFORE_S * RATE_HZ)) :]
        return agreed(first, self._posteriors(phrase, again.tobytes()))

    def _posteriors(self, phrase: str, sound: bytes) -> Iterator[float]:
        """Yield what the second network gives the phrase from each start, as long as it is asked.

        What it finds is kept for the next phrase in this sound.
        """
        if sound != self._last[0]:
            self._last = sound, []
        found = self._last[1]
        for place, later_s in enumerate(STARTS_LATER_S):
            if place == len(found):
                found.append(self._second.decode(sound[2 * int(later_s * RATE_HZ) :]))
            yield found[place].posterior(phrase)

    def close(self) -> None:
        """Free the second network's memory."""
        self._second.close()


def agreed(confidence: float, posteriors: Iterable[float]) -> float:
    """Lower a confidence by the posteriors that the second network gave the phrase.

    `MISSED_FACTOR` of it is left if most decodings missed the phrase. `NOT_CLEAR_AT_MOST` is the
    cap if any decoding did not find it clearly. No more posteriors are taken than decide.
    """
    most, missed, found, clear = len(STARTS_LATER_S) / 2, 0, 0, True
    for posterior in posteriors:
        missed += posterior < FOUND
        found += posterior >= FOUND
        clear = clear and posterior >= CLEARLY
        if missed > most:
            return confidence * MISSED_FACTOR
        if found > most and not clear:
            break
    return confidence if clear else min(confidence, NOT_CLEAR_AT_MOST)
