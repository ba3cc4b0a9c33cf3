"""Serves a live case, new or taken up: sound in, voice out, the prompt display beside it."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

from voicecheck.core.case import Case
from voicecheck.core.conduct import CURRENT
from voicecheck.core.facts import Record
from voicecheck.core.inputs import Entered, Trouble
from voicecheck.core.procedure import Procedure
from voicecheck.core.replay import BrokenLog, NewerLog, replay
from voicecheck.core.wording import JOURNAL_FAILED, checkpoint_aloud
from voicecheck.display.access import LEAST_TOKEN
from voicecheck.display.entries import CLOSED, ENDING, STOPPED, Entries
from voicecheck.display.keys import keys
from voicecheck.display.screen import View
from voicecheck.display.server import Display
from voicecheck.display.view import stopped, view
from voicecheck.journal import Journal, JournalError, fault, read
from voicecheck.live import clock, systemd
from voicecheck.live.addresses import told
from voicecheck.live.ending import Ending
from voicecheck.live.live_case import LiveCase, LogStopped, Setup, log_path
from voicecheck.live.printer import Printer
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


def recorded(path: Path, *, rehearsal: bool = False) -> Procedure | None:
    """The procedure of an existing log; None if nothing is recorded yet.

    Raises NewerLog, or JournalError if the log cannot be read, does not hold or cannot be gone on
    with, because its rules are earlier ones, or because only it, or only this, is a rehearsal.
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
    if case.conduct.VERSION != CURRENT.VERSION:
        raise JournalError(
            f"{path} was begun under rules {case.conduct.VERSION}; today's are {CURRENT.VERSION}. "
            "It can be reviewed, but not gone on with: give this case another name."
        )
    if case.opened.rehearsal != rehearsal:
        known = "a rehearsal: add --rehearsal" if case.opened.rehearsal else "no rehearsal"
        raise JournalError(f"{path} is {known}, or give this case another name.")
    return case.procedure


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
    by_hand = Entries()
    display = Display(
        host=place.host,
        port=place.port,
        token=place.token or secrets.token_urlsafe(LEAST_TOKEN),
        keys=keys(setup.procedure),
        entries=by_hand,
    )
    path = log_path(setup.case_dir, name)
    display.start()  # first: if it fails, no empty log is left behind
    with closing(Printer()) as printer:
        with (
            closing(display),
            (Journal.reopen if path.exists() else Journal.create)(path) as log,
            told(display, path, printer.say),
        ):
            _tell_torn(log, printer.say)
            served = _Served(setup, name, log, display=display, entries=by_hand, printer=printer)
            with closing(served):
                served.live(sound, ending)
                is_open = not served.case.service.closed
            systemd.notify(systemd.STOPPING)
        if is_open:
            printer.say(f"The record is still open: serve --case {name} takes it up again.")


def _tell_torn(log: Journal, say: Callable[[str], None]) -> None:
    if log.found.torn:
        say(
            f"The last line was set aside, because {fault(log.found.torn)}. Its "
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
        entries: Entries,
        printer: Printer,
    ) -> None:
        self.case = LiveCase(setup, name, log, note=self._note, say=printer.say)
        self._service = self.case.service
        self._display, self._entries, self._printer = display, entries, printer
        self._watchdog = systemd.Watchdog()

    def live(self, sound: Callable[[Service], Iterable[Block]], ending: Ending) -> None:
        """Run until the record is closed or the sound ends; the display shows how it ended."""
        self._ending = ending
        self.case.begin()
        ending.meanwhile, ending.last_words = self._live_on, self._last_words
        self._entries.open()
        systemd.notify(systemd.READY)
        try:
            self.case.live(self._inputs(sound(self._service)))
        except Exception as error:
            self._entries.refuse(STOPPED)
            self._tell_stopped(error.why if isinstance(error, LogStopped) else str(error))
            raise
        self._entries.refuse(CLOSED if self._service.closed else ENDING)
        if self._service.closed:
            self._tell_checkpoint()

    def close(self) -> None:
        """Release the voice."""
        self.case.close()

    # ------------------------------------------------------------------------------- what goes out

    def _note(self, _case: Case, record: Record, _text: str) -> None:
        if isinstance(record.cause, Entered):
            self._entries.recorded()
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
        text = f"{shown.asked.text} Checkpoint: {checkpoint.long_code}"
        self._display.show(replace(shown, asked=replace(shown.asked, text=text)))
        self._ending.wait(self._service.still_speaks_s)
        self._ending.wait(max(LINGER_S, self.case.voice.say(checkpoint_aloud(checkpoint))))

    def _live_on(self) -> None:
        """Tell the display and systemd that the live loop lives."""
        self._display.beat()
        self._watchdog.feed()

    def _last_words(self) -> None:
        self._printer.say("The program stood still, so it is ended by force.")
        self.case.tell_checkpoint()
        self._printer.close()

    # -------------------------------------------------------------------------------- what comes in

    def _inputs(self, sound: Iterable[Block]) -> Iterator[Block | Entered]:
        """The sound; between its blocks, entries by hand and troubles of clock and display."""
        steps, display_fails = clock.Steps(), False
        for block in sound:
            yield block
            self._live_on()
            if entered := self._entries.take():
                yield entered
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
