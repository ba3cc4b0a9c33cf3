"""Conduct, version 1: the rules of voicecheck 0.1.0, by which its records replay forever."""

from .decide import decide
from .grammar import phrases
from .listening import breaks_in, least_confidence
from .procedure_file import parse
from .rules import (
    GUARDS,
    TABLE,
    is_critical,
    next_due_us,
    next_state,
    refusal,
)
from .standing import gate_missing, outstanding, satisfied, start
from .wording import ask, carry_on, read_back, spoken

VERSION = 1

__all__ = [
    "GUARDS",
    "TABLE",
    "VERSION",
    "ask",
    "breaks_in",
    "carry_on",
    "decide",
    "gate_missing",
    "is_critical",
    "least_confidence",
    "next_due_us",
    "next_state",
    "outstanding",
    "parse",
    "phrases",
    "read_back",
    "refusal",
    "satisfied",
    "spoken",
    "start",
]
