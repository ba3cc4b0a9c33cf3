"""How sure the ears must be of what they heard: believed, asked again, or other speech."""

from __future__ import annotations

from dataclasses import dataclass

from voicecheck.inputs import Command, Confirm


@dataclass(frozen=True, kw_only=True, slots=True)
class Listening:
    """The [listening] table: how the machine is spoken to, and its operating point, 0 up to 1."""

    address: str
    least_confidence: float = 0.0
    """A phrase that was heard with less must be said again; 0 where the recogniser had decided."""
    least_confidence_confirm: float = 0.0
    """The same for the confirm that makes a critical statement stand."""
    least_asked: float = 0.0
    """With less than this it is taken for other speech, and nobody is asked to say it again."""


def least_confidence(listening: Listening, command: Command) -> float:
    """How sure the ears must be (0 to 1) that this command was said.

    Surest of a confirm: a critical phrase heard wrong is read back, a confirm heard wrong is not.
    """
    if isinstance(command, Confirm):
        return listening.least_confidence_confirm
    return listening.least_confidence


def why_not_believed(listening: Listening, command: Command, confidence: float) -> str:
    """Why a command heard with this confidence (0 to 1) does not count; "" when it does.

    What was hardly said is other speech, or in noise the machine would ask nobody.
    """
    if confidence >= least_confidence(listening, command):
        return ""
    return "unsure" if confidence >= listening.least_asked else "other_speech"
