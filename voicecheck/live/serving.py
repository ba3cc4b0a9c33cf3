"""Serves a live case, new or taken up: sound in, voice out, the prompt display beside it."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path
from queue import SimpleQueue

import click

from voicecheck.core.case import Case
from voicecheck.core.conduct import Conduct
from voicecheck.core.facts import Record
from voicecheck.core.inputs import Entered, Trouble
from voicecheck.core.procedure import Procedure
from voicecheck.core.replay import BrokenLog, NewerLog, replay
from voicecheck.core.wording import JOURNAL_FAILED, checkpoint_aloud
from voicecheck.display.access import LEAST_TOKEN
from voicecheck.display.keys import keys
from voicecheck.display.screen import View
from voicecheck.display.server import Display
from voicecheck.display.view import stopped, view
from voicecheck.journal import Journal, JournalError, read
from voicecheck.live import clock
from voicecheck.live.ending import Ending
from voicecheck.live.live_case import LiveCase, LogStopped, Setup, log_path
from voicecheck.live.service import Service
from voicecheck.sound.microphone import Block

LINGER_S = 60.0
"""How long the display shows the checkpoint of a closed record, so that it can be copied."""

_STOPPED_S = 5.0
"""How long the display is still served after recording has stopped; open pages keep the message."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Place:
    """Where the prompt display is served."""

    host: str
    port: int
    token: str = ""
    """For entry by hand; random if empty."""


def recorded(path: Path) -> tuple[Procedure, Conduct] | None:
    """The procedure and the rules of an existing log; None if nothing is recorded yet.

    Raises NewerLog, or JournalError if the log cannot be read or does not hold.
    """
    if not path.exists():
        return None
    lines = read(path).lines
    try:
        case = replay(lines) if lines else None
    except NewerLog:
        raise
    except BrokenLog as error:
        raise JournalError(
            f"{path} cannot be taken up. {error}. Give this case another name; "
            f"`voicecheck review {path}` shows which part of the record still holds."
        ) from error
    if case is None:
        return None
    case.close()
    return case.procedure, case.conduct


def serve(
    setup: Setup,
    name: str,
    place: Place,
    sound: Callable[[Service], Iterable[Block]],
    ending: Ending,
) -> None:
    """Open the case or take it up; run it until it is closed, the sound ends or `ending` is asked.

    Raises BrokenLog or RecordClosed if the record cannot be taken up, JournalError if it cannot be
    opened, LogStopped if it can no longer be written.
    """
    entered: SimpleQueue[Entered] = SimpleQueue()
    display = Display(
        host=place.host,
        port=place.port,
        token=place.token or secrets.token_urlsafe(LEAST_TOKEN),
        keys=keys(setup.procedure, setup.conduct),
        entered=entered.put,
    )
    path = log_path(setup.case_dir, name)
    display.start()  # first: if it fails, no empty log is left behind
    with closing(display), (Journal.reopen if path.exists() else Journal.create)(path) as log:
        _tell_torn(log)
        click.echo(f"Prompt display: {display.address}")
        click.echo(f"Entry by hand:  {display.entry_address}")
        with closing(
            _Served(setup, name, log, display=display, entered=entered, ending=ending)
        ) as served:
            served.live(sound)
            is_open = not served.case.service.closed
    if is_open:
        click.echo(f"The record is still open: serve --case {name} takes it up again.")


def _tell_torn(log: Journal) -> None:
    if log.found.torn:
        click.echo(
            f"The last line was cut off while it was written, before anybody was told of it. Its "
            f"{len(log.found.torn)} bytes are kept beside the log, in {log.path.name}.torn-…"
        )


class _Served:
    """One case on the display."""

    def __init__(
        self,
        setup: Setup,
        name: str,
        log: Journal,
        *,
        display: Display,
        entered: SimpleQueue[Entered],
        ending: Ending,
    ) -> None:
        self.case = LiveCase(setup, name, log, note=self._note)
        self._service = self.case.service
        self._display, self._entered, self._ending = display, entered, ending

    def live(self, sound: Callable[[Service], Iterable[Block]]) -> None:
        """Run until the record is closed or the sound ends; the display shows how it ended."""
        self.case.begin()
        try:
            self.case.live(self._inputs(sound(self._service)))
        except Exception as error:
            self._tell_stopped(error.why if isinstance(error, LogStopped) else str(error))
            raise
        if self._service.closed:
            self._tell_checkpoint()

    def close(self) -> None:
        """Release the voice."""
        self.case.close()

    # ------------------------------------------------------------------------------- what goes out

    def _note(self, _case: Case, _record: Record, _text: str) -> None:
        self._refresh()

    def _refresh(self) -> None:
        self._shown_listening = self._service.listening
        self._display.show(self._view())

    def _view(self) -> View:
        case = self._service.case
        return view(case, case.last, listening=self._service.listening)

    def _tell_stopped(self, why: str) -> None:
        self._display.show(stopped(self._view(), why))
        self._ending.wait(max(_STOPPED_S, self.case.voice.say(JOURNAL_FAILED)))

    def _tell_checkpoint(self) -> None:
        """Show it long enough to be copied, and spell it aloud after "Record closed"."""
        checkpoint, shown = self._service.checkpoint, self._view()
        text = f"{shown.asked.text} Checkpoint: {checkpoint.code}"
        self._display.show(replace(shown, asked=replace(shown.asked, text=text)))
        self._ending.wait(self._service.still_speaks_s)
        self._ending.wait(max(LINGER_S, self.case.voice.say(checkpoint_aloud(checkpoint))))

    # -------------------------------------------------------------------------------- what comes in

    def _inputs(self, sound: Iterable[Block]) -> Iterator[Block | Entered]:
        """The sound; between its blocks, entries by hand and troubles of clock and display."""
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
            if self._shown_listening is not self._service.listening:
                self._refresh()
            if self._ending.asked:
                return


def _as_troubles(clock_step: str) -> Iterator[Trouble]:
    """A step of the wall clock is over at once: the order of lines never depends on that clock."""
    if clock_step:
        yield Trouble(part="clock", message=clock_step)
        yield Trouble(part="clock", message="It goes on from there.", over=True)
