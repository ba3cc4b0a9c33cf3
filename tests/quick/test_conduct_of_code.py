"""The house rules for code, held by the tools that know them."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def ran(*command: str, at: Path = ROOT) -> subprocess.CompletedProcess[str]:
    """Run one of the tools of this environment, on the package that stands at a place."""
    environment = os.environ | {"PYTHONPATH": str(at), "PYTHONWARNINGS": "error"}
    return subprocess.run(
        [sys.executable, *command],
        cwd=at,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )


def succeeds(*command: str) -> None:
    """Fail with everything that the tool said."""
    result = ran(*command)
    assert result.returncode == 0, result.stdout + result.stderr


def test_ruff_finds_nothing() -> None:
    succeeds("-m", "ruff", "check", "--no-cache", ".")


def test_everything_is_formatted() -> None:
    succeeds("-m", "ruff", "format", "--no-cache", "--check", ".")


def test_mypy_strict_finds_nothing() -> None:
    succeeds("-m", "mypy", "--strict")


def test_imports_keep_their_contracts() -> None:
    succeeds(*LINT_IMPORTS)


LINT_IMPORTS = (
    "-c",
    "from importlinter.cli import lint_imports_command; lint_imports_command()",
    "--no-cache",
)


@pytest.mark.parametrize(
    ("module", "line"),
    [
        ("core/conduct_1/rules", "import random"),
        ("core/conduct_1/decide", "from time import time"),
        ("core/facts", "from voicecheck.live import service"),
        ("core/conduct_1/rules", "from transitions import Machine"),
        ("sound/microphone", "from voicecheck.ears import decoder"),
        ("live/live_case", "import vosk"),
        ("ears/graph", "import torch"),
        ("core/conduct_1/grammar", "from voicecheck.core import case"),
        ("display/server", "from voicecheck.core import case"),
        ("ears/recogniser", "from voicecheck.acoustic import figures"),
        ("review/report", "from voicecheck.voice import speech"),
    ],
)
def test_an_import_against_the_contracts_is_found(module: str, line: str, tmp_path: Path) -> None:
    """The contracts bite: each of these lines would break one."""
    package = tmp_path / "voicecheck"
    shutil.copytree(ROOT / "voicecheck", package, ignore=shutil.ignore_patterns("model", "*.pyc"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    with (package / f"{module}.py").open("a", encoding="utf-8") as source:
        source.write(f"\n{line}\n")
    result = ran(*LINT_IMPORTS, at=tmp_path)
    assert result.returncode == 1, result.stdout + result.stderr
    assert "BROKEN" in result.stdout


def test_a_module_says_its_one_job_first() -> None:
    modules = sorted((ROOT / "voicecheck").rglob("*.py"))
    assert len(modules) > 50
    for path in modules:
        first = path.read_text(encoding="utf-8").partition("\n")[0]
        assert first.startswith('"""'), path.name
        assert first.rstrip('"').endswith((".", "?", ":")), f"{path.name}: {first}"
