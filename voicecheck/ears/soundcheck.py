"""How far apart a procedure's phrases sound, measured over their phones.

The distance is `lexicon.distance`, without the address word that all phrases share. It is a guide,
not proof: edit distance correlated poorly with listening tests (Edwards, York). So recordings are
tested too.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

from voicecheck.core.conduct import CURRENT
from voicecheck.core.inputs import Answer, Command
from voicecheck.core.procedure import Procedure
from voicecheck.ears.lexicon import check, distance, pronunciations

LEAST_DISTANCE = 0.5
"""From a critical statement to any phrase with another meaning."""
LEAST_DISTANCE_OF_OTHERS = 0.25
"""Between two others: closer ones are warned of. Common practice, no source."""
LEAST_CONTENT_WORDS = 2
LEAST_SYLLABLES = 3
# fmt: off
_FUNCTION_WORDS = frozenset((
    "a", "all", "an", "and", "at", "by", "down", "for", "from", "in", "is", "it", "of", "off",
    "on", "only", "out", "over", "than", "that", "the", "this", "to", "up", "with",
))
# fmt: on
_VOWELS = frozenset(
    ("AA", "AE", "AH", "AO", "AW", "AY", "EH", "ER", "EY", "IH", "IY", "OW", "OY", "UH", "UW")
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Pair:
    """Two phrases that mean different things, and how far apart they sound."""

    distance: float
    first: str
    second: str
    critical: int
    """How many of the two are critical statements."""


@lru_cache(maxsize=2)
def closest(procedure: Procedure) -> Sequence[Pair]:
    """Return all pairs of phrases with different meanings, the closest first.

    Raises UnknownWordError with all words that no dictionary has.
    """
    table, extra = CURRENT.phrases(procedure), procedure.file.lexicon
    check(table, extra)
    critical = set(critical_phrases(procedure))
    return sorted(
        (
            Pair(
                distance=distance(_bare(procedure, first), _bare(procedure, second), extra),
                first=first,
                second=second,
                critical=(first in critical) + (second in critical),
            )
            for first, second in combinations(table, 2)
            if table[first] != table[second]
        ),
        key=lambda pair: (pair.distance, pair.first, pair.second),
    )


def critical_phrases(procedure: Procedure) -> Iterator[str]:
    """Yield the phrases that state a criterion, the pause, a clip or a division."""
    return (
        phrase
        for phrase, means in CURRENT.phrases(procedure).items()
        if _critical(procedure, means)
    )


def weaknesses(procedure: Procedure) -> Iterator[str]:
    """Yield a sentence for each phrase or pair that needs other words."""
    for pair in closest(procedure):
        if pair.critical and pair.distance < LEAST_DISTANCE:
            yield f'"{pair.first}" and "{pair.second}" sound alike ({pair.distance:.2f})'
    for phrase in critical_phrases(procedure):
        words = [word for word in _bare(procedure, phrase).split() if word not in _FUNCTION_WORDS]
        if len(words) < LEAST_CONTENT_WORDS or _syllables(procedure, phrase) < LEAST_SYLLABLES:
            yield (
                f'"{phrase}" is too slight for a critical statement: it needs '
                f"{LEAST_CONTENT_WORDS} content words and {LEAST_SYLLABLES} syllables"
            )


def warnings(procedure: Procedure) -> Iterator[str]:
    """Yield a sentence for each pair that is not critical and yet too alike."""
    for pair in closest(procedure):
        if not pair.critical and pair.distance < LEAST_DISTANCE_OF_OTHERS:
            yield (
                f'"{pair.first}" and "{pair.second}" sound alike ({pair.distance:.2f}), '
                "and neither is read back: better choose other words"
            )


def _critical(procedure: Procedure, means: Command) -> bool:
    return isinstance(means, Answer) and CURRENT.is_critical(procedure.item(means.item))


def _syllables(procedure: Procedure, phrase: str) -> int:
    spoken = (
        pronunciations(word, procedure.file.lexicon)[0] for word in _bare(procedure, phrase).split()
    )
    return sum(phone in _VOWELS for phones in spoken for phone in phones)


def _bare(procedure: Procedure, phrase: str) -> str:
    return phrase.removeprefix(f"{procedure.common.listening.address} ")
