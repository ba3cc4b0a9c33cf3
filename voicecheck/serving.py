"""Serve a live case: sound in, voice out, the prompt display beside it, from any open record on."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from queue import SimpleQueue

import click

from voicecheck import clock, terminal
from voicecheck.case import Case, IllegalFact
from voicecheck.display import Display
from voicecheck.ending import Ending
from voicecheck.facts import Record, decode_record
from voicecheck.foreseen import foreseen
from voicecheck.inputs import Entered, Trouble
from voicecheck.journal import Journal, JournalError, read
from voicecheck.keys import keys
from voicecheck.microphone import Block
from voicecheck.procedure import Procedure
from voicecheck.replay import BrokenLog, replay
from voicecheck.screen import View
from voicecheck.service import Service
from voicecheck.stage import RecordingStopped, Setting, fit_for_a_file, opening, voice_for
from voicecheck.steady import SteadyEars
from voicecheck.view import stopped, view
from voicecheck.wording import JOURNAL_FAILED, checkpoint_aloud

LINGER_S = 60.0
"""How long the display still shows the checkpoint of a closed record, to be copied."""

_STOPPED_S = 5.0
"""How long the display still says that recording has stopped; a page keeps it after that."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Place:
    """Where the prompt display is served."""

    host: str
    port: int
    token: str = ""
    """For entry by hand; made up when empty."""


def log_path(case_dir: Path, name: str) -> Path:
    """Where the log of the case is, or will be; raises NotACaseName."""
    return case_dir / f"{fit_for_a_file(name)}.log"


def recorded_procedure(path: Path) -> Procedure | None:
    """The procedure that an existing log embeds; None where nothing is recorded yet."""
    if not path.exists():
        return None
    lines = read(path).lines
    try:
        return replay(lines).procedure if lines else None
    except BrokenLog as error:
        raise JournalError(
            f"{path} cannot be taken up. {error}. Give this case another name; "
            f"`voicecheck review {path}` shows what of the record still holds."
        ) from error


def serve(
    setting: Setting,
    name: str,
    place: Place,
    sound: Callable[[], Iterable[Block]],
    ending: Ending,
) -> Service:
    """Open the case or take it up, and live it until it is closed, the sound ends, or it is asked.

    Raises BrokenLog or RecordClosed for a record that cannot be taken up, JournalError when it
    cannot be opened, RecordingStopped when it can no longer be written.
    """
    entered: SimpleQueue[Entered] = SimpleQueue()
    display = Display(
        host=place.host,
        port=place.port,
        token=place.token or secrets.token_urlsafe(12),
        keys=keys(setting.procedure),
        entered=entered.put,
    )
    path = log_path(setting.case_dir, name)
    display.start()  # first: where it cannot, no empty record is left
    with closing(display), (Journal.reopen if path.exists() else Journal.create)(path) as log:
        _tell_torn(log)
        click.echo(f"Prompt display: {display.address}")
        click.echo(f"Entry by hand:  {display.entry_address}")
        case = _Served(setting, name=name, log=log, display=display, entered=entered, ending=ending)
        service = case.live(sound)
    if not service.closed:
        click.echo(f"The record is open: serve --case {name} takes it up again.")
    click.echo(f"Log: {path}  Checkpoint to copy: {service.checkpoint.code}")
    return service


def _tell_torn(log: Journal) -> None:
    if log.found.torn:
        click.echo(
            f"The last line was cut off while it was written; nobody had been told of it. Its "
            f"{len(log.found.torn)} bytes are kept beside the log, in {log.path.name}.torn-…"
        )


class _Served:
    """One case on the display and in the terminal."""

    def __init__(
        self,
        setting: Setting,
        *,
        name: str,
        log: Journal,
        display: Display,
        entered: SimpleQueue[Entered],
        ending: Ending,
    ) -> None:
        self._name, self._setting, self._log = name, setting, log
        self._display, self._entered, self._ending = display, entered, ending
        lines = log.found.lines
        self._voice = voice_for(setting, log.path, lambda: self.service.position_s)
        last = decode_record(lines[-1]).at if lines else None
        now, self._gap_s = clock.live_after(last) if last else (clock.live(), 0.0)
        self.service = Service(
            log=log, ears=SteadyEars(setting.ears), voice=self._voice, now=now, show=self._show
        )

    def live(self, sound: Callable[[], Iterable[Block]]) -> Service:
        """From the opening, or from where the log ends, to the close or the end of the sound."""
        with closing(self._voice):
            self._begin()
            try:
                self.service.run(self._inputs(sound()))
            except Exception as error:
                self._tell_stopped(str(error))
                if isinstance(error, JournalError | IllegalFact):
                    raise RecordingStopped(str(error)) from error
                raise
            if self.service.closed:
                self._tell_checkpoint()
        return self.service

    def _begin(self) -> None:
        opened = opening(self._setting, self._name, self._voice.voice)
        self._voice.prepare(foreseen(opened))
        if self._log.found.lines:
            self.service.take_up(self._log.found.lines, self._gap_s)
        else:
            self.service.open(opened)

    # ------------------------------------------------------------------------------- what goes out

    def _show(self, case: Case, record: Record, text: str) -> None:
        self._refresh()
        with suppress(OSError):  # a terminal that is gone is no reason to stop
            terminal.show(case, record, text)

    def _refresh(self) -> None:
        self._shown_listening = self.service.listening
        self._display.show(self._view())

    def _view(self) -> View:
        case = self.service.case
        return view(case, case.last, listening=self.service.listening)

    def _tell_stopped(self, why: str) -> None:
        self._display.show(stopped(self._view(), why))
        self._ending.wait(max(_STOPPED_S, self._voice.say(JOURNAL_FAILED)))

    def _tell_checkpoint(self) -> None:
        """Shown as long as it may be copied, and spelled aloud once "Record closed" is said."""
        checkpoint, shown = self.service.checkpoint, self._view()
        text = f"{shown.asked.text} Checkpoint: {checkpoint.code}"
        self._display.show(replace(shown, asked=replace(shown.asked, text=text)))
        click.echo(f"Checkpoint to copy: {checkpoint.code}")
        self._ending.wait(self.service.still_speaks_s)
        self._ending.wait(max(LINGER_S, self._voice.say(checkpoint_aloud(checkpoint))))

    # -------------------------------------------------------------------------------- what comes in

    def _inputs(self, sound: Iterable[Block]) -> Iterator[Block | Entered]:
        """The sound, and between its blocks what was entered, and what is wrong beside it."""
        steps, display_fails = clock.Steps(), False
        for block in sound:
            yield block
            while not self._entered.empty():
                yield self._entered.get()
            yield from _as_troubles(steps.seen())
            if display_fails is not bool(trouble := self._display.trouble):
                display_fails = bool(trouble)
                message = trouble or "It is served again."
                yield Trouble(part="display", message=message, over=not trouble)
            if self._shown_listening is not self.service.listening:
                self._refresh()
            if self._ending.asked:
                return


def _as_troubles(clock_step: str) -> Iterator[Trouble]:
    """A step of the wall clock is over when it is seen: order never depended on it."""
    if clock_step:
        yield Trouble(part="clock", message=clock_step)
        yield Trouble(part="clock", message="It goes on from there.", over=True)
