"""Recorded noises and rooms, in memory, to sound around the speech."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import soundfile
import torch
from torch import Tensor

from voicecheck.ears.topology import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Recorded:
    """Recordings to sound behind and around the speech; either may be empty."""

    noises: Tensor
    """All noises end to end, ±1, each at RMS 0.1."""
    rooms: Tensor
    """Impulse responses, rooms × half a second; the direct sound is the first sample and 1."""


def load_recorded(noises: Sequence[Path], rooms: Sequence[Path], device: torch.device) -> Recorded:
    """Read noises and impulse responses, 16 kHz each; a short noise is repeated for 10 s."""
    parts = [_steady(_sound(path)) for path in noises]
    responses = [_from_its_peak(_sound(path)) for path in rooms]
    nothing = nothing_recorded(device)
    return Recorded(
        torch.from_numpy(np.concatenate(parts)).to(device) if parts else nothing.noises,
        torch.from_numpy(np.stack(responses)).to(device) if responses else nothing.rooms,
    )


def nothing_recorded(device: torch.device) -> Recorded:
    """Return no noises and no rooms."""
    half_a_second = SAMPLE_RATE_HZ // 2
    return Recorded(torch.empty(0, device=device), torch.empty(0, half_a_second, device=device))


def _sound(path: Path) -> NDArray[np.float32]:
    samples, rate_hz = soundfile.read(path, dtype="float32")
    if rate_hz != SAMPLE_RATE_HZ:
        raise ValueError(f"{path}: {rate_hz} Hz; convert it to {SAMPLE_RATE_HZ} Hz")
    return np.asarray(samples, np.float32)


def _steady(samples: NDArray[np.float32]) -> NDArray[np.float32]:
    repeats = -(-10 * SAMPLE_RATE_HZ // len(samples))
    return np.tile(samples * (0.1 / max(float(samples.std()), 1e-6)), max(1, repeats))


def _from_its_peak(response: NDArray[np.float32]) -> NDArray[np.float32]:
    peak = int(np.abs(response).argmax())
    after = response[peak : peak + SAMPLE_RATE_HZ // 2] / response[peak]
    return np.pad(after, (0, SAMPLE_RATE_HZ // 2 - len(after)))
