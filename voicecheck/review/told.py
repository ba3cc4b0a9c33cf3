"""The story of a log at rest: each line with its time, its cause and what it changed."""

from __future__ import annotations

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
    """One line and what it changed."""

    record: Record
    at: Moment
    cause: Utterance
    before: State
    after: State
    told: str
    """What the machine said of it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Told:
    """The whole story, at rest."""

    opened: Opened
    conduct: Conduct
    procedure: Procedure
    steps: tuple[Step, ...]

    def name(self, item: str) -> str:
        """An item's name; closing the record has no item."""
        return self.procedure.item(item).name if item else CLOSING

    def names(self, items: Iterable[str]) -> str:
        """Several names, one after another."""
        return "; ".join(self.name(item) for item in items)

    def says(self, item: str, answer: str) -> str:
        """What was understood by an answer."""
        return self.procedure.item(item).answer(answer).says


def told(story: Iterable[tuple[Case, Record]]) -> Told:
    """Keep each line of a story as replay.story yields it; the case itself moves on in place."""
    steps: list[Step] = []
    for case, record in story:
        zero_us = steps[0].record.at.mono_us if steps else record.at.mono_us
        since_s = (record.at.mono_us - zero_us) / 1_000_000
        steps.append(
            Step(
                record=record,
                at=Moment(line=record.seq, utc=record.at.utc, since_s=since_s),
                cause=utterance(record),
                before=steps[-1].after if steps else case.state,
                after=case.state,
                told=case.conduct.spoken(case, record),
            )
        )
    return Told(
        opened=case.opened, conduct=case.conduct, procedure=case.procedure, steps=tuple(steps)
    )


def utterance(record: Record) -> Utterance:
    """What caused a line."""
    match record.cause:
        case Heard(text=text, confidence=sure, audio_from_s=from_s, audio_to_s=to_s):
            return Utterance(
                text=text, source="heard", confidence=sure, audio_from_s=from_s, audio_to_s=to_s
            )
        case Entered(text=text):
            return Utterance(text=text, source="entered")
        case Trouble(message=message):
            return Utterance(text=message, source="machine")
        case Said(text=text):
            return Utterance(text=text, source="machine")
        case _:
            return Utterance(text="", source="machine")
