"""What an utterance means: a shown phrase, which means exactly one thing, or other words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from itertools import pairwise

from voicecheck.core.inputs import (
    UNKNOWN,
    Address,
    Answer,
    AskOutstanding,
    BailOut,
    CallHelp,
    CarryOn,
    CloseRecord,
    Command,
    Confirm,
    DeclareEmergency,
    Meaning,
    NameDifficulty,
    Negative,
    ReportEvent,
    SayAgain,
    StandBy,
    Unclear,
    Withdraw,
)
from voicecheck.core.procedure import Procedure, ProcedureError

from . import understanding
from .notation import PatternError


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
    try:
        understanding.statements(procedure)
        understanding.replies(procedure)
    except PatternError as error:
        found.append(str(error))
    if found:
        raise ProcedureError(procedure.head.id, found)
    return table


def interpret(procedure: Procedure, text: str) -> Meaning | Unclear:
    """The command that one whole utterance means; otherwise Unclear.

    Statements begin with the address word, replies need not.
    """
    if text in phrases(procedure):
        return phrases(procedure)[text]
    address, _, sentence = text.partition(" ")
    if address != procedure.common.listening.address:
        return understanding.reply(procedure, text)
    if not sentence:
        return Address()
    plain = f"{address} {understanding.without_courtesies(procedure, sentence)}"
    if plain in phrases(procedure):
        return phrases(procedure)[plain]
    meant = understanding.meaning(procedure, sentence)
    return understanding.reply(procedure, sentence) if isinstance(meant, Unclear) else meant


def strays(procedure: Procedure, text: str) -> int:
    """How many words of an utterance are beside its meaning; other speech has none."""
    address, _, sentence = text.partition(" ")
    if text in phrases(procedure):
        return 0
    if address == procedure.common.listening.address:
        return understanding.strays(procedure, sentence) if sentence else 0
    is_reply = not isinstance(understanding.reply(procedure, text), Unclear)
    return 0 if is_reply or UNKNOWN in text.split() else understanding.strays(procedure, text)


def is_addressed(procedure: Procedure, text: str) -> bool:
    """Whether it begins with the address word."""
    return text.partition(" ")[0] == procedure.common.listening.address


def parts(procedure: Procedure, text: str) -> tuple[str, ...]:
    """The utterance, or two if it holds two statements, each with the address word."""
    address, _, sentence = text.partition(" ")
    if address != procedure.common.listening.address or not sentence:
        return (text,)
    return tuple(f"{address} {each}" for each in understanding.parts(procedure, sentence))


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
