"""Replay a log from its bytes alone: the hash proves the bytes, the replay proves the story.

Bytes first: every line is canonical and carries the hash of the line before it. Then the story:
every fact must be the one that its recorded input leads to at that moment, by the same decision and
the same guards as in the live case. A forger who recomputes every hash must still tell a story that
the conduct allows, and match a checkpoint kept elsewhere.
"""

from __future__ import annotations

import json
import re
from calendar import monthrange
from collections import deque
from collections.abc import Iterator, Mapping, Sequence

from voicecheck.core import facts
from voicecheck.core.case import Case, IllegalFact
from voicecheck.core.chain import GENESIS, Checkpoint, line_hash
from voicecheck.core.codec import Mistakes
from voicecheck.core.conduct import RELEASED, UnknownConduct
from voicecheck.core.facts import Opened, Record, decode_record
from voicecheck.core.legible import legible, quoted
from voicecheck.core.procedure import ProcedureError
from voicecheck.core.state import NothingDue

_UTC = re.compile(
    r"(?!0000)(\d{4})-(0[1-9]|1[0-2])-(\d\d)T([01]\d|2[0-3]):[0-5]\d:[0-5]\d\.\d{3}Z", re.ASCII
)


class BrokenLog(Exception):
    """The log does not hold: the line, and why."""

    def __init__(self, line: int, why: str) -> None:
        super().__init__(f"Line {line}: {legible(why)}")
        self.line = line


class NewerLog(BrokenLog):
    """The log was made by a later version: nothing is wrong with it, but we cannot read it."""

    def __init__(self, named: Mapping[str, int], program: str) -> None:
        super().__init__(1, "")
        self.args = (
            f"This record is newer than this program: it has format {quoted(named['format'])} "
            f"and rules {quoted(named['rules'])}. Read it with voicecheck {quoted(program)}, which "
            "made it, or later.",
        )


def check_chain(lines: Sequence[bytes]) -> Checkpoint:
    """Check every link over the exact bytes; raises BrokenLog at the first broken one."""
    _linked(lines)
    return Checkpoint(length=len(lines), last=line_hash(lines[-1]) if lines else GENESIS)


def check_checkpoint(lines: Sequence[bytes], checkpoint: Checkpoint) -> None:
    """Compare the log with a checkpoint kept elsewhere; raises BrokenLog if they differ."""
    if len(lines) < checkpoint.length:
        raise BrokenLog(
            len(lines), f"the log ends here, but the checkpoint counts {checkpoint.length} lines"
        )
    last = line_hash(lines[checkpoint.length - 1]) if checkpoint.length else GENESIS
    if not last.startswith(checkpoint.last):
        raise BrokenLog(checkpoint.length, "this line is not the one that the checkpoint names")


def replay(lines: Sequence[bytes]) -> Case:
    """Run the case again from its lines; raises BrokenLog where bytes or story do not hold."""
    return deque(story(lines), maxlen=1)[0][0]


def story(lines: Sequence[bytes]) -> Iterator[tuple[Case, Record]]:
    """The case after each line, with that line's record. Raises BrokenLog like `replay`."""
    if not lines:
        raise BrokenLog(1, "the log is empty; not even an opening was recorded")
    check_age(lines)
    case: Case | None = None
    for record in _linked(lines):
        case = _opened(record) if case is None else _lived(case, record)
        yield case, record


def _linked(lines: Sequence[bytes]) -> list[Record]:
    """All records, once every link has been checked."""
    last, records = GENESIS, []
    for number, record in enumerate(_records(lines), 1):
        if record.seq != number:
            raise BrokenLog(
                number, f"it calls itself line {record.seq}; a line is missing or moved"
            )
        if record.prev != last:
            raise BrokenLog(
                number, "the hash in it is not that of the line before; one of them was changed"
            )
        last = line_hash(lines[number - 1])
        records.append(record)
    return records


def _records(lines: Sequence[bytes]) -> Iterator[Record]:
    for number, line in enumerate(lines, 1):
        try:
            yield decode_record(line)
        except Mistakes as mistakes:
            raise BrokenLog(number, str(mistakes)) from None


def _opened(record: Record) -> Case:
    _check_utc(record)
    if isinstance(record.fact, Opened) and record.fact.format not in facts.READABLE:
        raise BrokenLog(record.seq, f"the format {record.fact.format} never existed")
    try:
        return Case(record)
    except ProcedureError as error:
        raise BrokenLog(
            record.seq, f"its procedure has mistakes: {'; '.join(error.found)}"
        ) from None
    except (IllegalFact, UnknownConduct) as error:
        raise BrokenLog(record.seq, str(error)) from None
    except ValueError as error:  # tomllib, of a number with too many digits
        raise BrokenLog(record.seq, f"its procedure cannot be read: {error}") from None


def check_age(lines: Sequence[bytes]) -> None:
    """Raise NewerLog if the opening names a format or rules that this program does not know yet.

    This comes first, because today's strict reader may reject a later format. If the second line's
    hash does not match the opening, the opening was changed and is not believed.
    """
    try:
        fact = json.loads(lines[0])["fact"]
        if len(lines) > 1 and json.loads(lines[1])["prev"] != line_hash(lines[0]):
            return
        named = {"format": fact["format"], "rules": fact["rules"]}
        program = str(fact["program"])
    except (IndexError, KeyError, TypeError, ValueError, RecursionError):
        return  # not an opening of any version: the strict reader says what is wrong
    newest = {"format": max(facts.READABLE), "rules": max(RELEASED)}
    if any(type(named[each]) is int and named[each] > newest[each] for each in newest):
        raise NewerLog(named, program)


def _check_utc(record: Record) -> None:
    found = _UTC.fullmatch(record.at.utc)
    if not found or not 1 <= int(found[3]) <= monthrange(int(found[1]), int(found[2]))[1]:
        raise BrokenLog(record.seq, f"{quoted(record.at.utc)} is not a UTC time as in RFC 3339")


def _lived(case: Case, record: Record) -> Case:
    _check_utc(record)
    if record.cause is None:
        raise BrokenLog(record.seq, "it has no cause; only the opening has none")

    def compare(expected: Record) -> None:
        if expected.fact != record.fact:
            raise BrokenLog(
                record.seq,
                f"the story does not hold: {type(record.cause).__name__} leads to "
                f"{type(expected.fact).__name__} here, not {type(record.fact).__name__} as written",
            )

    try:
        case.step(record.cause, record.at, prev=record.prev, keep=compare)
    except IllegalFact as error:
        raise BrokenLog(record.seq, str(error)) from None
    except NothingDue:
        raise BrokenLog(record.seq, "something came due before its time") from None
    return case
