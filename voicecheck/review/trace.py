"""A replayed log, kept whole: each line with its time, what was said, the states around it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from voicecheck.core.case import Case
from voicecheck.core.conduct import Conduct
from voicecheck.core.facts import Opened, Record
from voicecheck.core.inputs import Entered, Heard, Said, Trouble
from voicecheck.core.procedure import Procedure
from voicecheck.core.state import State
from voicecheck.core.wording import CLOSING
from voicecheck.review.findings import Moment, Utterance


@dataclass(frozen=True, kw_only=True, slots=True)
class Step:
    """One line of the log and what it changed."""

    record: Record
    at: Moment
    cause: Utterance
    state_before: State
    state_after: State
    answered: str
    """What the machine answered; "" for silence."""


SPEAKERS = {"heard": "a voice in the theatre", "entered": "entry by hand", "machine": "voicecheck"}
"""Source of an utterance → its name in the exports."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Trace:
    """All steps of one case, in order; at least the opening."""

    opened: Opened
    conduct: Conduct
    procedure: Procedure
    steps: tuple[Step, ...]

    def name(self, item: str) -> str:
        """An item's name. "" stands for closing the record, which is no item."""
        return self.procedure.item(item).name if item else CLOSING

    def names(self, items: Iterable[str]) -> str:
        """Several names, separated by semicolons."""
        return "; ".join(self.name(item) for item in items)

    def means(self, item: str, answer: str) -> str:
        """What an answer means, in words: the first sentence of what the machine says to it.

        The sentences after it are the machine's advice.
        """
        return _SENTENCE.split(self.procedure.item(item).answer(answer).says, maxsplit=1)[0]


_SENTENCE = re.compile(r"[.!?](?:\s+|$)")
"""The end of a sentence."""


def trace_of(story: Iterable[tuple[Case, Record]]) -> Trace:
    """Keep each step of a story from replay.story, whose one case changes in place."""
    steps: list[Step] = []
    for case, record in story:
        zero_us = steps[0].record.at.mono_us if steps else record.at.mono_us
        since_s = (record.at.mono_us - zero_us) / 1_000_000
        steps.append(
            Step(
                record=record,
                at=Moment(line=record.seq, utc=record.at.utc, since_s=since_s),
                cause=_utterance(record),
                state_before=steps[-1].state_after if steps else case.state,
                state_after=case.state,
                answered=case.conduct.spoken(case, record),
            )
        )
    return Trace(
        opened=case.opened, conduct=case.conduct, procedure=case.procedure, steps=tuple(steps)
    )


def _utterance(record: Record) -> Utterance:
    match record.cause:
        case Heard(text=text, confidence=sure, audio_from_s=from_s, audio_to_s=to_s):
            return Utterance(
                text=text, source="heard", confidence=sure, audio_from_s=from_s, audio_to_s=to_s
            )
        case Entered(text=text):
            return Utterance(text=text, source="entered")
        case Trouble(message=text) | Said(text=text):
            return Utterance(text=text, source="machine")
        case _:
            return Utterance(text="", source="machine")
