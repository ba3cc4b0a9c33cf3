"""The phones as hidden Markov models, and the transition-ids by which Vosk counts them.

A network trained with CTC says a phone in a few frames and blank in all others. So a phone has two
states: the phone itself, then perhaps blank. Silence is blank alone. Vosk finds word times by where
in its word a phone stands, so each phone is listed once for each position.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from voicecheck.ears.topology import BLANK, PDF_OF_PHONE, PHONES

POSITIONS = ("begin", "internal", "end", "singleton")
"""Where in its word a phone stands, as Kaldi's word_boundary.int names it."""

SILENCE = 1
"""The phone-id of silence; 0 is not a phone."""

PHONE_COUNT = SILENCE + len(PHONES) * len(POSITIONS)
SILENCE_TO_SELF, SILENCE_TO_END = 1, 2
"""The transition-ids of silence; 0 is not a transition."""

_FIRST_OF_PHONES = SILENCE_TO_END + 1
_TO_A_PHONE = 5

# A state is a pdf class and its arcs as (to state, probability). Kaldi wants probabilities that sum
# to one. They are not used: our graphs carry their own costs.
SILENCE_STATES = ((0, ((0, 0.5), (1, 0.5))),)
PHONE_STATES = ((0, ((0, 0.5), (1, 0.25), (2, 0.25))), (1, ((1, 0.5), (2, 0.5))))


@dataclass(frozen=True, kw_only=True, slots=True)
class Transitions:
    """The five transition-ids of one phone at one position."""

    spoken_to_self: int
    spoken_to_blank: int
    spoken_to_end: int
    blank_to_self: int
    blank_to_end: int


def phone_id(phone: str, position: str) -> int:
    """Return Kaldi's number for a phone at a position: 2 or more."""
    return SILENCE + 1 + PHONES.index(phone) * len(POSITIONS) + POSITIONS.index(position)


@cache
def transitions(phone: str, position: str) -> Transitions:
    """Return the transition-ids of a phone: Kaldi counts them state by state, phone by phone."""
    first = _FIRST_OF_PHONES + (phone_id(phone, position) - SILENCE - 1) * _TO_A_PHONE
    return Transitions(
        spoken_to_self=first,
        spoken_to_blank=first + 1,
        spoken_to_end=first + 2,
        blank_to_self=first + 3,
        blank_to_end=first + 4,
    )


def probabilities() -> list[float]:
    """List the probability of every transition, in the order of their ids from 1."""
    silence, phone = (
        [probability for _, arcs in states for _, probability in arcs]
        for states in (SILENCE_STATES, PHONE_STATES)
    )
    return silence + phone * (PHONE_COUNT - SILENCE)


def states() -> list[tuple[int, int, int]]:
    """List every (phone-id, state, pdf) in Kaldi's order."""
    spoken = [
        (phone_id(phone, position), state, pdf)
        for phone in PHONES
        for position in POSITIONS
        for state, pdf in enumerate((PDF_OF_PHONE[phone], BLANK))
    ]
    return [(SILENCE, 0, BLANK), *spoken]


def word_boundaries() -> str:
    """Return the text of Kaldi's word_boundary.int: on each line a phone-id and its position."""
    lines = [f"{SILENCE} nonword"]
    lines += [f"{phone_id(phone, at)} {at}" for phone in PHONES for at in POSITIONS]
    return "\n".join(lines) + "\n"
