"""Random inputs to whole cases, held to what must be true whatever is said; a long run, no test.

Run as `python tests/random_inputs.py 10000000`, from the top folder. Each case is the shipped
procedure, lived through `Case.step`. What must hold is said in walk.py from the procedure file
alone, and here for the clock: nothing counts that was unsure, said over the machine, replied to an
earlier question, or stated too long ago.
"""

from __future__ import annotations

import os
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from random import Random

from stories import moment, opening, shipped
from walk import Claims, Meant, unsettling

from voicecheck.core import facts
from voicecheck.core.case import Case
from voicecheck.core.conduct import CURRENT
from voicecheck.core.facts import Doubt, Fact
from voicecheck.core.inputs import (
    UNKNOWN,
    Address,
    Answer,
    BailOut,
    Confirm,
    DeclareEmergency,
    Due,
    Entered,
    Heard,
    Input,
    Meaning,
    Negative,
    Restarted,
    Said,
    Trouble,
    Unclear,
)
from voicecheck.core.procedure import Kind
from voicecheck.core.state import ASIDE, Mode, NothingDue

INPUTS_A_CASE = 500
AFTER_US = (0, 10_000, 900_000, 3_000_000, 8_000_000, 70_000_000, 299_000_000, 1_700_000_000)


class Run:
    """One case under random inputs."""

    def __init__(self, seed: int) -> None:
        self.chance = Random(seed)  # noqa: S311  # no secret
        self.procedure = shipped()
        self.case = Case(opening())
        self.claims = Claims(self.procedure)
        self.phrases = CURRENT.phrases(self.procedure)
        self.asides = (
            *unsettling(self.procedure),
            *(UNKNOWN, f"checklist {UNKNOWN}", "clip it", "table tilted head up"),
            *("checklist", "checklist we have the artery clipped", "yes that's correct"),
        )
        self.listening = self.procedure.common.listening
        self.now_us = 0
        self.renewed_us = {Kind.CRITERION: 0, Kind.PAUSE: 0}
        self.asked_line = 0
        self.attends_from_us: int | None = None
        self.became: Counter[str] = Counter()

    def live(self) -> Counter[str]:
        """Give inputs until the record is closed or there are enough; returns what they became."""
        for _ in range(INPUTS_A_CASE):
            if self.case.state.mode is Mode.CLOSED:
                break
            self._step()
        self.case.close()
        return self.became

    def _step(self) -> None:
        self.now_us += self.chance.choice(AFTER_US)
        given, at, state = self._given(), moment(self.now_us % (86_400 * 10**6)), self.case.state
        at = facts.At(utc=at.utc, mono_us=self.now_us)
        try:
            record = self.case.step(given, at, prev="0" * 64, keep=lambda _record: None)
        except NothingDue:
            return
        fact, then = record.fact, self.case.state
        self.became[type(fact).__name__] += 1
        broken = [
            *self.claims.of_step(state, self._meant(given), fact, then),
            *self.claims.of_state(then),
            *self._too_old(fact),
        ]
        if broken:
            raise AssertionError(f"{broken}: {state} x {given} -> {fact}")
        self._remember(record.seq, given, fact)

    def _given(self) -> Input:
        kind = self.chance.random()
        if kind < 0.7:
            return self._heard()
        if kind < 0.8:
            line = self.chance.choice((0, self.asked_line, self.asked_line - 1, self.case.last.seq))
            return Entered(text=self._phrase(), line=max(0, line))
        if kind < 0.9:
            return Due()
        if kind < 0.94:
            return Said(text="x", audio_from_s=0.0, audio_to_s=1.0)
        if kind < 0.97:
            return Trouble(part="microphone", message="x", over=self.chance.random() < 0.5)
        return Restarted(gap_s=self.chance.choice((-1.0, 0.0, 300.0, 301.0)))

    def _heard(self) -> Heard:
        sure = self.chance.choice((1.0, 1.0, 1.0, self.chance.random()))
        over = self.chance.random() < 0.15
        text = self._phrase()
        addressed = self.chance.choice((0.0, 1.0))
        return Heard(
            text=text,
            confidence=sure,
            audio_from_s=0.0,
            audio_to_s=1.0,
            over=over,
            addressed=addressed,
        )

    def _phrase(self) -> str:
        """Mostly what leads on, so that the case reaches its end now and then."""
        kind = self.chance.random()
        if kind < 0.35 and self.case.state.pending is not None:
            return self.procedure.common.reply.confirm[0]
        if kind < 0.6 and self.case.state.mode in (*ASIDE, Mode.STANDING_BY):
            return self.case.conduct.carry_on(self.case)
        left = self.case.outstanding()
        if kind < 0.7 and left:
            return self.chance.choice([p for p, c in self._answers() if c.item == left[0]])
        others = (*self.phrases, *self.asides) if kind < 0.8 else self._answers()[-8:]
        return self.chance.choice([each if isinstance(each, str) else each[0] for each in others])

    def _answers(self) -> list[tuple[str, Answer]]:
        return [(p, c) for p, c in self.phrases.items() if isinstance(c, Answer)]

    def _text(self, given: Heard | Entered) -> str:
        """With the address word if it was said alone less than so many seconds ago."""
        address, lasts_s = self.listening.address, 1 if isinstance(given, Heard) else 0
        until_us = (self.attends_from_us or 0) + (self.listening.attends_s + lasts_s) * 10**6
        attends = self.attends_from_us is not None and self.now_us <= until_us
        bare = given.text.split(" ")[0] not in (address, UNKNOWN)
        return f"{address} {given.text}" if attends and bare else given.text

    def _meant(self, given: Input) -> Meant:
        """What it may do; an input that must not count may do no more than the clock."""
        if not isinstance(given, Heard | Entered):
            return given
        command = CURRENT.interpret(self.procedure, self._text(given))
        if isinstance(command, Unclear | Address):
            return Due()
        if isinstance(given, Entered):
            replies = isinstance(command, Confirm | Negative)
            return Due() if replies and 0 < given.line < self.asked_line else command
        breaks_in = isinstance(command, DeclareEmergency | BailOut)
        unsure = given.confidence < self._least(command)
        return Due() if unsure or (given.over and not breaks_in) else command

    def _least(self, command: Meaning) -> float:
        match command:
            case Confirm():
                return self.listening.least_confidence_confirm
            case Answer(item=item):
                kind = self.procedure.item(item).kind
                if kind in (Kind.CRITERION, Kind.PAUSE, Kind.ACT):
                    return self.listening.least_confidence_critical
        return self.listening.least_confidence

    def _too_old(self, fact: Fact) -> list[str]:
        head = self.procedure.head
        if not isinstance(fact, facts.Stated) or self._kind(fact.item) is not Kind.ACT:
            return []
        held = self.now_us - self.renewed_us[Kind.PAUSE] <= head.pause_holds_s * 10**6
        seen = self.now_us - self.renewed_us[Kind.CRITERION] <= head.criteria_hold_s * 10**6
        return [] if held and seen else ["an act is stated only while pause and criteria are fresh"]

    def _remember(self, seq: int, given: Input, fact: Fact) -> None:
        ignored = isinstance(fact, facts.NotUnderstood) and fact.why != Doubt.NOT_UNDERSTOOD
        attends = self.attends_from_us is not None
        if isinstance(fact, facts.Addressed) or (attends and isinstance(fact, facts.Spoke)):
            self.attends_from_us = self.now_us
        elif isinstance(given, Heard | Entered) and not ignored:
            self.attends_from_us = None
        if isinstance(fact, facts.Proposed | facts.CloseProposed):
            self.asked_line = seq
        if isinstance(fact, facts.Stated):
            kind = self._kind(fact.item)
            if kind in (Kind.CRITERION, Kind.PAUSE, Kind.ACT):
                self.renewed_us[Kind.CRITERION] = self.now_us
            if kind in (Kind.PAUSE, Kind.ACT):
                self.renewed_us[Kind.PAUSE] = self.now_us

    def _kind(self, item: str) -> Kind:
        return self.procedure.item(item).kind


def many(seeds: range) -> Counter[str]:
    """What the inputs of all these cases became."""
    return sum((Run(seed).live() for seed in seeds), Counter())


def main(least: int) -> None:
    """Run cases on all cores until so many inputs have been given."""
    became: Counter[str] = Counter()
    begin, chunk = 0, 50
    with ProcessPoolExecutor() as pool:
        while became.total() < least:
            starts = range(begin, begin + 4 * chunk * (os.cpu_count() or 1), chunk)
            begin = starts.stop
            for part in pool.map(many, [range(start, start + chunk) for start in starts]):
                became += part
    print(f"{became.total():,} inputs in {begin:,} cases, nothing broken")
    print(", ".join(f"{name} {count:,}" for name, count in became.most_common()))


if __name__ == "__main__":
    main(int(sys.argv[1]))
