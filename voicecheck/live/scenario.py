"""The files of an invented case: what follows from each line, and where a recording has it."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import TypeVar

from voicecheck.core.codec import Mistakes, decode

T = TypeVar("T")


class Speaker(StrEnum):
    """Who says a line; each has a voice of its own."""

    SURGEON = "surgeon"
    ROOM = "room"
    """Anybody else in the theatre."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """One utterance and what must follow from it."""

    say: str
    """What is spoken."""
    heard: str
    """What the recogniser must give: the phrase, or "[unk]" for talk in the room."""
    then: str
    """The fact that must follow, by its name in core/facts.py."""
    speaker: Speaker = Speaker.SURGEON
    wait_s: float = 0.0
    """Extra quiet between the machine's answer and the next line."""
    later: str = ""
    """The fact that must follow during that quiet because its time has come; "" for none."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Scenario:
    """One invented case."""

    title: str
    about: str
    invented: str
    """Says that the case is invented."""
    voice: str
    """Which recording is played unless another is asked for."""
    lines: tuple[Line, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Voice:
    """The synthetic voice of one speaker."""

    name: str
    package: str
    licence: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Recording:
    """The description beside one sound file of a scenario."""

    invented: str
    """Says that the speech is synthetic."""
    voices: Mapping[str, Voice]
    """Speaker → voice; only those who speak in the scenario."""
    cues: tuple[tuple[float, float], ...]
    """Where each line begins and ends, in seconds from the first sample; in order."""


class ScenarioError(ValueError):
    """All mistakes in one of the two files, one sentence each."""

    def __init__(self, name: str, found: list[str]) -> None:
        mistakes = "".join(f"\n  - {mistake}" for mistake in found)
        super().__init__(f"{name} cannot be rehearsed; correct it and try again:{mistakes}")
        self.found = found


def parse_scenario(text: str, name: str = "scenario.toml") -> Scenario:
    """Parse and check a scenario; raises ScenarioError, which names every mistake."""
    scenario = _decoded(Scenario, text, name)
    _refuse(name, [*_invented(scenario.invented), *_lines(scenario)])
    return scenario


def parse_recording(text: str, name: str = "the recording's file") -> Recording:
    """Parse and check a recording's cues and voices; raises ScenarioError likewise."""
    recording = _decoded(Recording, text, name)
    _refuse(name, [*_invented(recording.invented), *_voices(recording), *_cues(recording)])
    return recording


def _decoded(kind: type[T], text: str, name: str) -> T:
    try:
        return decode(kind, tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise ScenarioError(name, [f"not TOML: {error}"]) from None
    except Mistakes as mistakes:
        raise ScenarioError(name, mistakes.found) from None


def _refuse(name: str, found: list[str]) -> None:
    if found:
        raise ScenarioError(name, found)


def _invented(said: str) -> Iterator[str]:
    if not said.startswith(("Invented", "Synthetic")):
        yield 'invented must begin with "Invented" or "Synthetic": only such cases belong here'


def _lines(scenario: Scenario) -> Iterator[str]:
    if not scenario.lines:
        yield "lines is empty: a scenario needs at least one [[lines]]"
    for n, line in enumerate(scenario.lines, 1):
        yield from (
            f"lines[{n}].{field} is empty"
            for field in ("say", "heard", "then")
            if not getattr(line, field).strip()
        )
        if line.wait_s < 0:
            yield f"lines[{n}].wait_s must not be negative, but is {line.wait_s}"
        if line.later and not line.wait_s:
            yield f"lines[{n}].later needs a wait_s in which it can happen"


def _voices(recording: Recording) -> Iterator[str]:
    given = set(recording.voices)
    if Speaker.SURGEON not in given:
        yield "voices.surgeon is missing"
    yield from (f"voices.{who}: no such speaker" for who in sorted(given - set(Speaker)))
    if len(given) > len({voice.name for voice in recording.voices.values()}):
        yield "voices: two speakers share a voice, so nobody could tell them apart"


def _cues(recording: Recording) -> Iterator[str]:
    last_s = 0.0
    for n, cue in enumerate(recording.cues, 1):
        if len(cue) != 2:
            yield f"cues[{n}] must be two numbers, from and to, not {len(cue)}"
            continue
        if not last_s <= cue[0] < cue[1]:
            yield f"cues[{n}] must begin after {last_s} s and end after it begins, not {list(cue)}"
        last_s = max(last_s, *cue)
