"""The procedure's phrases as keys for entry by hand, in groups."""

from __future__ import annotations

from voicecheck.core.conduct import CURRENT, Conduct
from voicecheck.core.inputs import (
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
from voicecheck.core.procedure import Procedure
from voicecheck.display.screen import Key, Keys


def keys(procedure: Procedure, conduct: Conduct = CURRENT) -> tuple[Keys, ...]:
    """Every phrase once, in groups: replies, each phase, then what can happen at any time.

    In each group the withdrawals come last.
    """
    titles = ["Reply", *(phase.title for phase in procedure.phases), *_AT_ANY_TIME]
    groups: dict[str, list[Key]] = {title: [] for title in titles}
    address = f"{procedure.common.listening.address} "
    for phrase, command in conduct.phrases(procedure).items():
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
