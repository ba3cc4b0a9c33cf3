"""The commands on files, names and texts of any kind: one sentence, no traceback, no escape."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest
from invented import invent
from readers import steers
from stories import Story

from voicecheck.core.inputs import Heard, Trouble

STRANGE = b"a\xff\x1b[31m\n"
"""A name that is no UTF-8, steers a terminal and has two lines."""


def ran(*words: object, closed: bool = False) -> tuple[int, str]:
    """Exit code and output of the program, as a process, perhaps with a closed standard input."""
    command: Sequence[bytes] = (
        *(sys.executable.encode(), b"-m", b"voicecheck"),
        *(word if isinstance(word, bytes) else os.fsencode(str(word)) for word in words),
    )
    if closed:
        command = (b"sh", b"-c", b'exec "$@" <&-', b"sh", *command)
    done = subprocess.run(
        command, stdin=subprocess.DEVNULL, capture_output=True, check=False, timeout=120
    )
    said = (done.stdout + done.stderr).decode()
    assert "Traceback" not in said, said
    return done.returncode, said


def write(path: bytes, lines: list[bytes]) -> bytes:
    """A log with this name."""
    with open(path, "wb") as file:  # noqa: PTH123  # the name is bytes
        file.write(b"".join(line + b"\n" for line in lines))
    return path


def plain(said: str) -> str:
    """The output, which must not steer."""
    assert not any(steers(line) for line in said.split("\n")), ascii(said)
    return said


def test_a_name_of_any_bytes_is_printed_legibly(tmp_path: Path) -> None:
    log = write(os.fsencode(tmp_path) + b"/" + STRANGE + b".log", invent(2))
    for command in ("verify", "review"):
        code, said = ran(command, log)
        assert code == 0, said
        assert r"a\udcff\x1b[31m\n" in plain(said)
    write(log, [b"no log"])
    for command in ("verify", "review"):
        code, said = ran(command, log)
        assert code == 1
        assert r"a\udcff\x1b[31m\n.log" in plain(said)
    code, said = ran("review", log, "--out", log)
    assert code == 1
    assert "nothing may overwrite a log" in plain(said)
    code, said = ran("verify", log, "--checkpoint", STRANGE)
    assert code == 1
    assert "is not a checkpoint" in plain(said)


def test_what_a_log_holds_is_printed_legibly(tmp_path: Path) -> None:
    """A case name with line breaks must not look like a line of the proof."""
    log = write(os.fsencode(tmp_path) + b"/a.log", invent(2))
    forged = b"x\\nBytes: each of 9 lines\\u001b[2J"
    content = invent(2)[0].replace(b'"case":"invented-2"', b'"case":"%s"' % forged)
    code, said = ran("verify", write(log, [content]))
    assert code == 0
    assert r"case x\nBytes: each of 9 lines\x1b[2J, 1 lines." in plain(said)


def test_verify_names_what_is_odd_and_still_exits_with_0(tmp_path: Path) -> None:
    tale = Story()
    tale.give(Heard(text="[unk]", confidence=7.0, audio_from_s=3.0, audio_to_s=1.0))
    tale.give(Trouble(part="voice", message="none"))
    code, said = ran("verify", write(os.fsencode(tmp_path) + b"/a.log", tale.lines()))
    assert code == 0
    assert "Remark: line 2: the confidence 7 is not between 0 and 1.\n" in said
    assert "Remark: line 2: the sound ends before it begins, at 1 s after 3 s.\n" in said
    _, said = ran("review", tmp_path / "a.log")
    page = (tmp_path / "a.html").read_text("utf-8")
    assert "the confidence 7 is not between 0 and 1" in page


def test_an_endless_line_makes_a_short_page(tmp_path: Path) -> None:
    first = invent(2)[0]
    log = write(os.fsencode(tmp_path) + b"/a.log", [first, b"x" * 50_000_000])
    for command in ("verify", "review"):
        code, said = ran(command, log)
        assert code == 1
        assert "Line 2: it is longer than" in said
        assert len(plain(said)) < 2_000
    assert (tmp_path / "a.html").stat().st_size < 100_000


@pytest.mark.parametrize("command", ["listen", "serve"])
def test_sound_that_cannot_come_is_told_before_a_case_is_opened(
    command: str, tmp_path: Path
) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "a.raw").write_bytes(bytes(33))
    options = ("--case", "a", "--case-dir", tmp_path / "cases", "--mute")
    for audio, why in (
        ("-", "Standard input is closed"),
        (tmp_path / "pipe", "start its writer first"),
        (tmp_path, "is no file"),
        (os.fsencode(tmp_path) + STRANGE, "check its name"),
    ):
        code, said = ran(command, "--audio", audio, *options, closed=audio == "-")
        assert code == 1
        assert why in plain(said)
    assert not list(tmp_path.rglob("*.log"))


def test_listen_takes_raw_sound_by_its_name(tmp_path: Path) -> None:
    (tmp_path / "a.raw").write_bytes(bytes(32_000))
    options = ("--case", "a", "--case-dir", tmp_path / "cases")
    code, said = ran("listen", "--audio", tmp_path / "a.raw", *options)
    assert code == 0, said
    assert len(list((tmp_path / "cases").glob("a-*.log"))) == 1


def test_a_device_of_any_bytes_is_told(tmp_path: Path) -> None:
    options = ("--device", STRANGE, "--case", "a", "--case-dir", tmp_path)
    code, said = ran("listen", "--mic", *options)
    assert code == 1
    plain(said)


def test_a_device_of_any_bytes_is_a_trouble_of_a_served_case(tmp_path: Path) -> None:
    (tmp_path / "a.raw").write_bytes(bytes(32_000))
    options = ("--device", STRANGE, "--case", "a", "--case-dir", tmp_path, "--port", "0")
    code, said = ran("serve", "--audio", tmp_path / "a.raw", *options)
    assert code == 0, said
    plain(said)


@pytest.mark.parametrize("content", [b"case,level\na," + b"x" * 200_000, b"case\n\xff"])
def test_labels_that_are_no_table_are_told(content: bytes, tmp_path: Path) -> None:
    """The standard library's csv takes at most 131 072 characters in a field."""
    write(os.fsencode(tmp_path) + b"/a.log", invent(2))
    (tmp_path / "labels.csv").write_bytes(content)
    options = ("--out", tmp_path / "out", "--labels", tmp_path / "labels.csv")
    code, said = ran("cases", tmp_path, *options)
    assert code == 1
    assert "labels.csv cannot be read" in plain(said)
