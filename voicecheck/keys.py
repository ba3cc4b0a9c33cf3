"""The grammar's phrases as keys for entry by hand, in groups that a finger finds."""

from __future__ import annotations

from dataclasses import dataclass

from voicecheck.grammar import phrases
from voicecheck.inputs import (
    Answer,
    BailOut,
    CallHelp,
    Command,
    Confirm,
    DeclareEmergency,
    NameDifficulty,
    Negative,
    ReportEvent,
    Withdraw,
)
from voicecheck.procedure import Procedure


@dataclass(frozen=True, kw_only=True, slots=True)
class Key:
    """One phrase that can be entered."""

    phrase: str
    label: str
    """The phrase without the address word: for the eye only."""
    withdraws: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Keys:
    """Keys that belong together."""

    title: str
    keys: tuple[Key, ...]


def keys(procedure: Procedure) -> tuple[Keys, ...]:
    """Every phrase of the grammar once, in groups: replies, the phases, then what can happen.

    In each group the phrases that take something back come last.
    """
    titles = ["Reply", *(phase.title for phase in procedure.phases), *_AT_ANY_TIME]
    groups: dict[str, list[Key]] = {title: [] for title in titles}
    address = f"{procedure.common.listening.address} "
    for phrase, command in phrases(procedure).items():
        withdraws = isinstance(command, Withdraw)
        key = Key(phrase=phrase, label=phrase.removeprefix(address), withdraws=withdraws)
        groups[_group(procedure, command)].append(key)
    return tuple(
        Keys(title=title, keys=tuple(sorted(group, key=lambda key: key.withdraws)))
        for title, group in groups.items()
    )


_AT_ANY_TIME = ("Events", "Leave the course", "Difficulties", "At any time")


def _group(procedure: Procedure, command: Command) -> str:
    match command:
        case Confirm() | Negative():
            return "Reply"
        case Answer(item=item) | Withdraw(item=item):
            return procedure.phase_of[item].title
        case ReportEvent():
            return "Events"
        case BailOut() | DeclareEmergency() | CallHelp():
            return "Leave the course"
        case NameDifficulty():
            return "Difficulties"
        case _:
            return "At any time"
