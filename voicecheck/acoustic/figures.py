"""Outcomes of recordings -> figures: verdicts, false accepts, latency, and their bounds."""

from __future__ import annotations

import csv
import math
import resource
import statistics
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Sequence
    from pathlib import Path

    from voicecheck.core.inputs import Heard

CORRECT, WRONG, AGAIN, IGNORED = "correct", "wrong command", "asked again", "ignored"
POINTS = (0.0, 0.5, 0.6, 0.7, 0.8, 0.85, 0.9, 0.95, 0.98)
"""Least confidences to show the trade-off at."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Clip:
    """One recording and what was said in it."""

    path: Path
    text: str
    voice: str
    condition: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Outcome:
    """How one recogniser took one recording in one noise."""

    clip: Clip
    ears: str
    noise: str
    heard: tuple[Heard, ...]
    accepted: tuple[str, ...]
    """What was a phrase and sure enough."""
    verdict: str
    latency_s: float | None
    """From the end of speech to the decision, computation included; None without a decision."""
    audio_s: float
    compute_s: float
    """Processor time, so that other programs do not count."""


def judge(said: str, accepted: Sequence[str], *, anything: bool) -> str:
    """Return the verdict on what was accepted; `anything` tells whether anything was heard."""
    if accepted:
        return CORRECT if list(accepted) == [said] else WRONG
    return AGAIN if anything else IGNORED


def poisson_bound(events: int) -> float:
    """Return the one-sided 95 % upper bound on a Poisson mean: 3.0 for no event."""
    low, high = 0.0, 10.0 + 3 * events
    while high - low > 1e-6:
        middle = (low + high) / 2
        # In logarithms, because a factorial of some hundred overflows a float.
        logs = (n * math.log(middle) - middle - math.lgamma(n + 1) for n in range(events + 1))
        low, high = (middle, high) if sum(map(math.exp, logs)) > 0.05 else (low, middle)
    return high


def report(done: Sequence[Outcome], known: Collection[str], critical: Collection[str]) -> None:
    """Print every figure of the outcomes of one recogniser in one noise."""
    commands = [each for each in done if each.clip.text in known]
    if commands:
        _table("voice", commands, lambda clip: clip.voice)
        _table("condition", commands, lambda clip: clip.condition)
    _rejections([each for each in done if each.clip.text not in known])
    confusions(done, critical)
    tradeoff(done, known, critical)
    _timing(done)
    for each in [each for each in done if each.verdict == WRONG][:40]:
        print(f'  accepted {list(each.accepted)} for "{each.clip.text}" in {each.clip.path.name}')


def tradeoff(done: Sequence[Outcome], known: Collection[str], critical: Collection[str]) -> None:
    """Print what other operating points, the same for all phrases, would have accepted."""
    print("least confidence: correct of commands; wrong of all; wrong that are critical")
    commands = sum(each.clip.text in known for each in done)
    for point in POINTS:
        passed = [(each.clip.text, _passed(each, known, point)) for each in done]
        correct = sum(texts == [said] for said, texts in passed)
        wrong = [set(texts) - {said} for said, texts in passed if texts and texts != [said]]
        grave = sum(not texts.isdisjoint(critical) for texts in wrong)
        print(f"  {point:.2f}: {correct} of {commands}; {len(wrong)} of {len(done)}; {grave}")


def _passed(outcome: Outcome, known: Collection[str], point: float) -> list[str]:
    return [h.text for h in outcome.heard if h.text in known and h.confidence >= point]


def confusions(done: Sequence[Outcome], critical: Collection[str]) -> None:
    """Print how often a critical phrase was accepted that nobody said, and the bound on it."""
    said = sum(each.clip.text in critical for each in done)
    accepted = [each for each in done if any(map(_unsaid(each, critical), each.accepted))]
    lost = [each for each in done if each.clip.text in critical and each.verdict == WRONG]
    bound = poisson_bound(len(accepted)) / max(len(done), 1)
    print(
        f"critical: of {said} said {len(lost)} taken for another command; unsaid, accepted "
        f"{len(accepted)} times in {len(done)} trials (95 %: below {bound:.2%})"
    )


def write(file: Path, outcomes: Iterable[Outcome]) -> None:
    """Write the outcomes as CSV, one row each."""
    with file.open("w", newline="", encoding="utf-8") as opened:
        rows = csv.writer(opened)
        rows.writerow(
            (
                *("ears", "noise", "voice", "condition", "text", "heard", "confidence"),
                *("verdict", "latency_s", "path"),
            )
        )
        for each in outcomes:
            clip, latency = each.clip, "" if each.latency_s is None else f"{each.latency_s:.3f}"
            said = (each.ears, each.noise, clip.voice, clip.condition, clip.text)
            heard = " | ".join(h.text for h in each.heard)
            sure = " | ".join(f"{h.confidence:.3f}" for h in each.heard)
            rows.writerow((*said, heard, sure, each.verdict, latency, clip.path.name))


def _unsaid(outcome: Outcome, critical: Collection[str]) -> Callable[[str], bool]:
    return lambda text: text in critical and text != outcome.clip.text


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
    conditions = sorted({each.clip.condition for each in outcomes})
    for condition in [*conditions, *(["no command"] if len(conditions) > 1 else [])]:
        those = [each for each in outcomes if condition in ("no command", each.clip.condition)]
        accepted = sum(each.verdict == WRONG for each in those)
        hours = sum(each.audio_s for each in those) / 3600
        bound = poisson_bound(accepted) / hours
        print(
            f"{condition}: {accepted} of {len(those)} accepted in {hours:.2f} h, "
            f"{accepted / hours:.1f} an hour (95 %: below {bound:.1f})"
        )


def _timing(outcomes: Sequence[Outcome]) -> None:
    latencies = sorted(each.latency_s for each in outcomes if each.latency_s is not None)
    if latencies:
        p95 = latencies[math.ceil(0.95 * len(latencies)) - 1]
        print(f"latency: median {statistics.median(latencies):.2f} s, p95 {p95:.2f} s")
    else:
        print("latency: nothing was accepted before its recording ended")
    audio_s = sum(each.audio_s for each in outcomes)
    factor = sum(each.compute_s for each in outcomes) / audio_s
    peak_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{audio_s / 3600:.2f} h of audio, real-time factor {factor:.3f} of one core, "
        f"peak {peak_mib:.0f} MiB"
    )
