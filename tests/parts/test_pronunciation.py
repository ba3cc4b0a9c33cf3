"""Goodness of pronunciation: forced alignment by CTC's definition, and what real sound gives."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest
from speech import RATE_HZ, noise, say

import voicecheck
from voicecheck.acoustic.making.corpus import trimmed
from voicecheck.ears import pronunciation
from voicecheck.ears.forced_alignment import PhraseStates
from voicecheck.ears.forward import load_weights
from voicecheck.ears.lexicon import Phones, variants
from voicecheck.ears.pronunciation import Goodness, Pronunciation
from voicecheck.ears.topology import BLANK, PDF_COUNT, PDF_OF_PHONE

MODEL = Path(voicecheck.__file__).parent / "model"
NETWORKS = [load_weights(MODEL / name) for name in ("hearing.npz", "second-look.npz")]
PRONUNCIATION = Pronunciation(variants, *NETWORKS)
PHRASE = "checklist artery divided"


def goodness(said: str, *, noise_level: float = 0.0) -> Goodness:
    sound = say(said) + noise(len(say(said)), seed=3, level=noise_level)
    begin, end = RATE_HZ * 2 // 5, len(sound) - RATE_HZ * 4 // 5
    return PRONUNCIATION.goodness(PHRASE, sound.astype(np.int16), begin, end)


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
    whole, worst_word = PhraseStates(ways).goodness(scores)
    assert whole == pytest.approx(sum(lost) / len(collapsed(best)), abs=1e-5)
    worst = min(first / (len(collapsed(best)) - 2), second / 2)
    assert worst_word == pytest.approx(worst, abs=1e-5)
    likely = sum(float(scores[at, label]) for at, label in enumerate(best))
    assert PhraseStates(ways).log_likelihood(scores) == pytest.approx(likely, abs=1e-5)


def in_first_word(path: tuple[int, ...], at: int, *, last: int) -> bool:
    """Whether a frame belongs to the first word, of so many phones; a blank to what it follows."""
    return len(collapsed(path[: at + 1])) <= last


def test_a_phrase_has_no_fit_in_fewer_frames_than_it_has_phones() -> None:
    states = PhraseStates([[("B", "AA", "B")]])
    assert states.goodness(np.zeros((2, PDF_COUNT), np.float32))[0] < -10
    assert states.goodness(np.zeros((3, PDF_COUNT), np.float32))[0] == 0
    assert states.log_likelihood(np.zeros((2, PDF_COUNT), np.float32)) == -np.inf


def test_sound_that_is_too_short_for_a_frame_has_no_fit() -> None:
    for samples in (100, 0):
        silence = np.zeros(samples, np.int16)
        assert PRONUNCIATION.goodness(PHRASE, silence, 0, samples).whole < -10


def test_what_was_said_fits_and_what_was_not_does_not() -> None:
    right, changed = goodness(PHRASE), goodness("checklist artery protected")
    other, hiss = (
        goodness("the weather was fine on sunday"),
        noise(2 * RATE_HZ, seed=3, level=900.0),
    )
    assert right.whole > -0.5
    assert right.worst_word > -1.5
    assert changed.worst_word < right.worst_word - 2, "one word is another"
    assert other.whole < -2
    nothing = PRONUNCIATION.goodness(PHRASE, hiss.astype(np.int16), RATE_HZ, len(hiss))
    assert nothing.whole < -2
    assert nothing.speech_before < 0.5


def test_two_networks_judge_by_the_mean_of_their_scores() -> None:
    sound = say("checklist artery protected").astype(np.int16)
    both, *each = (
        np.array(Pronunciation(variants, *networks).goodness(PHRASE, sound, 0, len(sound)))
        for networks in (NETWORKS, NETWORKS[:1], NETWORKS[1:])
    )
    np.testing.assert_allclose(both, np.mean(each, axis=0), atol=1e-6)
    one, other = each
    assert not np.allclose(one, other, atol=0.01)


def test_of_two_networks_what_both_find_likely_adds_up() -> None:
    sound = say(PHRASE).astype(np.int16)
    phrases = ["checklist artery protected", PHRASE, "checklist artery"]
    both, *each = (
        Pronunciation(variants, *networks).log_likelihoods(phrases, sound)
        for networks in (NETWORKS, NETWORKS[:1], NETWORKS[1:])
    )
    np.testing.assert_allclose(both, np.sum(each, axis=0), rtol=1e-6)
    assert [int(np.argmax(likely)) for likely in (both, *each)] == [1, 1, 1]


def test_a_network_that_is_unsure_in_noise_is_not_taken_at_its_word(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    unsure = goodness(PHRASE, noise_level=6000.0)
    monkeypatch.setattr(pronunciation, "ALIGNMENT_BLANK_COST", 0.0)
    assert goodness(PHRASE, noise_level=6000.0).whole < unsure.whole < 0


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
    found = PRONUNCIATION.goodness(PHRASE, sound.astype(np.int16), begin, begin + len(phrase))
    assert (found.speech_before > 1) is in_one_breath
