"""Calibrate the confidence: logistic regression over evidence from development voices.

    python -m voicecheck.acoustic.calibrate COMMANDS... --near MANIFEST... --talk MANIFEST...
        --hours H [--one-in N] [--noise NOISE...] [--seed N] [--evidence FILE]

Each phrase that the decoder finds was said or was not: in commands in noise, in near misses in
quiet, in hours of what is no command. The weights printed turn its evidence into the probability
that it was said (`WEIGHTS` in ears/tuning.py). Never use held-out voices. `--evidence` writes what
was found as CSV.
"""

from __future__ import annotations

import argparse
import csv
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from voicecheck import shipped
from voicecheck.acoustic import stream
from voicecheck.acoustic.evaluate import Measurement, one_in, read, run
from voicecheck.acoustic.grammar_file import phrases, words
from voicecheck.ears.confidence import Evidence, terms
from voicecheck.ears.pronunciation import Goodness
from voicecheck.ears.recogniser import Recogniser
from voicecheck.ears.tuning import RIDGE, UNSAID_COUNTS

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from numpy.typing import NDArray

    from voicecheck.acoustic.figures import Clip
    from voicecheck.core.inputs import Heard


@dataclass(frozen=True, kw_only=True)
class Found:
    """A phrase that the decoder found, its evidence, and whether it was said."""

    where: str
    phrase: str
    evidence: Evidence
    was_said: bool
    weight: float
    """How many times it counts."""


class Noting:
    """A recogniser that also keeps the evidence for each phrase."""

    def __init__(
        self, known: Mapping[str, float], words: Mapping[str, Sequence[str]] | None = None
    ) -> None:
        self._known = known
        self._evidence: list[Evidence] = []
        self.ears = Recogniser(known, words=words, weigh=self._note)

    def _note(self, evidence: Evidence) -> float:
        self._evidence.append(evidence)
        return 1.0  # a doubt would start more decodings

    def of(self, heard: Iterable[Heard]) -> Iterator[tuple[str, Evidence]]:
        """Yield each phrase heard since the last call, with its evidence."""
        evidence, self._evidence = iter(self._evidence), []
        yield from ((each.text, next(evidence)) for each in heard if each.text in self._known)


def in_recordings(
    noting: Noting, clips: Sequence[Clip], talk: Sequence[Clip], measurement: Measurement
) -> Iterator[Found]:
    """Yield what is found in recordings in one noise."""
    outcomes = run(noting.ears, clips, talk, measurement)
    heard = [(each, done.clip.text) for done in outcomes for each in done.heard]
    texts = [text for each, text in heard if each.text in measurement.least]
    for text, (phrase, why) in zip(texts, noting.of(each for each, _ in heard), strict=True):
        yield Found(
            where=measurement.noise,
            phrase=phrase,
            evidence=why,
            was_said=phrase == text,
            weight=1.0,
        )


def in_stream(noting: Noting, speech: Sequence[Path], hours: float, seed: int) -> Iterator[Found]:
    """Yield what is found in hours of what is no command: none of it was said."""
    for scene in stream.streamed(noting.ears, speech, hours, seed):
        for phrase, why in noting.of(scene.heard):
            yield Found(
                where=scene.kind,
                phrase=phrase,
                evidence=why,
                was_said=False,
                weight=UNSAID_COUNTS,
            )


def logistic(
    terms_of: NDArray[np.float64], said: NDArray[np.bool_], counts: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the weights of maximum likelihood, with an L2 penalty (Newton's method).

    `terms_of` has a row for each phrase found and a column for each weight. `said` tells whether
    the phrase was said, `counts` how many times it counts.
    """
    weights = np.zeros(terms_of.shape[1])
    for _ in range(50):
        probable = 1 / (1 + np.exp(-terms_of @ weights))
        slope = terms_of.T @ (counts * (said - probable)) - RIDGE * weights
        curve = (terms_of.T * (counts * probable * (1 - probable))) @ terms_of
        weights = weights + np.linalg.solve(curve + RIDGE * np.eye(len(weights)), slope)
    return weights


def main() -> None:
    """Read the command line, listen, and print the weights."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    default = shipped.folder("grammars") / shipped.PROCEDURE
    parser.add_argument("commands", type=Path, nargs="+", help="manifests (evaluate.py) of phrases")
    parser.add_argument("--near", type=Path, nargs="+", required=True, help="of near misses")
    parser.add_argument("--talk", type=Path, nargs="+", required=True, help="of speech without")
    parser.add_argument("--hours", type=float, required=True, help="of stream, see stream.py")
    parser.add_argument("--noise", nargs="*", default=["none"], help="see evaluate.py")
    parser.add_argument("--one-in", type=int, default=1, help="of each voice's commands")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--grammar", type=Path, default=default)
    parser.add_argument("--evidence", type=Path)
    options = parser.parse_args()
    known = phrases(options.grammar)
    commands, near, talk = (
        list(chain.from_iterable(map(read, manifests)))
        for manifests in (options.commands, options.near, options.talk)
    )
    spoken = list(one_in(options.one_in, commands))
    noting = Noting(known, words(options.grammar))
    found: list[Found] = []
    with noting.ears:
        for noise in options.noise:
            measurement = Measurement("Recogniser", noise, options.seed, known)
            found += in_recordings(noting, spoken, talk, measurement)
            print(f"{noise}: {len(found)} phrases found so far", flush=True)
        quiet = Measurement("Recogniser", "none", options.seed, known)
        found += in_recordings(noting, near, talk, quiet)
        found += in_stream(noting, [clip.path for clip in talk], options.hours, options.seed)
    if not found:
        parser.error("no phrase was found in all of this: there is nothing to calibrate")
    said = np.array([each.was_said for each in found])
    weights = logistic(
        np.array([terms(each.evidence) for each in found]),
        said,
        np.array([each.weight for each in found]),
    )
    print(f"{said.sum()} said, {(~said).sum()} not; weights {np.round(weights, 2).tolist()}")
    if options.evidence:
        _write(options.evidence, found)


def _write(path: Path, found: Sequence[Found]) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        table = csv.writer(file)
        table.writerow(("where", "phrase", "was_said", "posterior", *Goodness._fields))
        for each in found:
            numbers = (each.evidence.posterior, *each.evidence.goodness)
            table.writerow((each.where, each.phrase, each.was_said, *np.round(numbers, 4)))


if __name__ == "__main__":
    main()
