"""Shows in every run what was counted, not only whether it held."""

from __future__ import annotations

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
