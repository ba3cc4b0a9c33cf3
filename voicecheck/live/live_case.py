"""One live case: its log, ears, voice and clock, from the opening to the last input."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from itertools import count
from pathlib import Path

import click

from voicecheck import __version__, shipped
from voicecheck.core import facts
from voicecheck.core.case import Case, IllegalFact
from voicecheck.core.conduct import CURRENT
from voicecheck.core.facts import Opened, Record, decode_record
from voicecheck.core.foreseen import foreseen
from voicecheck.core.inputs import Entered, Restarted, Trouble
from voicecheck.core.procedure import Procedure
from voicecheck.core.wording import CAUTION, JOURNAL_FAILED, OTHER_SHAPE, REHEARSAL
from voicecheck.ears.recogniser import Recogniser
from voicecheck.ears.resilient import ResilientEars
from voicecheck.journal import Journal, JournalError
from voicecheck.live import clock, terminal
from voicecheck.live.service import Service
from voicecheck.voice.announcer import Loudspeaker, Muted, WavFile
from voicecheck.voice.resilient import ResilientVoice


class NotACaseName(Exception):
    """The name of a case cannot be the name of a file."""


class LogStopped(Exception):
    """The log can no longer be written: nothing more is recorded."""

    def __init__(self, why: str) -> None:
        super().__init__(f"{JOURNAL_FAILED} {why}")
        self.why = why


@dataclass(frozen=True, kw_only=True, slots=True)
class Setup:
    """What all cases in one run of the program have in common."""

    procedure: Procedure
    ears: Recogniser
    wording: str
    case_dir: Path
    wav: bool
    mute: bool
    device: str | None = None
    rehearsal: bool = False
    """Whether new records are of no operation."""


def log_path(case_dir: Path, name: str, began: str = "") -> Path:
    """The path of a case's log; raises NotACaseName if the name cannot be that of a file.

    `began`, a time, tells the logs of one name apart if each run begins a new one.
    """
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]{0,99}", name):
        raise NotACaseName(
            f"{name!r} cannot name a case: use letters, digits, dots, dashes and underscores, "
            "such as theatre-2-0417; never a patient's name or number."
        )
    return case_dir / f"{name}{began}.log"


class LiveCase:
    """A case that runs now: a new one, or one that is taken up again from its log."""

    def __init__(
        self,
        setup: Setup,
        name: str,
        log: Journal,
        *,
        runs: clock.Clock = clock.wall,
        note: Callable[[Case, Record, str], None] = lambda _case, _record, _text: None,
        say: Callable[[str], None] = click.echo,
    ) -> None:
        """`note` gets each new record, with its case and what is said to it; `say` prints."""
        self._setup, self._name, self._log = setup, name, log
        self._note, self._say = note, say
        # The service comes last, because it needs the voice; nobody asks for a position earlier.
        self.voice = voice_for(setup, log.path, lambda: self.service.position_s)
        ended = clock.ended([decode_record(line) for line in log.found.lines])
        now, self._gap_s = runs(ended)
        ears = ResilientEars(setup.ears)
        self.service = Service(log=log, ears=ears, voice=self.voice, now=now, show=self._show)

    def begin(self) -> None:
        """Open the record, or take it up where its log ends.

        Raises BrokenLog or RecordClosed if it cannot be taken up, JournalError if the log fails.
        """
        lines = self._log.found.lines
        if lines:
            opened = decode_record(lines[0]).fact
            if isinstance(opened, Opened):
                self.voice.prepare(foreseen(opened))  # in the record's own wording
            gap = Restarted(gap_s=self._gap_s, boot=clock.boot(), boot_us=clock.boot_us())
            self.service.take_up(lines, gap)
        else:
            opened = opening(self._setup, self._name, self.voice.voice)
            self.voice.prepare(foreseen(opened))
            self.service.open(opened)

    def live(self, inputs: Iterable[bytes | Entered | Trouble]) -> None:
        """Run until the record is closed or the inputs end; raises LogStopped if the log fails."""
        try:
            self.service.run(inputs)
        except (JournalError, IllegalFact) as error:
            raise LogStopped(str(error)) from error
        finally:  # however it ended
            self.tell_checkpoint()

    def tell_checkpoint(self) -> None:
        """Print where the log is, and the checkpoint of all that is on disk."""
        with suppress(OSError):  # a terminal that is gone must not hide how it ended
            code = self.service.checkpoint.long_code
            self._say(f"Log: {self._log.path}\nCheckpoint to copy: {code}")

    def close(self) -> None:
        """Let the voice go."""
        self.voice.close()

    def _show(self, case: Case, record: Record, text: str) -> None:
        self._note(case, record, text)
        with suppress(OSError):  # a terminal that is gone must not stop the case
            terminal.show(case, record, text, self._say)


def opening(setup: Setup, name: str, voice: str) -> Opened:
    """The opening fact of a case under this setup, as of now."""
    shape = CURRENT.shape(setup.procedure)
    as_shipped = shape == CURRENT.shape(shipped.procedure())
    return Opened(
        case=name,
        procedure=setup.procedure.text,
        common=setup.procedure.common_text,
        wording=setup.wording,
        program=__version__,
        rules=CURRENT.VERSION,
        format=facts.VERSION,
        recogniser=setup.ears.name,
        voice=voice,
        caution=" ".join(_cautions(as_shipped=as_shipped, rehearsal=setup.rehearsal)),
        shape=shape,
        as_shipped=as_shipped,
        boot=clock.boot(),
        boot_us=clock.boot_us(),
        rehearsal=setup.rehearsal,
    )


def _cautions(*, as_shipped: bool, rehearsal: bool) -> Iterator[str]:
    if rehearsal:
        yield REHEARSAL
    yield CAUTION
    if not as_shipped:
        yield OTHER_SHAPE


def voice_for(setup: Setup, log: Path, position_s: Callable[[], float]) -> ResilientVoice:
    """The voice that the setup asks for; `position_s` gives the seconds of audio so far."""
    if setup.wav:
        return ResilientVoice(lambda: WavFile(_unused(log.with_suffix(".wav")), position_s))
    return ResilientVoice(Muted if setup.mute else lambda: Loudspeaker(setup.device))


def _unused(path: Path) -> Path:
    """The path, or a numbered one beside it, so that the WAV file of an earlier run is kept."""
    numbered = (path.with_stem(f"{path.stem}-{number}") for number in count(2))
    return path if not path.exists() else next(each for each in numbered if not each.exists())
