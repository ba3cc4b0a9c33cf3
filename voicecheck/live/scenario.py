"""The files of an invented case: what follows from each line, and where a recording has it."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, TypeVar

from voicecheck.core.codec import Mistakes, decode
from voicecheck.core.inputs import UNKNOWN

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
    """What is spoken, in any words."""
    heard: tuple[str, ...]
    """What must be understood: the shown phrase that means the same, one for each thing that is
    said in one breath; or "[unk]" for talk in the room."""
    then: tuple[str, ...]
    """The fact that must follow from each, by its name in core/facts.py."""
    speaker: Speaker = Speaker.SURGEON
    wait_s: float = 0.0
    """Extra quiet between the machine's answer and the next line."""
    later: str = ""
    """The fact that must follow during that quiet because its time has come; "" for none."""
    over_s: float = 0.0
    """Begins so long after the machine began to answer the line before, over its voice; 0: waits
    until the machine has spoken. It is left out if the machine is mute."""

    @property
    def in_own_words(self) -> bool:
        """Whether it is meant for the machine and is not word for word what is shown."""
        return self.heard not in ((self.say,), (UNKNOWN,))


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
    scenario = _decoded(Scenario, _several(_toml(text, name)), name)
    _refuse(name, [*_invented(scenario.invented), *_lines(scenario)])
    return scenario


def parse_recording(text: str, name: str = "the recording's file") -> Recording:
    """Parse and check a recording's cues and voices; raises ScenarioError likewise."""
    recording = _decoded(Recording, _toml(text, name), name)
    _refuse(name, [*_invented(recording.invented), *_voices(recording), *_cues(recording)])
    return recording


def _toml(text: str, name: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ScenarioError(name, [f"not TOML: {error}"]) from None


def _several(table: dict[str, Any]) -> dict[str, Any]:
    """Put a list where a line may have one text instead."""
    lines = table.get("lines")
    for line in lines if isinstance(lines, list) else ():
        for field in ("heard", "then"):
            if isinstance(line, dict) and isinstance(line.get(field), str):
                line[field] = [line[field]]
    return table


def _decoded(kind: type[T], value: Any, name: str) -> T:
    try:
        return decode(kind, value)
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
            for field, texts in (("say", (line.say,)), ("heard", line.heard), ("then", line.then))
            if not texts or not all(text.strip() for text in texts)
        )
        if len(line.heard) != len(line.then):
            yield f"lines[{n}].then needs one fact for each of {len(line.heard)} heard"
        for field, seconds in (("wait_s", line.wait_s), ("over_s", line.over_s)):
            if seconds < 0:
                yield f"lines[{n}].{field} must not be negative, but is {seconds}"
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
