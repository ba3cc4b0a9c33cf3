"""Finds the prompts that a case will probably need, so that they can be rendered ahead."""

from __future__ import annotations

from collections.abc import Iterator

from voicecheck.core.case import Case
from voicecheck.core.chain import GENESIS
from voicecheck.core.facts import At, Opened, Record
from voicecheck.core.inputs import (
    Answer,
    Command,
    Confirm,
    Due,
    Entered,
    Input,
    NameDifficulty,
    ReportEvent,
)
from voicecheck.core.procedure import Procedure
from voicecheck.core.state import Mode


def foreseen(opened: Opened) -> list[str]:
    """What is said at the opening, to each event and caution, and along a smooth course.

    A smooth case is run through the same decisions as a live one, so the words are the same. Other
    prompts (after a refusal, a withdrawal) are rendered when they are said.
    """
    case = Case(Record(seq=1, at=At(utc="", mono_us=0), cause=None, fact=opened, prev=GENESIS))
    said = _phrase_for(case)
    texts = [case.conduct.spoken(case, case.last)]
    for command in _smooth(case.procedure, said):
        texts.append(_lived(case, Entered(text=said[command])))
        if case.state.mode is Mode.PAUSING:
            texts.append(_lived(case, Due()))
        if case.state.pending is not None:
            texts.append(_lived(case, Entered(text=said[Confirm()])))
    case.close()
    return list(dict.fromkeys(texts))


def _phrase_for(case: Case) -> dict[Command, str]:
    table = case.conduct.phrases(case.procedure)
    return {command: phrase for phrase, command in table.items()}


def _smooth(procedure: Procedure, said: dict[Command, str]) -> Iterator[Command]:
    """Each event and caution once, then each item with a satisfying answer."""
    yield from (each for each in said if isinstance(each, ReportEvent | NameDifficulty))
    for item in procedure.items:
        words = next(words for words in item.answers if words.satisfies)
        yield Answer(item=item.id, answer=words.id)


def _lived(case: Case, given: Input) -> str:
    """Take one input; returns what is said to it."""
    waited_us = case.due_us if isinstance(given, Due) else None
    at = At(utc="", mono_us=waited_us or case.last.at.mono_us)
    case.step(given, at, prev=GENESIS, keep=lambda _record: None)
    return case.conduct.spoken(case, case.last)
