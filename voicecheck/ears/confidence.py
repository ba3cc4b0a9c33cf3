"""Evidence for a phrase -> the probability that it was said (logistic regression)."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from voicecheck.ears.tuning import (
    DEAD_ZONE,
    DEAD_ZONE_WORST_WORD,
    LEAST_POSTERIOR,
    MOST_BEFORE,
    WEIGHTS,
)

if TYPE_CHECKING:
    from voicecheck.ears.pronunciation import Goodness


class Evidence(NamedTuple):
    """What speaks for a phrase that the decoder found."""

    posterior: float
    """Of the phrase over the decoder's N-best list, 0 to 1."""
    goodness: Goodness


def confidence(evidence: Evidence) -> float:
    """Return how probable it is, 0 to 1, that the phrase was said.

    It is rather too low than too high: calibration counts some false phrases several times
    (`UNSAID_COUNTS`).
    """
    return 1 / (1 + math.exp(-sum(w * x for w, x in zip(WEIGHTS, terms(evidence), strict=True))))


def terms(evidence: Evidence) -> tuple[float, ...]:
    """Return what `WEIGHTS` multiplies: 1, log-odds, two losses and the speech before."""
    posterior = min(max(evidence.posterior, LEAST_POSTERIOR), 1 - LEAST_POSTERIOR)
    whole, worst_word, before = evidence.goodness
    lost = min(0.0, whole + DEAD_ZONE), min(0.0, worst_word + DEAD_ZONE_WORST_WORD)
    return 1.0, math.log(posterior / (1 - posterior)), *lost, min(before, MOST_BEFORE)
