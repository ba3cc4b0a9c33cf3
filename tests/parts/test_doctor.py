"""The doctor where there is no sound card: what else it finds, and how it ends.

tests/exhaustive/test_doctor_on_sound_cards.py has it measure and listen.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from voicecheck.cli import main
from voicecheck.live import doctor


def test_on_a_machine_without_sound_it_says_so_and_fails(tmp_path: Path) -> None:
    ran = CliRunner().invoke(
        main, ["doctor", "--device", "no such device", "--case-dir", str(tmp_path)]
    )
    assert ran.exit_code == 1
    assert "a line is on disk after" in ran.output
    assert "Model: voicecheck model" in ran.output
    assert "Voice: pyttsx3" in ran.output
    assert "The microphone no such device cannot be opened" in ran.output or (
        "PortAudio is missing" in ran.output
    )
    assert list(tmp_path.iterdir()) == [], "nothing is left behind"


def test_a_full_disk_is_told_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(doctor, "LEAST_FREE_BYTES", 10**18)
    ran = CliRunner().invoke(main, ["doctor", "--device", "none", "--case-dir", str(tmp_path)])
    assert "The disk is almost full: free some space" in ran.output
