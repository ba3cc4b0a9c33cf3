"""How sure it is that a phrase was said: its sound again, by both networks of the shipped model.

Both say how well the phrase fits. Where that leaves a doubt, the second network hears the sound for
itself, twice, and must find the phrase both times: which flukes of noise become phrases depends on
the network, and on where its frames fall.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicecheck.acoustic.likeness import Evidence
from voicecheck.pcm import RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np
    from numpy.typing import NDArray

    from voicecheck.acoustic.likeness import Likeness
    from voicecheck.decoder import Decoder

CERTAIN = 0.95
"""So sure is sure: nothing is heard again, which takes twice as long as the fit."""
AGREES = 0.1
"""With so much of the likelihood for the phrase the second network has found it too."""
BEFORE_S = 0.5
"""So long before a phrase the second network begins to hear: it knows nothing of the room yet."""
LATER_S = 0.01
"""So much later it begins the second time: its frames are 30 ms apart."""


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
        the last sample heard. A phrase that the first network alone hears is half as sure.
        """
        sure = self._sure(Evidence(share, self._likeness.fit(phrase, sound, begin, end)))
        if sure >= CERTAIN:
            return sure
        again = sound[max(0, begin - int(BEFORE_S * RATE_HZ)) :]
        frames = (again, again[int(LATER_S * RATE_HZ) :])
        agrees = all(self._second.share(phrase, each.tobytes()) >= AGREES for each in frames)
        return sure if agrees else sure / 2

    def close(self) -> None:
        """Free the second network's memory."""
        self._second.close()
