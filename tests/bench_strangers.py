"""How late speech is written down while strangers crowd: `bench_strangers.py [LOAD …]`.

The same recording in real time, first without strangers, then under each load, once more without at
the end. The figures depend on the machine and on what else it does: compare within one run.
"""

from __future__ import annotations

import statistics
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from besieged import as_written, siege
from strangers import LOADS


def told(load: str) -> None:
    """One case under one load, as a line of figures."""
    with TemporaryDirectory() as folder:
        case = siege(Path(folder), *([load] if load else []))
    all_heard = "all" if case.heard == as_written() else f"{len(case.heard)} of {len(as_written())}"
    print(
        f"{load or 'no strangers':<14} heard {all_heard}, {len(case.late_s)} utterances; "
        f"speech -> line median {statistics.median(case.late_s):.3f} s, "
        f"max {max(case.late_s):.3f} s; ears busy {case.busy_s:.1f} s; "
        f"by hand {dict(case.entered)} median {statistics.median(case.enter_s):.3f} s, "
        f"max {max(case.enter_s):.3f} s; strangers were told {dict(case.strangers_told)}",
        flush=True,
    )


def main(loads: list[str]) -> None:
    """A line for each load."""
    for load in ("", *(loads or LOADS), ""):
        told(load)


if __name__ == "__main__":
    main(sys.argv[1:])
