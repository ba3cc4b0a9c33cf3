"""Measure the recogniser on recordings: `python -m voicecheck.acoustic.evaluate MANIFEST…`.

A manifest is a CSV file with the columns path (beside it), text, voice and, if it likes, condition.
A text that is a phrase of the grammar must be heard; with any other text nothing may be accepted.
"""

from __future__ import annotations

import argparse
import csv
import itertools
import math
import resource
import statistics
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import numpy as np
import soundfile

from voicecheck import grammar, procedure, shipped
from voicecheck.acoustic.noises import NOISES, mix
from voicecheck.recogniser import SAMPLE_RATE_HZ, Recogniser

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Iterator, Sequence

    from voicecheck.acoustic.noises import Samples
    from voicecheck.inputs import Heard

BLOCK_SAMPLES = SAMPLE_RATE_HZ // 10
QUIET_S = 1.0  # after each recording, so that an utterance can end by itself
FLOOR = 10 ** (-75 / 20)  # no microphone gives digital silence

CORRECT, WRONG, AGAIN, IGNORED = "correct", "wrong command", "asked again", "ignored"


class Ears(Protocol):
    """What is measured: Vosk with our model, or the peer."""

    def hear(self, block: bytes) -> list[Heard]:
        """Listen to a block; the utterances that ended in it."""

    def finish(self) -> list[Heard]:
        """The audio has ended."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Clip:
    """One recording and what was said in it."""

    path: Path
    text: str
    voice: str
    condition: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Outcome:
    """What became of one recording."""

    clip: Clip
    heard: tuple[str, ...]
    verdict: str
    latency_s: float | None
    """From the end of speech to the decision: audio streamed since, and its computation."""
    audio_s: float
    compute_s: float


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


def phrases(path: Path) -> frozenset[str]:
    """Read a grammar: a procedure file, or plain text with one phrase a line."""
    text = path.read_text(encoding="utf-8")
    if path.suffix != ".toml":
        return frozenset(line.strip() for line in text.splitlines() if line.strip())
    common = (shipped.folder("grammars") / "_common.toml").read_text(encoding="utf-8")
    return frozenset(grammar.phrases(procedure.parse(text, common, path.name)))


def samples(path: Path) -> Samples:
    """Read a 16 kHz recording and end it with quiet."""
    read_samples, rate_hz = soundfile.read(path)
    if rate_hz != SAMPLE_RATE_HZ:
        raise ValueError(f"{path} has {rate_hz} samples a second: convert it to {SAMPLE_RATE_HZ}.")
    return np.concatenate((read_samples, np.zeros(int(QUIET_S * SAMPLE_RATE_HZ))))


def end_of_speech_s(clean: Samples) -> float:
    """Return where the last 10 ms lies that is within 30 dB of the loudest."""
    frame = SAMPLE_RATE_HZ // 100
    power = (clean[: len(clean) // frame * frame].reshape(-1, frame) ** 2).mean(axis=1)
    return float(np.flatnonzero(power > power.max() / 1000)[-1] + 1) / 100


def trial(
    ears: Ears, clip: Clip, clean: Samples, noisy: Samples, known: Collection[str]
) -> Outcome:
    """Stream one recording in blocks of 100 ms and judge what was heard."""
    pcm = (np.clip(noisy, -1, 1) * 32767).astype("<i2")
    heard: list[str] = []
    latency_s: float | None = None
    compute_s = 0.0
    for at in range(0, len(pcm), BLOCK_SAMPLES):
        block = pcm[at : at + BLOCK_SAMPLES]
        started = time.perf_counter()
        utterances = ears.hear(block.tobytes())
        took_s = time.perf_counter() - started
        compute_s += took_s
        heard += [each.text for each in utterances]
        if latency_s is None and any(each.text in known for each in utterances):
            latency_s = (at + len(block)) / SAMPLE_RATE_HZ - end_of_speech_s(clean) + took_s
    heard += [each.text for each in ears.finish()]
    return Outcome(
        clip=clip,
        heard=tuple(heard),
        verdict=judge(clip.text, heard, known),
        latency_s=latency_s,
        audio_s=len(pcm) / SAMPLE_RATE_HZ,
        compute_s=compute_s,
    )


def judge(said: str, heard: Sequence[str], known: Collection[str]) -> str:
    """Compare what was said with what was heard."""
    commands = [text for text in heard if text in known]
    if commands:
        return CORRECT if commands == [said] else WRONG
    return AGAIN if heard else IGNORED


def poisson_bound(events: int) -> float:
    """Return the rate that, with 95 % confidence, is not exceeded: 3.0 for no event at all."""
    low, high = 0.0, 10.0 + 3 * events
    while high - low > 1e-6:
        middle = (low + high) / 2
        terms = (middle**n / math.factorial(n) for n in range(events + 1))
        low, high = (middle, high) if math.exp(-middle) * sum(terms) > 0.05 else (low, middle)
    return high


def report(outcomes: Iterable[Outcome], known: Collection[str], *, wrong_shown: int = 40) -> None:
    """Print every figure of the outcomes of one condition of noise."""
    done = list(outcomes)
    commands = [each for each in done if each.clip.text in known]
    others = [each for each in done if each.clip.text not in known]
    for title, key in (("voice", lambda c: c.voice), ("condition", lambda c: c.condition)):
        _table(title, commands, key)
    _rejections(others)
    _timing(done)
    for each in [each for each in done if each.verdict == WRONG][:wrong_shown]:
        print(f'  accepted {list(each.heard)} for "{each.clip.text}" in {each.clip.path.name}')


def _table(title: str, outcomes: Sequence[Outcome], key: Callable[[Clip], str]) -> None:
    verdicts = (CORRECT, WRONG, AGAIN, IGNORED)
    print(f"{title:24}{'commands':>10}" + "".join(f"{verdict:>16}" for verdict in verdicts))
    groups = sorted({key(each.clip) for each in outcomes})
    for group in [*groups, "all"]:
        counts = Counter(each.verdict for each in outcomes if group in ("all", key(each.clip)))
        total = counts.total() or 1
        shares = "".join(f"{counts[v]:8d} {counts[v] / total:6.1%} " for v in verdicts)
        print(f"{group:24}{counts.total():10d}{shares}")


def _rejections(outcomes: Sequence[Outcome]) -> None:
    for condition in sorted({each.clip.condition for each in outcomes}):
        those = [each for each in outcomes if each.clip.condition == condition]
        accepted = sum(each.verdict == WRONG for each in those)
        hours = sum(each.audio_s for each in those) / 3600
        bound = poisson_bound(accepted) / hours
        print(
            f"{condition}: {accepted} of {len(those)} accepted in {hours:.2f} h, "
            f"{accepted / hours:.1f} an hour (95 %: below {bound:.1f})"
        )


def _timing(outcomes: Sequence[Outcome]) -> None:
    latencies = sorted(each.latency_s for each in outcomes if each.latency_s is not None)
    if len(latencies) > 1:
        p95 = latencies[math.ceil(0.95 * len(latencies)) - 1]
        print(f"latency: median {statistics.median(latencies):.2f} s, p95 {p95:.2f} s")
    audio_s = sum(each.audio_s for each in outcomes)
    factor = sum(each.compute_s for each in outcomes) / audio_s
    peak_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{audio_s / 3600:.2f} h of audio, real-time factor {factor:.3f}, peak {peak_mib:.0f} MiB"
    )


def run(ears: Ears, clips: Sequence[Clip], known: Collection[str], noise: str, seed: int) -> None:
    """Measure all recordings in one noise, "none" or such as "suction:10" (dB), and print."""
    kind, _, snr_db = noise.partition(":")
    speech = [samples(c.path) for c in clips if c.text not in known] if kind == "babble" else []

    def outcomes() -> Iterator[Outcome]:
        for number, clip in enumerate(clips):
            clean = samples(clip.path)
            rng = np.random.default_rng((seed, number))
            noisy: Samples = clean + FLOOR * rng.standard_normal(len(clean))
            if kind != "none":
                noisy = mix(clean, NOISES[kind](len(clean), rng, speech), float(snr_db))
            yield trial(ears, clip, clean, noisy, known)

    print(f"\n== {type(ears).__name__}, noise {noise}, seed {seed}")
    report(outcomes(), known)


def main() -> None:
    """Read the command line and measure."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    default = shipped.folder("grammars") / "laparoscopic_cholecystectomy.toml"
    parser.add_argument("manifests", nargs="+", type=Path, metavar="MANIFEST")
    parser.add_argument("--grammar", type=Path, default=default)
    parser.add_argument("--noise", nargs="*", default=["none"], help="none, or KIND:SNR_DB")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--model", type=Path, help="another Vosk model than the shipped one")
    parser.add_argument("--peer", action="store_true", help="pocketsphinx beside it")
    options = parser.parse_args()
    known = phrases(options.grammar)
    clips = list(itertools.chain.from_iterable(map(read, options.manifests)))
    ears: list[Ears] = [Recogniser(known, model=options.model)]
    if options.peer:
        from voicecheck.acoustic.peer import PocketSphinx  # noqa: PLC0415 (installed by hand)

        ears.append(PocketSphinx(known))
    for noise, each in itertools.product(options.noise, ears):
        run(each, clips, known, noise, options.seed)


if __name__ == "__main__":
    main()
