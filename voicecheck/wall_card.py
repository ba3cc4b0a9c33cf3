"""All that may be said, on one sheet for the wall of the theatre."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from html import escape
from importlib.resources import files
from string import Template

from voicecheck.core.conduct import CURRENT
from voicecheck.core.legible import legible
from voicecheck.core.procedure import Item, Procedure, Remark
from voicecheck.core.wording import CAUTION

SIZES: Mapping[str, float] = {"A4": 1.0, "A3": 2**0.5}
"""Sheets of ISO 216, lying, and how much larger each is than A4."""

COLUMN_MM = 146.0
"""Height of a column of phrases on A4."""
ROW, HEADING = 1.27, 1.75
"""Height of a phrase and of a heading, in letters' heights."""
LETTER_MM = (2.6, 5.2)
"""Smallest and largest size of the letters on A4: about 7.5 and 15 points."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Phrase:
    """One phrase that may be said, without the address word."""

    words: str
    read_back: bool = False
    """Whether it counts only after a confirm."""
    as_required: bool = True
    """False for an answer after which the gate stays closed."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Group:
    """Phrases that belong together."""

    title: str
    phrases: tuple[Phrase, ...]


def course(procedure: Procedure) -> Iterator[Group]:
    """What is said in each phase, in the order of the operation."""
    for phase in procedure.phases:
        phrases = (phrase for item in phase.items for phrase in _of_item(item))
        yield Group(title=phase.title, phrases=tuple(phrases))


def _of_item(item: Item) -> Iterator[Phrase]:
    for answer in item.answers:
        for words in answer.phrases:
            yield Phrase(
                words=words,
                read_back=CURRENT.is_critical(item) and answer.satisfies,
                as_required=answer.satisfies,
            )


def at_any_time(procedure: Procedure) -> Iterator[Group]:
    """What may be said in every phase: the most urgent first."""
    control, file = procedure.common.control, procedure.file
    yield _group("At once, at any time", (*control.emergency, *control.help))
    yield _group("Events", _said(file.events))
    yield _group("Leave the course", _said(file.bail_outs))
    yield _group("Difficulties", _said(file.cautions))


def replies(procedure: Procedure) -> Iterator[Group]:
    """What answers the machine, and what steers it."""
    reply, control = procedure.common.reply, procedure.common.control
    yield _group("Reply to “Shall I record …?”", (*reply.confirm, *reply.negative))
    steers = (control.say_again, control.outstanding, control.stand_by, control.carry_on)
    yield _group("The machine", (words for each in (*steers, control.close) for words in each))


def withdrawals(procedure: Procedure) -> tuple[str, ...]:
    """What takes a statement back."""
    return tuple(item.withdraw for item in procedure.items)


def _said(remarks: Mapping[str, Remark]) -> Iterator[str]:
    return (words for remark in remarks.values() for words in remark.phrases)


def _group(title: str, words: Iterable[str]) -> Group:
    return Group(title=title, phrases=tuple(Phrase(words=each) for each in words))


def listed(procedure: Procedure) -> str:
    """All of it as text, for the terminal."""
    address = procedure.common.listening.address
    lines = [
        f"{procedure.head.title}: what may be said.",
        CAUTION,
        "",
        f'Say "{address}" before everything but a reply.',
    ]
    for group in (*replies(procedure), *course(procedure), *at_any_time(procedure)):
        lines += ["", group.title, *(f"  {phrase.words}" for phrase in group.phrases)]
    lines += ["", "Take a statement back", *(f"  {words}" for words in withdrawals(procedure))]
    return "\n".join(legible(line, 300) for line in lines)


def wall_card(procedure: Procedure, size: str) -> str:
    """The sheet as one HTML page that prints on paper of this size, a key of SIZES."""
    numbered = (
        replace(group, title=f"{number} {group.title}")
        for number, group in enumerate(course(procedure), 1)
    )
    left, right = (*numbered, *replies(procedure)), tuple(at_any_time(procedure))
    letters = max(_letters(left) / 2 + HEADING, _letters(right))
    letter_mm = min(LETTER_MM[1], max(LETTER_MM[0], COLUMN_MM / letters))
    frame = (files("voicecheck") / "wall_card.html").read_text(encoding="utf-8")
    return Template(frame).substitute(
        size=size,
        scale=f"{SIZES[size]:.4f}",
        letter=f"{letter_mm:.3f}",
        title=_shown(procedure.head.title),
        address=_shown(procedure.common.listening.address),
        course="".join(map(_section, left)),
        any_time="".join(map(_section, right)),
        withdrawals=" · ".join(map(_shown, withdrawals(procedure))),
        version=procedure.head.version,
        caution=_shown(CAUTION),
    )


def _letters(groups: Iterable[Group]) -> float:
    """The height of the groups in one column, in letters' heights."""
    return sum(HEADING + ROW * len(group.phrases) for group in groups)


def _section(group: Group) -> str:
    rows = "".join(map(_row, group.phrases))
    return f"<section><h2>{_shown(group.title)}</h2><ul>{rows}</ul></section>\n"


def _row(phrase: Phrase) -> str:
    mark = " <i>read back</i>" if phrase.read_back else ""
    mark = mark if phrase.as_required else " <i>the gate stays closed</i>"
    return f"<li>{_shown(phrase.words)}{mark}</li>"


def _shown(text: str) -> str:
    return escape(legible(text, 300))
