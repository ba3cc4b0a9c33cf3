"""Another voice than the recorded one: speed, source, vocal tract, clearness."""

from __future__ import annotations

import math

import torch
from torch import Tensor

from voicecheck.acoustic.making.augment.draws import chance, uniform
from voicecheck.ears.topology import SAMPLE_RATE_HZ

HALF_WIDTH = 8
"""Samples on either side that go into a resampled one."""
_WINDOW, _HOP = 512, 128


def faster(
    store: Tensor, starts: Tensor, lengths: Tensor, *, speeds: Tensor, leads: Tensor, samples: int
) -> Tensor:
    """Cut recordings out of one long one, each after a lead and at its own speed (pitch moves too).

    `store` holds 16-bit samples. `starts`, `lengths`, `speeds` and `leads` are columns, one row for
    each item, in samples. Returns items × `samples` in ±1, silent around each recording,
    interpolated with a windowed sinc.
    """
    place = (torch.arange(samples, device=store.device) - leads).double() * speeds.double()
    whole = place.floor()
    part = (place - whole).float()
    first = starts + whole.long()
    result = torch.zeros(place.shape, device=store.device)
    for tap in range(1 - HALF_WIDTH, HALF_WIDTH + 1):
        weight = torch.sinc(tap - part) * (math.pi * (tap - part) / (2 * HALF_WIDTH)).cos() ** 2
        result += weight * store[(first + tap).clamp(0, len(store) - 1)]
    return result * ((place >= 0) & (place < lengths)) / 32768


def vocoded(waveforms: Tensor, probability: float) -> Tensor:
    """Speak some items with another source: their spectral envelopes, but pulses and noise.

    As a parametric synthesiser does, or a voice heard over a poor line. The envelope comes from a
    liftered cepstrum (Oppenheim 1969, from memory). Where low frequencies dominate, the source is
    a pulse train of a new pitch; elsewhere, noise.
    """
    some = (torch.rand(len(waveforms), device=waveforms.device) < probability).nonzero()[:, 0]
    if not len(some):
        return waveforms
    speech = waveforms[some]
    window = torch.hann_window(_WINDOW, device=speech.device)
    logs = _spectrum(speech, window).abs().clamp_min(1e-5).log()
    voiced = (logs[:, 3:32].exp().mean(1) / logs[:, 80:].exp().mean(1)).log() - 0.7
    quefrency = torch.arange(_WINDOW // 2 + 1, device=speech.device)[None]
    kept = 1 - ((quefrency - uniform(speech, 22, 44)) / 4).clamp(0, 1)
    kept = torch.cat((kept, kept[:, 1:-1].flip(1)), 1)[:, :, None]
    cepstrum = torch.fft.irfft(logs, dim=1) * kept
    envelope = torch.fft.rfft(cepstrum, dim=1).real.exp()
    share = torch.nn.functional.interpolate(
        torch.sigmoid(2 * voiced)[:, None], size=speech.shape[1], mode="linear"
    )[:, 0] * uniform(speech, 0.75, 1)
    source = share * _pulses(speech) + (1 - share) * torch.randn_like(speech)
    spoken = torch.istft(
        _spectrum(source, window) * envelope, _WINDOW, _HOP, window=window, length=speech.shape[1]
    )
    level = speech.pow(2).mean(1, keepdim=True).sqrt()
    result = waveforms.clone()
    result[some] = spoken / (spoken.pow(2).mean(1, keepdim=True).sqrt() + 1e-6) * level
    return result


def _spectrum(waveforms: Tensor, window: Tensor) -> Tensor:
    return torch.stft(waveforms, _WINDOW, _HOP, window=window, return_complex=True)


def _pulses(like: Tensor) -> Tensor:
    """A pulse train of a voice's pitch, flat or gliding; RMS 1 as the noise beside it."""
    time_s = torch.arange(like.shape[1], device=like.device) / SAMPLE_RATE_HZ
    glide = uniform(like, 0, 0.3) * chance(like, 0.7)
    rate, phase = uniform(like, 0.2, 1.2), uniform(like, 0, 2 * math.pi)
    hz = uniform(like, 75, 260) * (1 + glide * (2 * math.pi * rate * time_s + phase).sin())
    turns = (hz.double() / SAMPLE_RATE_HZ).cumsum(1).floor()
    beats = torch.diff(turns, dim=1, prepend=turns[:, :1]).to(like.dtype)
    return beats * (SAMPLE_RATE_HZ / hz).sqrt()


def course(like: Tensor, frames: int, strength: float) -> Tensor:
    """Return where in its recording each frame lies, 0 to 1; half of the items vary their pace."""
    places = _stretched(like, max(3, frames // 25), frames, 0.22 * strength)
    even = torch.linspace(0, 1, frames, device=like.device)[None]
    return torch.where(chance(like, 0.5) > 0, places, even)


def revoiced(log_mel: Tensor, when: Tensor, strength: float) -> Tensor:
    """Change the voice: warp the mel scale unevenly, so that formants move apart or together.

    The spectrum and its course in time become smoother, as from a parametric synthesiser, or
    sharper. `when` is the time of each frame (items × frames, see `course`).
    """
    items, frames, bins = log_mel.shape
    like = log_mel[:, :, 0]
    even = torch.linspace(0, 1, bins, device=log_mel.device)[None]
    where = torch.where(chance(like, 0.6) > 0, _stretched(like, 5, bins, 0.1 * strength), even)
    size = (items, frames, bins)
    grid = torch.stack((where[:, None, :].expand(size), when[:, :, None].expand(size)), 3) * 2 - 1
    spectra = torch.nn.functional.grid_sample(
        log_mel[:, None], grid, padding_mode="border", align_corners=True
    )[:, 0]
    detail = spectra - _blurred(spectra, (1, 4, 6, 4, 1))
    spectra = spectra + detail * _amount(like, -1.2, 0.7, 0.5 * strength)
    motion = spectra - _blurred(spectra.transpose(1, 2), (1, 1, 1, 1, 1)).transpose(1, 2)
    return spectra + motion * _amount(like, -1.0, 0.4, 0.4 * strength)


def _stretched(like: Tensor, knots: int, points: int, spread: float) -> Tensor:
    """Rising curves from 0 to 1 (items × points); slopes vary by a factor of exp(±2 spread)."""
    rates = torch.randn(len(like), 1, knots, device=like.device).clamp(-2, 2) * spread
    smooth = torch.nn.functional.interpolate(rates, size=points, mode="linear", align_corners=True)
    place = smooth[:, 0].exp().cumsum(1)
    place = place - place[:, :1]
    return place / place[:, -1:]


def _blurred(spectra: Tensor, weights: tuple[int, ...]) -> Tensor:
    """A weighted mean along the last axis, with the end values repeated."""
    kernel = torch.tensor(weights, dtype=spectra.dtype, device=spectra.device)
    rows = spectra.reshape(-1, 1, spectra.shape[2])
    padded = torch.nn.functional.pad(rows, (len(weights) // 2,) * 2, mode="replicate")
    return torch.nn.functional.conv1d(padded, kernel[None, None] / kernel.sum()).view_as(spectra)


def _amount(like: Tensor, low: float, high: float, probability: float) -> Tensor:
    return (uniform(like, low, high) * chance(like, probability))[:, :, None]


def hidden(log_mel: Tensor, strength: float) -> Tensor:
    """Replace a few bands of mel bins by the item's mean (SpecAugment without time masks).

    Time masks teach a network to guess what was said there, and then it hears what it expects.
    """
    bins = log_mel.shape[2]
    mean = log_mel.mean((1, 2), keepdim=True)
    across = torch.arange(bins, device=log_mel.device)[None]
    for _ in range(3):
        band = _masked(log_mel, across, bins, 8 * strength)
        log_mel = torch.where(band[:, None, :], mean, log_mel)
    return log_mel


def _masked(like: Tensor, places: Tensor, whole: int, widest: float) -> Tensor:
    """Whether each place lies in its item's band, drawn in 0 to `whole`, up to `widest` wide."""
    width = uniform(like, 0, widest)
    start = uniform(like, 0, 1) * (whole - width)
    return (places >= start) & (places < start + width - 0.5)
