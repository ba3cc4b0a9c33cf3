"""Parses and checks a procedure file, and reports every mistake at once."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator
from itertools import combinations, pairwise
from typing import Any, TypeVar

from voicecheck.core.codec import Mistakes, decode, encode
from voicecheck.core.inputs import Unclear
from voicecheck.core.procedure import (
    Common,
    File,
    Head,
    Kind,
    Listening,
    Procedure,
    ProcedureError,
    Reply,
)

from .grammar import phrases
from .sentences import FIXED
from .understanding import keys, reply

T = TypeVar("T")


def parse(text: str, common_text: str, name: str = "the procedure file") -> Procedure:
    """Parse and check both texts; raises ProcedureError with every mistake, headed by `name`."""
    procedure = Procedure(
        file=_decoded(File, text, name),
        common=_decoded(Common, common_text, "_common.toml"),
        text=text,
        common_text=common_text,
    )
    file, common = encode(procedure.file), encode(procedure.common)
    found = [
        *_left_out(tomllib.loads(text), tomllib.loads(common_text)),
        *_times(procedure.head),
        *_listening(procedure.common.listening),
        *_reply(procedure.common.reply),
        *_claims(file),
        *_texts(file),
        *(f"_common.toml: {mistake}" for mistake in _texts(common)),
        *_names(procedure),
        *_order(procedure),
        *_lapses(procedure),
        *_heard(procedure),
        *_answers_itself(procedure),
        *_answers(procedure),
        *_phrases(procedure),
    ]
    if found:
        raise ProcedureError(name, found)
    return procedure


def _phrases(procedure: Procedure) -> Iterator[str]:
    try:
        phrases(procedure)
    except ProcedureError as error:
        yield from error.found


def _decoded(kind: type[T], text: str, name: str) -> T:
    if len(text) > _LONGEST_FILE:
        raise ProcedureError(name, [f"longer than {_LONGEST_FILE:,} characters"])
    try:
        return decode(kind, tomllib.loads(text))
    except Mistakes as mistakes:
        raise ProcedureError(name, mistakes.found) from None
    except ValueError as error:  # also for a number too long to convert
        raise ProcedureError(name, [f"not TOML: {error}"]) from None
    except RecursionError:
        raise ProcedureError(name, ["not TOML: nested too deeply"]) from None


_LONGEST_FILE = 400_000
"""Characters; the shipped file has 280 000."""


def _left_out(file: Any, common: Any) -> Iterator[str]:
    """What safety depends on has no default: whoever writes a file decides it."""
    for where, table, decided in _decisions(file, common):
        yield from (f"{where}.{key} is missing" for key in decided if key not in table)


def _decisions(file: Any, common: Any) -> Iterator[tuple[str, Any, tuple[str, ...]]]:
    yield "procedure", file["procedure"], ("restate_after_s", "criteria_hold_s", "pause_holds_s")
    yield "_common.toml: listening", common["listening"], (*_LEAST, *_ADDRESSED)
    for n, phase in enumerate(file["phases"], 1):
        for m, item in enumerate(phase["items"], 1):
            for k, answer in enumerate(item["answers"], 1):
                yield f"phases[{n}].items[{m}].answers[{k}]", answer, ("satisfies",)
    for table in ("events", "cautions"):
        for name, remark in file[table].items():
            yield f"{table}.{name}", remark, ("lapses",)


_ADDRESSED = ("least_addressed", "attends_s")
_TIMES_S = {
    "read_back_s": (3, 60),  # later, a reply confirms what nobody remembers
    "pause_s": (3, 60),  # shorter is no pause; longer, nobody holds still
    "restate_after_s": (1, 1800),
    "criteria_hold_s": (60, 7200),  # shorter, the criteria fall while one is being shown
    "pause_holds_s": (30, 1800),
}
"""The least and the most of each time, in seconds (common practice, no source)."""


def _times(head: Head) -> Iterator[str]:
    for key, (least, most) in _TIMES_S.items():
        if not least <= getattr(head, key) <= most:
            yield f"procedure.{key} must be from {least} to {most} seconds"


_LEAST = {
    "least_asked": 0.0,
    "least_confidence": 0.5,
    "least_confidence_critical": 0.5,
    "least_confidence_confirm": 0.5,
}
"""The least of each operating point: below one half, more likely than not it was not said."""

_MOST_ATTENDS_S = 10
"""Longer, talk that is meant for nobody falls into it (common practice, no source)."""


def _listening(listening: Listening) -> Iterator[str]:
    """Each point is below 1 and not less than the one before it."""
    points = {key: getattr(listening, key) for key in _LEAST}
    for key, share in points.items():
        if not _LEAST[key] <= share < 1:
            yield f"_common.toml: listening.{key} must be from {_LEAST[key]} up to, but not, 1"
    if not _LEAST["least_confidence"] <= listening.least_addressed < 1:
        yield "_common.toml: listening.least_addressed must be from 0.5 up to, but not, 1"
    if not 1 <= listening.attends_s <= _MOST_ATTENDS_S:
        yield f"_common.toml: listening.attends_s must be from 1 to {_MOST_ATTENDS_S} seconds"
    for (lower, low), (higher, high) in pairwise(points.items()):
        if low > high:
            yield f"_common.toml: listening.{higher} must not be less than listening.{lower}"


def _reply(reply: Reply) -> Iterator[str]:
    """A reply needs no address word, so it must be a word that nobody says by the way."""
    for phrase in (*reply.confirm, *reply.negative):
        if max(map(len, phrase.split()), default=0) < _LEAST_REPLY:
            yield f"_common.toml: reply {phrase!r} needs a word of {_LEAST_REPLY} letters or more"


_WORDINGS = ("heard", "pieces", "words")
"""The keys of patterns and of words: what people say, never what the machine says."""

_MAY_BE_EMPTY = ("after", "lapses", *_WORDINGS)
"""An item may follow none, an event lapse nothing, and nothing need have other wordings."""

_LEAST_REPLY = 6
_LONGEST_TEXT = 300
"""Characters of one text; at 165 words a minute it takes 20 seconds to say."""


def _texts(value: Any, where: str = "") -> Iterator[str]:
    """Texts that are empty, too long, or hold what nobody can see; lists that are empty."""
    if isinstance(value, dict):
        for key, part in value.items():
            if key not in _MAY_BE_EMPTY:
                yield from _texts(part, f"{where}.{key}".lstrip("."))
    elif isinstance(value, list) and value:
        for n, part in enumerate(value, 1):
            yield from _texts(part, f"{where}[{n}]")
    elif value == [] or (isinstance(value, str) and not value.strip()):
        yield f"{where} is empty"
    elif isinstance(value, str) and len(value) > _LONGEST_TEXT:
        yield f"{where} is longer than {_LONGEST_TEXT} characters"
    elif isinstance(value, str) and not value.isprintable():
        yield f"{where} holds a character that cannot be seen: {value!a}"


_CLAIM = re.compile(
    r"\b(safe to|safely|achieved|prevents?|guarantees?|you may|may now|now be|go ahead|approved"
    r"|cleared (?:to|for)|all clear|permitted|allowed to|proceed)\b",
    re.IGNORECASE,
)


def _claims(value: Any) -> Iterator[str]:
    """Wording that says something is so, or allows it: the machine knows what was stated."""
    if isinstance(value, dict):
        for key, part in value.items():
            if key not in _WORDINGS:  # people may say what they like
                yield from _claims(part)
    elif isinstance(value, list):
        for part in value:
            yield from _claims(part)
    elif isinstance(value, str) and (found := _CLAIM.search(value)):
        yield f"{value!r} claims what nobody here can see ({found[0]}): word it as a statement"


def _names(procedure: Procedure) -> Iterator[str]:
    """Two things with one name cannot be told apart on the display or in the log."""
    yield from _twice("two items are called", (item.id for item in procedure.items))
    yield from _twice("two items have the name", (item.name for item in procedure.items))
    yield from _twice("two phases are called", (phase.id for phase in procedure.phases))
    yield from _twice("two phases have the title", (phase.title for phase in procedure.phases))


def _twice(what: str, names: Iterable[str]) -> Iterator[str]:
    yield from (f"{what} {name!r}" for name, times in Counter(names).items() if times > 1)


def _order(procedure: Procedure) -> Iterator[str]:
    known: set[str] = set()
    for item in procedure.items:
        yield from (
            f"{item.id}: after names {other!r}, which is not an earlier item"
            for other in item.after
            if other not in known
        )
        known.add(item.id)
    acts = {item.id for item in procedure.items if item.kind is Kind.ACT}
    yield from (
        f"{item.id}: an act comes after acts only; the gate holds back the rest"
        for item in procedure.items
        if item.id in acts and not acts.issuperset(item.after)
    )
    kinds = [item.kind for item in procedure.items]
    if kinds.count(Kind.PAUSE) != 1:
        yield "exactly one item must be of kind pause"
    elif Kind.ACT in kinds and kinds.index(Kind.ACT) != kinds.index(Kind.PAUSE) + 1:
        yield "the pause must come right before the first item of kind act"
    if Kind.CRITERION not in kinds:
        yield "no item is of kind criterion: nothing would keep the gate closed"
    if not acts:
        yield "no item is of kind act: the gate would have nothing to hold back"
    yield from _gate_phases(procedure)


def _gate_phases(procedure: Procedure) -> Iterator[str]:
    """The gate counts whole earlier phases, so no phase may mix gating and gated items."""
    for phase in procedure.phases:
        kinds = {item.kind for item in phase.items}
        if Kind.PAUSE in kinds and len(phase.items) > 1:
            yield f"phase {phase.id}: the pause must be the only item of its phase"
        if Kind.ACT in kinds and kinds != {Kind.ACT}:
            yield f"phase {phase.id}: acts share no phase with other items"
    places = [n for n, item in enumerate(procedure.items) if item.kind is Kind.CRITERION]
    first_act = next((n for n, i in enumerate(procedure.items) if i.kind is Kind.ACT), None)
    if places and first_act is not None and places[-1] > first_act:
        yield "every criterion must come before the first act"
    yield from (
        f"{item.id}: a {item.kind} is always required"
        for item in procedure.items
        if item.kind in (Kind.CRITERION, Kind.PAUSE) and not item.required
    )


def _lapses(procedure: Procedure) -> Iterator[str]:
    file = procedure.file
    for table, remarks in (("events", file.events), ("cautions", file.cautions)):
        for name, remark in remarks.items():
            yield from (
                f"{table}.{name}: what is done ({kind}) cannot lapse"
                for kind in remark.lapses
                if kind in (Kind.STEP, Kind.ACT)
            )


def _heard(procedure: Procedure) -> Iterator[str]:
    known = keys(procedure)
    for where, heard in (("", procedure.file.heard), ("_common.toml: ", procedure.common.heard)):
        yield from (f"{where}heard.{key}: there is no such thing" for key in heard.keys() - known)
    yield from (
        f"heard.{key}: a reply is the same in every procedure; move it to _common.toml"
        for key in procedure.file.heard
        if key.startswith("reply.") and key in known
    )


def _answers_itself(procedure: Procedure) -> Iterator[str]:
    """Whatever is said aloud comes back through the microphone, sooner or later."""
    if any(_phrases(procedure)):
        return  # patterns that cannot be read match nothing
    address = procedure.common.listening.address
    for text in (*FIXED.values(), *_said(procedure)):
        words = re.sub(r"[^a-z' ]", " ", text.lower().replace("-", " ")).split()
        if address in words:
            yield f'"{text}" is said aloud and holds the address word: word it otherwise'
        for begin, end in combinations(range(len(words) + 1), 2):
            said = " ".join(words[begin:end])
            if end - begin <= _LONGEST_REPLY and not isinstance(reply(procedure, said), Unclear):
                yield f'"{text}" is said aloud and holds the reply "{said}": word it otherwise'
                break


_LONGEST_REPLY = 4
"""Words; longer replies hold shorter ones."""


def _said(procedure: Procedure) -> Iterator[str]:
    file = procedure.file
    yield from (
        file.procedure.title,
        file.say.gate,
        file.say.pause_begins,
        file.say.pause_ends,
        file.say.left,
    )
    for item in procedure.items:
        yield from (item.called, item.brief, *(words.says for words in item.answers))
    for remarks in (file.events, file.cautions, file.bail_outs):
        yield from (remark.says for remark in remarks.values())


def _answers(procedure: Procedure) -> Iterator[str]:
    for item in procedure.items:
        ids = [words.id for words in item.answers]
        if item.kind is Kind.PAUSE and len(ids) > 1:
            yield f"{item.id}: a pause has one answer only: that it was held"
        yield from _twice(f"{item.id}: two answers have the id", ids)
        yield from _twice(f"{item.id}: two answers say", (words.says for words in item.answers))
        if not any(words.satisfies for words in item.answers):
            yield f"{item.id}: no answer satisfies it, so it could never stand"
