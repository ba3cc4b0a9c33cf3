"""Confidence: what more or less evidence gives, and how its weights are calibrated."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
import soundfile
from speech import RATE_HZ, noise, say
from stories import shipped

from voicecheck.acoustic import calibrate
from voicecheck.core.inputs import Heard
from voicecheck.ears.confidence import Evidence, confidence
from voicecheck.ears.pronunciation import Goodness
from voicecheck.ears.tuning import DEAD_ZONE, DEAD_ZONE_WORST_WORD

PHRASE = "checklist artery divided"


@pytest.mark.parametrize(
    ("more", "less"),
    [
        (Evidence(0.99, Goodness(-1, -2, 0)), Evidence(0.6, Goodness(-1, -2, 0))),
        (Evidence(0.9, Goodness(-0.5, -2, 0)), Evidence(0.9, Goodness(-2, -2, 0))),
        (Evidence(0.9, Goodness(-1, -3, 0)), Evidence(0.9, Goodness(-1, -6, 0))),
        (Evidence(0.9, Goodness(-1, -2, 0)), Evidence(0.9, Goodness(-1, -2, 3))),
    ],
)
def test_more_evidence_makes_surer(more: Evidence, less: Evidence) -> None:
    assert 0 < confidence(less) < confidence(more) < 1


def test_what_any_voice_loses_says_nothing_against_a_phrase() -> None:
    best = confidence(Evidence(0.9, Goodness(0, 0, 0)))
    whole, worst_word = -DEAD_ZONE, -DEAD_ZONE_WORST_WORD
    assert confidence(Evidence(0.9, Goodness(whole, worst_word, 0))) == best
    assert confidence(Evidence(0.9, Goodness(whole - 0.1, worst_word, 0))) < best
    assert confidence(Evidence(0.9, Goodness(whole, worst_word - 0.1, 0))) < best


def test_the_operating_point_lies_between_a_phrase_and_noise() -> None:
    listening = shipped().common.listening
    assert confidence(Evidence(1.0, Goodness(-0.2, -1.0, 0))) > listening.least_confidence_confirm
    assert confidence(Evidence(1.0, Goodness(-4.0, -6.0, 0))) < listening.least_confidence


def test_the_weights_are_those_of_a_worked_example() -> None:
    """Hours of study and whether the examination was passed, of 20 students: -4.0777 and 1.5046.

    Source: the example of Wikipedia's "Logistic regression", data and result from memory.
    """
    studied = "0.5 0.75 1 1.25 1.5 1.75 1.75 2 2.25 2.5 2.75 3 3.25 3.5 4 4.25 4.5 4.75 5 5.5"
    hours = np.array([float(each) for each in studied.split()])
    passed = np.array([0, 0, 0, 0, 0, 0, 1, 0, 1, 0, 1, 0, 1, 0, 1, 1, 1, 1, 1, 1], bool)
    weights = calibrate.logistic(np.stack((np.ones(20), hours), axis=1), passed, np.ones(20))
    np.testing.assert_allclose(weights, (-4.0777, 1.5046), rtol=0.02)


def test_what_counts_twice_is_as_if_it_were_there_twice() -> None:
    rng = np.random.default_rng(4)
    terms, said = rng.normal(size=(40, 2)), rng.random(40) < 0.5
    counts = np.where(np.arange(40) < 10, 2.0, 1.0)
    once = calibrate.logistic(terms, said, counts)
    twice = calibrate.logistic(
        np.concatenate((terms, terms[:10])), np.concatenate((said, said[:10])), np.ones(50)
    )
    np.testing.assert_allclose(once, twice)


SPOKEN = (PHRASE, "please move the lamp a little", "confirm")


def test_each_phrase_that_was_found_gets_its_own_evidence() -> None:
    noting = calibrate.Noting({PHRASE: 0.8, "confirm": 0.8})
    alone: list[tuple[str, Evidence]] = []
    heard: list[Heard] = []
    hisses = [noise(len(say(said)), seed=5, level=400.0) for said in SPOKEN]
    sounds = [
        (say(s) + hiss).astype(np.int16).tobytes() for s, hiss in zip(SPOKEN, hisses, strict=True)
    ]
    with noting.ears as ears:
        for sound in sounds:
            alone += noting.of(ears.hear(sound) + ears.finish())
        for sound in sounds:
            heard += ears.hear(sound) + ears.finish()
        together = list(noting.of(heard))
    assert [phrase for phrase, _ in together] == [PHRASE, "confirm"]
    assert together == alone, "and what was heard before does not matter"
    assert together[0][1] != together[1][1]


def test_calibrating_listens_to_what_was_said_and_what_was_not(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    texts = {"commands": ("checklist view is lost", "confirm"), "near": ("checklist view lost",)}
    for name, spoken in {**texts, "talk": SPOKEN[1:2]}.items():
        rows = [("path", "text", "voice")]
        for text in spoken:
            rows.append((f"{text}.flac", text, "espeak"))
            soundfile.write(tmp_path / f"{text}.flac", say(text), RATE_HZ)
        with (tmp_path / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows(rows)
    near, talk = (str(tmp_path / f"{name}.csv") for name in ("near", "talk"))
    given = [str(tmp_path / "commands.csv"), "--near", near, "--talk", talk, "--hours", "0.01"]
    kept = tmp_path / "evidence.csv"
    monkeypatch.setattr("sys.argv", ["calibrate", *given, "--evidence", str(kept)])
    calibrate.main()
    assert "none: 2 phrases found so far\n2 said, " in capsys.readouterr().out
    with kept.open(newline="", encoding="utf-8") as file:
        found = [(row["phrase"], row["was_said"]) for row in csv.DictReader(file)]
    assert found[:2] == [("checklist view is lost", "True"), ("confirm", "True")]
    assert all(was_said == "False" for _, was_said in found[2:])
