"""Plays invented cases to the machine, taking turns with it as a person would."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from itertools import groupby, islice, takewhile
from pathlib import Path
from textwrap import fill

import click
import numpy as np

from voicecheck.core.case import Case
from voicecheck.core.conduct import CURRENT
from voicecheck.core.facts import Record
from voicecheck.core.inputs import Heard, Meaning, Unclear
from voicecheck.core.procedure import Procedure
from voicecheck.journal import Journal
from voicecheck.live import clock, terminal
from voicecheck.live.live_case import LiveCase, Setup, log_path
from voicecheck.live.scenario import (
    Recording,
    Scenario,
    ScenarioError,
    parse_recording,
    parse_scenario,
)
from voicecheck.sound.pcm import BYTES_A_SECOND, RATE_HZ
from voicecheck.sound.recording import BLOCK_SAMPLES, from_file

_LEAST_QUIET_S = 1.0
"""A person pauses at least this long before going on."""

_OWN_WORDS_QUIET_S = 3.0
"""The same after other words than a shown phrase: more may come, so the machine answers later."""

_PATIENCE_BLOCKS = 30
"""The machine answers within three seconds, unless it is mute."""


def scenarios_in(rooms: Path) -> list[str]:
    """Names of the scenarios in a folder, each a folder of its own."""
    return sorted(place.parent.name for place in rooms.glob("*/scenario.toml"))


def perform(setup: Setup, room: Path, voice: str | None, *, fast: bool) -> bool:
    """Play one scenario; returns whether every line was taken as written."""
    scenario = _scenario(room)
    cues = _recording(room, voice or scenario.voice)
    recording = _parsed(cues)
    audio = b"".join(from_file(cues.with_suffix(".opus")))
    click.secho(f"\n{scenario.title}", bold=True)
    for text in (scenario.about, f"{scenario.invented} {recording.invented}"):
        click.echo(fill(text, terminal.COLUMNS))
    taken: list[tuple[str, str]] = []

    def note(_case: Case, record: Record, _text: str) -> None:
        if isinstance(record.cause, Heard):
            taken.append((record.cause.text, type(record.fact).__name__))

    name = f"invented-{room.name}"
    runs = clock.of_the_sound if fast else clock.wall
    with (
        Journal.create(log_path(setup.case_dir, name, clock.stamp())) as log,
        closing(LiveCase(setup, name, log, runs=runs, note=note)) as case,
    ):
        case.begin()
        turns = take_turns(scenario, recording, audio, lambda: case.service.listening)
        case.live(turns if fast else paced(turns))
    expected = written(scenario, mute=setup.mute and not setup.wav)
    as_written = understood(setup.procedure, taken) == understood(setup.procedure, expected)
    if deaf_s := case.service.deaf_s:
        deaf = deaf_s / case.service.position_s
        click.echo(f"Because it spoke, it was deaf {deaf:.0%} of the time.")
    click.echo(f"The case {'went' if as_written else 'did not go'} as the scenario says.")
    return as_written


def turns_in(sound: Path) -> Callable[[Callable[[], bool]], Iterator[bytes]] | None:
    """`take_turns` on a scenario's recording, still to be given `ready`; None for any other."""
    if not (sound.with_suffix(".toml").is_file() and (sound.parent / "scenario.toml").is_file()):
        return None
    scenario, recording = _scenario(sound.parent), _parsed(sound.with_suffix(".toml"))
    audio = b"".join(from_file(sound))
    return lambda ready: take_turns(scenario, recording, audio, ready)


def _scenario(room: Path) -> Scenario:
    text = (room / "scenario.toml").read_text(encoding="utf-8")
    return parse_scenario(text, f"{room.name}/scenario.toml")


def _parsed(cues: Path) -> Recording:
    return parse_recording(cues.read_text(encoding="utf-8"), f"{cues.parent.name}/{cues.name}")


def written(scenario: Scenario, *, mute: bool) -> list[tuple[str, str]]:
    """What must be heard and which fact follows, one by one; nobody speaks over a mute machine."""
    said = [line for line in scenario.lines if not (mute and line.over_s)]
    return [each for line in said for each in zip(line.heard, line.then, strict=True)]


def understood(
    procedure: Procedure, taken: Iterable[tuple[str, str]]
) -> list[tuple[Meaning | str, str]]:
    """Each with what the text means instead of the text, so that any words will do.

    Equal neighbours are merged: talk in the room may be heard in one piece or in several.
    """
    return [each for each, _ in groupby((_meaning(procedure, text), fact) for text, fact in taken)]


def _meaning(procedure: Procedure, text: str) -> Meaning | str:
    """The text itself if it means nothing; it may follow the address word, said before it."""
    tried = (text, f"{procedure.common.listening.address} {text}")
    meanings = (CURRENT.interpret(procedure, each) for each in tried)
    return next((each for each in meanings if not isinstance(each, Unclear)), text)


def _recording(room: Path, voice: str) -> Path:
    place = room / f"{voice}.toml"
    if voice == "scenario" or not place.is_file():
        names = ", ".join(sorted({sound.stem for sound in room.glob("*.opus")})) or "none"
        raise ScenarioError(room.name, [f"it has no recording by {voice}, only by {names}"])
    return place


def take_turns(
    scenario: Scenario, recording: Recording, audio: bytes, ready: Callable[[], bool]
) -> Iterator[bytes]:
    """Blocks of 0.1 s, 16 kHz mono s16: one line after another, with quiet until `ready()`.

    `audio` is the whole recording; its cues say where each line is. A line over the machine's
    voice does not wait for `ready()`, but for the machine to speak.
    """
    quiet = _room_tone()
    rest: Iterator[bytes] = iter(())
    for line, (from_s, to_s) in zip(scenario.lines, recording.cues, strict=True):
        if line.over_s:
            yield from islice(takewhile(lambda _: ready(), quiet), _PATIENCE_BLOCKS)
            if ready():
                continue
            yield from islice(quiet, round(line.over_s * RATE_HZ / BLOCK_SAMPLES))
        else:
            yield from rest
            yield from _until(ready, quiet, 0.3)
        yield from _blocks(audio[_byte(from_s) : _byte(to_s)])
        least_s = _OWN_WORDS_QUIET_S if line.in_own_words else _LEAST_QUIET_S
        rest = _until(ready, quiet, max(line.wait_s, least_s))
    yield from rest


def _until(ready: Callable[[], bool], quiet: Iterator[bytes], least_s: float) -> Iterator[bytes]:
    """Quiet for at least `least_s`, not counting the time while the machine speaks."""
    waited_s = 0.0
    while waited_s < least_s or not ready():
        yield next(quiet)
        waited_s += BLOCK_SAMPLES / RATE_HZ * ready()


def _blocks(audio: bytes) -> Iterator[bytes]:
    size = 2 * BLOCK_SAMPLES
    return (audio[start : start + size] for start in range(0, len(audio), size))


def _byte(at_s: float) -> int:
    return 2 * round(at_s * RATE_HZ)


def _room_tone() -> Iterator[bytes]:
    """Faint noise, about -66 dBFS: a room is never digitally silent."""
    noise = np.random.default_rng(2).normal(0.0, 16.0, BLOCK_SAMPLES * 50).astype("<i2").tobytes()
    while True:
        yield from _blocks(noise)


def paced(blocks: Iterable[bytes]) -> Iterator[bytes]:
    """The blocks in real time."""
    start, passed_s = time.monotonic(), 0.0
    for block in blocks:
        passed_s += len(block) / BYTES_A_SECOND
        time.sleep(max(0.0, start + passed_s - time.monotonic()))
        yield block
