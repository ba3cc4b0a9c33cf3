"""Random draws, one for each item of a batch, and what is made of them."""

from __future__ import annotations

import torch
from torch import Tensor


def chance(like: Tensor, probability: float) -> Tensor:
    """Return a column of ones and zeros, one for each item."""
    return (torch.rand(len(like), 1, device=like.device) < probability).to(like.dtype)


def uniform(like: Tensor, low: float, high: float) -> Tensor:
    """Return a column of draws, one for each item."""
    return torch.rand(len(like), 1, device=like.device) * (high - low) + low


def decibels(level: Tensor) -> Tensor:
    """Return a level in dB as a factor on the amplitude."""
    return torch.as_tensor(10 ** (level / 20))


def equaliser(like: Tensor, hz: Tensor) -> Tensor:
    """Gains of up to ±8 dB at nine frequencies, joined linearly, and a tilt."""
    knots = torch.randn(len(like), 1, 9, device=like.device) * 4 * chance(like, 0.7)[:, :, None]
    smooth = torch.nn.functional.interpolate(
        knots, size=len(hz), mode="linear", align_corners=True
    )[:, 0]
    tilt = uniform(like, -4, 4) * chance(like, 0.5)
    return smooth.clamp(-10, 10) + tilt * (hz.clamp_min(60) / 1000).log2()


def fast_size(samples: int) -> int:
    """Return the next length at which a Fourier transform is fast."""
    return -(-samples // 4096) * 4096
