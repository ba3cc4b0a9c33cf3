"""The closed table from phrases to commands: every phrase means exactly one thing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from itertools import pairwise

from voicecheck.core.inputs import (
    Answer,
    AskOutstanding,
    BailOut,
    CallHelp,
    CarryOn,
    CloseRecord,
    Command,
    Confirm,
    DeclareEmergency,
    Entered,
    Heard,
    NameDifficulty,
    Negative,
    ReportEvent,
    SayAgain,
    StandBy,
    Unclear,
    Withdraw,
)
from voicecheck.core.procedure import Procedure, ProcedureError


@cache
def phrases(procedure: Procedure) -> Mapping[str, Command]:
    """Every phrase that can be said, with the address word where it needs one, and its command.

    Raises ProcedureError if a phrase has two meanings, begins another, or holds anything but
    lower-case words.
    """
    table: dict[str, Command] = {}
    found: list[str] = []
    for phrase, command in _spoken(procedure):
        if phrase in table:
            found.append(f'"{phrase}" stands for two different things')
        if not all(
            word.replace("'", "").isalpha() and word.islower() for word in phrase.split(" ")
        ):
            found.append(f'"{phrase}" must be lower-case words with single spaces')
        table[phrase] = command
    found += _beginnings(table)
    if found:
        raise ProcedureError(procedure.head.id, found)
    return table


def interpret(procedure: Procedure, given: Heard | Entered) -> Command | Unclear:
    """The command that one whole utterance means, by exact match; otherwise Unclear."""
    return phrases(procedure).get(given.text) or Unclear()


def _spoken(procedure: Procedure) -> Iterator[tuple[str, Command]]:
    common = procedure.common
    yield from _each(common.reply.confirm, Confirm())
    yield from _each(common.reply.negative, Negative())
    for phrase, command in (*_controls(procedure), *_items(procedure), *_remarks(procedure)):
        yield f"{common.listening.address} {phrase}", command


def _controls(procedure: Procedure) -> Iterator[tuple[str, Command]]:
    control = procedure.common.control
    yield from _each(control.say_again, SayAgain())
    yield from _each(control.outstanding, AskOutstanding())
    yield from _each(control.stand_by, StandBy())
    yield from _each(control.carry_on, CarryOn())
    yield from _each(control.help, CallHelp())
    yield from _each(control.emergency, DeclareEmergency())
    yield from _each(control.close, CloseRecord())


def _items(procedure: Procedure) -> Iterator[tuple[str, Command]]:
    for item in procedure.items:
        yield item.withdraw, Withdraw(item=item.id)
        for words in item.answers:
            yield from _each(words.phrases, Answer(item=item.id, answer=words.id))


def _remarks(procedure: Procedure) -> Iterator[tuple[str, Command]]:
    file = procedure.file
    for name, remark in file.events.items():
        yield from _each(remark.phrases, ReportEvent(event=name))
    for name, remark in file.cautions.items():
        yield from _each(remark.phrases, NameDifficulty(caution=name))
    for name, remark in file.bail_outs.items():
        yield from _each(remark.phrases, BailOut(way=name))


def _each(said: Iterable[str], command: Command) -> Iterator[tuple[str, Command]]:
    return ((phrase, command) for phrase in said)


def _beginnings(table: Iterable[str]) -> Iterator[str]:
    """Phrases that begin another: a breath could cut the longer one and change its meaning."""
    ordered = sorted(table)
    for shorter, longer in pairwise(ordered):
        if longer.startswith(f"{shorter} "):
            yield f'"{shorter}" is the beginning of "{longer}"'
