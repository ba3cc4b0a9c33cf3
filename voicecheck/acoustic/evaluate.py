"""Measure the recogniser on recordings: `python -m voicecheck.acoustic.evaluate MANIFEST…`.

A manifest is a CSV file with the columns path (relative to it), text, voice and perhaps condition;
trials.py makes them. A text that means something in the grammar must be heard, in any words of the
same meaning. With any other text nothing may be accepted. Every recording is played in every noise:
"none", "mask", a kind with its level such as "suction:10" (dB below the active speech level), a
recorded noise such as "tap.flac:10", or a mask and a noise, such as "mask+suction:10".
"""

from __future__ import annotations

import argparse
import csv
import math
import time
import zlib
from dataclasses import dataclass, replace
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import numpy as np
import soundfile

from voicecheck import shipped
from voicecheck.acoustic.figures import Clip, Outcome, confusions, judge, report, write
from voicecheck.acoustic.grammar_file import phrases, told_as, wordings, words
from voicecheck.acoustic.noises import NOISES, mask, mix, recorded
from voicecheck.ears.recogniser import Recogniser
from voicecheck.ears.soundcheck import critical_phrases
from voicecheck.sound.pcm import RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence

    from numpy.random import Generator

    from voicecheck.acoustic.noises import Noise, Samples
    from voicecheck.core.inputs import Heard

BLOCK_SAMPLES = RATE_HZ // 10
QUIET_S = 1.0  # after each recording, so that its utterance can end
FLOOR = 10 ** (-75 / 20)  # because no microphone gives digital silence


class RecordingError(ValueError):
    """A recording that cannot be used; its text is the sentence to show."""


class Ears(Protocol):
    """What is measured: our recogniser, or the peer."""

    def hear(self, block: bytes) -> list[Heard]:
        """Listen to a block; return the utterances that ended in it."""

    def finish(self) -> list[Heard]:
        """End the audio; return the utterance that was still open, if any."""


class AsShipped:
    """The recogniser as the program runs it; what it hears is told as the phrase that means it."""

    def __init__(self, grammar: Path, model: Path | None = None) -> None:
        """`grammar` is a procedure file, or phrases in plain text."""
        self._told = told_as(grammar)
        self._ears = Recogniser(
            phrases(grammar), model=model, words=words(grammar), wordings=wordings(grammar)
        )

    def hear(self, block: bytes) -> list[Heard]:
        """Listen to a block; return the utterances that ended in it."""
        return [replace(each, text=self._told(each.text)) for each in self._ears.hear(block)]

    def finish(self) -> list[Heard]:
        """End the audio; return the utterance that was still open, if any."""
        return [replace(each, text=self._told(each.text)) for each in self._ears.finish()]


@dataclass(frozen=True, slots=True)
class Measurement:
    """Who listens, in which noise from which seed, and for which phrases."""

    ears: str
    noise: str
    seed: int
    least: Mapping[str, float]
    """Phrase → the least confidence to accept it with."""

    def accepts(self, heard: Heard) -> bool:
        """Return whether it is a phrase and sure enough."""
        return heard.confidence >= self.least.get(heard.text, math.inf)


def read(manifest: Path) -> Iterator[Clip]:
    """Read the recordings that a manifest lists."""
    with manifest.open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            yield Clip(
                path=manifest.parent / row["path"],
                text=row["text"],
                voice=row["voice"],
                condition=row.get("condition") or "clean",
            )


def one_in(every: int, clips: Iterable[Clip]) -> Iterator[Clip]:
    """Choose one in `every` recordings of each voice, starting one further on with each voice."""
    places: dict[str, int] = {}
    for clip in clips:
        place = places.setdefault(clip.voice, len(places))
        places[clip.voice] += 1
        if place % every == 0:
            yield clip


def critical(path: Path) -> frozenset[str]:
    """Return the phrases of a procedure that state something critical; plain text has none."""
    return frozenset(critical_phrases(shipped.procedure_at(path)) if path.suffix == ".toml" else ())


def samples(path: Path) -> Samples:
    """Read a 16 kHz recording and add `QUIET_S` of silence.

    Raises RecordingError if it cannot be read, has another rate or is silent.
    """
    try:
        read_samples, rate_hz = soundfile.read(path)
    except soundfile.LibsndfileError as error:
        raise RecordingError(f"{path} cannot be read as sound ({error}): make it again.") from error
    if rate_hz != RATE_HZ:
        raise RecordingError(f"{path} has {rate_hz} samples a second: convert it to {RATE_HZ}.")
    if not read_samples.any():
        raise RecordingError(f"{path} is silent: make it again, or leave it out of the manifest.")
    return np.concatenate((read_samples, np.zeros(int(QUIET_S * RATE_HZ))))


def end_of_speech_s(clean: Samples) -> float:
    """Return the end of the last 10 ms that are within 30 dB of the loudest."""
    frame = RATE_HZ // 100
    power = (clean[: len(clean) // frame * frame].reshape(-1, frame) ** 2).mean(axis=1)
    return float(np.flatnonzero(power > power.max() / 1000)[-1] + 1) / 100


def disturbed(clean: Samples, noise: str, rng: Generator, talk: Sequence[Samples]) -> Samples:
    """Put a recording behind a mask, in a noise, or both (see the module docstring)."""
    masked = noise.startswith("mask")
    spoken = mask(clean) if masked else clean
    kind, _, snr_db = noise.removeprefix("mask").removeprefix("+").rpartition(":")
    if not kind:
        return np.asarray(spoken + FLOOR * rng.standard_normal(len(spoken)))
    return mix(spoken, _noise(kind)(len(spoken), rng, talk), float(snr_db))


@cache
def _noise(kind: str) -> Noise:
    """The noise of that name, or that in a file; raises RecordingError."""
    if kind in NOISES:
        return NOISES[kind]
    try:
        return recorded(Path(kind))
    except (soundfile.LibsndfileError, ValueError) as error:
        known = ", ".join(NOISES)
        raise RecordingError(f"{kind} is no noise ({known}), nor a recording: {error}") from error


def trial(
    ears: Ears, clip: Clip, clean: Samples, noisy: Samples, measurement: Measurement
) -> Outcome:
    """Stream one recording in blocks of 100 ms and judge what was heard."""
    pcm = (np.clip(noisy, -1, 1) * 32767).astype("<i2")
    heard: list[Heard] = []
    latency_s: float | None = None
    compute_s = 0.0
    for at in range(0, len(pcm), BLOCK_SAMPLES):
        block = pcm[at : at + BLOCK_SAMPLES]
        started, computed = time.perf_counter(), time.process_time()
        utterances = ears.hear(block.tobytes())
        took_s = time.perf_counter() - started
        compute_s += time.process_time() - computed
        heard += utterances
        if latency_s is None and any(map(measurement.accepts, utterances)):
            latency_s = (at + len(block)) / RATE_HZ - end_of_speech_s(clean) + took_s
    computed = time.process_time()
    heard += ears.finish()
    compute_s += time.process_time() - computed
    accepted = tuple(each.text for each in heard if measurement.accepts(each))
    return Outcome(
        clip=clip,
        ears=measurement.ears,
        noise=measurement.noise,
        heard=tuple(heard),
        accepted=accepted,
        verdict=judge(clip.text, accepted, anything=bool(heard)),
        latency_s=latency_s,
        audio_s=len(pcm) / RATE_HZ,
        compute_s=compute_s,
    )


def run(
    ears: Ears, clips: Sequence[Clip], talk: Sequence[Clip], measurement: Measurement
) -> list[Outcome]:
    """Play all recordings in one noise; `talk` is what babble is made of."""
    speech = [samples(clip.path) for clip in talk] if "babble" in measurement.noise else []
    done = []
    for clip in clips:
        clean = samples(clip.path)
        # So a recording meets the same noise whatever else is measured.
        rng = np.random.default_rng((measurement.seed, zlib.crc32(clip.path.name.encode())))
        noisy = disturbed(clean, measurement.noise, rng, speech)
        done.append(trial(ears, clip, clean, noisy, measurement))
    return done


def main() -> None:
    """Read the command line and measure."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    default = shipped.folder("grammars") / shipped.PROCEDURE
    parser.add_argument("manifests", nargs="+", type=Path, metavar="MANIFEST")
    parser.add_argument("--grammar", type=Path, default=default)
    parser.add_argument("--noise", nargs="*", default=["none"], help="see above")
    parser.add_argument("--talk", type=Path, help="manifest of the speech that babble is made of")
    parser.add_argument("--one-in", type=int, default=1, help="measure one recording in so many")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--model", type=Path, help="another Vosk model than the shipped one")
    parser.add_argument("--peer", action="store_true", help="pocketsphinx beside it")
    parser.add_argument("--rows", type=Path, help="write what became of each recording, as CSV")
    options = parser.parse_args()
    try:
        _measure(options)
    except (OSError, RecordingError) as error:
        parser.error(str(error))


def _measure(options: argparse.Namespace) -> None:
    known, grave = phrases(options.grammar), critical(options.grammar)
    told = told_as(options.grammar)
    listed = (clip for manifest in options.manifests for clip in read(manifest))
    listed = (replace(clip, text=told(clip.text)) for clip in listed)
    clips = list(one_in(options.one_in, listed))
    talk = list(read(options.talk)) if options.talk else []
    done: list[Outcome] = []
    ours = partial(AsShipped, options.grammar, options.model)
    makers: list[Callable[[], Ears]] = [ours, *([partial(_peer, known)] if options.peer else [])]
    for make in makers:
        ears = make()  # only now, so that the first is measured without the other's memory
        name = type(ears).__name__
        for noise in options.noise:
            print(f"\n== {name}, noise {noise}, seed {options.seed}", flush=True)
            done += run(ears, clips, talk, Measurement(name, noise, options.seed, known))
            report(done[-len(clips) :], known, grave)
        if len(options.noise) > 1:
            print(f"\n== {name}, all noises together")
            confusions([each for each in done if each.ears == name], grave)
    if options.rows:
        write(options.rows, done)


def _peer(known: Collection[str]) -> Ears:
    from voicecheck.acoustic.peer import PocketSphinx, jsgf  # noqa: PLC0415 (an extra)

    return PocketSphinx({word for phrase in known for word in phrase.split()}, jsgf(known))


if __name__ == "__main__":
    main()
