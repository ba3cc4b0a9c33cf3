"""The tuned numbers agree with each other, and with the operating points of a procedure."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from stories import COMMON_TEXT, GRAMMARS, shipped

from voicecheck.cli import main
from voicecheck.core.procedure import Listening, ProcedureError
from voicecheck.ears import tuning
from voicecheck.ears.recogniser import Recogniser
from voicecheck.ears.topology import FRAME_SHIFT_MS, LEFT_CONTEXT_FRAMES, SUBSAMPLING

SHIPPED = shipped().common.listening


def test_the_shipped_operating_points_agree_with_the_second_pass() -> None:
    tuning.check(SHIPPED)


CONTRADICTIONS = [
    ("least_confidence", 0.4, "least_confidence is 0.4, .* misses can still reach 0.475: raise"),
    ("least_confidence", 0.475, "misses can still reach 0.475: raise"),
    ("least_confidence", 0.76, "least_confidence is 0.76, .* gets 0.75 at most, .*: lower it"),
    ("least_confidence_critical", 0.75, "critical is 0.75, .* can reach 0.75, .*: raise it"),
    ("least_confidence_confirm", 0.7, "confirm is 0.7, .* can reach 0.75, .*: raise it"),
]


@pytest.mark.parametrize(("name", "least", "sentence"), CONTRADICTIONS)
def test_an_operating_point_that_contradicts_the_second_pass_is_refused(
    name: str, least: float, sentence: str
) -> None:
    points = {name: least}
    with pytest.raises(ProcedureError, match=sentence) as refused:
        tuning.check(replace(SHIPPED, **points))  # type: ignore[arg-type]
    assert len(refused.value.found) == 1


def test_the_points_next_to_a_contradiction_are_accepted() -> None:
    for least in (0.476, 0.75):
        tuning.check(replace(SHIPPED, least_confidence=least))
    tuning.check(replace(SHIPPED, least_confidence_critical=0.751, least_confidence_confirm=0.751))


def test_a_procedure_without_operating_points_is_told_all_three() -> None:
    with pytest.raises(ProcedureError) as refused:
        tuning.check(Listening(address="checklist"))
    assert [each.split()[0] for each in refused.value.found] == [
        "least_confidence",
        "least_confidence_critical",
        "least_confidence_confirm",
    ]


def test_the_shipped_model_is_not_loaded_for_points_that_contradict_it(tmp_path: Path) -> None:
    low = replace(SHIPPED, least_confidence_critical=0.7)
    with pytest.raises(ProcedureError, match=r"least_confidence_critical is 0\.7"):
        Recogniser(["confirm"], listening=low)
    with pytest.raises(ValueError, match="missing or broken"):  # its confidences have no cap
        Recogniser(["confirm"], listening=low, model=tmp_path)


def test_a_live_case_is_refused_with_the_cure(tmp_path: Path) -> None:
    procedure = tmp_path / "procedure.toml"
    shutil.copy(GRAMMARS / "laparoscopic_cholecystectomy.toml", procedure)
    lowered = COMMON_TEXT.replace(
        "least_confidence_critical = 0.8 ", "least_confidence_critical = 0.7 "
    )
    assert lowered != COMMON_TEXT
    (tmp_path / "_common.toml").write_text(lowered, encoding="utf-8")
    cases = tmp_path / "cases"
    asked = ["listen", "--audio", "-", "--procedure", str(procedure), "--case-dir", str(cases)]
    ran = CliRunner().invoke(main, asked)
    assert ran.exit_code == 1
    assert "The [listening] table cannot be used" in ran.output
    assert "least_confidence_critical is 0.7" in ran.output
    assert "raise it above that" in ran.output
    assert not cases.exists()
    checked = CliRunner().invoke(main, ["check", str(procedure)])
    assert checked.exit_code == 1
    assert "least_confidence_critical is 0.7" in checked.output


def test_numbers_that_depend_on_each_other_agree() -> None:
    costs = tuning.Costs()
    assert tuning.FOUND < tuning.CLEARLY <= 1
    assert tuning.NOT_CLEAR_AT_MOST < tuning.CERTAIN
    assert costs.blank > tuning.ALIGNMENT_BLANK_COST
    assert tuning.RULE2_RELATIVE_COST < costs.unknown_end < tuning.RULE3_RELATIVE_COST
    assert tuning.RULE2_SILENCE_S < tuning.RULE3_SILENCE_S < tuning.RULE4_SILENCE_S
    assert tuning.RULE5_UTTERANCE_S < tuning.LONGEST_UTTERANCE_S
    assert tuning.QUIET_S < tuning.LONG_QUIET_S
    assert LEFT_CONTEXT_FRAMES * FRAME_SHIFT_MS / 1000 <= tuning.CONTEXT_S
    phases_ms = {round(s * 1000) % (FRAME_SHIFT_MS * SUBSAMPLING) for s in tuning.STARTS_LATER_S}
    assert len(phases_ms) == len(tuning.STARTS_LATER_S), "its frames fall elsewhere each time"
