"""The noises of a theatre, computed and recorded."""

from __future__ import annotations

import math

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


def noisy(
    speech: Tensor, babble: Tensor, speech_rms: Tensor, strength: float, noises: Tensor
) -> Tensor:
    """Add a mixture of noises; the SNR falls as `strength` grows.

    One noise leads, so the network meets each one loud and nearly alone. The mixture is never
    louder than the speech: in louder talk nobody could tell which voice is meant.
    """
    hiss, other = coloured(speech), coloured(speech)
    kinds = [
        (hiss, 0.15, 0.5),
        (other * _slow(speech, 0.3, 4.0), 0.08, 0.2),
        (_suction(speech), 0.18, 0.12),
        (babble * _slow(speech, 0.1, 1.0), 0.25, 0.15),
        (_beeps(speech), 0.03, 0.1),
        (_hum(speech), 0.03, 0.15),
        (_clanks(speech), 0.13, 0.15),
    ]
    if len(noises):
        kinds.append((_recorded(speech, noises), 0.25, 0.2))
    leads = torch.multinomial(
        torch.tensor([lead for _, lead, _ in kinds], device=speech.device), len(speech), True
    )
    noise = torch.zeros_like(speech)
    for place, (kind, _, share) in enumerate(kinds):
        below = decibels(uniform(speech, -24, -3)) * chance(speech, share)
        level = torch.where(leads[:, None] == place, 1.0, below)
        noise += kind / (kind.pow(2).mean(1, keepdim=True).sqrt() + 1e-6) * level
    noise /= noise.pow(2).mean(1, keepdim=True).sqrt() + 1e-6
    snr_db = uniform(speech, 18.0 * (1 - strength), 25.0)
    some = 1 - chance(speech, 0.12)
    floor = torch.randn_like(speech) * decibels(uniform(speech, -95, -60)) * chance(speech, 0.7)
    return speech + noise * speech_rms * decibels(-snr_db) * some + floor


def coloured(like: Tensor) -> Tensor:
    """White to brown noise with broad bumps."""
    size = fast_size(like.shape[1])
    white = torch.fft.rfft(torch.randn(len(like), size, device=like.device))
    hz = torch.linspace(0, SAMPLE_RATE_HZ / 2, size // 2 + 1, device=like.device)
    loudness = uniform(like, -7, 1) * (hz.clamp_min(40) / 1000).log2()
    return torch.fft.irfft(white * decibels(loudness + equaliser(like, hz)), size)[
        :, : like.shape[1]
    ]


def _slow(like: Tensor, low_hz: float, high_hz: float) -> Tensor:
    """A gain that comes and goes, between 0 and 1."""
    time_s = torch.arange(like.shape[1], device=like.device) / SAMPLE_RATE_HZ
    rate, phase = uniform(like, low_hz, high_hz), uniform(like, 0, 2 * math.pi)
    depth = uniform(like, 0, 1)
    return 1 - depth * (0.5 + 0.5 * (2 * math.pi * rate * time_s + phase).sin())


def _suction(like: Tensor) -> Tensor:
    """A broadband hiss above half a kilohertz that gurgles, and the whine of its pump."""
    size = fast_size(like.shape[1])
    white = torch.fft.rfft(torch.randn(len(like), size, device=like.device))
    hz = torch.linspace(0, SAMPLE_RATE_HZ / 2, size // 2 + 1, device=like.device)
    centre, width = uniform(like, 800, 5000), uniform(like, 0.8, 2.5)
    octaves = (hz.clamp_min(20) / centre).log2() / width
    hiss = torch.fft.irfft(white * decibels(-6 * octaves**2), size)[:, : like.shape[1]]
    whine = _tone(like, uniform(like, 150, 1200)) * uniform(like, 0, 0.6)
    gurgle = _slow(like, 4.0, 14.0) * _slow(like, 0.2, 2.0)
    return hiss / hiss.std(1, keepdim=True) * gurgle + whine


def _tone(like: Tensor, hz: Tensor) -> Tensor:
    time_s = torch.arange(like.shape[1], device=like.device) / SAMPLE_RATE_HZ
    return (2 * math.pi * (hz * time_s + uniform(like, 0, 1))).sin()


def _beeps(like: Tensor) -> Tensor:
    """A monitor: a tone with its octave, on for a tenth of a second, once or twice a second."""
    time_s = torch.arange(like.shape[1], device=like.device) / SAMPLE_RATE_HZ
    hz, period_s = uniform(like, 400, 1800), uniform(like, 0.4, 1.4)
    since = (time_s + uniform(like, 0, 2)) % period_s
    sounding = (since < uniform(like, 0.05, 0.25)) * (-since * uniform(like, 0, 20)).exp()
    return (_tone(like, hz) + 0.3 * _tone(like, 2 * hz)) * sounding


def _hum(like: Tensor) -> Tensor:
    mains = 50 + 10 * chance(like, 0.5)
    return sum(
        (
            _tone(like, mains * harmonic) * uniform(like, 0, 1 / harmonic)
            for harmonic in (1, 2, 3, 5)
        ),
        start=torch.zeros_like(like),
    )


def _clanks(like: Tensor) -> Tensor:
    """Instruments and dishes set down: rings of two tones and a knock, short or long."""
    time_s = torch.arange(like.shape[1], device=like.device) / SAMPLE_RATE_HZ
    sound = torch.zeros_like(like)
    for place in range(6):
        since = time_s - uniform(like, 0, time_s[-1].item())
        ring = _tone(like, uniform(like, 900, 6500)) + _tone(like, uniform(like, 300, 3000))
        ring = ring + uniform(like, 0, 1.5) * torch.randn_like(like)
        gone_s = 0.003 * (uniform(like, 0, 1) * math.log(60)).exp()
        level = decibels(uniform(like, -18, 0)) * (1 if place < 2 else chance(like, 0.5))
        sound += level * ring * (since > 0) * (-since.clamp_min(0) / gone_s).exp()
    return sound


def _recorded(like: Tensor, noises: Tensor) -> Tensor:
    """A stretch of the recordings, at another speed, sometimes with a second one."""
    return _stretch_of(noises, like) + _stretch_of(noises, like) * decibels(
        uniform(like, -12, 0)
    ) * chance(like, 0.4)


def _stretch_of(noises: Tensor, like: Tensor) -> Tensor:
    speeds = uniform(like, 0.7, 1.5)
    starts = uniform(like, 0, 1) * max(1, len(noises) - 1 - int(1.5 * like.shape[1]))
    place = starts.double() + torch.arange(like.shape[1], device=like.device) * speeds.double()
    whole = place.long().clamp(0, len(noises) - 2)
    return torch.lerp(noises[whole], noises[whole + 1], (place - whole).clamp(0, 1).to(like.dtype))
