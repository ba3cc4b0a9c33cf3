"""What every run does beside its tests: use all cores where that pays, and count aloud."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
"""Read when numpy is loaded. Its threads wait by spinning: on cores that others use, two are ten
times slower than one."""

settings.register_profile("house", deadline=None)  # a busy machine is no mistake of ours
settings.load_profile("house")


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """A worker for each core; none for a file or a single test, which would only wait for them."""
    whole = all(Path(asked).is_dir() for asked in config.args)
    return (os.cpu_count() or 1) if whole and not config.option.keyword else 0


# -------------------------------------------------------------------------------- counted aloud

COUNTED = pytest.StashKey[list[str]]()


@pytest.fixture(scope="session")
def counted(request: pytest.FixtureRequest) -> list[str]:
    """Lines for the end of the run's output."""
    return request.config.stash.setdefault(COUNTED, [])


def pytest_sessionfinish(session: pytest.Session) -> None:
    """A worker hands its lines on."""
    if hasattr(session.config, "workeroutput"):
        session.config.workeroutput["counted"] = session.config.stash.get(COUNTED, [])


def pytest_testnodedown(node: Any) -> None:
    """Take in a worker's lines; one that crashed has none."""
    lines = getattr(node, "workeroutput", {}).get("counted", [])
    node.config.stash.setdefault(COUNTED, []).extend(lines)


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    """Print what the tests counted."""
    lines = config.stash.get(COUNTED, [])
    if lines:
        terminalreporter.section("counted")
        for line in lines:
            terminalreporter.write_line(line)
