"""Kaldi's MFCC in torch, so that augmentation and features run on a GPU.

The values equal those of kaldi-native-fbank (and so of Vosk) within rounding; a test compares them.
Source of the definitions: Kaldi's feat/feature-window.cc, feat/mel-computations.cc (Apache-2.0).
"""

from __future__ import annotations

import math

import torch
from torch import Tensor

from voicecheck.ears.topology import (
    CEPSTRA,
    CEPSTRAL_LIFTER,
    FRAME_LENGTH_MS,
    FRAME_SHIFT_MS,
    HIGH_HZ,
    LOW_HZ,
    MEL_BINS,
    PREEMPHASIS,
    SAMPLE_RATE_HZ,
    WAVEFORM_SCALE,
)

FRAME_SAMPLES = int(SAMPLE_RATE_HZ * FRAME_LENGTH_MS / 1000)
SHIFT_SAMPLES = int(SAMPLE_RATE_HZ * FRAME_SHIFT_MS / 1000)
FFT_SIZE = 512
_BREAK_HZ = 6_000.0
"""Vocal-tract warps are linear up to here, then bent so that the highest bin stays put."""


class Mfcc:
    """Turns waveforms into cepstra, on request as from a longer or shorter vocal tract."""

    def __init__(self, device: torch.device) -> None:
        hann = torch.hann_window(FRAME_SAMPLES, periodic=False, dtype=torch.float64)
        self._window = (hann**0.85).float().to(device)
        self._cosines = _lifted_cosines().to(device)

    def log_mel(
        self, waveforms: Tensor, shift: int = SHIFT_SAMPLES, warp: Tensor | None = None
    ) -> Tensor:
        """Batch × samples in ±1 to batch × frames × mel bins (natural logarithm of the power).

        A `shift` other than 160 samples changes the tempo. `warp`, one factor for each item, scales
        the frequencies (1.1: as from a vocal tract a tenth shorter).
        """
        frames = (waveforms * WAVEFORM_SCALE).unfold(1, FRAME_SAMPLES, shift)
        frames = frames - frames.mean(2, keepdim=True)
        before = torch.cat((frames[..., :1], frames[..., :-1]), 2)
        spectrum = torch.fft.rfft((frames - PREEMPHASIS * before) * self._window, FFT_SIZE)
        power = spectrum.real**2 + spectrum.imag**2
        if warp is None:
            warp = torch.ones(1, device=waveforms.device)
        mel = power[..., : FFT_SIZE // 2] @ mel_banks(warp)
        return mel.clamp_min(torch.finfo(torch.float32).eps).log()

    @staticmethod
    def frames(waveforms: Tensor, shift: int) -> int:
        """Return how many frames `log_mel` makes at this shift."""
        return (waveforms.shape[1] - FRAME_SAMPLES) // shift + 1

    def cepstra(self, log_mel: Tensor) -> Tensor:
        """Batch × frames × mel bins to batch × frames × cepstra."""
        return log_mel @ self._cosines

    def __call__(self, waveforms: Tensor) -> Tensor:
        """Batch × samples in ±1 to batch × frames × cepstra, as Vosk computes them."""
        return self.cepstra(self.log_mel(waveforms))


def mel_banks(warp: Tensor) -> Tensor:
    """Kaldi's triangles, one set for each warp factor: items × FFT bins × mel bins."""
    low, high = (1127 * math.log(1 + hz / 700) for hz in (LOW_HZ, HIGH_HZ))
    edges = torch.linspace(low, high, MEL_BINS + 2, device=warp.device, dtype=torch.float64)
    bins = torch.arange(FFT_SIZE // 2, device=warp.device) * (SAMPLE_RATE_HZ / FFT_SIZE)
    heard = _unwarped(bins.double()[None], warp.double()[:, None])
    mels = (1127 * (1 + heard / 700).log())[:, :, None]
    left, centre, right = edges[:-2], edges[1:-1], edges[2:]
    rising, falling = (mels - left) / (centre - left), (right - mels) / (right - centre)
    return torch.minimum(rising, falling).clamp_min(0).float()


def _unwarped(hz: Tensor, warp: Tensor) -> Tensor:
    """The frequency that a bin stands for once the warp is undone."""
    nyquist = SAMPLE_RATE_HZ / 2
    bend = _BREAK_HZ / warp.clamp_min(1)
    above = warp * bend + (hz - bend) * (nyquist - warp * bend) / (nyquist - bend)
    return torch.where(hz < bend, hz * warp, above)


def _lifted_cosines() -> Tensor:
    place = torch.arange(MEL_BINS, dtype=torch.float64)[:, None] + 0.5
    order = torch.arange(CEPSTRA, dtype=torch.float64)[None]
    cosines = math.sqrt(2 / MEL_BINS) * (math.pi / MEL_BINS * place * order).cos()
    cosines[:, 0] = math.sqrt(1 / MEL_BINS)
    lifter = 1 + CEPSTRAL_LIFTER / 2 * (math.pi * order / CEPSTRAL_LIFTER).sin()
    return (cosines * lifter).float()
