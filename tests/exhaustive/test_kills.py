"""Two hundred kills at any moment lose nothing that was acknowledged.

Real process, real file, real fsync; only the voice and the ears are absent.
"""

from __future__ import annotations

import random
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from kills import Told, killed, lost, state_of

from voicecheck.core.chain import line_hash
from voicecheck.core.facts import Reopened, decode_record
from voicecheck.journal import read

KILLS = 200
"""The customer's number."""

CASES = 8


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
