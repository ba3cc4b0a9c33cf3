"""An operating theatre around clean speech: voices, rooms, masks, noise and levels, on the GPU.

Every function takes a batch of waveforms (items × samples, ±1) or of their spectra (items × frames
× mel bins) and draws anew for each item. `strength` (0 to 1) grows during training, because too
much noise at the start teaches nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import torch
from torch import Tensor

from voicecheck.ears.topology import SAMPLE_RATE_HZ

HALF_WIDTH = 8
"""Samples on either side that go into a resampled one."""


def chance(like: Tensor, probability: float) -> Tensor:
    """Return a column of ones and zeros, one for each item."""
    return (torch.rand(len(like), 1, device=like.device) < probability).to(like.dtype)


def uniform(like: Tensor, low: float, high: float) -> Tensor:
    """Return a column of draws, one for each item."""
    return torch.rand(len(like), 1, device=like.device) * (high - low) + low


def decibels(level: Tensor) -> Tensor:
    """Return a level in dB as a factor on the amplitude."""
    return torch.as_tensor(10 ** (level / 20))


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


_WINDOW, _HOP = 512, 128


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


@dataclass(frozen=True, slots=True)
class Recorded:
    """Recordings to sound behind and around the speech; either may be empty."""

    noises: Tensor
    """All noises end to end, ±1, each at RMS 0.1."""
    rooms: Tensor
    """Impulse responses, rooms × half a second; the direct sound is the first sample and 1."""


def shaped(waveforms: Tensor, strength: float, rooms: Tensor) -> Tensor:
    """Put each item in a room, behind a mask, through a microphone: all in one filter."""
    samples = waveforms.shape[1]
    size = _fast_size(samples + SAMPLE_RATE_HZ // 2)
    hz = torch.linspace(0, SAMPLE_RATE_HZ / 2, size // 2 + 1, device=waveforms.device)
    loudness = _equaliser(waveforms, hz) + _mask(waveforms, hz) + _band(waveforms, hz, strength)
    room = _room(waveforms, strength)
    if len(rooms):
        drawn = rooms[torch.randint(len(rooms), (len(room),), device=room.device)]
        room = torch.where(chance(room, 0.15) > 0, drawn, room)
    spectrum = torch.fft.rfft(waveforms, size) * torch.fft.rfft(room, size)
    return torch.fft.irfft(spectrum * decibels(loudness), size)[:, :samples]


def _fast_size(samples: int) -> int:
    return -(-samples // 4096) * 4096


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


def _equaliser(like: Tensor, hz: Tensor) -> Tensor:
    """Gains of up to ±8 dB at nine frequencies, joined linearly, and a tilt."""
    knots = torch.randn(len(like), 1, 9, device=like.device) * 4 * chance(like, 0.7)[:, :, None]
    smooth = torch.nn.functional.interpolate(
        knots, size=len(hz), mode="linear", align_corners=True
    )[:, 0]
    tilt = uniform(like, -4, 4) * chance(like, 0.5)
    return smooth.clamp(-10, 10) + tilt * (hz.clamp_min(60) / 1000).log2()


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
    snr_db = uniform(speech, 18.0 * (1 - strength), 30.0)
    some = 1 - chance(speech, 0.12)
    floor = torch.randn_like(speech) * decibels(uniform(speech, -95, -60)) * chance(speech, 0.7)
    return speech + noise * speech_rms * decibels(-snr_db) * some + floor


def coloured(like: Tensor) -> Tensor:
    """White to brown noise with broad bumps."""
    size = _fast_size(like.shape[1])
    white = torch.fft.rfft(torch.randn(len(like), size, device=like.device))
    hz = torch.linspace(0, SAMPLE_RATE_HZ / 2, size // 2 + 1, device=like.device)
    loudness = uniform(like, -7, 1) * (hz.clamp_min(40) / 1000).log2()
    return torch.fft.irfft(white * decibels(loudness + _equaliser(like, hz)), size)[
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
    size = _fast_size(like.shape[1])
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


def levelled(waveforms: Tensor) -> Tensor:
    """Set a level from full scale to 30 dB below, sometimes clip, always round to 16 bits."""
    peak = waveforms.abs().amax(1, keepdim=True).clamp_min(1e-4)
    gain = decibels(uniform(waveforms, -30, 0))
    clipped = 1 + chance(waveforms, 0.06) * uniform(waveforms, 0.3, 2)
    loud = (waveforms / peak * clipped).clamp(-1, 1) * gain
    return (loud * 32767).round() / 32768


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
