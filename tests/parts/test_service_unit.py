"""The systemd unit as systemd itself reads it: every key is known, and little is left exposed.

systemd.unit(5), systemd-analyze(1). Not started here: that takes a machine that systemd runs.
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest
from theatre import PROGRAM

import voicecheck

UNIT = Path(voicecheck.__file__).parent / "systemd" / "voicecheck@.service"
MOST_EXPOSED = "20"
"""2.0 of 10; systemd calls up to 2 "OK" and above 4 "MEDIUM"; a limit of our choice, no source."""


def analyze(folder: Path, unit: str, *command: str) -> subprocess.CompletedProcess[str]:
    """What systemd says of a unit whose program is where this one is."""
    if not shutil.which("systemd-analyze"):
        pytest.skip("no systemd-analyze: it comes with the Debian package systemd")
    path = folder / UNIT.name
    path.write_text(unit.replace("/opt/voicecheck/bin/voicecheck", str(PROGRAM)))
    return subprocess.run(
        ["systemd-analyze", *command, str(path)], check=False, capture_output=True, text=True
    )


def test_systemd_finds_nothing_wrong_with_the_unit(tmp_path: Path) -> None:
    found = analyze(tmp_path, UNIT.read_text(), "verify", "--man=no")
    assert (found.returncode, found.stdout + found.stderr) == (0, "")


def test_systemd_finds_a_key_that_it_does_not_know(tmp_path: Path) -> None:
    found = analyze(tmp_path, UNIT.read_text().replace("KillMode", "KilMode"), "verify", "--man=no")
    assert "Unknown key 'KilMode'" in found.stderr


@pytest.mark.parametrize("without", ["", "CapabilityBoundingSet=\n"])
def test_little_is_left_exposed(tmp_path: Path, without: str) -> None:
    unit = UNIT.read_text().replace("\n" + without, "\n", 1) if without else UNIT.read_text()
    found = analyze(
        tmp_path, unit, "security", "--offline=true", f"--threshold={MOST_EXPOSED}", "--no-pager"
    )
    assert bool(found.returncode) is bool(without), found.stdout[-200:] + found.stderr
