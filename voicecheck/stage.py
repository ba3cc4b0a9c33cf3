"""Put the parts of one live case together: its log, ears, voice, clock and screen."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import count
from pathlib import Path

import click

from voicecheck import __version__, facts, rules, terminal
from voicecheck.announcer import Loudspeaker, Muted, WavFile
from voicecheck.case import Case
from voicecheck.facts import At, Opened, Record
from voicecheck.foreseen import foreseen
from voicecheck.inputs import Trouble
from voicecheck.journal import Journal, JournalError
from voicecheck.procedure import Procedure
from voicecheck.recogniser import Recogniser
from voicecheck.service import Service
from voicecheck.steady import Steady, SteadyEars
from voicecheck.wording import CAUTION, JOURNAL_FAILED


class NotACaseName(Exception):
    """A case's name must be fit for a file's."""


class RecordingStopped(Exception):
    """The log failed in the middle of a case: nothing more is recorded."""

    def __init__(self, why: str) -> None:
        super().__init__(f"{JOURNAL_FAILED} {why}")


@dataclass(frozen=True, kw_only=True, slots=True)
class Setting:
    """What all live cases have in common."""

    procedure: Procedure
    ears: Recogniser
    wording: str
    case_dir: Path
    wav: bool
    mute: bool
    device: str | None = None


def fit_for_a_file(name: str) -> str:
    """The name of a case, as it is; raises NotACaseName where it cannot name a file."""
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]{0,99}", name):
        raise NotACaseName(
            f"{name!r} cannot name a case: use letters, digits, dots, dashes and underscores, "
            "such as theatre-2-0417; never a patient's name or number."
        )
    return name


def live(
    setting: Setting,
    name: str,
    blocks: Callable[[Service], Iterable[bytes | Trouble]],
    now: Callable[[float], At],
    note: Callable[[Case, Record, str], None] = lambda _case, _record, _text: None,
) -> Service:
    """One case from its opening to the end of its blocks."""
    path = setting.case_dir / f"{fit_for_a_file(name)}-{datetime.now(UTC):%Y%m%dT%H%M%S}.log"

    def show(case: Case, record: Record, text: str) -> None:
        with suppress(OSError):  # a terminal that is gone is no reason to stop
            terminal.show(case, record, text)
        note(case, record, text)

    with (
        Journal.create(path) as log,
        closing(voice_for(setting, path, lambda: service.position_s)) as voice,
    ):
        ears = SteadyEars(setting.ears)
        service = Service(log=log, ears=ears, voice=voice, now=now, show=show)
        opened = opening(setting, name, voice.voice)
        voice.prepare(foreseen(opened))
        service.open(opened)
        try:
            service.run(blocks(service))
        except JournalError as error:
            raise RecordingStopped(str(error)) from error
        finally:  # however it ended
            click.echo(f"Log: {path}  Checkpoint to copy: {service.checkpoint.code}")
    return service


def voice_for(setting: Setting, log: Path, position_s: Callable[[], float]) -> Steady:
    """The voice that the setting asks for."""
    if setting.wav:
        return Steady(lambda: WavFile(_unused(log.with_suffix(".wav")), position_s))
    return Steady(Muted if setting.mute else lambda: Loudspeaker(setting.device))


def _unused(path: Path) -> Path:
    """The path, or one beside it: what was said before a record was taken up again is kept."""
    numbered = (path.with_stem(f"{path.stem}-{number}") for number in count(2))
    return path if not path.exists() else next(each for each in numbered if not each.exists())


def opening(setting: Setting, name: str, voice: str) -> Opened:
    """The opening fact of a case under this setting."""
    return Opened(
        case=name,
        procedure=setting.procedure.text,
        common=setting.procedure.common_text,
        wording=setting.wording,
        program=__version__,
        rules=rules.VERSION,
        format=facts.VERSION,
        recogniser=setting.ears.name,
        voice=voice,
        caution=CAUTION,
    )
