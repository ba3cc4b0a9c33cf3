"""What a log's bytes are taken for; oracle: JSON texts have no whole beginning (RFC 8259)."""

from __future__ import annotations

import os
import socket
import sys
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import pytest

from voicecheck.journal import LONGEST, Content, Journal, JournalError, fault, read

GOLDEN = sorted((Path(__file__).parents[1] / "golden").glob("*/*.log"))
LAST = {log.stem: tuple(log.read_bytes().splitlines()[-2:]) for log in GOLDEN}
"""The last two lines of each whole invented case; the very last one closed the record."""


def taken_up(path: Path, content: bytes) -> Content:
    """What a log with these bytes holds; reading finds the same before it is taken up."""
    path.write_bytes(content)
    found = read(path)
    with Journal.reopen(path) as journal:
        assert journal.found == found
        assert path.read_bytes() == b"".join(line + b"\n" for line in found.lines)
        journal.append(b"after")
    assert read(path) == Content(lines=(*found.lines, b"after"), torn=b"")
    return found


def aside(path: Path) -> bytes:
    beside = path.with_name(f"{path.name}.torn-1")
    return beside.read_bytes() if beside.exists() else b""


# ------------------------------------------------------------------------------- the last newline


@pytest.mark.parametrize("case", LAST)
def test_without_its_last_newline_a_closed_record_stays_closed(case: str, tmp_path: Path) -> None:
    lines = LAST[case]
    assert b'"type":"Closed"' in lines[-1]
    path = tmp_path / "case.log"
    assert taken_up(path, b"\n".join(lines)) == Content(lines=lines, torn=b"")
    assert not aside(path)


@pytest.mark.parametrize("case", LAST)
def test_a_line_cut_off_anywhere_else_is_no_line(case: str, tmp_path: Path) -> None:
    before, last = LAST[case]
    path = tmp_path / "case.log"
    for cut in range(1, len(last)):
        path.write_bytes(before + b"\n" + last[:cut])
        assert read(path) == Content(lines=(before,), torn=last[:cut])
    assert taken_up(path, path.read_bytes()).torn == aside(path) == last[:-1]


@pytest.mark.parametrize(
    "tail",
    [b"1", b"[1]", b'"text"', b"null", b"{}}", b'{"a":1} ', b'{"a":1}\r', b"[" * 90_000 + b"}"],
    ids=lambda tail: tail[:8].decode(),
)
def test_other_text_at_the_end_is_no_line(tail: bytes, tmp_path: Path) -> None:
    assert taken_up(tmp_path / "case.log", b'{"seq":1}\n' + tail).torn == tail
    assert aside(tmp_path / "case.log") == tail


# ------------------------------------------------------------------------------------- lost blocks


@pytest.mark.parametrize(
    ("end", "line"),
    [
        (b"\0" * 5000, None),
        (b'{"seq":2,"at' + b"\0" * 100, None),
        (b"\0" * 100 + b'"prev":"ab"}\n', None),
        (b'{"seq":2,' + b"\0" * 512 + b'"prev":"ab"}\n', None),
        (b'{"seq":2}' + b"\0" * 100, b'{"seq":2}'),
    ],
)
def test_zeros_at_the_end_are_blocks_that_the_disk_lost(
    end: bytes, line: bytes | None, tmp_path: Path
) -> None:
    lines, path = ((b'{"seq":1}', line) if line else (b'{"seq":1}',)), tmp_path / "case.log"
    found = taken_up(path, b'{"seq":1}\n' + end)
    assert found == Content(lines=lines, torn=end.removeprefix(line or b""))
    assert aside(path) == found.torn
    assert "zeros: the disk lost" in fault(found.torn)


def test_zeros_before_the_last_line_are_not_cut_from_the_log(tmp_path: Path) -> None:
    damaged = b'{"seq":1}\n' + b"\0" * 512 + b'\n{"seq":3}\n'
    found = taken_up(tmp_path / "case.log", damaged)
    assert found == Content(lines=(b'{"seq":1}', b"\0" * 512, b'{"seq":3}'), torn=b"")


def test_a_line_that_was_cut_off_is_not_called_lost() -> None:
    assert fault(b'{"at":') == "it was cut off after 6 bytes, before it was acknowledged"


# ---------------------------------------------------------------------------------- beyond measure


@pytest.mark.parametrize("ended", [False, True])
def test_a_line_beyond_all_measure_is_told_by_its_number_and_left_alone(
    ended: bool, tmp_path: Path
) -> None:
    path = tmp_path / "case.log"
    with path.open("wb") as file:
        file.write(b'{"seq":1}\n')
        file.seek(100_000_000)  # sparse: the disk keeps nothing of it
        file.write(b"}\n" * ended or b"}")
    size = path.stat().st_size
    tracemalloc.start()
    found = read(path)
    with pytest.raises(
        JournalError, match=r"line 2: it is longer than 1048576 bytes.*not.* changed"
    ):
        Journal.reopen(path)
    assert tracemalloc.get_traced_memory()[1] < 8 * LONGEST
    tracemalloc.stop()
    assert found.lines == (b'{"seq":1}',)
    assert len(found.torn) == LONGEST + 1
    assert "longer than 1048576 bytes" in fault(found.torn)
    assert path.stat().st_size == size
    assert [each.name for each in tmp_path.iterdir()] == ["case.log"]


def test_the_longest_line_is_written_and_read_and_no_longer_one_is(tmp_path: Path) -> None:
    longest = b"x" * (LONGEST - 1)
    with Journal.create(tmp_path / "case.log") as journal:
        journal.append(longest)
        with pytest.raises(JournalError, match=r"longer than 1048576 bytes; make .* shorter"):
            journal.append(longest + b"x")
    with Journal.reopen(tmp_path / "case.log") as journal:
        assert journal.found == Content(lines=(longest,), torn=b"")


# -------------------------------------------------------------------------------------- no log file


@pytest.mark.skipif(sys.platform == "win32", reason="mkfifo(2) is POSIX")
@pytest.mark.parametrize("what", ["pipe", "socket", "device", "folder", "loop"])
def test_what_is_no_file_is_refused_at_once(what: str, tmp_path: Path) -> None:
    """A pipe without a writer would make open(2) wait for one."""
    path = tmp_path / "x.log"
    with socket.socket(socket.AF_UNIX) as listening:
        makes: dict[str, Callable[[], None]] = {
            "pipe": lambda: os.mkfifo(path),
            "socket": lambda: listening.bind(str(path)),
            "device": lambda: path.symlink_to("/dev/zero"),
            "folder": path.mkdir,
            "loop": lambda: path.symlink_to(path),
        }
        makes[what]()
    sentence = {"folder": "it is a folder; name a file", "loop": "links; check"}
    for open_it in (read, Journal.reopen):
        with pytest.raises(JournalError, match=sentence.get(what, "a pipe, a socket or a device")):
            open_it(path)
