"""What can reach a case from outside, and the closed set of commands it can carry."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True, slots=True)
class Heard:
    """One utterance as the recogniser understood it.

    Times count the audio itself in seconds from the first sample, never the clock.
    """

    text: str
    """Words in lower case separated by one space; "[unk]" where something else was said."""
    confidence: float
    """Lowest word confidence, 0 to 1: evidence, not proof."""
    audio_from_s: float
    audio_to_s: float
