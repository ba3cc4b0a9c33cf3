"""The log file keeps every line it acknowledged, whatever fails; oracle: the bytes on the disk."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from voicecheck.journal import Content, Journal, JournalError, read

if TYPE_CHECKING:
    from collections.abc import Callable

LINES = (b"first", b"", "gallbladder’s bed".encode(), b"\xff\r", b"x" * 40)
"""Lines are bytes: also an empty one, beyond ASCII, not UTF-8, with a carriage return."""


def write(path: Path, lines: tuple[bytes, ...] = LINES) -> bytes:
    with Journal.create(path) as journal:
        for line in lines:
            journal.append(line)
    return path.read_bytes()


def run(script: str, *arguments: object) -> subprocess.Popen[str]:
    """Another process, which may be killed."""
    begin = "import sys; from pathlib import Path; from voicecheck.journal import *\n"
    return subprocess.Popen(
        [sys.executable, "-c", begin + textwrap.dedent(script), *map(str, arguments)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )


def test_a_log_is_its_lines_each_ended_by_a_newline(tmp_path: Path) -> None:
    path = tmp_path / "new" / "folders" / "case.log"
    assert write(path) == b"".join(line + b"\n" for line in LINES)
    assert read(path) == Content(lines=LINES, torn=b"")


def test_power_loss_at_every_byte_loses_no_whole_line_and_no_byte(tmp_path: Path) -> None:
    content = write(tmp_path / "whole.log")
    ends = [n for n, byte in enumerate(content, 1) if byte == 0x0A]
    for cut in range(len(content) + 1):
        path = tmp_path / f"{cut}.log"
        path.write_bytes(content[:cut])
        whole = max((end for end in ends if end <= cut), default=0)
        with Journal.reopen(path) as journal:
            assert journal.found.lines == LINES[: ends.index(whole) + 1 if whole else 0]
            assert path.read_bytes() == content[:whole]
            journal.append(b"after")
        assert path.read_bytes() == content[:whole] + b"after\n"
        aside = path.with_name(f"{cut}.log.torn-1")
        assert (aside.read_bytes() if aside.exists() else b"") == content[whole:cut]


def test_a_second_torn_tail_does_not_replace_the_first(tmp_path: Path) -> None:
    path = tmp_path / "case.log"
    for tail in (b"first", b"second"):
        path.write_bytes(b"line\n" + tail)
        Journal.reopen(path).close()
    assert (tmp_path / "case.log.torn-1").read_bytes() == b"first"
    assert (tmp_path / "case.log.torn-2").read_bytes() == b"second"


def test_a_tail_is_durable_aside_before_it_leaves_the_log(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "case.log"
    path.write_bytes(b"line\ntail")
    monkeypatch.setattr(os, "ftruncate", fail_at(1, os.ftruncate, errno.EIO, for_good=True))
    with pytest.raises(JournalError, match="check the disk"):
        Journal.reopen(path)
    assert path.read_bytes() == b"line\ntail"
    assert (tmp_path / "case.log.torn-1").read_bytes() == b"tail"
    monkeypatch.undo()
    with Journal.reopen(path) as journal:
        assert journal.found == Content(lines=(b"line",), torn=b"tail")


# ------------------------------------------------------------------------------ the disk in trouble


def fail_at(
    nth: int, real: Callable[..., Any], number: int, *, for_good: bool
) -> Callable[..., Any]:
    """The system call, failing at the nth time, only then or from then on."""
    calls = 0

    def call(*arguments: Any) -> Any:  # whatever the system call takes and gives
        nonlocal calls
        calls += 1
        if calls == nth or (for_good and calls > nth):
            raise OSError(number, os.strerror(number))
        return real(*arguments)

    return call


def short_write(descriptor: int, content: bytes) -> int:
    """A system that takes seven bytes at a time, as POSIX write(2) allows it to."""
    return REAL_WRITE(descriptor, content[:7])


REAL_WRITE = os.write


@pytest.mark.parametrize("for_good", [False, True])
@pytest.mark.parametrize("call", ["write", "fsync"])
def test_a_failed_line_poisons_and_what_was_acknowledged_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str, for_good: bool
) -> None:
    lines = (b"first line", b"second line", b"third line")
    writes_each = 2 if call == "write" else 1  # each line and its newline takes two short writes
    for nth in range(1, len(lines) * writes_each + 1):
        path = tmp_path / f"{nth}.log"
        journal, acknowledged, said = Journal.create(path), [], []
        monkeypatch.setattr(os, "write", short_write)
        real = getattr(os, call)
        monkeypatch.setattr(os, call, fail_at(nth, real, errno.ENOSPC, for_good=for_good))
        for line in lines:
            try:
                journal.append(line)
            except JournalError as error:
                said.append(str(error))
            else:
                acknowledged.append(line)
        monkeypatch.undo()
        assert "disk is full; free some space" in said[0]
        assert acknowledged == list(lines[: (nth - 1) // writes_each]), "nothing after the failure"
        with pytest.raises(JournalError, match=r"Nothing more is written .* resume the case"):
            journal.append(b"later")
        journal.close()
        with Journal.reopen(path) as again:
            kept = list(again.found.lines)
            assert kept[: len(acknowledged)] == acknowledged
            assert kept[len(acknowledged) :] in ([], [lines[len(acknowledged)]])
            again.append(b"later")
        assert read(path) == Content(lines=(*kept, b"later"), torn=b"")


def test_short_writes_still_make_whole_lines(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "write", short_write)
    write(tmp_path / "case.log")
    assert read(tmp_path / "case.log") == Content(lines=LINES, torn=b"")


@pytest.mark.skipif(sys.platform == "win32", reason="setrlimit(2) is POSIX")
def test_a_file_that_the_system_itself_stops_from_growing(tmp_path: Path) -> None:
    path = tmp_path / "case.log"
    child = run(
        """
        import resource
        journal = Journal.create(Path(sys.argv[1]))
        resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100))
        for line in range(20):
            try:
                journal.append(b"123456789")
                print("kept")
            except JournalError as error:
                print(error)
        """,
        path,
    )
    out, _ = child.communicate(timeout=20)
    assert out.count("kept\n") == 10
    assert out.splitlines()[10] == (
        f"The log {path} cannot be used: the file has reached the largest size allowed; "
        "free some space or choose another folder."
    )
    assert all("Nothing more is written" in line for line in out.splitlines()[11:])
    assert read(path) == Content(lines=(b"123456789",) * 10, torn=b"")


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs /dev/full")  # noqa: PTH110
def test_a_full_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """full(4): a write to this device fails as one to a full disk."""
    path = tmp_path / "case.log"
    with Path("/dev/full").open("wb", buffering=0) as full, Journal.create(path) as journal:
        monkeypatch.setattr(os, "write", lambda _, content: REAL_WRITE(full.fileno(), content))
        with pytest.raises(JournalError, match=r"the disk is full; free some space"):
            journal.append(b"line")
    assert path.read_bytes() == b""


@pytest.mark.skipif(sys.platform == "win32", reason="flock(2) is not there")
def test_a_lock_that_the_disk_refuses_is_no_other_process(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write(tmp_path / "case.log")
    monkeypatch.setattr("fcntl.flock", fail_at(1, lambda *_: None, errno.EIO, for_good=True))
    with pytest.raises(JournalError, match="check the disk"):
        Journal.reopen(tmp_path / "case.log")


# --------------------------------------------------------------------------------- other processes


def test_a_second_process_is_refused_until_the_first_is_gone(tmp_path: Path) -> None:
    path = tmp_path / "case.log"
    holder = run(
        "j = Journal.create(Path(sys.argv[1])); j.append(b'one'); print(1, flush=True); input()",
        path,
    )
    assert holder.stdout is not None
    assert holder.stdout.readline() == "1\n"
    with pytest.raises(JournalError, match="already open in another process"):
        Journal.reopen(path)
    assert read(path).lines == (b"one",), "reading is always allowed"
    holder.kill()
    holder.communicate(timeout=20)
    with Journal.reopen(path) as journal:
        journal.append(b"two")
    assert read(path).lines == (b"one", b"two")


def test_a_killed_process_has_lost_nothing_that_it_acknowledged(tmp_path: Path) -> None:
    for round_ in range(5):
        path = tmp_path / f"{round_}.log"
        child = run(
            """
            journal = Journal.create(Path(sys.argv[1]))
            for number in range(10**9):
                journal.append(str(number).encode())
                print(number, flush=True)
            """,
            path,
        )
        assert child.stdout is not None
        acknowledged = [child.stdout.readline() for _ in range(20 + 37 * round_)]
        child.send_signal(getattr(signal, "SIGKILL", signal.SIGTERM))
        acknowledged += child.communicate(timeout=20)[0].splitlines(keepends=True)
        whole = [line for line in acknowledged if line.endswith("\n")]
        with Journal.reopen(path) as journal:
            kept = [int(line) for line in journal.found.lines]
        assert kept == list(range(len(kept)))
        assert len(whole) <= len(kept)


# --------------------------------------------------------------------------------------- sentences


def test_an_existing_log_is_never_begun_again(tmp_path: Path) -> None:
    content = write(tmp_path / "case.log")
    with pytest.raises(JournalError, match=r"already exists; resume that case"):
        Journal.create(tmp_path / "case.log")
    assert (tmp_path / "case.log").read_bytes() == content


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("missing.log", "no such file; check the name"),
        ("case.log/below", "a part of its path is a file"),
        (".", "folder"),
    ],
)
def test_what_cannot_be_opened_says_why(tmp_path: Path, name: str, sentence: str) -> None:
    write(tmp_path / "case.log")
    for open_it in (Journal.reopen, read):
        with pytest.raises(JournalError, match=sentence):
            open_it(tmp_path / name)


def test_a_closed_journal_and_what_is_no_line_are_refused(tmp_path: Path) -> None:
    journal = Journal.create(tmp_path / "case.log")
    for no_line in (b"two\nlines", b"lost\0by the disk"):
        with pytest.raises(ValueError, match="newline or a zero byte"):
            journal.append(no_line)
    journal.append(b"one line")
    journal.close()
    journal.close()
    with pytest.raises(JournalError, match="is closed"):
        journal.append(b"late")
    assert read(tmp_path / "case.log").lines == (b"one line",)
