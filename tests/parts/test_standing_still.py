"""What may stall beside a live case does not stall it: terminal, sound, service manager, itself.

POSIX: pipe(7) on a full pipe, "Exit Status for Commands" on ended programs. systemd: sd_notify(3).
"""

from __future__ import annotations

import itertools
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from theatre import PATIENCE_S

from voicecheck.core.inputs import Trouble
from voicecheck.live import printer, systemd
from voicecheck.live.printer import MOST_TEXTS, Printer
from voicecheck.live.unstalled import STALLED, unstalled
from voicecheck.sound.microphone import Block
from voicecheck.sound.recording import BLOCK_SAMPLES, AudioError


def until(true: Callable[[], bool]) -> None:
    until_s = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < until_s
        time.sleep(0.01)


# ------------------------------------------------------------------------------------- terminal


class Terminal:
    """One that takes nothing until it is read."""

    def __init__(self) -> None:
        self.taken: list[str] = []
        self.open = threading.Event()

    def write(self, text: str) -> None:
        assert self.open.wait(PATIENCE_S)
        self.taken.append(text)


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> Terminal:
    paused = Terminal()
    monkeypatch.setattr(printer, "_write", paused.write)
    return paused


def test_what_a_paused_terminal_cannot_take_is_counted_where_it_is_missing(
    terminal: Terminal,
) -> None:
    prints = Printer()
    wanted = [str(number) for number in range(MOST_TEXTS + 1)]
    prints.say(wanted[0])
    until(lambda: not prints._texts)  # it hangs in the terminal
    for text in wanted[1:]:
        prints.say(text)
    prints.say("lost\nlost")
    prints.say("lost")
    terminal.open.set()
    until(lambda: not prints._texts)
    prints.say("after")
    prints.close()
    assert terminal.taken == [*wanted, "… 3 lines not shown", "after"]


def test_the_end_waits_for_what_is_printed_but_not_for_a_paused_terminal(
    terminal: Terminal,
) -> None:
    paused = Printer()
    paused.say("waits")
    paused.close()
    assert terminal.taken == []
    terminal.open.set()
    prints = Printer()
    for number in range(100):
        prints.say(str(number))
    prints.close()
    assert set(map(str, range(100))) <= set(terminal.taken)
    until(lambda: "waits" in terminal.taken)


@pytest.mark.parametrize("broken", ["unread", "closed"])
def test_a_program_whose_output_nobody_takes_goes_on_and_ends_in_order(broken: str) -> None:
    script = """
import sys
from contextlib import closing
from voicecheck.live.printer import Printer
with closing(Printer()) as printer:
    for _ in range(400):
        printer.say("x" * 1000)
print("done", file=sys.stderr)
"""
    reading, writing = os.pipe()
    if broken == "closed":
        os.close(reading)
    ran = subprocess.run(
        [sys.executable, "-c", script], stdout=writing, stderr=subprocess.PIPE, check=False
    )
    for end in (writing, reading)[: 1 if broken == "closed" else 2]:
        os.close(end)
    assert (ran.returncode, ran.stderr) == (0, b"done\n")


# ----------------------------------------------------------------------------------------- sound

SPOKEN = b"\x01\x00" * BLOCK_SAMPLES


def test_sound_that_stalls_is_told_and_silence_stands_in_for_it_until_it_comes_again() -> None:
    stall = threading.Event()

    def sound() -> Iterator[bytes]:
        yield SPOKEN
        assert stall.wait(PATIENCE_S)
        yield SPOKEN

    blocks = unstalled(sound())
    got: list[Block] = list(itertools.takewhile(lambda b: not isinstance(b, Trouble), blocks))
    assert got[0] == SPOKEN
    assert set(got[1:]) == {b""}, "a short pause adds nothing to what is being said"
    assert next(blocks) == bytes(len(SPOKEN))
    stall.set()
    rest = [block for block in blocks if block != bytes(len(SPOKEN))]
    assert rest == [Trouble(part="microphone", message=STALLED, over=True), SPOKEN]


def test_steady_sound_comes_as_it_is_and_its_end_and_its_errors_too() -> None:
    def damaged() -> Iterator[bytes]:
        yield SPOKEN
        raise AudioError("damaged")

    assert list(unstalled(iter([SPOKEN] * 3))) == [SPOKEN] * 3
    blocks = unstalled(damaged())
    assert next(blocks) == SPOKEN
    with pytest.raises(AudioError, match="damaged"):
        next(blocks)


# ------------------------------------------------------------------------------- service manager


@pytest.mark.parametrize("kind", ["path", "abstract"])
def test_the_service_manager_is_told_and_never_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    address = str(tmp_path / "notify") if kind == "path" else f"@voicecheck-{os.getpid()}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(address.replace("@", "\0"))
        monkeypatch.setenv("NOTIFY_SOCKET", address)
        systemd.notify(systemd.READY)
        assert manager.recv(100) == b"READY=1"
        for _ in range(5000):
            systemd.notify(systemd.STOPPING)  # it reads no more: the socket is full
    systemd.notify(systemd.STOPPING)  # it is gone
    monkeypatch.delenv("NOTIFY_SOCKET")
    systemd.notify(systemd.STOPPING)  # there is none


def test_the_watchdog_is_fed_once_a_second_at_most(monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[str] = []
    monkeypatch.setattr(systemd, "notify", told.append)
    now_s = iter([0.0, 0.0, 0.5, 1.1, 1.1, 1.6])
    monkeypatch.setattr(time, "monotonic", lambda: next(now_s))
    watchdog = systemd.Watchdog()
    for _ in range(4):
        watchdog.feed()
    assert told == ["WATCHDOG=1"] * 2


# ----------------------------------------------------------------------------------------- itself

STANDS_STILL = """
import ctypes, os, sys
from voicecheck.live import ending
ending.GRACE_S = float(sys.argv[1])
with ending.when_asked() as asked:
    asked.last_words = lambda: os.write(1, b"last words\\n")
    os.write(1, b"stands still\\n")
    lock = ctypes.CDLL(None).pthread_mutex_lock
    mutex = ctypes.create_string_buffer(64)  # zeros: PTHREAD_MUTEX_INITIALIZER
    while True:
        lock(mutex) if sys.argv[2] == "in C" else os.read(0, 1)
"""


@pytest.mark.parametrize("where", ["in Python", "in C"])
def test_a_program_that_stands_still_is_ended_by_one_signal_after_its_last_words(
    where: str,
) -> None:
    assert ended("0.5", where, signal.SIGTERM) == (1, b"last words\n")


@pytest.mark.parametrize(("where", "code"), [("in Python", -2), ("in C", 130)])
def test_a_second_signal_ends_it_at_once(where: str, code: int) -> None:
    """By the signal, or with 128 and its number, as a shell reports that."""
    assert ended("60", where, signal.SIGINT, signal.SIGINT) == (code, b"")


def ended(grace_s: str, where: str, *signals: signal.Signals) -> tuple[int, bytes]:
    """Its exit code and what it still said, after these signals."""
    command = [sys.executable, "-c", STANDS_STILL, grace_s, where]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as program:
        assert program.stdout is not None
        assert program.stdout.readline() == b"stands still\n"
        for number in signals:
            time.sleep(0.2)  # two that come at once are one: signal(7)
            program.send_signal(number)
        return program.wait(PATIENCE_S), program.stdout.read()
