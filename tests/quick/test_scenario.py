"""Scenario and recording files: every mistake is said, with its place; lines take their turns."""

from __future__ import annotations

import numpy as np
import pytest

from voicecheck.live.rehearsal import take_turns, written
from voicecheck.live.scenario import ScenarioError, parse_recording, parse_scenario


def test_all_that_is_wrong_with_a_scenario_is_said_at_once() -> None:
    text = """title = "t"
about = "a"
invented = "A true story."
voice = "slt"
[[lines]]
say = "confirm"
heard = ""
then = "Stated"
wait_s = -1.0
over_s = -0.5
[[lines]]
say = "confirm"
heard = "confirm"
then = "Proposed"
later = "Lapsed"
[[lines]]
say = "confirm and confirm"
heard = ["confirm", "confirm"]
then = "Stated"
"""
    with pytest.raises(ScenarioError, match=r"^mine cannot be rehearsed; correct it") as caught:
        parse_scenario(text, "mine")
    assert caught.value.found == [
        'invented must begin with "Invented" or "Synthetic": only such cases belong here',
        "lines[1].heard is empty",
        "lines[1].wait_s must not be negative, but is -1.0",
        "lines[1].over_s must not be negative, but is -0.5",
        "lines[2].later needs a wait_s in which it can happen",
        "lines[3].then needs one fact for each of 2 heard",
    ]


def test_unknown_and_missing_fields_of_a_scenario_are_named() -> None:
    text = 'title = "t"\nabout = 3\ninvented = "Invented."\ncolour = "red"\n'
    with pytest.raises(ScenarioError) as caught:
        parse_scenario(text)
    assert caught.value.found == [
        "colour is not known here",
        "about must be text, not 3",
        "voice is missing",
        "lines is missing",
    ]


def test_a_file_that_is_not_toml_says_where() -> None:
    with pytest.raises(ScenarioError, match=r"not TOML: .*line 1"):
        parse_scenario("title = x")


VOICE = '{ name = "a", package = "p", licence = "l" }'


@pytest.mark.parametrize(
    ("cues", "voices", "mistake"),
    [
        ("[[1, 2], [1.5, 3]]", f"surgeon = {VOICE}", "cues[2] must begin after 2.0 s"),
        (
            "[[1, 1]]",
            f"surgeon = {VOICE}",
            "cues[1] must begin after 0.0 s and end after",
        ),
        ("[[-1, 1]]", f"surgeon = {VOICE}", "cues[1] must begin after 0.0 s"),
        ("[[1, 2, 3]]", f"surgeon = {VOICE}", "cues[1] must be two numbers, from and to, not 3"),
        ("[]", f"room = {VOICE}", "voices.surgeon is missing"),
        ("[]", f"surgeon = {VOICE}\nnurse = {VOICE}", "voices.nurse: no such speaker"),
        ("[]", f"surgeon = {VOICE}\nroom = {VOICE}", "voices: two speakers share a voice"),
    ],
)
def test_a_mistake_in_a_recording_is_named(cues: str, voices: str, mistake: str) -> None:
    text = f'invented = "Synthetic."\ncues = {cues}\n[voices]\n{voices}\n'
    with pytest.raises(ScenarioError) as caught:
        parse_recording(text)
    assert any(found.startswith(mistake) for found in caught.value.found)


# ------------------------------------------------------------------------------------------- turns

TWO_LINES = """title = "t"
about = "a"
invented = "Invented."
voice = "slt"
[[lines]]
say = "negative"
heard = "negative"
then = "NotUnderstood"
over_s = 0.5
[[lines]]
say = "negative and confirm"
heard = ["negative", "confirm"]
then = ["Retracted", "NotUnderstood"]
"""


@pytest.mark.parametrize(
    ("speaks", "said"),
    [(range(7, 31), [12, 13, 44, 45]), ((), [33, 34])],
    ids=["speaks", "mute"],
)
def test_a_line_over_the_voice_begins_in_it_and_is_left_out_if_there_is_none(
    speaks: range, said: list[int]
) -> None:
    """In blocks of 0.1 s: the machine speaks during these, lines of 0.2 s fill those."""
    recording = parse_recording(
        f'invented = "Synthetic."\ncues = [[0, 0.2], [0.2, 0.4]]\n[voices]\nsurgeon = {VOICE}'
    )
    audio, passed, loud = np.full(6400, 9000, "<i2").tobytes(), 0, []
    turns = take_turns(parse_scenario(TWO_LINES), recording, audio, lambda: passed not in speaks)
    for passed, block in enumerate(turns, 1):
        if np.frombuffer(block, "<i2").max() == 9000:
            loud.append(passed - 1)
    assert loud == said


def test_what_is_said_over_the_voice_is_not_expected_of_a_mute_machine() -> None:
    scenario = parse_scenario(TWO_LINES)
    later = [("negative", "Retracted"), ("confirm", "NotUnderstood")]
    assert written(scenario, mute=True) == later
    assert written(scenario, mute=False) == [("negative", "NotUnderstood"), *later]
