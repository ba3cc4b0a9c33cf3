"""The corpus in memory: every recording end to end on the device, and batches cut out of it."""

from __future__ import annotations

import json
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import soundfile
import torch
from torch import Tensor

from voicecheck.acoustic.making.augment.draws import decibels, uniform
from voicecheck.acoustic.making.augment.noise import coloured, noisy
from voicecheck.acoustic.making.augment.place import levelled, shaped
from voicecheck.acoustic.making.augment.recorded import Recorded, nothing_recorded
from voicecheck.acoustic.making.augment.voice import (
    HALF_WIDTH,
    course,
    faster,
    hidden,
    revoiced,
    vocoded,
)
from voicecheck.acoustic.making.features import SHIFT_SAMPLES, Mfcc
from voicecheck.ears.topology import PDF_OF_PHONE, SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path
    from random import Random

    from numpy.typing import NDArray

GAP = np.zeros(HALF_WIDTH * 2, np.int16)
QUIET = 10 ** (-60 / 20)
"""Samples below this do not count as speech when its level is measured."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Recordings:
    """Utterances end to end in one 16-bit `store`; where each lies and the pdfs of its phones."""

    store: Tensor
    starts: Tensor
    lengths: Tensor
    labels: list[list[int]]

    def __len__(self) -> int:
        return len(self.labels)

    @property
    def hours(self) -> float:
        """Hours of speech."""
        return float(self.lengths.sum()) / SAMPLE_RATE_HZ / 3600


@dataclass(frozen=True, kw_only=True, slots=True)
class Batch:
    """Features (items × frames × cepstra), the pdfs of all items end to end, and their counts."""

    features: Tensor
    targets: Tensor
    target_lengths: Tensor


def load(manifests: Sequence[Path], device: torch.device) -> Recordings:
    """Read and decode every recording that the manifests (corpus.py) name.

    Raises ValueError if they name none.
    """
    lines: list[dict[str, Any]] = []
    paths: list[Path] = []
    for manifest in manifests:
        for text in manifest.read_text("utf-8").splitlines():
            lines.append(json.loads(text))
            paths.append(manifest.parent / lines[-1]["file"])
    if not paths:
        raise ValueError("the manifests name no recordings; make some with corpus.py first")
    with ProcessPoolExecutor() as pool:
        pieces = list(pool.map(_samples, paths, chunksize=64))
    lengths = np.array([len(piece) - len(GAP) for piece in pieces])
    starts = np.cumsum([0, *(len(piece) for piece in pieces[:-1])])
    return Recordings(
        store=torch.from_numpy(np.concatenate(pieces)).to(device),
        starts=torch.from_numpy(starts).to(device),
        lengths=torch.from_numpy(lengths).to(device),
        labels=[[PDF_OF_PHONE[phone] for phone in line["phones"].split()] for line in lines],
    )


def _samples(path: Path) -> NDArray[np.int16]:
    samples, rate_hz = soundfile.read(path, dtype="int16")
    if rate_hz != SAMPLE_RATE_HZ:
        raise ValueError(f"{path}: {rate_hz} Hz; the corpus is {SAMPLE_RATE_HZ} Hz, make it again")
    return np.concatenate((samples, GAP))


def plan(recordings: Recordings, batch_s: float, rng: Random) -> Iterator[list[int]]:
    """Yield all recordings once, in batches of similar length and about `batch_s` seconds."""
    lengths_s = (recordings.lengths / SAMPLE_RATE_HZ).tolist()
    order = sorted(range(len(recordings)), key=lambda i: lengths_s[i] * rng.uniform(0.8, 1.2))
    batches: list[list[int]] = [[]]
    longest = 0.0
    for item in order:
        longest = max(longest, lengths_s[item] + 1)
        if (len(batches[-1]) + 1) * longest > batch_s:
            batches.append([])
            longest = lengths_s[item] + 1
        batches[-1].append(item)
    rng.shuffle(batches)
    yield from batches


VIEWS = 2
"""How many times a batch of augmented recordings holds each item."""


def augmented(
    recordings: Recordings,
    items: Sequence[int],
    mfcc: Mfcc,
    *,
    strength: float,
    rng: Random,
    recorded: Recorded | None = None,
) -> Batch:
    """Return a batch as it might sound in a theatre; labels are empty where only noise is left.

    It holds all items `VIEWS` times: said at the same times, with everything else drawn anew.
    """
    around = recorded or nothing_recorded(recordings.store.device)
    speech, kept = _placed(recordings, items, strength, rng)
    shift = round(SHIFT_SAMPLES * rng.uniform(1 - 0.13 * strength, 1 + 0.13 * strength))
    when = course(speech, mfcc.frames(speech, shift), strength)
    sounds = [_in_a_theatre(recordings, speech, around, strength) for _ in range(VIEWS)]
    spectra = [mfcc.log_mel(each, shift, _tract(each, strength)) for each in sounds]
    voices = [revoiced(each, when, strength) for each in spectra]
    views = [mfcc.cepstra(hidden(each, strength)) for each in voices]
    labels = [recordings.labels[i] if keep else [] for i, keep in zip(items, kept, strict=True)]
    return _batch(torch.cat(views), labels * VIEWS)


def _in_a_theatre(
    recordings: Recordings, speech: Tensor, around: Recorded, strength: float
) -> Tensor:
    sound = shaped(vocoded(speech, 0.25 * strength), strength, around.rooms)
    spoken = speech.abs() > QUIET
    # No babble where the speech was taken away: it would be speech without labels.
    babble = _babble(recordings, sound) * spoken.any(1, keepdim=True)
    level = _rms(sound, spoken)
    return levelled(noisy(sound, babble, level, strength, around.noises))


def _tract(like: Tensor, strength: float) -> Tensor:
    """A factor on the length of each item's vocal tract."""
    return uniform(like, 1 - 0.14 * strength, 1 + 0.16 * strength)[:, 0]


def plain(
    recordings: Recordings, items: Sequence[int], mfcc: Mfcc, *, snr_db: float | None
) -> Batch:
    """Return a batch without augmentation: clean, or in noise from a fixed seed; 0.3 s around."""
    starts, lengths = _columns(recordings, items)
    lead = int(0.3 * SAMPLE_RATE_HZ)
    speech = faster(
        recordings.store,
        starts,
        lengths,
        speeds=torch.ones_like(starts),
        leads=torch.full_like(starts, lead),
        samples=int(lengths.max()) + 2 * lead,
    )
    if snr_db is not None:
        with torch.random.fork_rng(devices=[speech.device] if speech.is_cuda else []):
            torch.manual_seed(20)
            noise = coloured(speech) + coloured(speech)
        noise = noise / noise.std(1, keepdim=True) * _rms(speech, speech.abs() > QUIET)
        speech = speech + noise * 10 ** (-snr_db / 20)
    return _batch(mfcc(speech), [recordings.labels[i] for i in items])


def _placed(
    recordings: Recordings, items: Sequence[int], strength: float, rng: Random
) -> tuple[Tensor, list[bool]]:
    starts, lengths = _columns(recordings, items)
    speeds = uniform(starts.float(), 1 - 0.15 * strength, 1 + 0.17 * strength)
    spoken = (lengths / speeds).long()
    # Up to 1.6 s of noise around the speech, so that the network learns to stay silent there.
    samples = int(spoken.max()) + int(rng.uniform(0.2, 1.6) * SAMPLE_RATE_HZ)
    leads = (uniform(speeds, 0, 1) * (samples - spoken)).long()
    speech = faster(recordings.store, starts, lengths, speeds=speeds, leads=leads, samples=samples)
    kept = [rng.random() > 0.06 for _ in items]
    # Some items lose their speech. Their noise stays as loud as if the speech were there (`_rms`).
    return speech * torch.tensor(kept, device=speech.device)[:, None], kept


def _columns(recordings: Recordings, items: Sequence[int]) -> tuple[Tensor, Tensor]:
    chosen = torch.tensor(items, device=recordings.starts.device)
    return recordings.starts[chosen][:, None], recordings.lengths[chosen][:, None]


def _rms(sound: Tensor, spoken: Tensor) -> Tensor:
    """The RMS of the speech; a typical level where there is none."""
    power = (sound**2 * spoken).sum(1, keepdim=True) / spoken.sum(1, keepdim=True).clamp_min(1)
    return torch.where(power > 0, power.sqrt(), 0.1)


def _babble(recordings: Recordings, like: Tensor) -> Tensor:
    """Three to eight other voices at once, talking without a pause."""
    sound = torch.zeros_like(like)
    time = torch.arange(like.shape[1], device=like.device)
    voices = uniform(like, 3, 9).floor()
    for number in range(8):
        start = uniform(like, 0, 1) * max(1, len(recordings.store) - like.shape[1])
        place = (start.long() + time).clamp_max(len(recordings.store) - 1)
        level = decibels(uniform(like, -9, 0)) * (voices > number)
        sound += recordings.store[place] / 32768 * level
    return sound


def _batch(features: Tensor, labels: Sequence[Sequence[int]]) -> Batch:
    flat = [pdf for item in labels for pdf in item]
    return Batch(
        features=features,
        targets=torch.tensor(flat, dtype=torch.long, device=features.device),
        target_lengths=torch.tensor([len(item) for item in labels], device=features.device),
    )
