"""Two hundred kills at any moment lose nothing that was shown or acknowledged.

Real processes, real HTTP, real file, real fsync; only the voice and the ears are not.
"""

from __future__ import annotations

from pathlib import Path

from kills import CASES, killed, lost, run

from voicecheck.core.facts import Reopened, decode_record
from voicecheck.journal import read

KILLS = 200
"""The customer's number."""


def test_nothing_that_was_told_is_lost_by_200_kills(tmp_path: Path, counted: list[str]) -> None:
    figures = run(tmp_path, KILLS)
    assert figures.lost == []
    assert figures.acknowledged > KILLS
    for log in tmp_path.glob("*.log"):
        facts = [decode_record(line).fact for line in read(log).lines]
        gaps = [fact for fact in facts if isinstance(fact, Reopened)]
        assert len(gaps) == KILLS // CASES - 1, "each start but the first is a line"
    counted.append(str(figures))


def test_the_kills_would_find_a_case_that_acknowledges_before_it_records(tmp_path: Path) -> None:
    found = [
        lost(log, killed(log, number, 0.3, "early"))
        for number, log in ((n, tmp_path / f"{n}.log") for n in range(8))
    ]
    assert any(found)
