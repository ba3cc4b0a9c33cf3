"""How surely a phrase must be heard: believed, asked again, or taken for other speech."""

from __future__ import annotations

from voicecheck.core.facts import Doubt
from voicecheck.core.inputs import Answer, BailOut, Command, Confirm, DeclareEmergency, Heard
from voicecheck.core.procedure import Listening, Procedure

from .grammar import interpret
from .rules import CRITICAL


def least_confidence(procedure: Procedure, command: Command) -> float:
    """How sure the ears must be (0 to 1) that this command was said.

    A confirm needs most: a critical phrase heard wrong is read back, a confirm heard wrong is not.
    A critical statement the safe way ("more than two") is not read back either, so it needs as
    much as any critical one.
    """
    listening = procedure.common.listening
    match command:
        case Confirm():
            return listening.least_confidence_confirm
        case Answer(item=item) if procedure.item(item).kind in CRITICAL:
            return listening.least_confidence_critical
        case _:
            return listening.least_confidence


def doubt(listening: Listening, least: float, confidence: float) -> Doubt | None:
    """Why a phrase that needs `least` and was heard with `confidence` (0 to 1) does not count.

    Below `least_asked` it is taken for other speech: in noise the machine would otherwise ask
    again although nobody spoke.
    """
    if confidence >= least:
        return None
    return Doubt.UNSURE if confidence >= listening.least_asked else Doubt.OTHER_SPEECH


def breaks_in(procedure: Procedure, heard: Heard) -> bool:
    """Whether it counts even while the machine speaks and is deaf to the rest.

    Only what must be accepted at once, surely heard; no prompt of ours contains such a phrase.
    """
    meant = interpret(procedure, heard)
    if isinstance(meant, DeclareEmergency | BailOut):
        return heard.confidence >= least_confidence(procedure, meant)
    return False
