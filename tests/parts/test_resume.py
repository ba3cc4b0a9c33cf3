"""A kill at any moment and a cut at any byte lose nothing that was acknowledged.

A fact is acknowledged once it is shown: then driver.py prints the line's hash and the state.
Oracle: what reached us through the pipe before the kill, and the bytes on the disk; both outlive
the process. Real process, real file, real fsync; only the voice and the ears are absent.
"""

from __future__ import annotations

import random
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from tempfile import TemporaryDirectory

import driver
from driver import digest

from voicecheck.core.chain import line_hash
from voicecheck.core.facts import Reopened, decode_record
from voicecheck.core.replay import replay
from voicecheck.journal import Journal, read

KILLS = 200
"""The customer's number."""

CASES = 8
IN_MEMORY = "/dev/shm" if Path("/dev/shm").is_dir() else None  # noqa: S108
"""Twenty thousand cuts need not wait for a disk; the kills do."""

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


def series(folder: Path, number: int) -> tuple[int, int]:
    """Kill one case and take it up again many times; how many facts were told, how many kept."""
    chance = random.Random(number)  # noqa: S311  # moments, no secret
    log, told = folder / f"{number}.log", Told()
    for kill in range(KILLS // CASES):
        told += killed(log, 1000 * number + kill, chance.expovariate(1 / 0.05))
        assert lost(log, told) == []
        lines = read(log).lines
        last, state = told[-1]
        place = [line_hash(line) for line in lines].index(last) + 1
        assert state_of(lines[:place]) == state, "taken up, it is what it was when it told"
    gaps = [line for line in lines if isinstance(decode_record(line).fact, Reopened)]
    assert len(gaps) == KILLS // CASES - 1, "each start but the first is a line"
    return len(told), len(lines)


def test_no_acknowledged_fact_is_lost_by_200_kills(tmp_path: Path, counted: list[str]) -> None:
    with ThreadPoolExecutor(4) as pool:
        done = list(pool.map(lambda number: series(tmp_path, number), range(CASES)))
    told, kept = (sum(column) for column in zip(*done, strict=True))
    counted.append(f"{KILLS} kills: {told} facts acknowledged, none lost; {kept} lines kept")


def test_the_kills_would_find_a_log_that_tells_before_it_keeps(tmp_path: Path) -> None:
    found = [
        lost(log, killed(log, 1, 0.1, "early"))
        for log in (tmp_path / f"{number}.log" for number in range(5))
    ]
    assert any(found)


def test_a_cut_at_every_byte_leaves_the_case_as_its_whole_lines_had_it(
    tmp_path: Path, counted: list[str]
) -> None:
    log = tmp_path / "whole.log"
    states = {line: state for seed in (5, 6) for line, state in killed(log, seed, 0.03)}
    content = log.read_bytes()
    whole = read(log).lines
    for number, line in enumerate(whole, 1):
        told = states.get(line_hash(line))
        assert told in (None, state_of(whole[:number]))
    with TemporaryDirectory(dir=IN_MEMORY) as folder:
        path = Path(folder) / "cut.log"
        for cut in range(len(content)):
            path.write_bytes(content[:cut])
            with Journal.reopen(path) as journal:
                assert journal.found.lines == whole[: content.count(b"\n", 0, cut)]
            beside = path.with_name("cut.log.torn-1")
            torn = beside.read_bytes() if beside.exists() else b""
            assert path.read_bytes() + torn == content[:cut]
            beside.unlink(missing_ok=True)
    counted.append(f"{len(content)} cuts: the whole lines stay, and the torn one beside them")
