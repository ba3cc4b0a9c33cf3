"""Three losses of power, and whole cases through thousands; disk.py has the model and its sources.

Oracle: the lines that were given to the log, byte for byte, and what people were told by then.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest
from power import CASES, SECTORS, SHORT, PowerLoss, in_memory

from voicecheck import journal


@pytest.fixture
def root() -> Iterator[Path]:
    with in_memory() as folder:
        yield folder / "disk"


@pytest.mark.parametrize("sector", SECTORS)
def test_three_losses_of_power_at_every_call_leave_every_line_that_was_told(
    sector: int, root: Path, counted: list[str]
) -> None:
    cuts = PowerLoss(journal=journal, root=root, lines=SHORT[1:], sector=sector)
    cuts.everywhere(times=3)
    counted.append(f"{cuts.disks} disks after three losses of power: all that was told is there")


@pytest.mark.parametrize("sector", SECTORS)
@pytest.mark.parametrize("case", CASES)
def test_a_whole_case_is_written_through_thousands_of_losses_of_power(
    case: str, sector: int, root: Path, counted: list[str]
) -> None:
    cuts = PowerLoss(journal=journal, root=root, lines=CASES[case], sector=sector, most=5000)
    for seed in range(1000, 1100):
        cuts.by_chance(Random(seed))  # noqa: S311  # chance, no secret
    counted.append(f"{case}: nothing lost in {cuts.disks} losses of power")
