"""What every run does beside its tests: count aloud, and walk every state on the idle cores."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("house", deadline=None)  # a busy machine is no mistake of ours
settings.load_profile("house")

COUNTED = pytest.StashKey[list[str]]()


@pytest.fixture(scope="session")
def counted(request: pytest.FixtureRequest) -> list[str]:
    """Lines for the end of the run's output."""
    return request.config.stash.setdefault(COUNTED, [])


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    """Print what the tests counted."""
    lines = config.stash.get(COUNTED, [])
    if lines:
        terminalreporter.section("counted")
        for line in lines:
            terminalreporter.write_line(line)


# ---------------------------------------------------------------------------- the walk, beside them

WALK = """
import os, pickle, sys
from stories import COMMON_TEXT, SHIPPED_TEXT
from walk import explore_on_all_cores
os.nice(19)
sys.stdout.buffer.write(pickle.dumps(explore_on_all_cores(SHIPPED_TEXT, COMMON_TEXT)))
"""


def waits_for_the_walk(item: pytest.Item) -> bool:
    """Whether the test, or a fixture of it, asks for the walk."""
    return "walk" in getattr(item, "fixturenames", ())


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put last what waits for the walk: it takes minutes of all cores, and most tests only wait."""
    items.sort(key=waits_for_the_walk)


@pytest.fixture(scope="session", autouse=True)
def walking(request: pytest.FixtureRequest) -> Iterator[subprocess.Popen[bytes] | None]:
    """The walk of every state, begun before the first test, where a test waits for it."""
    if not any(map(waits_for_the_walk, request.session.items)):
        yield None
        return
    with subprocess.Popen(
        [sys.executable, "-c", WALK],
        cwd=Path(__file__).parent,
        stdout=subprocess.PIPE,
        process_group=0,  # killed whole; in a session of its own its niceness would not count
    ) as walker:
        yield walker
        if walker.poll() is None:
            os.killpg(walker.pid, signal.SIGKILL)
