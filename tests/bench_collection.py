"""Measure how long many cases take to collect, sum up and chart: a program to run by hand.

    python tests/bench_collection.py FOLDER [COUNT …]

It makes the invented logs once and keeps them in FOLDER. It proves and collects them, sums them up
and draws the page. For comparison, one plain pass over the logs works out the same figures without
any proof. It prints wall and processor seconds of each part, and the most memory of any process.
"""

from __future__ import annotations

import os
import resource
import sys
import time
from collections.abc import Callable
from pathlib import Path

import independent
from invented import write_series

from voicecheck.cases.aggregates import summarise
from voicecheck.cases.collection import collect
from voicecheck.cases.layout import VERSION
from voicecheck.cases.overview import cases_page


def timed(name: str, work: Callable[[], object]) -> None:
    """Do the work and print what it took, with that of the child processes that have ended."""
    before, start = os.times(), time.perf_counter()
    work()
    wall_s, after = time.perf_counter() - start, os.times()
    cpu_s = sum(after[:4]) - sum(before[:4])
    most = max(resource.getrusage(who).ru_maxrss for who in _WHO) / 1024
    print(f"  {name:42} {wall_s:9.2f} s wall {cpu_s:9.2f} s cpu   {most:6.0f} MiB at most")


_WHO = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)


def bench(folder: Path, count: int) -> None:
    """All parts, for this many cases."""
    logs, out = folder / f"logs-{count}", folder / f"out-{count}"
    print(f"{count} cases, {os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}")
    if not (logs / "labels.csv").exists():
        timed("make the invented logs", lambda: write_series(logs, count))
    files = sorted(logs.glob("*.log"))
    timed("plain pass: same figures, nothing proven", lambda: [_plain(log) for log in files])
    timed("prove and collect into Parquet", lambda: collect(logs, out, logs / "labels.csv"))
    timed("sum up with DuckDB", lambda: summarise(out / f"layout-{VERSION}"))
    timed("page with run charts", lambda: cases_page(summarise(out / f"layout-{VERSION}"), "bench"))
    size = sum(file.stat().st_size for file in out.rglob("*.parquet"))
    logged = sum(file.stat().st_size for file in files)
    print(f"  logs {logged / 2**20:.1f} MiB, Parquet {size / 2**20:.1f} MiB\n", flush=True)


def _plain(log: Path) -> object:
    return independent.figures(log.read_bytes())


if __name__ == "__main__":
    for number in sys.argv[2:] or ("1000", "10000"):
        bench(Path(sys.argv[1]), int(number))
