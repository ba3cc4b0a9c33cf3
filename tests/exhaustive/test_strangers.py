"""A case goes on while strangers crowd at its display: all that is said is heard, a nurse enters.

The loads are the customer's list: the issue "Nothing said is lost", point 12. How late a line comes
is measured by tests/bench_strangers.py.
"""

from __future__ import annotations

from pathlib import Path

from besieged import as_written, siege
from strangers import LOADS


def test_under_each_load_no_spoken_command_is_lost_and_entries_are_recorded(tmp_path: Path) -> None:
    case = siege(tmp_path, *LOADS)
    assert case.heard == as_written()
    acknowledged = case.entered[204] + case.strangers_told["204"]
    assert acknowledged <= case.lines_by_hand, "a stranger may leave before the answer"
    assert case.entered[204] >= len(LOADS)
    assert set(case.entered) <= {204, 409, 503}, "closed, or the machine is too busy: it says so"
