"""The invented cases that ship: their scenarios, lived as text, and the sound of each line."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path

from stories import moment, opening, shipped

from voicecheck.core.case import Case
from voicecheck.core.facts import Fact
from voicecheck.core.inputs import Due, Heard, Input, Meaning, Unclear
from voicecheck.ears.wordings import Wordings, wordings
from voicecheck.live.rehearsal import scenarios_in
from voicecheck.live.scenario import Line, Recording, Scenario, parse_recording, parse_scenario
from voicecheck.shipped import folder
from voicecheck.sound.pcm import RATE_HZ
from voicecheck.sound.recording import from_file

ROOMS = folder("recordings_synthetic")
SCENARIOS = scenarios_in(ROOMS)
SOUNDS = sorted(ROOMS.glob("*/*.opus"))


@cache
def scenario(name: str) -> Scenario:
    """What its text says."""
    return parse_scenario((ROOMS / name / "scenario.toml").read_text(encoding="utf-8"), name)


@cache
def recording(sound: Path) -> Recording:
    """What stands beside a sound file."""
    return parse_recording(sound.with_suffix(".toml").read_text(encoding="utf-8"), sound.stem)


def sounds_of(name: str) -> list[Path]:
    """The recordings of one scenario."""
    return [sound for sound in SOUNDS if sound.parent.name == name]


def spoken(sound: Path) -> Iterator[tuple[Line, bytes]]:
    """Each line with its sound, 16 kHz mono s16."""
    audio = b"".join(from_file(sound))
    lines, cues = scenario(sound.parent.name).lines, recording(sound).cues
    for line, (from_s, to_s) in zip(lines, cues, strict=True):
        yield line, audio[2 * round(from_s * RATE_HZ) : 2 * round(to_s * RATE_HZ)]


# ----------------------------------------------------------------------------------- as text

SPEECH_US = 3_000_000
"""How long a line takes to say, as text; audio times are beside the point there."""


def inputs(line: Line) -> list[Heard]:
    """What ears that make no mistake give for it: the very words, each thing by itself."""
    heard = Heard(text="", confidence=1.0, audio_from_s=0.0, audio_to_s=1.0, over=line.over_s > 0)
    said = _listening().statements(line.say.split())
    return [replace(heard, text=text) for text, _, _ in said]


@cache
def _listening() -> Wordings:
    return wordings(shipped())


@dataclass(kw_only=True)
class Told:
    """A case as it goes on, its clock, and everything that happened, in order."""

    case: Case
    now_us: int = 0
    facts: list[Fact] = field(default_factory=list)

    def meanings(self, line: Line) -> list[Meaning | Unclear]:
        """What the line would mean now."""
        at, conduct = moment(self.now_us + SPEECH_US), self.case.conduct
        said = (conduct.attended(self.case, heard, at) for heard in inputs(line))
        return [conduct.interpret(self.case.procedure, text) for text in said]

    def hear(self, line: Line) -> list[Fact]:
        """Say one line, then let its quiet pass; whatever is due in it happens."""
        self.now_us += SPEECH_US
        happened = [self._happen(heard, self.now_us) for heard in inputs(line)]
        names = tuple(type(fact).__name__ for fact in happened)
        assert names == line.then, f"{line.say!r} brought about {happened}"
        self.now_us += round(line.wait_s * 1e6)
        assert self._come_due() == line.later, f"the quiet after {line.say!r}"
        return happened

    def _come_due(self) -> str:
        due_us = self.case.due_us
        if due_us is None or due_us > self.now_us:
            return ""
        return type(self._happen(Due(), due_us)).__name__

    def _happen(self, given: Input, at_us: int) -> Fact:
        at = moment(at_us)
        record = self.case.step(given, at, prev="", keep=lambda _record: None)
        self.facts.append(record.fact)
        return record.fact


@cache
def told(name: str) -> Told:
    """The whole scenario, lived."""
    tale = Told(case=Case(opening()))
    for line in scenario(name).lines:
        tale.hear(line)
    return tale
