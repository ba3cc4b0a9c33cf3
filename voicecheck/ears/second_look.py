"""How sure it is that a phrase was said: its sound again, by both networks of the shipped model.

Both say how well the phrase fits. Where that leaves a doubt, the second network hears the sound for
itself, three times, and must find the phrase in two, and clearly in all for what is critical: which
flukes of noise become phrases depends on the network, and on where its frames fall.
"""

from __future__ import annotations

from statistics import median
from typing import TYPE_CHECKING

from voicecheck.ears.likeness import Evidence
from voicecheck.sound.pcm import RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import numpy as np
    from numpy.typing import NDArray

    from voicecheck.ears.decoder import Decoder
    from voicecheck.ears.likeness import Likeness

CERTAIN = 0.95
"""So sure is sure: nothing is heard again, which takes three times as long as the fit."""
FOUND = 0.1
"""With so much of the likelihood for the phrase the second network has found it."""
CLEARLY = 0.5
"""With so much, clearly."""
NOT_CLEAR_AT_MOST = 0.75
"""So sure at most is a phrase that was not found clearly each time: enough for what is harmless,
less than a critical statement or its confirm needs."""
BEFORE_S = 0.5
"""So long before a phrase the second network begins to hear: it knows nothing of the room yet."""
LATER_S = (0.0, 0.01, 0.02)
"""So much later it begins each time: its frames are 30 ms apart."""


class SecondLook:
    """Looks once more at each phrase found; `sure` makes a confidence of the evidence."""

    def __init__(
        self, likeness: Likeness, second: Decoder, sure: Callable[[Evidence], float]
    ) -> None:
        self._likeness, self._second, self._sure = likeness, second, sure

    def certainty(
        self, phrase: str, share: float, sound: NDArray[np.int16], begin: int, end: int
    ) -> float:
        """Say how sure it is, 0 to 1, that the phrase was said from sample `begin` to `end`.

        `share` is what the first network's decoder gives it; the sound is 16 kHz and goes on to
        the last sample heard.
        """
        sure = self._sure(Evidence(share, self._likeness.fit(phrase, sound, begin, end)))
        if sure >= CERTAIN:
            return sure
        again = sound[max(0, begin - int(BEFORE_S * RATE_HZ)) :]
        times = (again[int(later_s * RATE_HZ) :].tobytes() for later_s in LATER_S)
        return agreed(sure, [self._second.share(phrase, each) for each in times])

    def close(self) -> None:
        """Free the second network's memory."""
        self._second.close()


def agreed(sure: float, shares: Sequence[float]) -> float:
    """Say how sure it still is by the shares that the second network gave the phrase.

    A phrase that it mostly missed is half as sure, one that it did not always find clearly
    `NOT_CLEAR_AT_MOST`.
    """
    if median(shares) < FOUND:
        return sure / 2
    return sure if min(shares) >= CLEARLY else min(sure, NOT_CLEAR_AT_MOST)
