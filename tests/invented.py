"""Invented cases, played through the real core from a seed: no patient, no person, no audio.

How often something goes wrong is made up. It depends on the invented level of the surgeon, so that
a summary of many cases has something to find.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache, partial
from multiprocessing import get_context
from pathlib import Path
from random import Random

from stories import PLAIN_COMMON, PLAIN_TEXT, plain

from voicecheck.core import facts
from voicecheck.core.case import Case
from voicecheck.core.chain import GENESIS, line_hash
from voicecheck.core.conduct import CURRENT
from voicecheck.core.conduct_2.decide import decide
from voicecheck.core.conduct_2.standing import outstanding
from voicecheck.core.conduct_2.wording import spoken
from voicecheck.core.facts import At, Fact, Opened, Record, encode_record
from voicecheck.core.inputs import UNKNOWN, Due, Entered, Heard, Input, Restarted, Said, Trouble
from voicecheck.core.procedure import Item, Procedure
from voicecheck.core.state import Mode
from voicecheck.core.wording import CAUTION

LEVELS = ("junior", "senior", "consultant")
GRADES = ("easy", "moderate", "hard")
MONTHS = 24
FIRST_DAY = datetime(2031, 1, 1, 7, 30, tzinfo=UTC)
EVENTS = ("active bleeding", "view is lost", "retraction slipped", "bile is spilling")
CAUTIONS = ("wall too thick to grasp", "fat creeping upward", "duct looks short")
BAIL_OUTS = ("taking a cholangiogram", "going for subtotal", "converting to open")


@dataclass(kw_only=True)
class Invention:
    """One case while it is being made up."""

    seed: int
    level: str = "senior"
    grade: str = "moderate"
    day: int = 0

    def __post_init__(self) -> None:
        self.chance = Random(self.seed)  # noqa: S311  # a story, no secret
        self.slip = 0.02 * (3 - LEVELS.index(self.level)) * (1 + GRADES.index(self.grade))
        self.start = FIRST_DAY + timedelta(days=self.day, minutes=self.chance.randrange(300))
        self.zero_us = self.now_us = self.chance.randrange(10**12)
        self.case = Case(self._first())
        self.lines = [encode_record(self.case.last)]
        self._speak()

    @property
    def procedure(self) -> Procedure:
        return self.case.procedure

    def _at(self) -> At:
        utc = self.start + timedelta(microseconds=self.now_us - self.zero_us)
        return At(utc=f"{utc:%Y-%m-%dT%H:%M:%S}.{utc.microsecond // 1000:03}Z", mono_us=self.now_us)

    def _first(self) -> Record:
        opened = Opened(
            case=f"invented-{self.seed}",
            procedure=PLAIN_TEXT,
            common=PLAIN_COMMON,
            wording=self.chance.choice(("full", "brief")),
            program="0.1.0",
            rules=CURRENT.VERSION,
            format=facts.VERSION,
            recogniser="none: an invented case",
            voice="none: an invented case",
            caution=CAUTION,
            shape=CURRENT.shape(plain()),
        )
        return Record(seq=1, at=self._at(), cause=None, fact=opened, prev=GENESIS)

    def give(self, given: Input) -> Fact:
        """Decide, record and apply one input now; then let the machine speak."""
        at = self._at()
        record = Record(
            seq=len(self.lines) + 1,
            at=at,
            cause=given,
            fact=decide(self.case, given, at),
            prev=line_hash(self.lines[-1]),
        )
        self.case.apply(record)
        self.lines.append(encode_record(record))
        if not isinstance(given, Said):
            self._speak()
        return record.fact

    def _speak(self) -> None:
        text = spoken(self.case, self.case.last)
        if text and self.case.state.mode is not Mode.CLOSED:
            from_s = self._audio_s()
            self.pass_s(0.25 + 0.055 * len(text))
            self.give(Said(text=text, audio_from_s=from_s, audio_to_s=self._audio_s()))

    def _audio_s(self) -> float:
        return round((self.now_us - self.zero_us) / 1e6, 2)

    def pass_s(self, seconds: float) -> None:
        """Let time pass, rounded to hundredths of a second."""
        self.now_us += round(seconds * 100) * 10_000

    def say(self, phrase: str) -> Fact:
        """Say a phrase after a while, or sometimes enter it by hand; what is due comes first."""
        self.pass_s(0.3 + self.chance.expovariate(1 / 2))
        while self._is_due():
            self.give(Due())
        if self.chance.random() < 0.03:
            return self.give(Entered(text=phrase))
        from_s = self._audio_s()
        self.pass_s(0.35 * len(phrase.split()))
        sure = round(min(1.0, self.chance.gauss(0.995, 0.01)), 2)
        return self.give(
            Heard(
                text=phrase,
                confidence=sure,
                audio_from_s=from_s,
                audio_to_s=self._audio_s(),
                addressed=sure if phrase.startswith("checklist") else 0.0,
            )
        )

    def command(self, phrase: str) -> Fact:
        """Say a phrase with the address word."""
        return self.say(f"{self.procedure.common.listening.address} {phrase}")

    def _is_due(self) -> bool:
        return self.case.wakes_us is not None and self.now_us >= self.case.wakes_us

    def wait(self) -> None:
        """Let time pass until something is due."""
        assert self.case.wakes_us is not None
        self.now_us = max(self.now_us, self.case.wakes_us)
        self.give(Due())

    # ------------------------------------------------------------------------ what people do

    def live(self) -> list[bytes]:
        """Play the whole case; returns the lines of its log."""
        for _ in range(60):
            left = outstanding(self.procedure, self.case.state)
            if not left or self._closed():
                break
            self._between()
            if not self._closed():
                self._state(self.procedure.item(left[0]))
        if self.chance.random() > 0.03:
            self._close()  # otherwise the log just ends
        self.case.close()
        return self.lines

    def _closed(self) -> bool:
        return self.case.state.mode is Mode.CLOSED

    def _state(self, item: Item) -> None:
        self.pass_s(self.chance.gammavariate(2.0, 40.0 * (1 + GRADES.index(self.grade))))
        wrong = [words for words in item.answers if not words.satisfies]
        if wrong and self.chance.random() < self.slip:
            self.command(self.chance.choice(wrong).phrases[0])
            self.pass_s(self.chance.uniform(20, 200))
        right = self.chance.choice([words for words in item.answers if words.satisfies])
        self.command(self.chance.choice(right.phrases))
        if self.case.state.mode is Mode.PAUSING:
            self.wait()
        self._reply()

    def _reply(self) -> None:
        if self.case.state.pending is None:
            return
        doubt = self.chance.random()
        if doubt < self.slip:
            self.say("negative")
        elif doubt < 1.5 * self.slip:
            self.wait()
        else:
            self.say("confirm")

    def _between(self) -> None:
        for rarity, happen in (
            (0.30, partial(self.say, UNKNOWN)),
            (0.5 * self.slip, partial(self.say, "confirm")),
            (0.5 * self.slip, partial(self.say, "checklist the the")),
            (0.3 * self.slip, partial(self.say, "checklist")),
            (self.slip, self._too_early),
            (0.6 * self.slip, self._event),
            (0.5 * self.slip, self._caution),
            (0.3 * self.slip, self._withdraw),
            (0.3 * self.slip, partial(self.command, "say again")),
            (0.3 * self.slip, partial(self.command, "what is outstanding")),
            (0.1 * self.slip, partial(self.command, "call for help")),
            (0.1 * self.slip, self._interrupt),
            (0.1 * self.slip, self._leave),
            (0.01, self._fail),
            (0.004, self._restart),
        ):
            if self.chance.random() < rarity and not self._closed():
                happen()

    def _too_early(self) -> None:
        self.command("clips on the artery")
        self._reply()

    def _event(self) -> None:
        self.command(self.chance.choice(EVENTS))
        self.pass_s(self.chance.uniform(10, 120))

    def _caution(self) -> None:
        self.command(self.chance.choice(CAUTIONS))

    def _withdraw(self) -> None:
        self.command(self.chance.choice(self.procedure.items).withdraw)

    def _interrupt(self) -> None:
        self.command("stand by")
        self.pass_s(self.chance.uniform(10, 300))
        self.command("table tilted head up")
        self.command("carry on")

    def _leave(self) -> None:
        bleeding = self.chance.random() < 0.4
        self.command("emergency" if bleeding else self.chance.choice(BAIL_OUTS))
        self.pass_s(self.chance.uniform(30, 400))
        if bleeding:
            self.command("clips on the artery")
        if self.chance.random() < 0.5:
            self.command("carry on")
        else:
            self._close()

    def _fail(self) -> None:
        part = self.chance.choice(("microphone", "display"))
        self.give(Trouble(part=part, message=f"{part} unplugged"))
        self.pass_s(self.chance.uniform(2, 60))
        self.give(Trouble(part=part, message=f"{part} is back", over=True))

    def _restart(self) -> None:
        gap_s = float(self.chance.randrange(5, 900))
        self.pass_s(gap_s)
        self.give(Restarted(gap_s=gap_s))

    def _close(self) -> None:
        while not self._closed():
            self.command("close the record")
            self._reply()


@cache
def _plan(number: int) -> tuple[str, str, int]:
    chance = Random(1_000_003 * number)  # noqa: S311  # likewise
    return chance.choice(LEVELS), chance.choice(GRADES), chance.randrange(MONTHS * 30)


def invent(number: int) -> list[bytes]:
    """The log of the invented case with this number."""
    level, grade, day = _plan(number)
    return Invention(seed=number, level=level, grade=grade, day=day).live()


def labels(numbers: range) -> Iterator[tuple[str, str, str]]:
    """Case, level and grade of each invented case."""
    for number in numbers:
        level, grade, _ = _plan(number)
        yield f"invented-{number}", level, grade


def write_one(folder: Path, number: int) -> Path:
    """Write one log into the folder."""
    path = folder / f"invented-{number:05}.log"
    path.write_bytes(b"".join(line + b"\n" for line in invent(number)))
    return path


def write_series(folder: Path, count: int, processes: int = 2) -> list[Path]:
    """Write this many logs into the folder, and labels.csv beside them."""
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "labels.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([("case", "level", "grade"), *labels(range(count))])
    with get_context("spawn").Pool(processes, maxtasksperchild=20) as pool:
        return pool.map(partial(write_one, folder), range(count), chunksize=50)


if __name__ == "__main__":
    write_series(Path(sys.argv[1]), int(sys.argv[2]))
