"""What speaks for a phrase in a stretch of sound, and what that is worth."""

from __future__ import annotations

import csv
import itertools
from pathlib import Path

import numpy as np
import pytest
import soundfile
from speech import RATE_HZ, noise, say
from stories import shipped

import voicecheck
from voicecheck.acoustic import calibrate
from voicecheck.acoustic.making.corpus import trimmed
from voicecheck.core.inputs import Heard
from voicecheck.ears import likeness
from voicecheck.ears.forward import load_weights
from voicecheck.ears.lexicon import Phones, variants
from voicecheck.ears.likeness import Evidence, Fit, Likeness, confidence
from voicecheck.ears.topology import BLANK, PDF_COUNT, PDF_OF_PHONE

MODEL = Path(voicecheck.__file__).parent / "model"
NETWORKS = [load_weights(MODEL / name) for name in ("hearing.npz", "second-look.npz")]
LIKENESS = Likeness(variants, *NETWORKS)
PHRASE = "checklist artery divided"


def fit(said: str, *, noise_level: float = 0.0) -> Fit:
    sound = say(said) + noise(len(say(said)), seed=3, level=noise_level)
    begin, end = RATE_HZ * 2 // 5, len(sound) - RATE_HZ * 4 // 5
    return LIKENESS.fit(PHRASE, sound.astype(np.int16), begin, end)


def collapsed(labels: tuple[int, ...]) -> list[int]:
    """What a path of labels says: Graves et al. (ICML 2006), section 3.1: repeats, then blanks."""
    return [label for label, _ in itertools.groupby(labels) if label != BLANK]


@pytest.mark.parametrize("seed", range(6))
def test_the_alignment_is_the_best_of_all_paths_that_say_the_phrase(seed: int) -> None:
    """By CTC's definition, every path tried: three labels in six frames, 729 of them."""
    rng = np.random.default_rng(seed)
    ways: list[list[Phones]] = [[("AA", "B"), ("B",)], [("B", "AA")]]
    labels = (BLANK, PDF_OF_PHONE["AA"], PDF_OF_PHONE["B"])
    scores = np.full((6, PDF_COUNT), -50.0, np.float32)
    scores[:, labels] = np.log(rng.dirichlet(np.ones(3), size=6))
    said = [[PDF_OF_PHONE[phone] for phone in (*one, *two)] for one in ways[0] for two in ways[1]]
    best = max(
        (path for path in itertools.product(labels, repeat=6) if collapsed(path) in said),
        key=lambda path: sum(scores[at, label] for at, label in enumerate(path)),
    )
    lost = [float(scores[at, label] - scores[at].max()) for at, label in enumerate(best)]
    words = [in_first_word(best, at, last=len(collapsed(best)) - 2) for at in range(6)]
    first, second = (
        sum(each for each, is_first in zip(lost, words, strict=True) if is_first is wanted)
        for wanted in (True, False)
    )
    whole, worst_word = likeness._Path(ways).fit(scores)
    assert whole == pytest.approx(sum(lost) / len(collapsed(best)), abs=1e-5)
    worst = min(first / (len(collapsed(best)) - 2), second / 2)
    assert worst_word == pytest.approx(worst, abs=1e-5)
    likely = sum(float(scores[at, label]) for at, label in enumerate(best))
    assert likeness._Path(ways).loglikelihood(scores) == pytest.approx(likely, abs=1e-5)


def in_first_word(path: tuple[int, ...], at: int, *, last: int) -> bool:
    """Whether a frame belongs to the first word, of so many phones; a blank to what it follows."""
    return len(collapsed(path[: at + 1])) <= last


def test_a_phrase_has_no_fit_in_fewer_frames_than_it_has_phones() -> None:
    path = likeness._Path([[("B", "AA", "B")]])
    assert path.fit(np.zeros((2, PDF_COUNT), np.float32))[0] < -10
    assert path.fit(np.zeros((3, PDF_COUNT), np.float32))[0] == 0
    assert path.loglikelihood(np.zeros((2, PDF_COUNT), np.float32)) == -np.inf


def test_sound_that_is_too_short_for_a_frame_has_no_fit() -> None:
    for samples in (100, 0):
        silence = np.zeros(samples, np.int16)
        assert LIKENESS.fit(PHRASE, silence, 0, samples).whole < -10


def test_what_was_said_fits_and_what_was_not_does_not() -> None:
    right, changed = fit(PHRASE), fit("checklist artery protected")
    other, hiss = fit("the weather was fine on sunday"), noise(2 * RATE_HZ, seed=3, level=900.0)
    assert right.whole > -0.5
    assert right.worst_word > -1.5
    assert changed.worst_word < right.worst_word - 2, "one word is another"
    assert other.whole < -2
    nothing = LIKENESS.fit(PHRASE, hiss.astype(np.int16), RATE_HZ, len(hiss))
    assert nothing.whole < -2
    assert nothing.spoken_before < 0.5


def test_two_networks_judge_by_the_mean_of_their_fits() -> None:
    sound = say("checklist artery protected").astype(np.int16)
    both, *each = (
        np.array(Likeness(variants, *networks).fit(PHRASE, sound, 0, len(sound)))
        for networks in (NETWORKS, NETWORKS[:1], NETWORKS[1:])
    )
    np.testing.assert_allclose(both, np.mean(each, axis=0), atol=1e-6)
    one, other = each
    assert not np.allclose(one, other, atol=0.01)


def test_of_two_networks_what_both_find_likely_adds_up() -> None:
    sound = say(PHRASE).astype(np.int16)
    phrases = ["checklist artery protected", PHRASE, "checklist artery"]
    both, *each = (
        Likeness(variants, *networks).loglikelihoods(phrases, sound)
        for networks in (NETWORKS, NETWORKS[:1], NETWORKS[1:])
    )
    np.testing.assert_allclose(both, np.sum(each, axis=0), rtol=1e-6)
    assert [int(np.argmax(likely)) for likely in (both, *each)] == [1, 1, 1]


def test_a_network_that_is_unsure_in_noise_is_not_taken_at_its_word(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    unsure = fit(PHRASE, noise_level=6000.0)
    monkeypatch.setattr(likeness, "BLANK_COST", 0.0)
    assert fit(PHRASE, noise_level=6000.0).whole < unsure.whole < 0


@pytest.mark.parametrize(("pause_s", "in_one_breath"), [(0.1, True), (0.7, False)])
def test_speech_just_before_is_heard_and_a_breath_earlier_is_not(
    pause_s: float, *, in_one_breath: bool
) -> None:
    talk, phrase = (
        trimmed((say(text) / 32768).astype(np.float32)) for text in ("and then we look at", PHRASE)
    )
    pause = np.zeros(int(pause_s * RATE_HZ))
    sound = np.concatenate((pause, talk, pause, phrase, pause)) * 32767
    begin = len(sound) - len(phrase) - len(pause)
    found = LIKENESS.fit(PHRASE, sound.astype(np.int16), begin, begin + len(phrase))
    assert (found.spoken_before > 1) is in_one_breath


@pytest.mark.parametrize(
    ("more", "less"),
    [
        (Evidence(0.99, Fit(-1, -2, 0)), Evidence(0.6, Fit(-1, -2, 0))),
        (Evidence(0.9, Fit(-0.5, -2, 0)), Evidence(0.9, Fit(-2, -2, 0))),
        (Evidence(0.9, Fit(-1, -3, 0)), Evidence(0.9, Fit(-1, -6, 0))),
        (Evidence(0.9, Fit(-1, -2, 0)), Evidence(0.9, Fit(-1, -2, 3))),
    ],
)
def test_more_evidence_makes_surer(more: Evidence, less: Evidence) -> None:
    assert 0 < confidence(less) < confidence(more) < 1


def test_what_any_voice_loses_says_nothing_against_a_phrase() -> None:
    best = confidence(Evidence(0.9, Fit(0, 0, 0)))
    whole, worst_word = -likeness.ANY_VOICE_LOSES, -likeness.ANY_WORD_LOSES
    assert confidence(Evidence(0.9, Fit(whole, worst_word, 0))) == best
    assert confidence(Evidence(0.9, Fit(whole - 0.1, worst_word, 0))) < best
    assert confidence(Evidence(0.9, Fit(whole, worst_word - 0.1, 0))) < best


def test_the_operating_point_lies_between_a_phrase_and_noise() -> None:
    listening = shipped().common.listening
    assert confidence(Evidence(1.0, Fit(-0.2, -1.0, 0))) > listening.least_confidence_confirm
    assert confidence(Evidence(1.0, Fit(-4.0, -6.0, 0))) < listening.least_confidence


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
