"""Examines the machine before a case: devices, sound levels, delay, model, voice and disk."""

from __future__ import annotations

import importlib
import shutil
import statistics
import time
from collections.abc import Generator, Iterator
from contextlib import closing
from itertools import islice
from pathlib import Path
from tempfile import TemporaryDirectory

import click
import numpy as np

from voicecheck import shipped
from voicecheck.ears.decoder import ModelError
from voicecheck.ears.recogniser import Recogniser
from voicecheck.journal import Journal, JournalError
from voicecheck.sound.levels import Samples, advice, delay_s, figures
from voicecheck.sound.microphone import BLOCK_S, AudioError, Block, from_sound_card
from voicecheck.voice.announcer import AnnouncerError, Loudspeaker
from voicecheck.voice.speech import Speech

LEAST_FREE_BYTES = 100_000_000
"""A long case takes less than a thousandth of this. With less, other programs soon fill it up."""

SLOW_SYNC_MS = 100.0
"""Above this the answer to a phrase is noticeably late."""

SLOW_ECHO_S = 0.5
"""Above this the end of a prompt may reach the microphone after we listen again."""

PROMPT = "This is the voice of the checklist. Check that it is clear and loud enough."
_TRY = "checklist say again"


def examine(device: str | None, case_dir: Path, *, speak: bool) -> Iterator[str]:
    """Print what is found; yields each thing to change, in plain words."""
    yield from _disk(case_dir)
    ears = yield from _model()
    yield from _sound(device, ears, speak=speak)


def _disk(case_dir: Path) -> Iterator[str]:
    try:
        case_dir.mkdir(parents=True, exist_ok=True)
        free = shutil.disk_usage(case_dir).free
        took_ms = _sync_ms(case_dir)
    except (OSError, JournalError) as error:
        yield f"The folder {case_dir} cannot be written ({error}): choose another."
        return
    click.echo(f"Disk: {free / 1e9:.1f} GB free; a line is on disk after {took_ms:.1f} ms.")
    if free < LEAST_FREE_BYTES:
        yield f"The disk is almost full: free some space for {case_dir}."
    if took_ms > SLOW_SYNC_MS:
        yield f"The disk is slow ({took_ms:.0f} ms per line): choose a folder on another disk."


def _sync_ms(case_dir: Path) -> float:
    """The median time of twenty lines, written as in a case."""
    took_s = []
    with (
        TemporaryDirectory(dir=case_dir, prefix="doctor-") as trial,
        Journal.create(Path(trial) / "try.log") as log,
    ):
        for _ in range(20):
            began_s = time.perf_counter()
            log.append(b"x" * 400)
            took_s.append(time.perf_counter() - began_s)
    return 1000 * statistics.median(took_s)


def _model() -> Generator[str, None, Recogniser | None]:
    try:
        ears = Recogniser([_TRY])
    except ModelError as error:
        yield str(error)
        return None
    click.echo(f"Model: {ears.name}.")
    return ears


def _sound(device: str | None, ears: Recogniser | None, *, speak: bool) -> Iterator[str]:
    try:
        microphone = from_sound_card(device)
    except AudioError as error:
        yield str(error)
        microphone = None
    _tell_devices()
    prompt = yield from _voice()
    try:
        with closing(Loudspeaker(device)) as loudspeaker:
            if microphone is not None and prompt is not None:
                yield from _echo(loudspeaker, microphone, prompt)
    except AnnouncerError as error:
        yield str(error)
    if microphone is not None and speak:
        yield from _speaker(microphone, ears)


def _tell_devices() -> None:
    try:
        sounddevice = importlib.import_module("sounddevice")
        for kind in ("input", "output"):
            click.echo(f"Default {kind}: {sounddevice.query_devices(kind=kind)['name']}.")
    except Exception as error:  # noqa: BLE001  # information only: opening a device shows failures
        click.echo(f"Devices: {error}.")


def _voice() -> Generator[str, None, Samples | None]:
    try:
        with closing(Speech()) as speech:
            prompt = speech.samples(PROMPT)
            click.echo(f"Voice: {speech.voice}.")
            return prompt
    except AnnouncerError as error:
        yield str(error)
        return None


def _echo(loudspeaker: Loudspeaker, microphone: Iterator[Block], prompt: Samples) -> Iterator[str]:
    """Say something, and find it in what the microphone hears."""
    _heard(microphone, 3)  # until it has started
    length_s = loudspeaker.say(PROMPT)
    recorded = _heard(microphone, length_s + 2)
    late_s = delay_s(prompt, recorded)
    if late_s is None:
        click.echo(
            "Delay: not measured. The microphone does not hear the loudspeaker, as with a headset. "
            "Did you hear the voice?"
        )
        return
    click.echo(f"Delay: {late_s:.2f} s from speaking to hearing, through both devices.")
    if late_s > SLOW_ECHO_S:
        yield f"The sound devices are slow ({late_s:.2f} s): use wired ones."


def _speaker(microphone: Iterator[Block], ears: Recogniser | None) -> Iterator[str]:
    """Ask somebody to say a phrase as in the theatre, and judge how it is heard."""
    _heard(microphone, 0.5)
    click.echo(f'Say now, as in the theatre: "{_TRY}"')
    recorded = _heard(microphone, 6)
    found = figures(recorded)
    click.echo(
        f"Level: signal {found.signal_dbfs:.0f} dBFS, noise {found.noise_dbfs:.0f} dBFS, "
        f"{found.above_noise_db:.0f} dB apart, {found.clipped:.1%} clipped."
    )
    yield from advice(found)
    heard = [] if ears is None else [*ears.hear(recorded.tobytes()), *ears.finish()]
    least = shipped.procedure().common.listening.least_confidence
    if ears is not None and not any(h.text == _TRY and h.confidence >= least for h in heard):
        yield f'"{_TRY}" was not understood: try again, closer to the microphone.'


def _heard(microphone: Iterator[Block], seconds: float) -> Samples:
    blocks = islice(microphone, round(seconds / BLOCK_S))
    sound = b"".join(block for block in blocks if isinstance(block, bytes))
    return np.frombuffer(sound, "<i2")


@click.command("doctor")
@click.option("--device", help="Sound device for input and output; default: the system's.")
@click.option(
    "--case-dir",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("cases"),
    show_default=True,
    help="Where the logs will go.",
)
@click.option("--no-person", is_flag=True, help="Do not ask anybody to say a phrase.")
def doctor_command(*, device: str | None, case_dir: Path, no_person: bool) -> None:
    """Examine this machine before a case, and say what to change.

    Exits with 1 if something must be changed.
    """
    changes = list(examine(device, case_dir, speak=not no_person))
    if changes:
        raise click.ClickException("Please change:\n  " + "\n  ".join(changes))
    click.echo("All is well.")
