"""How sure the ears must be of what they heard: believed, asked again, or other speech."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True, slots=True)
class Listening:
    """The [listening] table: how the machine is spoken to, and its operating point, 0 up to 1."""

    address: str
    least_confidence: float = 0.0
    """A phrase that was heard with less must be said again; 0 where the recogniser had decided."""
    least_confidence_critical: float = 0.0
    """The same for a critical statement, either way."""
    least_confidence_confirm: float = 0.0
    """The same for the confirm that makes a critical statement stand."""
    least_asked: float = 0.0
    """With less than this it is taken for other speech, and nobody is asked to say it again."""


def why_not_believed(listening: Listening, least: float, confidence: float) -> str:
    """Why what needs `least` and was heard with `confidence` (0 to 1) does not count, or "".

    What was hardly said is other speech: in noise the machine would else ask, and nobody spoke.
    """
    if confidence >= least:
        return ""
    return "unsure" if confidence >= listening.least_asked else "other_speech"
