"""Between mouth and file: room, mask, microphone, level."""

from __future__ import annotations

import torch
from torch import Tensor

from voicecheck.acoustic.making.augment.draws import (
    chance,
    decibels,
    equaliser,
    fast_size,
    uniform,
)
from voicecheck.ears.topology import SAMPLE_RATE_HZ


def shaped(waveforms: Tensor, strength: float, rooms: Tensor) -> Tensor:
    """Put each item in a room, behind a mask, through a microphone: all in one filter."""
    samples = waveforms.shape[1]
    size = fast_size(samples + SAMPLE_RATE_HZ // 2)
    hz = torch.linspace(0, SAMPLE_RATE_HZ / 2, size // 2 + 1, device=waveforms.device)
    loudness = equaliser(waveforms, hz) + _mask(waveforms, hz) + _band(waveforms, hz, strength)
    room = _room(waveforms, strength)
    if len(rooms):
        drawn = rooms[torch.randint(len(rooms), (len(room),), device=room.device)]
        room = torch.where(chance(room, 0.15) > 0, drawn, room)
    spectrum = torch.fft.rfft(waveforms, size) * torch.fft.rfft(room, size)
    return torch.fft.irfft(spectrum * decibels(loudness), size)[:, :samples]


def _room(like: Tensor, strength: float) -> Tensor:
    """A direct sound and decaying noise after it, RT60 up to 0.9 s."""
    length = SAMPLE_RATE_HZ // 2
    time_s = torch.arange(length, device=like.device) / SAMPLE_RATE_HZ
    rt60_s = uniform(like, 0.05, 0.3 + 0.6 * strength)
    tail = torch.randn(len(like), length, device=like.device) * (-6.908 * time_s / rt60_s).exp()
    tail = tail * (time_s > uniform(like, 0.001, 0.012)) / tail.norm(dim=1, keepdim=True)
    direct_to_late_db = uniform(like, -3 * strength, 18)
    response = tail * decibels(-direct_to_late_db) * chance(like, 0.6)
    response[:, 0] = 1
    return response


def _mask(like: Tensor, hz: Tensor) -> Tensor:
    """A face mask: a loss of 3 to 12 dB above 2 to 7 kHz, sloped over an octave."""
    corner, loss_db = uniform(like, 2000, 7000), uniform(like, 3, 12)
    slope = ((hz.clamp_min(1) / corner).log2() + 0.5).clamp(0, 1)
    return -loss_db * slope * chance(like, 0.4)


def _band(like: Tensor, hz: Tensor, strength: float) -> Tensor:
    """High-pass of small microphones, low-pass of 8 kHz lines: 24 dB an octave."""
    low = uniform(like, 60, 350)
    high = uniform(like, 3200, 7000)
    below = (low / hz.clamp_min(1)).log2().clamp(0, 3) * chance(like, 0.35)
    above = (hz.clamp_min(1) / high).log2().clamp(0, 2) * chance(like, 0.1 + 0.1 * strength)
    return -24 * (below + above)


def levelled(waveforms: Tensor) -> Tensor:
    """Set a level from full scale to 30 dB below, sometimes clip, always round to 16 bits."""
    peak = waveforms.abs().amax(1, keepdim=True).clamp_min(1e-4)
    gain = decibels(uniform(waveforms, -30, 0))
    clipped = 1 + chance(waveforms, 0.06) * uniform(waveforms, 0.3, 2)
    loud = (waveforms / peak * clipped).clamp(-1, 1) * gain
    return (loud * 32767).round() / 32768
