"""What the proof allows but verify names: clocks, confidences and sound that cannot be right."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from invented import invent
from stories import Story, moment

from voicecheck.core.facts import Record, decode_record
from voicecheck.core.inputs import Heard, Input, Restarted, Said
from voicecheck.core.replay import story
from voicecheck.review.examine import examine
from voicecheck.review.proof import proof
from voicecheck.review.remarks import MOST, remarks

GOLDEN = sorted((Path(__file__).parents[1] / "golden").glob("*/*.log"))


def heard(confidence: float = 0.9, from_s: float = 1.0, to_s: float = 2.0) -> Heard:
    return Heard(text="[unk]", confidence=confidence, audio_from_s=from_s, audio_to_s=to_s)


def told(*inputs: Input) -> Story:
    tale = Story()
    for each in inputs:
        tale.give(each)
    return tale


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        (heard(1.5), "line 2: the confidence 1.5 is not between 0 and 1."),
        (heard(-0.1), "line 2: the confidence -0.1 is not between 0 and 1."),
        (heard(1e308), "line 2: the confidence 1e+308 is not between 0 and 1."),
        (
            heard(from_s=2.0, to_s=1.5),
            "line 2: the sound ends before it begins, at 1.5 s after 2 s.",
        ),
        (
            Said(text="a", audio_from_s=9.0, audio_to_s=-1.0),
            "line 2: the sound ends before it begins, at -1 s after 9 s.",
        ),
    ],
)
def test_each_oddity_is_named_with_its_line(given: Input, sentence: str) -> None:
    assert remarks(told(given).records) == (sentence,)


@pytest.mark.parametrize("given", [heard(0.0), heard(1.0), heard(from_s=2.0, to_s=2.0)])
def test_what_is_on_the_edge_is_not_odd(given: Input) -> None:
    assert remarks(told(given, heard(from_s=0.5)).records) == ()


def test_a_gap_of_unknown_length_is_named() -> None:
    record = replace(told(heard()).records[-1], cause=Restarted(gap_s=-3.0))
    assert remarks([record, replace(record, seq=3)]) == (
        "line 3: nobody knows how long nobody listened before it: the clocks disagree.",
    )


def set_back(records: list[Record]) -> Iterator[Record]:
    """The wall clock runs an hour backwards, a second a line; the steady clock goes on."""
    for record in records:
        yield replace(
            record, at=replace(record.at, utc=moment(3_600_000_000 - record.at.mono_us).utc)
        )


def test_a_wall_clock_that_runs_backwards_is_named_and_many_are_counted() -> None:
    records = list(set_back(told(*[heard()] * 14).records))
    found = remarks(records)
    assert found[0] == (
        "line 2: the wall clock runs backwards here, from 2031-05-06T01:00:00.000Z to "
        "2031-05-06T00:59:59.000Z."
    )
    assert len(found) == MOST + 1
    assert found[-1] == "4 more."
    assert len(remarks(records[: MOST + 1])) == MOST


def test_a_log_with_remarks_is_still_intact_and_its_proof_names_them() -> None:
    examined = examine(told(heard(1.5)).lines())
    assert examined.intact
    assert ("Remark", "line 2: the confidence 1.5 is not between 0 and 1.") in proof(examined)


def test_no_ordinary_log_has_a_remark() -> None:
    logs = [path.read_bytes().splitlines() for path in GOLDEN] + [invent(n) for n in range(20)]
    for log in logs:
        assert remarks(record for _, record in story(log)) == ()
        assert remarks(map(decode_record, log)) == ()
