"""Stream hours of what is no command and count what is accepted.

    python -m voicecheck.acoustic.stream MANIFEST --hours H [--seed N] [--grammar FILE]

One recogniser hears minute after minute without a restart: speech of the manifest (none of it a
phrase) with and without noise, noise alone, music made here, near silence. The same seed gives the
same sound. Replies are counted apart: no read-back is open here, so the program would take them for
talk in the room.
"""

from __future__ import annotations

import argparse
import itertools
import math
import resource
import time
from collections import Counter, defaultdict
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from voicecheck import shipped
from voicecheck.acoustic.evaluate import (
    BLOCK_SAMPLES,
    FLOOR,
    AsShipped,
    Ears,
    Measurement,
    critical,
    read,
    samples,
)
from voicecheck.acoustic.figures import poisson_bound
from voicecheck.acoustic.grammar_file import phrases, replies
from voicecheck.acoustic.noises import NOISES, mix
from voicecheck.sound.pcm import RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator, Sequence

    from numpy.random import Generator

    from voicecheck.acoustic.noises import Samples
    from voicecheck.core.inputs import Heard

SCENE_S = 60
SNR_DB = (-4.0, 21.0)
"""Of speech in noise, by ITU-T P.56: 0 to 25 dB by the older measure (model/NOTEBOOK.md,
section 2)."""
SHARES = {"speech": 0.3, "speech in noise": 0.3, "noise": 0.15, "music": 0.2, "near silence": 0.05}


def scenes(speech: Sequence[Path], rng: Generator) -> Iterator[tuple[str, Samples]]:
    """Yield minutes of sound for ever, each with its kind; samples in ±1."""
    talk = _shuffled(speech, rng)
    while True:
        kind = str(rng.choice([*SHARES], p=[*SHARES.values()]))
        yield kind, _scene(kind, talk, rng)


def _scene(kind: str, talk: Iterator[Path], rng: Generator) -> Samples:
    length = SCENE_S * RATE_HZ
    if kind == "near silence":
        return FLOOR * rng.standard_normal(length)
    if kind == "music":
        return music(length, rng) * _level(rng)
    if kind == "noise":
        noise = _noise(length, talk, rng)
        return np.asarray(noise / np.abs(noise).max() * _level(rng))
    said = _said(length, talk) * _level(rng)
    if kind == "speech in noise":
        return mix(said, _noise(length, talk, rng), rng.uniform(*SNR_DB))
    return said + FLOOR * rng.standard_normal(length)


def _shuffled(speech: Sequence[Path], rng: Generator) -> Iterator[Path]:
    """Yield every recording once in a random order, then again in another order."""
    while True:
        yield from (speech[place] for place in rng.permutation(len(speech)))


def _said(length: int, talk: Iterator[Path]) -> Samples:
    pieces: list[Samples] = []
    while sum(map(len, pieces)) < length:
        pieces.append(samples(next(talk)))
    return np.concatenate(pieces)[:length]


def _noise(length: int, talk: Iterator[Path], rng: Generator) -> Samples:
    kind = str(rng.choice([*NOISES]))
    others = [samples(path) for path in itertools.islice(talk, 12)] if kind == "babble" else []
    return NOISES[kind](length, rng, others)


def _level(rng: Generator) -> float:
    """Draw a gain of 0 to -30 dB, as a factor on the amplitude."""
    return float(10 ** (rng.uniform(-30, 0) / 20))


def music(length: int, rng: Generator) -> Samples:
    """Chords of harmonic tones at a steady beat, with a drum; samples in ±1."""
    beat = int(RATE_HZ * rng.uniform(0.3, 0.8))
    at = np.arange(2 * beat) / RATE_HZ
    sound = np.zeros(length + 2 * beat)
    root_hz = rng.uniform(80, 180)
    for start in range(0, length, beat):
        for step in rng.choice((0, 3, 4, 5, 7, 9, 12, 16, 19), size=3, replace=False):
            hz = root_hz * 2 ** (step / 12) * (1 + 0.004 * np.sin(2 * np.pi * 5.5 * at))
            phase = 2 * np.pi * np.cumsum(hz) / RATE_HZ
            tone = sum(np.sin(n * phase) / n**1.3 for n in range(1, 9))
            sound[start : start + 2 * beat] += np.asarray(tone) * np.exp(-at * rng.uniform(1, 5))
        drum = rng.standard_normal(2 * beat) * np.exp(-at * 40)
        sound[start : start + 2 * beat] += rng.uniform(0, 2) * drum
    return np.asarray(sound[:length] / np.abs(sound[:length]).max())


class Scene(NamedTuple):
    """One minute that was streamed; `compute_s` is processor time."""

    kind: str
    seconds: float
    heard: list[Heard]
    compute_s: float


def streamed(ears: Ears, speech: Sequence[Path], hours: float, seed: int) -> Iterator[Scene]:
    """Stream so many hours, rounded up to a minute; yield each minute."""
    minutes = math.ceil(hours * 3600 / SCENE_S)
    for kind, sound in itertools.islice(scenes(speech, np.random.default_rng(seed)), minutes):
        pcm = (np.clip(sound, -1, 1) * 32767).astype("<i2")
        blocks = (pcm[at : at + BLOCK_SAMPLES] for at in range(0, len(pcm), BLOCK_SAMPLES))
        began = time.process_time()
        heard = [each for block in blocks for each in ears.hear(block.tobytes())]
        yield Scene(kind, len(pcm) / RATE_HZ, heard, time.process_time() - began)


class Count:
    """Counts what was heard so far, by the kind of scene."""

    def __init__(self, accepts: Callable[[Heard], bool], replies: Collection[str]) -> None:
        self.accepted: list[tuple[str, Heard]] = []
        """Kind of scene, utterance."""
        self.replied: list[tuple[str, Heard]] = []
        self.seconds, self.heard = Counter[str](), Counter[str]()
        self.compute_s: defaultdict[str, float] = defaultdict(float)
        self._accepts, self._replies = accepts, replies

    def take(
        self, kind: str, seconds: float, heard: Sequence[Heard], compute_s: float = 0.0
    ) -> None:
        """Count one scene and print what was accepted in it."""
        self.seconds[kind] += round(seconds)
        self.heard[kind] += len(heard)
        self.compute_s[kind] += compute_s
        hours = self.seconds.total() / 3600
        for each in filter(self._accepts, heard):
            is_reply = each.text in self._replies
            (self.replied if is_reply else self.accepted).append((kind, each))
            told = f'"{each.text}" ({each.confidence:.2f}) in {kind} after {hours:.2f} h'
            print(told + ", a reply to nothing" * is_reply, flush=True)

    def rows(self) -> Iterator[str]:
        """Yield a line for each kind and for all: accepted an hour, with its 95 % bound."""
        for kind in (*SHARES, "all"):
            of_kind = [each for each in self.accepted if kind in (each[0], "all")]
            hours = (self.seconds.total() if kind == "all" else self.seconds[kind]) / 3600
            heard = self.heard.total() if kind == "all" else self.heard[kind]
            compute_s = sum(self.compute_s.values()) if kind == "all" else self.compute_s[kind]
            if hours:
                bound = poisson_bound(len(of_kind)) / hours
                yield (
                    f"{kind}: {hours:.2f} h, {heard} utterances, {len(of_kind)} accepted, "
                    f"{len(of_kind) / hours:.2f} an hour (95 %: below {bound:.2f}), "
                    f"real-time factor {compute_s / 3600 / hours:.3f}"
                )


def main() -> None:
    """Read the command line and stream."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    default = shipped.folder("grammars") / shipped.PROCEDURE
    parser.add_argument("manifest", type=Path, help="speech, see evaluate.py")
    parser.add_argument("--hours", type=float, required=True)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--grammar", type=Path, default=default)
    options = parser.parse_args()
    least, grave = phrases(options.grammar), critical(options.grammar)
    speech = [clip.path for clip in read(options.manifest) if clip.text not in least]
    accepts = Measurement("Recogniser", "stream", options.seed, least).accepts
    count = Count(accepts, replies(options.grammar))
    told_h = 0.0
    ears = AsShipped(options.grammar)
    for scene in streamed(ears, speech, options.hours, options.seed):
        count.take(*scene)
        hours = count.seconds.total() / 3600
        if hours >= min(told_h + 0.5, options.hours):
            told_h = hours
            mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            accepted = len(count.accepted)
            print(f"after {hours:.2f} h: {accepted} accepted, peak {mib:.0f} MiB", flush=True)
    print(*count.rows(), sep="\n")
    print(f"critical: {sum(each.text in grave for _, each in count.accepted)} accepted")
    print(f"replies to nothing, beside these: {len(count.replied)}")


if __name__ == "__main__":
    main()
