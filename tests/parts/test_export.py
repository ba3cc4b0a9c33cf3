"""The exporter against Vosk itself: what it writes, Kaldi's code reads and computes."""

from __future__ import annotations

import json
import struct
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import vosk
from viterbi import Graph

import voicecheck
from voicecheck.ears import kaldi_files as export
from voicecheck.ears import topology
from voicecheck.ears.forward import expected_shapes, forward, load_weights
from voicecheck.ears.graph import compile_graph
from voicecheck.ears.lexicon import variants
from voicecheck.ears.mfcc import mfcc
from voicecheck.ears.tuning import Costs

if TYPE_CHECKING:
    from collections.abc import Iterator

    from voicecheck.ears.forward import Matrix

MODEL = Path(voicecheck.__file__).parent / "model"
RATE_HZ = topology.SAMPLE_RATE_HZ


@pytest.fixture(scope="module")
def weights(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Random weights that keep the network's outputs apart but not sure."""
    rng = np.random.default_rng(20)
    path: Path = tmp_path_factory.mktemp("weights") / "weights.npz"
    arrays = {
        name: (rng.standard_normal(shape) / np.sqrt(shape[-1])).astype(np.float16)
        for name, shape in expected_shapes().items()
    }
    arrays["output.linear"] *= np.float16(0.05)
    np.savez(path, allow_pickle=False, **arrays)
    return path


@pytest.fixture(scope="module")
def model(weights: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Any, Graph]]:
    """A Vosk model with one phrase, and its graph."""
    folder: Path = tmp_path_factory.mktemp("model")
    export.export(load_weights(weights), folder)
    compile_graph(["checklist artery divided"], variants, folder, Costs(unknown=1, variant=0.5))
    vosk.SetLogLevel(-1)
    loaded = vosk.Model(str(folder))
    yield loaded, Graph(folder / "graph" / "HCLG.fst")
    del loaded


def as_kaldi_reads(matrix: Matrix) -> Matrix:
    """Kaldi's compressed-matrix.cc: min_value + range / 65535 × the 16-bit number stored."""
    stored = export._compressed(matrix)
    assert stored[:4] == b"CM2 "
    least, spread, rows, columns = struct.unpack_from("<ffii", stored, 4)
    steps = np.frombuffer(stored[20:], "<u2").reshape(rows, columns)
    read: Matrix = (least + spread / 65535 * steps).astype(np.float32)
    return read


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("block", [800, 1600, 100_000])
def test_vosk_scores_as_numpy_does(
    model: tuple[Any, Graph], weights: Path, seed: int, block: int
) -> None:
    """Vosk's n-best score is -(0.9 × graph cost + acoustic cost): its recognizer.cc, GetResult."""
    loaded, graph = model
    rng = np.random.default_rng(seed)
    samples = (rng.standard_normal(RATE_HZ * 3 // 2) * rng.uniform(100, 3000)).astype(np.int16)
    recogniser = vosk.KaldiRecognizer(loaded, RATE_HZ)
    recogniser.SetMaxAlternatives(3)
    for at in range(0, len(samples), block):
        assert not recogniser.AcceptWaveform(samples[at : at + block].tobytes())
    best = json.loads(recogniser.FinalResult())["alternatives"][0]
    stored = {
        name: as_kaldi_reads(each) if each.ndim == 2 else each
        for name, each in load_weights(weights).items()
    }
    words, graph_cost, acoustic = graph.decode(forward(mfcc(samples), stored))
    assert best["text"].split() == words
    assert best["confidence"] == pytest.approx(-(0.9 * graph_cost + acoustic), abs=0.001)


def test_a_matrix_survives_the_16_bit_form() -> None:
    matrix = np.random.default_rng(3).normal(0, 0.3, (5, 7)).astype(np.float32)
    step = (matrix.max() - matrix.min()) / 65535
    assert np.abs(as_kaldi_reads(matrix) - matrix).max() <= 0.51 * step


def test_a_constant_matrix_does_not_divide_by_zero() -> None:
    stored = export._compressed(np.full((2, 2), 0.25, np.float32))
    assert struct.unpack_from("<f", stored, 4) == (0.25,)
    assert stored[20:] == bytes(8)


def test_the_same_weights_give_the_same_bytes(weights: Path, tmp_path: Path) -> None:
    for name in "ab":
        export.export(load_weights(weights), tmp_path / name)
    files = [path.relative_to(tmp_path / "a") for path in (tmp_path / "a").rglob("*.*")]
    assert len(files) == 3
    for file in files:
        assert (tmp_path / "a" / file).read_bytes() == (tmp_path / "b" / file).read_bytes()


def test_the_shipped_model_is_at_most_16_mb() -> None:
    size = sum(path.stat().st_size for path in MODEL.rglob("*") if path.is_file())
    assert size <= 16_000_000
