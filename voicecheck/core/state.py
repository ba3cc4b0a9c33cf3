"""The types that every version of the conduct shares: modes, states, refusals, situations."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from voicecheck.core.facts import At, Opened, Record, Why
from voicecheck.core.inputs import Answer, CloseRecord
from voicecheck.core.procedure import Procedure


class Mode(StrEnum):
    """The mode that a case is in, named by an adjective."""

    IN_COURSE = "in_course"
    PAUSING = "pausing"
    STANDING_BY = "standing_by"
    BAILED_OUT = "bailed_out"
    EMERGENCY = "emergency"
    CLOSED = "closed"


ASIDE = (Mode.BAILED_OUT, Mode.EMERGENCY)
"""The modes outside the standard course, where nothing is asked."""


@dataclass(frozen=True, kw_only=True, slots=True)
class State:
    """All that the rules depend on, besides the procedure."""

    mode: Mode
    standing: tuple[str, ...]
    """The answer that stands for each item, in the procedure's order; "" where none does."""
    pending: Answer | CloseRecord | None = None
    """What was read back and waits for confirm or negative."""


class Situation(Protocol):
    """All that the conduct reads of a case. A `Case` is one, but its module imports the conduct."""

    @property
    def procedure(self) -> Procedure:
        """What is asked."""

    @property
    def state(self) -> State:
        """What stands and what waits."""

    @property
    def opened(self) -> Opened:
        """The opening line's fact."""

    @property
    def last_said(self) -> str:
        """The last words that the machine is known to have said; "" before any."""

    @property
    def due_us(self) -> int | None:
        """When the case stops waiting for a reply or the end of the pause; None while for nothing.

        In microseconds of the monotonic clock.
        """

    @property
    def stated_at(self) -> Mapping[str, At]:
        """When each item was last stated, also if it stands no more."""

    @property
    def asked_line(self) -> int:
        """The line that opened the last read-back; 0 before any."""

    @property
    def attends_from_us(self) -> int:
        """Since when no address word is needed, by the monotonic clock; -1 if one is."""

    @property
    def not_understood(self) -> int:
        """How many utterances in a row were not understood."""

    @property
    def listed(self) -> int:
        """How many times in a row what is outstanding was asked for."""

    @property
    def last_taken(self) -> Record | None:
        """The last utterance, entry or missing reply that was understood."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Refusal:
    """Why not, and which items are in the way."""

    why: Why
    outstanding: tuple[str, ...] = ()


class NothingDue(Exception):
    """Due came too early: a bug of the shell, or a forgery."""
