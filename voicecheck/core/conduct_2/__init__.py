"""Conduct, version 2: heard in anybody's words; what was stated too long ago expires."""

from .decide import attended, decide
from .expiry import expires_us
from .grammar import interpret, parts, phrases, strays
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
from .sayable import sayable
from .shape import shape
from .standing import gate_missing, outstanding, satisfied, start
from .understanding import prepare, vocabulary
from .wording import ask, carry_on, read_back, spoken

VERSION = 2

__all__ = [
    "GUARDS",
    "TABLE",
    "VERSION",
    "ask",
    "attended",
    "breaks_in",
    "carry_on",
    "decide",
    "expires_us",
    "gate_missing",
    "interpret",
    "is_critical",
    "least_confidence",
    "next_due_us",
    "next_state",
    "outstanding",
    "parse",
    "parts",
    "phrases",
    "prepare",
    "read_back",
    "refusal",
    "satisfied",
    "sayable",
    "shape",
    "spoken",
    "start",
    "strays",
    "vocabulary",
]
