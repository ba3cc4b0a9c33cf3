"""Each line of a log as every export tells it: what was said, what it counts as, what was answered.

These are three different things: the machine's advice is nobody's statement, and an answer that
does not satisfy its item is never told as the item itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from voicecheck.core import facts
from voicecheck.core.facts import Fact, Why
from voicecheck.core.wording import NOT_AS_REQUIRED, in_words, took
from voicecheck.review.findings import Moment, Utterance
from voicecheck.review.summary import duration
from voicecheck.review.trace import Step, Trace


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """One line of a log; "" is for what its fact has not."""

    at: Moment
    said: Utterance
    fact: Fact
    taken_as: str
    """What it counts as, in a few words."""
    item: str
    """Id of the item that it is about."""
    about: str
    """Id of the event, caution, bail-out or part that it is about."""
    name: str
    """Of either; of closing the record, if it is about that."""
    answer: str
    """Id of the answer."""
    means: str
    """What the answer means in words, or why it was refused or not recorded."""
    satisfies: bool | None
    """Whether the answer satisfies the item; None without an answer."""
    why: str
    """Id of the reason."""
    lapsed: Mapping[str, str]
    """Id → name of each item that fell."""
    outstanding: Mapping[str, str]
    """Id → name of each item that was outstanding."""
    gap_s: float | None
    """How long nobody listened; negative if nobody knows, None if there is no gap."""
    answered: str
    """What the machine answered; "" for silence."""

    @property
    def kind(self) -> str:
        """The fact's name in core/facts.py."""
        return type(self.fact).__name__

    @property
    def counts_as(self) -> str:
        """What it counts as, whole: as what, of what, and what fell or was outstanding."""
        listed = (("lapsed", self.lapsed), ("outstanding", self.outstanding))
        told = (f"{what}: {'; '.join(names.values())}" for what, names in listed if names)
        return "; ".join((self.head, *told)).removeprefix("outstanding; ")  # was asked for

    @property
    def head(self) -> str:
        """What it counts as, without what fell or was outstanding."""
        about = f": {self.name}" if self.name else ""
        means = f" ({self.means})" if self.means not in ("", self.name) else ""
        return f"{self.taken_as}{about}{means}"

    @property
    def cells(self) -> Mapping[str, object]:
        """All of it as columns of a table; "" or None is an empty cell."""
        return {
            "line": self.at.line,
            "utc": self.at.utc,
            "elapsed_s": round(self.at.since_s, 3),
            "source": self.said.source,
            "said": in_words(self.said.text),
            "confidence": self.said.confidence,
            "audio_from_s": self.said.audio_from_s,
            "audio_to_s": self.said.audio_to_s,
            "counts_as": self.counts_as,
            "answered": self.answered,
            "fact": self.kind,
            "taken_as": self.taken_as,
            "name": self.name,
            "means": self.means,
            "satisfies": self.satisfies,
            "item": self.item,
            "answer": self.answer,
            "about": self.about,
            "why": self.why,
            "lapsed": " ".join(self.lapsed),
            "outstanding": " ".join(self.outstanding),
            "gap_s": self.gap_s,
        }


def lines(trace: Trace) -> Iterator[Line]:
    """All lines of a log, in order."""
    return (_line(trace, step) for step in trace.steps)


def _line(trace: Trace, step: Step) -> Line:
    fact = step.record.fact
    item, answer = getattr(fact, "item", ""), getattr(fact, "answer", "")
    satisfies = trace.procedure.item(item).answer(answer).satisfies if answer else None
    about, name = _about(trace, fact)
    return Line(
        at=step.at,
        said=step.cause,
        fact=fact,
        taken_as=f"{took(fact)}{'' if satisfies in (None, True) else NOT_AS_REQUIRED}",
        item=item,
        about=about,
        name=name,
        answer=answer,
        means=trace.means(item, answer) if answer else _reason(fact),
        satisfies=satisfies,
        why=str(getattr(fact, "why", "")),
        lapsed=_named(trace, getattr(fact, "lapsed", ())),
        outstanding=_named(trace, getattr(fact, "outstanding", ())),
        gap_s=getattr(fact, "gap_s", None),
        answered=step.answered,
    )


def _about(trace: Trace, fact: Fact) -> tuple[str, str]:  # noqa: PLR0911 - one case a fact
    """Id and name of the event, caution, bail-out or part; of an item only the name."""
    file = trace.procedure.file
    match fact:
        case facts.Occurred(event=event):
            return event, file.events[event].name
        case facts.Cautioned(caution=caution):
            return caution, file.cautions[caution].name
        case facts.BailedOut(way=way):
            return way, file.bail_outs[way].name
        case facts.Failed(part=part) | facts.Recovered(part=part):
            return part, part
        case facts.Retracted(item=item) | facts.Lapsed(item=item):
            return "", trace.name(item)
        case facts.CloseProposed():
            return "", trace.name("")
        case _:
            item = getattr(fact, "item", "")
            return "", trace.name(item) if item else ""


def _named(trace: Trace, items: Iterable[str]) -> Mapping[str, str]:
    return {item: trace.name(item) for item in items}


def _reason(fact: Fact) -> str:
    """Why something was refused or not recorded, or how long nobody listened."""
    match fact:
        case facts.Refused(why=why):
            return REASONS[why]
        case facts.Retracted():
            return "denied"
        case facts.Lapsed():
            return "no reply in time"
        case facts.Reopened(gap_s=gap_s):
            return gap(gap_s)
        case _:
            return ""


REASONS: Mapping[Why, str] = {
    Why.OUTSTANDING: "",  # what is outstanding is named
    Why.NOT_STANDING: "nothing to withdraw",
    Why.STANDING_BY: "standing by",
    Why.NOT_WAITING: "nothing waits for a reply",
    Why.NOT_NOW: "not now",
    Why.STALE: "to an earlier question",
    Why.UNSETTLED: "not so, or in doubt",
    Why.CLOSED: "the record is closed",
}
"""Why a command is refused, in words."""


def gap(gap_s: float) -> str:
    """How long nobody listened, in words."""
    return f"nobody listened for {duration(gap_s) if gap_s >= 0 else 'an unknown time'}"
