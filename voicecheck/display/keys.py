"""The procedure's phrases as keys for entry by hand, in groups."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice

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
from voicecheck.display.screen import Key, Keys, Role

FIXED = "At once"
"""The title of the first group: the keys that are always in the same place."""

_MOST_EVENTS = 3
"""So many events have a fixed key: the first of the file that lapse something."""


def keys(procedure: Procedure, conduct: Conduct = CURRENT) -> tuple[Keys, ...]:
    """Every phrase once, in groups: the fixed keys, each phase, then what can happen at any time.

    In each group the withdrawals come last. A group without a key is left out.
    """
    fixed = tuple(_fixed(procedure))
    titles = [*(phase.title for phase in procedure.phases), *_AT_ANY_TIME]
    groups: dict[str, list[Key]] = {title: [] for title in titles}
    address = f"{procedure.common.listening.address} "
    taken = {key.phrase for key in fixed}
    for phrase, command in conduct.phrases(procedure).items():
        if phrase not in taken:
            withdraws = isinstance(command, Withdraw)
            key = Key(phrase=phrase, label=phrase.removeprefix(address), withdraws=withdraws)
            groups[_group(procedure, command)].append(key)
    others = (
        Keys(title=title, keys=tuple(sorted(group, key=lambda key: key.withdraws)))
        for title, group in groups.items()
        if group
    )
    return (Keys(title=FIXED, keys=fixed), *others)


def _fixed(procedure: Procedure) -> Iterator[Key]:
    """What must be found without looking; each with the first of its phrases."""
    control, reply = procedure.common.control, procedure.common.reply
    address = procedure.common.listening.address
    lapsing = (event for event in procedure.file.events.values() if event.lapses)
    for role, phrase, label in (
        (Role.EMERGENCY, f"{address} {control.emergency[0]}", control.emergency[0]),
        *(
            (Role.EVENT, f"{address} {event.phrases[0]}", event.name)
            for event in islice(lapsing, _MOST_EVENTS)
        ),
        (Role.HELP, f"{address} {control.help[0]}", control.help[0]),
        (Role.CONFIRM, reply.confirm[0], reply.confirm[0]),
        (Role.NEGATIVE, reply.negative[0], reply.negative[0]),
    ):
        yield Key(phrase=phrase, label=label, withdraws=False, role=role)


_AT_ANY_TIME = ("Reply", "Events", "Leave the course", "Difficulties", "At any time")


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
