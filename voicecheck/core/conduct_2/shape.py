"""The shape of a procedure: what gates what, in words on one page, to be read and signed.

It is worked out from the rules themselves: for each event, by asking the rules what falls when all
stands.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cache

from voicecheck.core import facts
from voicecheck.core.facts import Fact
from voicecheck.core.procedure import Item, Procedure
from voicecheck.core.state import Mode, State

from .rules import fallen, is_critical, needs_read_back
from .standing import GATED, needed
from .understanding import signature


@cache
def shape(procedure: Procedure) -> str:
    """All that keeps a clip from being recorded too early; without the questions' wording."""
    sections = {
        "Refused until these stand": _gate(procedure),
        f"Read back; stands only on a reply within {procedure.head.read_back_s} s": _read_back(
            procedure
        ),
        "Stands at once": _at_once(procedure, satisfies=True),
        "Recorded at once, and opens nothing": _at_once(procedure, satisfies=False),
        "What makes them fall": _falls(procedure),
        "How it is heard": _hearing(procedure),
    }
    return "\n".join(
        line for title, lines in sections.items() for line in (f"{title}:", *_indented(lines))
    )


def _indented(lines: Iterable[str]) -> Iterator[str]:
    return (f"  {line}" for line in lines)


def _gate(procedure: Procedure) -> Iterator[str]:
    for item in procedure.items:
        if item.kind in GATED or item.after:
            before = [procedure.items[place].id for place in needed(procedure, item.id)]
            yield f"{item.kind} {item.id}: {_list(before)}"


def _read_back(procedure: Procedure) -> Iterator[str]:
    for item in filter(is_critical, procedure.items):
        for words in item.answers:
            if needs_read_back(item, words.id):
                yield f"{_named(item)}: {_quoted(words.phrases)} is read back as: {words.says}"


def _at_once(procedure: Procedure, *, satisfies: bool) -> Iterator[str]:
    for item in procedure.items:
        for words in item.answers:
            if words.satisfies is satisfies and not needs_read_back(item, words.id):
                yield f"{_named(item)}: {_quoted(words.phrases)}"


def _falls(procedure: Procedure) -> Iterator[str]:
    head, whole = procedure.head, _all_stands(procedure)
    told: dict[str, Fact] = {
        **{event: facts.Occurred(event=event) for event in procedure.file.events},
        **{
            f"caution {name}": facts.Cautioned(caution=name)
            for name, remark in procedure.file.cautions.items()
            if remark.lapses
        },
        "call for help": facts.HelpCalled(),
        "standing by": facts.StoodBy(),
        "emergency": facts.Overridden(),
        "any bail-out": facts.BailedOut(way=""),
        f"gap of more than {head.restate_after_s} s": facts.Reopened(gap_s=-1),
    }
    for name, fact in told.items():
        yield f"{name}: {_list(fallen(procedure, whole, fact))}"
    yield f"{head.criteria_hold_s} s without a criterion, the pause or an act stated: the criteria"
    yield f"{head.pause_holds_s} s without the pause or an act stated: the pause"
    yield f"the pause lasts {head.pause_s} s"


def _all_stands(procedure: Procedure) -> State:
    first = (min(answers) for answers in procedure.satisfying)
    return State(mode=Mode.IN_COURSE, standing=tuple(first))


def _hearing(procedure: Procedure) -> Iterator[str]:
    listening, reply, control = (
        procedure.common.listening,
        procedure.common.reply,
        procedure.common.control,
    )
    yield f"said first: {_quoted([listening.address])}"
    yield f"confirm: {_quoted(reply.confirm)}; negative: {_quoted(reply.negative)}"
    yield f"emergency: {_quoted(control.emergency)}; help: {_quoted(control.help)}"
    for name, remark in procedure.file.bail_outs.items():
        yield f"bail-out {name}: {_quoted(remark.phrases)}"
    for name, remark in procedure.file.events.items():
        yield f"event {name}: {_quoted(remark.phrases)}"
    yield (
        f"confidence at least {listening.least_confidence:g}, for what is critical "
        f"{listening.least_confidence_critical:g}, for confirm "
        f"{listening.least_confidence_confirm:g}; asked again from {listening.least_asked:g}"
    )
    yield f"other wordings: {signature(procedure)}"
    for word, spoken in procedure.file.lexicon.items():
        yield f"{word} is pronounced {_quoted(spoken)}"


def _named(item: Item) -> str:
    return f"{item.kind} {item.id} ({item.name})"


def _quoted(phrases: Iterable[str]) -> str:
    return " or ".join(f'"{phrase}"' for phrase in phrases)


def _list(names: Iterable[str]) -> str:
    return ", ".join(names) or "nothing"
