"""The mean of two trainings' weights, of which one went on from the other.

    python -m voicecheck.acoustic.making.mean FIRST.npz SECOND.npz --out weights.npz

Such a mean often does better on what neither was trained on than either (Wortsman et al., Robust
fine-tuning of zero-shot models, CVPR 2022; from memory). Two that began apart have no use for it.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from voicecheck.ears.forward import load_weights

if TYPE_CHECKING:
    from voicecheck.ears.forward import Weights


def mean(first: Weights, second: Weights) -> dict[str, Any]:
    """The arrays of weights.npz: matrices in half precision, biases in single."""
    return {
        name: ((first[name].astype(np.float64) + second[name]) / 2).astype(
            np.float16 if name.endswith(".linear") else np.float32
        )
        for name in first
    }


def main() -> None:
    """Read the command line, read both, write their mean."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("first", type=Path)
    parser.add_argument("second", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    arrays: dict[str, Any] = mean(load_weights(options.first), load_weights(options.second))
    np.savez(options.out, **arrays)


if __name__ == "__main__":
    main()
