"""Tell a story of phrases to a real case, with no shell around it: the log is a list."""

from __future__ import annotations

import re
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path

from voicecheck.core import facts
from voicecheck.core.case import Case
from voicecheck.core.chain import GENESIS, line_hash
from voicecheck.core.conduct import CURRENT
from voicecheck.core.conduct_2.procedure_file import parse
from voicecheck.core.facts import At, Fact, Opened, Record, encode_record
from voicecheck.core.inputs import Due, Entered, Heard, Input
from voicecheck.core.procedure import Procedure, ProcedureError

GRAMMARS = Path(__file__).parent.parent / "grammars"
COMMON_TEXT = (GRAMMARS / "_common.toml").read_text(encoding="utf-8")
SHIPPED_TEXT = (GRAMMARS / "laparoscopic_cholecystectomy.toml").read_text(encoding="utf-8")

_OTHERS = re.compile(r"^# [^\n]*other wordings|^# Other wordings", re.MULTILINE)
PLAIN_TEXT, PLAIN_COMMON = (_OTHERS.split(text)[0] for text in (SHIPPED_TEXT, COMMON_TEXT))
"""Both without other wordings: what is parsed or kept often must be short."""

SMALL_TEXT = """
[procedure]
id = "small"
title = "An invented procedure, small enough to walk in a second"
version = 1
read_back_s = 10
pause_s = 5
restate_after_s = 300
criteria_hold_s = 1800
pause_holds_s = 300

[[phases]]
id = "first"
title = "First"
items = [
  { id = "table", kind = "step", name = "table", ask = "Table?", brief = "Table?", \
withdraw = "withdraw table", \
answers = [{ id = "up", phrases = ["table up"], says = "up", satisfies = true }] },
  { id = "neck", kind = "hold", name = "neck", ask = "Neck?", brief = "Neck?", \
withdraw = "withdraw neck", answers = [
    { id = "down", phrases = ["neck down"], says = "down", satisfies = true },
    { id = "up", phrases = ["neck up"], says = "up", satisfies = false } ] },
  { id = "photo", kind = "step", required = false, after = ["table"], name = "photo", \
ask = "Photo?", brief = "Photo?", withdraw = "withdraw photo", \
answers = [{ id = "taken", phrases = ["photo taken"], says = "taken", satisfies = true }] },
]

[[phases]]
id = "criteria"
title = "Criteria"
items = [
  { id = "two", kind = "criterion", name = "two", ask = "Two?", brief = "Two?", \
withdraw = "withdraw two", answers = [
    { id = "two", phrases = ["only two"], says = "two", satisfies = true },
    { id = "more", phrases = ["more than two"], says = "more", satisfies = false } ] },
]

[[phases]]
id = "pause"
title = "Pause"
items = [
  { id = "pause", kind = "pause", name = "pause", ask = "Pause?", brief = "Pause?", \
withdraw = "withdraw pause", \
answers = [{ id = "held", phrases = ["pause"], says = "held", satisfies = true }] },
]

[[phases]]
id = "acts"
title = "Acts"
items = [
  { id = "clipped", kind = "act", name = "clipped", ask = "Clipped?", brief = "Clipped?", \
withdraw = "withdraw clips", \
answers = [{ id = "yes", phrases = ["clips on"], says = "clipped", satisfies = true }] },
  { id = "divided", kind = "act", after = ["clipped"], name = "divided", ask = "Divided?", \
brief = "Divided?", withdraw = "withdraw division", \
answers = [{ id = "yes", phrases = ["divided"], says = "divided", satisfies = true }] },
]

[[phases]]
id = "closing"
title = "Closing"
items = [
  { id = "bed", kind = "step", after = ["divided"], name = "bed", ask = "Bed?", brief = "Bed?", \
withdraw = "withdraw bed", \
answers = [{ id = "dry", phrases = ["bed dry"], says = "dry", satisfies = true }] },
]

[events]
bleeding = { name = "bleeding", phrases = ["bleeding"], says = "Pressure.", \
lapses = ["criterion"] }
view_lost = { name = "view lost", phrases = ["view lost"], says = "Stop.", \
lapses = ["criterion"] }
retraction_slipped = { name = "slipped", phrases = ["slipped"], says = "Hold again.", \
lapses = ["criterion", "hold"] }
spillage = { name = "spillage", phrases = ["spilling"], says = "Wash.", \
lapses = [] }

[cautions]
wall = { name = "thick wall", phrases = ["thick wall"], says = "Decompress.", \
lapses = [] }
blind = { name = "blind", phrases = ["tip unseen"], says = "Stop.", \
lapses = ["pause"] }

[bail_outs]
open = { name = "open", phrases = ["converting"], says = "Open." }
"""
"""Every kind of item, an optional one, an answer that does not satisfy, and both sorts of after."""


@cache
def shipped() -> Procedure:
    """The procedure that ships, parsed once."""
    return parse(SHIPPED_TEXT, COMMON_TEXT)


@cache
def plain() -> Procedure:
    """The shipped procedure without other wordings, parsed once."""
    return parse(PLAIN_TEXT, PLAIN_COMMON)


def small() -> Procedure:
    """A fresh small procedure: nothing that rules remember about an earlier one applies to it."""
    return parse(SMALL_TEXT, PLAIN_COMMON)


def moment(mono_us: int) -> At:
    """Both clocks, the wall clock starting with an invented day."""
    second, rest = divmod(mono_us, 1_000_000)
    minute, second = divmod(second, 60)
    hour, minute = divmod(minute, 60)
    return At(
        utc=f"2031-05-06T{hour:02}:{minute:02}:{second:02}.{rest // 1000:03}Z", mono_us=mono_us
    )


def opened(text: str = SHIPPED_TEXT, common: str = "") -> Opened:
    """The opening of an invented case."""
    common = common or (COMMON_TEXT if text == SHIPPED_TEXT else PLAIN_COMMON)
    return Opened(
        case="invented-1",
        procedure=text,
        common=common,
        wording="full",
        program="0.0.0",
        rules=CURRENT.VERSION,
        format=facts.VERSION,
        recogniser="none",
        voice="none",
        caution="Invented.",
        shape=_shape(text, common),
    )


@cache
def _shape(text: str, common: str) -> str:
    """What the opening says of the gate; "" if the procedure has mistakes."""
    with suppress(ProcedureError):
        return CURRENT.shape(parse(text, common))
    return ""


def opening(text: str = SHIPPED_TEXT, common: str = "") -> Record:
    """Its first record."""
    return Record(seq=1, at=moment(0), cause=None, fact=opened(text, common), prev=GENESIS)


@dataclass(kw_only=True)
class Story:
    """A case as it unfolds; each step takes one second unless told otherwise."""

    text: str = SHIPPED_TEXT
    as_shipped: bool = True
    records: list[Record] = field(default_factory=list)
    case: Case = field(init=False)

    def __post_init__(self) -> None:
        first = opening(self.text)
        assert isinstance(first.fact, Opened)
        self.records.append(replace(first, fact=replace(first.fact, as_shipped=self.as_shipped)))
        self.case = Case(self.records[0])

    def say(self, *phrases: str) -> list[Fact]:
        """Say each phrase a second after the one before; the facts they became."""
        return [self.give(_heard(phrase)) for phrase in phrases]

    def give(self, given: Input, *, after_us: int = 1_000_000) -> Fact:
        """One input, lived as in a live case, on a log in a list."""
        at = moment(self.records[-1].at.mono_us + after_us)
        prev = line_hash(encode_record(self.records[-1]))
        return self.case.step(given, at, prev=prev, keep=self.records.append).fact

    def wait(self) -> Fact:
        """Let pass exactly the time that the case waits for."""
        assert self.case.wakes_us is not None
        return self.give(Due(), after_us=self.case.wakes_us - self.records[-1].at.mono_us)

    def lines(self) -> list[bytes]:
        """The log."""
        return [encode_record(record) for record in self.records]


def _heard(phrase: str) -> Heard | Entered:
    if phrase.startswith("by hand: "):
        return Entered(text=phrase.removeprefix("by hand: "))
    return Heard(text=phrase, confidence=0.99, audio_from_s=1.25, audio_to_s=2.5, addressed=0.99)


def resealed(records: list[Record]) -> list[bytes]:
    """What a forger writes: the records numbered and linked again, every hash recomputed."""
    lines: list[bytes] = []
    prev = GENESIS
    for number, record in enumerate(records, 1):
        lines.append(encode_record(replace(record, seq=number, prev=prev)))
        prev = line_hash(lines[-1])
    return lines


UP_TO_THE_CRITERIA = (
    "checklist table tilted head up",
    "checklist all four ports in place",
    "checklist fundus to the shoulder",
    "checklist neck held down and out",
    "checklist sulcus identified",
    "checklist dissecting above the line",
)
THREE_CRITERIA = (
    "checklist triangle free of fat",
    "confirm",
    "checklist lower third off the plate",
    "confirm",
    "checklist two and only two",
    "confirm",
)
