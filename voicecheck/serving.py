"""Serve a live case: sound in, voice out, the prompt display beside it, from any open record on."""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue

import click

from voicecheck import clock, terminal
from voicecheck.case import Case
from voicecheck.display import Display
from voicecheck.facts import Record, decode_record
from voicecheck.inputs import Entered, Trouble
from voicecheck.journal import Journal, JournalError, read
from voicecheck.keys import keys
from voicecheck.procedure import Procedure
from voicecheck.replay import replay
from voicecheck.service import Service
from voicecheck.stage import Setting, opening, voice_for
from voicecheck.view import stopped, view
from voicecheck.wording import JOURNAL_FAILED, checkpoint_aloud


@dataclass(frozen=True, kw_only=True, slots=True)
class Place:
    """Where the prompt display is served."""

    host: str
    port: int
    token: str = ""
    """For entry by hand; made up when empty."""


def recorded_procedure(path: Path) -> Procedure | None:
    """The procedure that an existing log embeds; None where there is no log yet."""
    if not path.exists():
        return None
    lines = read(path).lines
    return replay(lines).procedure if lines else None


def serve(
    setting: Setting, name: str, place: Place, sound: Callable[[], Iterable[bytes | Trouble]]
) -> Service:
    """Open the case or take it up, and live it until it is closed or the sound ends.

    Raises BrokenLog or RecordClosed for a record that cannot be taken up, JournalError when it
    cannot be written.
    """
    entered: SimpleQueue[Entered] = SimpleQueue()
    display = Display(
        host=place.host,
        port=place.port,
        token=place.token or secrets.token_urlsafe(12),
        keys=keys(setting.procedure),
        entered=entered.put,
    )
    path = setting.case_dir / f"{name}.log"
    with (Journal.reopen if path.exists() else Journal.create)(path) as log:
        display.start()
        with closing(display):
            click.echo(f"Prompt display: {display.address}")
            click.echo(f"Entry by hand:  {display.entry_address}")
            service = _Served(setting, name, log, display, entered).live(sound)
    click.echo(f"Log: {path}  Checkpoint to copy: {service.checkpoint.code}")
    return service


class _Served:
    """One case on the display and in the terminal."""

    def __init__(
        self,
        setting: Setting,
        name: str,
        log: Journal,
        display: Display,
        entered: SimpleQueue[Entered],
    ) -> None:
        self._name, self._setting, self._log = name, setting, log
        self._display, self._entered = display, entered
        self._voice = voice_for(setting, log.path, lambda: self.service.position_s)
        lines = log.found.lines
        last = decode_record(lines[-1]).at if lines else None
        now, self._gap_s = clock.live_after(last) if last else (clock.live(), 0.0)
        self.service = Service(
            log=log, ears=setting.ears, voice=self._voice, now=now, show=self._show
        )

    def live(self, sound: Callable[[], Iterable[bytes | Trouble]]) -> Service:
        """From the opening, or from where the log ends, to the close or the end of the sound."""
        with closing(self._voice):
            try:
                self._begin()
                self.service.run(self._inputs(sound()))
                if self.service.closed:
                    time.sleep(self._voice.say(checkpoint_aloud(self.service.checkpoint)))
            except JournalError:
                last = view(self.service.case, self.service.case.last, listening=False)
                self._display.show(stopped(last))
                self._voice.say(JOURNAL_FAILED)
                raise
        return self.service

    def _begin(self) -> None:
        if self._log.found.lines:
            self.service.take_up(self._log.found.lines, self._gap_s)
        else:
            self.service.open(opening(self._setting, self._name, self._voice.voice))

    def _show(self, case: Case, record: Record, text: str) -> None:
        terminal.show(case, record, text)
        self._refresh()

    def _refresh(self) -> None:
        case = self.service.case
        self._display.show(view(case, case.last, listening=self.service.listening))

    def _inputs(self, sound: Iterable[bytes | Trouble]) -> Iterator[bytes | Trouble | Entered]:
        """The sound, and between its blocks what was entered, and what is wrong beside it."""
        steps, listening, display_works = clock.Steps(), True, True
        for block in sound:
            yield block
            while not self._entered.empty():
                yield self._entered.get()
            if step := steps.seen():
                yield Trouble(part="clock", message=step)
            if display_works and self._display.trouble:
                display_works = False
                yield Trouble(part="display", message=self._display.trouble)
            if listening is not self.service.listening:
                listening = self.service.listening
                self._refresh()
