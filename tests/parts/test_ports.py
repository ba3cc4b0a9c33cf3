"""Each port's contract holds for the real part and for the stand-in that tests put in its place.

The ports are declared in live/service.py, voice/resilient.py and sound/microphone.py. The real
loudspeaker and microphone need sound cards: tests/exhaustive/test_live.py asks them.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import contracts
import pytest
from contracts import PHRASE, QUIET, SAID
from doubles import Card, Disk, ScriptedClock, ScriptedEars, Speaker, steady
from stories import shipped

from voicecheck.core.conduct_2.grammar import phrases
from voicecheck.core.inputs import Heard, Trouble
from voicecheck.ears.recogniser import Recogniser
from voicecheck.ears.resilient import ResilientEars
from voicecheck.ears.wordings import wordings
from voicecheck.journal import Journal, JournalError, read
from voicecheck.live.service import Ears, Log
from voicecheck.voice.announcer import Muted, WavFile
from voicecheck.voice.resilient import ResilientVoice

# -------------------------------------------------------------------------------------------- ears

AsksEars = Callable[[Ears], None]
SCRIPTED: dict[AsksEars, Callable[[], ScriptedEars]] = {
    contracts.ears_place_what_they_hear: lambda: ScriptedEars({len(QUIET + SAID) - 5: PHRASE}),
    contracts.ears_finish_what_they_were_hearing: lambda: ScriptedEars(unfinished=PHRASE),
    contracts.ears_drop_what_is_skipped_into: lambda: ScriptedEars(unfinished=PHRASE),
    contracts.ears_hear_on_what_was_open_when_they_begin_anew: lambda: ScriptedEars(
        {len(SAID): PHRASE, 2 * len(SAID) + len(QUIET): PHRASE}, lasts_s=2.0
    ),
}


@pytest.mark.parametrize("kept", SCRIPTED, ids=lambda kept: kept.__name__)
@pytest.mark.parametrize("kind", ["recogniser", "resilient", "scripted"])
def test_ears(kept: AsksEars, kind: str) -> None:
    with Recogniser(phrases(shipped()), wordings=wordings(shipped())) as recogniser:
        real: dict[str, Ears] = {"recogniser": recogniser, "resilient": ResilientEars(recogniser)}
        kept(real.get(kind) or SCRIPTED[kept]())


def test_ears_whose_end_fails_tell_it_instead_of_raising() -> None:
    class Broken(ScriptedEars):
        def finish(self) -> list[Heard]:
            raise Exception("Failed to process waveform")  # noqa: TRY002  # as Vosk does

    (told,) = ResilientEars(Broken()).finish()
    assert isinstance(told, Trouble)
    assert "Failed to process waveform" in told.message


# ------------------------------------------------------------------------------------------- voice


@pytest.mark.parametrize("kind", ["wav", "muted", "stand-in"])
def test_a_voice(kind: str, tmp_path: Path) -> None:
    if kind == "stand-in":
        contracts.a_voice_takes_its_time_and_stops(Speaker(takes_s=2.0))
        return
    wav = lambda: WavFile(tmp_path / "said.wav", lambda: 0.0)  # noqa: E731
    with closing(ResilientVoice(wav if kind == "wav" else Muted)) as voice:
        contracts.a_voice_takes_its_time_and_stops(voice, silent=kind == "muted")


def test_a_real_voice_that_fails(tmp_path: Path) -> None:
    folder = tmp_path / "not there yet"
    with closing(ResilientVoice(lambda: WavFile(folder / "said.wav", lambda: 0.0))) as voice:
        contracts.a_voice_tells_that_it_fails_and_recovers(voice, folder.mkdir)


def test_a_stand_in_of_a_voice_that_fails() -> None:
    speaker = Speaker(takes_s=2.0, broken="no loudspeaker")
    contracts.a_voice_tells_that_it_fails_and_recovers(
        speaker, lambda: setattr(speaker, "broken", "")
    )


@pytest.mark.parametrize("kind", ["wav", "muted"])
def test_an_announcer(kind: str, tmp_path: Path) -> None:
    wav = kind == "wav"
    announcer = WavFile(tmp_path / "said.wav", lambda: 0.0) if wav else Muted()
    contracts.an_announcer_speaks_while_it_works(announcer, silent=not wav)


# --------------------------------------------------------------------------------------------- log


@contextmanager
def a_log(kind: str, folder: Path) -> Iterator[tuple[Log, Callable[[], list[bytes]]]]:
    """The log, and what it holds by now."""
    if kind == "disk":
        disk = Disk()
        yield disk, lambda: disk.lines
    else:
        with Journal.create(folder / "case.log") as journal:
            yield journal, lambda: list(read(folder / "case.log").lines)


@pytest.mark.parametrize("kind", ["journal", "disk"])
def test_a_log_holds_a_line_once_it_is_appended(kind: str, tmp_path: Path) -> None:
    with a_log(kind, tmp_path) as (log, lines):
        for number in range(1, 4):
            log.append(b"line %d" % number)
            assert lines() == [b"line %d" % n for n in range(1, number + 1)]


@pytest.mark.parametrize("kind", ["journal", "disk"])
def test_a_log_that_failed_once_takes_nothing_more(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_descriptor: int, _content: bytes) -> int:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with a_log(kind, tmp_path) as (log, lines):
        log.append(b"kept")
        if isinstance(log, Disk):
            log.full = True
        monkeypatch.setattr(os, "write", full)
        with pytest.raises(JournalError):
            log.append(b"lost")
        monkeypatch.undo()
        if isinstance(log, Disk):
            log.full = False
        with pytest.raises(JournalError):
            log.append(b"too late")
        assert lines() == [b"kept"]


# ------------------------------------------------------------------------------------- microphone


def test_a_stand_in_of_a_microphone() -> None:
    contracts.a_stream_gives_its_blocks_in_order(Card(ScriptedClock(), steady(0)))


def test_what_is_open_across_two_new_beginnings_is_not_dropped() -> None:
    """Two prompts end while somebody talks: some line tells of it."""
    third = len(SAID) // 3
    with Recogniser(phrases(shipped()), wordings=wordings(shipped())) as ears:
        heard = [each for block in SAID[:third] for each in ears.hear(block)]
        for start in (third, 2 * third):
            ears.begin_anew()
            heard += [each for block in SAID[start : start + third] for each in ears.hear(block)]
        heard += ears.finish()
    assert any(each.audio_from_s < third / 10 for each in heard)
