"""Runs the driver on a log and kills it: what it had acknowledged, and what the log then holds.

A fact is acknowledged once it is shown: then driver.py prints the line's hash and the state. Both
the pipe and the bytes on the disk outlive the process.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import driver
from driver import digest

from voicecheck.core.chain import line_hash
from voicecheck.core.replay import replay
from voicecheck.journal import read

DRIVER = Path(driver.__file__)

Told = list[tuple[str, str]]
"""Hash of each acknowledged line, and the state when it was told."""


def killed(log: Path, seed: int, after_s: float, *how: str) -> Told:
    """Run the driver on the log and kill it some time after its first word."""
    command = [sys.executable, str(DRIVER), str(log), str(seed), *how]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        told = [process.stdout.readline()]
        time.sleep(after_s)
        process.kill()
        told += process.stdout.readlines()
    pairs = (line.rstrip("\n").split(" ") for line in told if line.endswith("\n"))
    return [(line, state) for line, state in pairs]


def state_of(lines: tuple[bytes, ...]) -> str:
    case = replay(lines)
    state = digest(case)
    case.close()
    return state


def lost(log: Path, told: Told) -> list[str]:
    """Acknowledged lines that the log does not hold, in their order."""
    kept = iter([line_hash(line) for line in read(log).lines])
    return [line for line, _ in told if line not in kept]
