"""The wheel carries all that the main job needs, and runs it from another folder."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
MAIN = "from voicecheck.cli import main; main()"


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built from this tree and unpacked where nothing else of the project is."""
    place = tmp_path_factory.mktemp("wheel")
    built = subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(place)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert built.returncode == 0, built.stderr
    (wheel,) = place.glob("*.whl")
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(place / "site")
    return place / "site"


def ran(installed: Path, folder: Path, *words: str) -> str:
    """What the installed program prints when it is run in `folder`."""
    done = subprocess.run(
        [sys.executable, "-c", MAIN, *words],
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(installed)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_the_installed_program_rehearses_a_case_and_proves_its_log(
    installed: Path, tmp_path: Path
) -> None:
    assert "as the scenario says" in ran(installed, tmp_path, "rehearse", "clean_case", "--fast")
    (log,) = (tmp_path / "rehearsals").glob("*.log")
    assert "Record: closed." in ran(installed, tmp_path, "verify", str(log))
    where = subprocess.run(
        [sys.executable, "-c", "import voicecheck; print(voicecheck.__file__)"],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(installed)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert str(installed) in where.stdout
