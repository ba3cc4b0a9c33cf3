"""The whole chain in miniature: corpus, unfolding, training in two processes, export, evaluation.

Seconds of training teach nothing, so it starts from the shipped weights, and the test is that what
was said is still heard at the end. The shipped model's own figures are in voicecheck/model/CARD.md.
"""

from __future__ import annotations

import csv
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from random import Random

import numpy as np
import pytest
import soundfile
from speech import RATE_HZ, say

from voicecheck.acoustic.evaluate import Measurement, read, run
from voicecheck.acoustic.making.corpus import make
from voicecheck.acoustic.making.voices import Spoken
from voicecheck.ears import decoder
from voicecheck.ears.forward import forward, load_weights
from voicecheck.ears.lexicon import variants
from voicecheck.ears.recogniser import Recogniser
from voicecheck.ears.topology import CEPSTRA, PDF_COUNT

MAKING = "voicecheck.acoustic.making"
SHIPPED = Path(__file__).parents[2] / "voicecheck" / "model" / "hearing.npz"
PHRASES = ("checklist artery divided", "checklist call for help", "confirm", "negative")
TORCHRUN = ("-m", "torch.distributed.run", "--nproc-per-node", "2", "--rdzv-backend", "c10d")


class Miniature:
    """A voice to train on: espeak-ng, labelled with the lexicon's phones."""

    def say(self, text: str, rng: Random) -> Spoken:
        """Say it at a pitch of its own."""
        samples = say(
            text, rng.choice(("en-us", "en-gb")), rng.randint(130, 190), rng.randint(30, 70)
        )
        phones = [phone for word in text.split() for phone in variants(word, {})[0]]
        return Spoken(
            samples=np.asarray(samples / 32768, np.float32), voice="miniature", phones=phones
        )


@pytest.fixture(scope="module")
def trained(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """Weights that two processes trained on for some seconds, and what they printed."""
    pytest.importorskip("torch", reason="torch comes with the extra 'train'")
    corpus = tmp_path_factory.mktemp("corpus")
    for name, seed in (("miniature-0", 1), ("miniature-1", 2), ("dev-miniature-0", 3)):
        make(
            Miniature(), lambda rng: rng.choice(PHRASES), corpus, name=name, seed=seed, hours=0.004
        )
    start, weights = str(corpus / "start.pt"), corpus / "weights.npz"
    on = ("--corpus", str(corpus))
    made("-m", f"{MAKING}.unfold", str(SHIPPED), *on, "--out", start)
    resume = ("--resume", start, "--peak-rate", "0.0001")
    options = ("--minutes", "0.3", "--batch-seconds", "20", "--out", str(weights))
    return weights, made(*TORCHRUN, "-m", f"{MAKING}.train", *on, *resume, *options)


def made(*arguments: str) -> str:
    """What Python printed, run with these arguments."""
    ran = subprocess.run(
        [sys.executable, *arguments],
        env={**os.environ, "OMP_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    return ran.stdout


def test_the_corpus_is_what_its_manifest_says(trained: tuple[Path, str]) -> None:
    folder = trained[0].parent
    for line in map(json.loads, (folder / "miniature-0.jsonl").read_text("utf-8").splitlines()):
        samples, rate_hz = soundfile.read(folder / line["file"])
        assert rate_hz == RATE_HZ
        assert len(samples) == pytest.approx(line["seconds"] * RATE_HZ, abs=0.02 * RATE_HZ)
        assert line["text"] in PHRASES


def test_two_processes_train_one_network_on_a_share_each(trained: tuple[Path, str]) -> None:
    """Each tells the hours of its own manifest; the figures and the weights are of one."""
    printed = trained[1].splitlines()
    assert trained[1].count(" h in ") == 2  # they may write into one line
    assert sum(line.startswith("dev phone errors") for line in printed) == 1
    features = np.random.default_rng(1).standard_normal((30, CEPSTRA), np.float32)
    scores = forward(features, load_weights(trained[0]))
    np.testing.assert_allclose(np.exp(scores).sum(axis=1), 1, atol=1e-4)
    assert scores.shape == (10, PDF_COUNT)
    assert not np.allclose(scores, forward(features, load_weights(SHIPPED)), atol=0.01)


def test_the_weights_become_a_model_that_hears_what_was_said(
    trained: tuple[Path, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for network in ("hearing", "second-look"):
        shutil.copy(trained[0], tmp_path / f"{network}.npz")
    monkeypatch.setattr(decoder, "_OURS", tmp_path)
    rows = [("path", "text", "voice", "condition")]
    for number, text in enumerate(PHRASES):
        soundfile.write(tmp_path / f"{number}.flac", say(text), RATE_HZ)
        rows.append((f"{number}.flac", text, "espeak", "command"))
    with (tmp_path / "trials.csv").open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows(rows)
    clips = list(read(tmp_path / "trials.csv"))
    measurement = Measurement("Recogniser", "none", 1, dict.fromkeys(PHRASES, 0.5))
    with Recogniser(PHRASES) as ears:
        outcomes = run(ears, clips, [], measurement)
    assert [outcome.accepted for outcome in outcomes] == [(text,) for text in PHRASES]
    assert all(outcome.audio_s > 1 for outcome in outcomes)
