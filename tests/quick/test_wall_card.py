"""The wall card: every phrase that may be said, once, and what each of them means for the gate."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path

import pytest
from click.testing import CliRunner
from stories import COMMON_TEXT, GRAMMARS

from voicecheck.cli import main
from voicecheck.core.conduct import CURRENT
from voicecheck.core.procedure import Procedure
from voicecheck.core.wording import CAUTION
from voicecheck.wall_card import SIZES, listed, wall_card

FILES = [
    GRAMMARS / "laparoscopic_cholecystectomy.toml",
    Path(__file__).parents[1] / "procedures" / "scaffold.toml",
]


@pytest.fixture(params=FILES, ids=lambda path: path.stem)
def procedure(request: pytest.FixtureRequest) -> Procedure:
    return CURRENT.parse(request.param.read_text(encoding="utf-8"), COMMON_TEXT, "a procedure")


def phrases(procedure: Procedure) -> list[str]:
    """Every phrase that is shown, without the address word."""
    address = f"{procedure.common.listening.address} "
    return [words.removeprefix(address) for words in CURRENT.phrases(procedure)]


def test_the_card_holds_every_phrase_once(procedure: Procedure) -> None:
    card = unescape(wall_card(procedure, "A4"))
    rows = re.findall(r"<li>(.*?)(?: <i>|</li>)", card)
    back = re.findall(r"<b>Take back:</b> (.*?)</p>", card)[0].split(" · ")
    assert sorted([*rows, *back]) == sorted(phrases(procedure))
    assert CAUTION in card


def test_the_list_holds_every_phrase_once(procedure: Procedure) -> None:
    rows = [line.strip() for line in listed(procedure).splitlines() if line.startswith("  ")]
    assert sorted(rows) == sorted(phrases(procedure))


def test_what_is_read_back_and_what_keeps_the_gate_closed_is_marked() -> None:
    shipped = CURRENT.parse(FILES[0].read_text(encoding="utf-8"), COMMON_TEXT, "a procedure")
    marks = dict(re.findall(r"<li>(.*?)(?: <i>(.*?)</i>)?</li>", wall_card(shipped, "A3")))
    assert marks["triangle free of fat"] == marks["clips on the artery"] == "read back"
    assert marks["structures uncertain"] == "the gate stays closed"
    assert marks["table tilted head up"] == marks["emergency"] == ""


def test_the_command_writes_the_card(tmp_path: Path) -> None:
    for size in SIZES:
        place = tmp_path / f"{size}.html"
        ran = CliRunner().invoke(main, ["phrases", "--card", size.lower(), "--out", str(place)])
        assert ran.exit_code == 0, ran.output
        assert f"size: {size} landscape" in place.read_text("utf-8")
