"""A case that a test may kill: `driver.py LOG SEED`, entries by hand without pause, until killed.

As soon as the service gives a record to be shown, it is acknowledged: then its line's hash and a
digest of the state are printed. `driver.py LOG SEED early` tells before it keeps, as no log may.
"""

from __future__ import annotations

import hashlib
import os
import random
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from doubles import ScriptedEars, Speaker
from stories import opened

from voicecheck.core.case import Case
from voicecheck.core.chain import line_hash
from voicecheck.core.conduct_1.grammar import phrases
from voicecheck.core.facts import Record, decode_record, encode_record
from voicecheck.core.inputs import Entered, Trouble
from voicecheck.journal import Journal
from voicecheck.live import clock
from voicecheck.live.service import Service


class _Early:
    """The mistake that the kills must find."""

    def __init__(self, log: Journal) -> None:
        self._log = log

    def append(self, line: bytes) -> None:
        _tell(line_hash(line), "")
        time.sleep(0.02)
        self._log.append(line)


def _show(case: Case, record: Record, _text: str) -> None:
    _tell(line_hash(encode_record(record)), digest(case))


def _tell(line: str, state: str) -> None:
    os.write(1, f"{line} {state}\n".encode())  # at once, no buffer


def digest(case: Case) -> str:
    """What a case believes and waits for, in short."""
    return hashlib.sha256(repr((case.state, case.due_us, case.last.seq)).encode()).hexdigest()[:16]


def _entries(service: Service, chance: random.Random) -> Iterator[bytes | Entered | Trouble]:
    """Any phrase but those that end the record, and now and then a trouble."""
    known = [phrase for phrase in phrases(service.case.procedure) if "close" not in phrase]
    while True:
        yield bytes(3200)
        yield Entered(text=chance.choice([*known, "confirm", "confirm", "not a phrase"]))
        if chance.random() < 0.05:
            yield Trouble(part="microphone", message="invented", over=chance.random() < 0.5)


def main(path: Path, seed: int, *, early: bool) -> None:
    """Open the log or take it up, as `serve` does, and enter phrases until killed."""
    with (Journal.reopen if path.exists() else Journal.create)(path) as log:
        lines = log.found.lines
        last = decode_record(lines[-1]).at if lines else None
        now, gap_s = clock.wall(last)
        kept = _Early(log) if early else log
        service = Service(log=kept, ears=ScriptedEars(), voice=Speaker(), now=now, show=_show)
        if lines:
            service.take_up(lines, gap_s)
        else:
            service.open(opened())
        service.run(_entries(service, random.Random(seed)))  # noqa: S311


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), early=sys.argv[3:] == ["early"])
