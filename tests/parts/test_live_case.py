"""A live case with its real parts: begun, taken up again, and stopped by a log that fails."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from stories import Story, shipped

from voicecheck.core.conduct import CURRENT
from voicecheck.core.conduct_2.grammar import phrases
from voicecheck.core.facts import Opened, Reopened, decode_record
from voicecheck.core.inputs import UNKNOWN, Entered, Heard
from voicecheck.core.wording import CAUTION, JOURNAL_FAILED
from voicecheck.ears.recogniser import Recogniser
from voicecheck.ears.wordings import wordings
from voicecheck.journal import Journal, JournalError, read
from voicecheck.live import terminal
from voicecheck.live.live_case import LiveCase, LogStopped, NotACaseName, Setup, log_path
from voicecheck.live.service import RecordClosed
from voicecheck.live.serving import recorded

GOLDEN = Path(__file__).parent.parent / "golden"
STATED = Entered(text="checklist table tilted head up")


@pytest.fixture(scope="module")
def ears() -> Iterator[Recogniser]:
    with Recogniser(phrases(shipped()), wordings=wordings(shipped())) as opened:
        yield opened


@pytest.fixture
def setup(tmp_path: Path, ears: Recogniser) -> Setup:
    return Setup(
        procedure=shipped(),
        ears=ears,
        wording="brief",
        case_dir=tmp_path,
        wav=False,
        mute=True,
    )


def live(setup: Setup, *inputs: Entered) -> list[str]:
    """Open the case or take it up, and live these inputs; the facts on record after them."""
    path = log_path(setup.case_dir, "invented")
    with (
        (Journal.reopen if path.exists() else Journal.create)(path) as log,
        closing(LiveCase(setup, "invented", log)) as case,
    ):
        case.begin()
        case.live(inputs)
    return [type(decode_record(line).fact).__name__ for line in read(path).lines]


def test_the_opening_names_what_the_case_lives_by(setup: Setup, ears: Recogniser) -> None:
    assert live(setup) == ["Opened"]
    (line,) = read(log_path(setup.case_dir, "invented")).lines
    opened = decode_record(line).fact
    assert isinstance(opened, Opened)
    assert (opened.recogniser, opened.voice) == (ears.name, "muted: prompts are only shown")
    assert (opened.wording, opened.rules, opened.caution) == ("brief", CURRENT.VERSION, CAUTION)
    assert (opened.procedure, opened.common) == (shipped().text, shipped().common_text)


def test_a_record_is_taken_up_with_the_gap_that_it_had(setup: Setup) -> None:
    assert live(setup, STATED) == ["Opened", "Stated"]
    assert live(setup, STATED) == ["Opened", "Stated", "Reopened", "Stated"]
    records = [decode_record(line) for line in read(log_path(setup.case_dir, "invented")).lines]
    reopened = records[2].fact
    assert isinstance(reopened, Reopened)
    assert 0 <= reopened.gap_s < 60
    assert records[2].at.mono_us >= records[1].at.mono_us


def test_a_closed_record_is_not_taken_up_again(setup: Setup) -> None:
    done = (Entered(text="checklist close the record"), Entered(text="confirm"))
    assert live(setup, *done)[-1] == "Closed"
    with pytest.raises(RecordClosed, match="give this case another name"):
        live(setup)


def test_a_log_that_fails_stops_the_case_and_tells_the_last_checkpoint(
    setup: Setup, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def full(_descriptor: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    path = log_path(setup.case_dir, "invented")
    with Journal.create(path) as log, closing(LiveCase(setup, "invented", log)) as case:
        case.begin()
        kept = case.service.checkpoint
        monkeypatch.setattr(os, "fsync", full)
        with pytest.raises(LogStopped, match="the disk is full") as stopped:
            case.live([STATED])
        monkeypatch.undo()
        assert str(stopped.value).startswith(JOURNAL_FAILED)
        assert not any(case.service.case.state.standing), "nothing is believed"
        assert case.service.checkpoint == kept
    assert f"Checkpoint to copy: {kept.long_code}" in capsys.readouterr().out


@pytest.mark.parametrize("lines", [1, 20])
def test_a_record_of_earlier_rules_is_not_gone_on_with(tmp_path: Path, lines: int) -> None:
    """Whoever began it stated things under those rules; the rules of today would judge the rest."""
    begun = (GOLDEN / "format-1-rules-1" / "invented-147.log").read_bytes().splitlines(True)
    path = tmp_path / "begun.log"
    path.write_bytes(b"".join(begun[:lines]))
    with pytest.raises(JournalError, match=r"begun under rules 1.*give this case another name"):
        recorded(path)
    assert path.read_bytes() == b"".join(begun[:lines])


@pytest.mark.parametrize("practice", [True, False])
def test_a_rehearsal_is_gone_on_with_as_one_and_an_operation_is_not(
    setup: Setup, *, practice: bool
) -> None:
    live(replace(setup, rehearsal=practice), STATED)
    path = log_path(setup.case_dir, "invented")
    assert recorded(path, rehearsal=practice) is not None
    with pytest.raises(JournalError, match=r"rehearsal.* or give this case another name"):
        recorded(path, rehearsal=not practice)


def test_the_terminal_shows_all_but_the_machines_own_voice() -> None:
    story, said = Story(), list[str]()
    story.say("checklist table tilted head up")
    record = story.records[-1]
    for text, over in ((UNKNOWN, True), (UNKNOWN, False), ("confirm", True)):
        heard = Heard(text=text, confidence=0.5, audio_from_s=0.0, audio_to_s=1.0, over=over)
        terminal.show(story.case, replace(record, cause=heard), "", said.append)
    assert [line[10:] for line in said if "heard" in line] == [
        "heard other speech (0.50)",
        'heard "confirm" (0.50)',
    ]


@pytest.mark.parametrize("name", ["", "..", "a/b", "a b", "-x", "x" * 101])
def test_a_name_that_no_file_should_have_is_refused(name: str) -> None:
    with pytest.raises(NotACaseName, match="use letters, digits"):
        log_path(Path(), name)
