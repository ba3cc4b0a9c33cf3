"""The network's forward pass in numpy: for the second pass, and as the reference for the others."""

from __future__ import annotations

from typing import TYPE_CHECKING
from zipfile import BadZipFile

import numpy as np

from voicecheck.ears.topology import (
    LAYERS,
    LEFT_CONTEXT_FRAMES,
    RIGHT_CONTEXT_FRAMES,
    SUBSAMPLING,
    Layer,
)

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path
    from typing import TypeAlias

    from numpy.typing import NDArray

    Matrix: TypeAlias = NDArray[np.float32]
    Weights: TypeAlias = Mapping[str, Matrix]


def load_weights(path: Path) -> Weights:
    """Read `<layer>.linear` and `<layer>.bias` of every layer as 32-bit floats.

    Raises ValueError if the file cannot be read, or if an array is missing or has a wrong shape.
    """
    try:
        with path.open("rb") as file, np.load(file, allow_pickle=False) as stored:
            weights = {name: stored[name].astype(np.float32) for name in stored.files}
    except (OSError, EOFError, BadZipFile) as error:
        raise ValueError(f"{path} cannot be read: {error}; install or train again") from error
    for name, shape in expected_shapes().items():
        if name not in weights or weights[name].shape != shape:
            raise ValueError(f"{path}: {name} must be there with shape {shape}; train again")
    return weights


def expected_shapes() -> dict[str, tuple[int, ...]]:
    """Return the name and shape of every array in a file of weights."""
    linear = {f"{layer.name}.linear": (layer.outputs, layer.columns) for layer in LAYERS}
    return linear | {f"{layer.name}.bias": (layer.outputs,) for layer in LAYERS}


def forward(features: Matrix, weights: Weights) -> Matrix:
    """Turn features (frames × cepstra) into log-probabilities (⌈frames / 3⌉ × pdfs).

    The first and the last frame are repeated to fill the context, as Kaldi does.
    """
    padded = np.pad(features, ((LEFT_CONTEXT_FRAMES, RIGHT_CONTEXT_FRAMES), (0, 0)), mode="edge")
    known = {"input": _Signal(padded, -LEFT_CONTEXT_FRAMES, 1)}
    for layer in LAYERS:
        known[layer.name] = _apply(layer, known, weights)
    return _log_softmax(known["output"].values)


class _Signal:
    """A layer's output: its rows, the time of the first row and the step between rows."""

    def __init__(self, values: Matrix, start: int, step: int) -> None:
        self.values, self.start, self.step = values, start, step

    def at(self, start: int, count: int, step: int) -> Matrix:
        first = (start - self.start) // self.step
        stride = step // self.step
        return self.values[first : first + (count - 1) * stride + 1 : stride]

    @property
    def end(self) -> int:
        return self.start + (len(self.values) - 1) * self.step


def _apply(layer: Layer, known: Mapping[str, _Signal], weights: Weights) -> _Signal:
    source = known[layer.source]
    start = source.start - layer.offsets[0]
    count = (source.end - layer.offsets[-1] - start) // SUBSAMPLING + 1
    pieces = [source.at(start + offset, count, SUBSAMPLING) for offset in layer.offsets]
    spliced = np.concatenate(pieces, axis=1)
    values = spliced @ weights[f"{layer.name}.linear"].T + weights[f"{layer.name}.bias"]
    if layer.residual:
        values += known[layer.residual].at(start, count, SUBSAMPLING)
    return _Signal(np.maximum(values, 0) if layer.relu else values, start, SUBSAMPLING)


def _log_softmax(values: Matrix) -> Matrix:
    shifted = values - values.max(axis=1, keepdims=True)
    result: Matrix = shifted - np.log(np.exp(shifted).sum(axis=1, keepdims=True))
    return result
