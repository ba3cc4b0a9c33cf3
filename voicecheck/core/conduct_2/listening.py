"""Decides by confidence: a phrase counts, must be said again, or is taken for other speech."""

from __future__ import annotations

from voicecheck.core.facts import Doubt
from voicecheck.core.inputs import (
    Address,
    Answer,
    BailOut,
    Confirm,
    DeclareEmergency,
    Heard,
    Meaning,
)
from voicecheck.core.procedure import Listening, Procedure

from .grammar import interpret
from .rules import CRITICAL


def least_confidence(procedure: Procedure, command: Meaning) -> float:
    """The least confidence, 0 to 1, with which this command counts.

    A confirm needs the most: a misheard critical phrase is read back, a misheard confirm is not. A
    critical statement in the safe direction ("more than two") is not read back either, so it needs
    as much as any other critical one.
    """
    listening = procedure.common.listening
    match command:
        case Confirm():
            return listening.least_confidence_confirm
        case Address():
            return listening.least_addressed
        case Answer(item=item) if procedure.item(item).kind in CRITICAL:
            return listening.least_confidence_critical
        case _:
            return listening.least_confidence


def doubt(listening: Listening, least: float, heard: Heard) -> Doubt | None:
    """Why a phrase that needs `least` does not count as it was heard.

    Below `least_asked` it is taken for other speech, unless the address word was heard surely.
    Otherwise the machine would ask again in noise when nobody spoke.
    """
    if heard.confidence >= least:
        return None
    asked = heard.confidence >= listening.least_asked or is_surely_addressed(listening, heard)
    return Doubt.UNSURE if asked else Doubt.OTHER_SPEECH


def is_surely_addressed(listening: Listening, heard: Heard) -> bool:
    """Whether whoever spoke gets an answer, whatever was said."""
    return 0 < listening.least_addressed <= heard.addressed


def breaks_in(procedure: Procedure, heard: Heard) -> bool:
    """Whether the utterance counts even while the machine speaks (barge-in).

    Only an emergency or a bail-out does, if heard with enough confidence. None of our prompts
    contains such a phrase.
    """
    meant = interpret(procedure, heard.text)
    if isinstance(meant, DeclareEmergency | BailOut):
        return heard.confidence >= least_confidence(procedure, meant)
    return False
