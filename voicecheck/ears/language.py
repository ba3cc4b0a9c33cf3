"""Sentences, and words side by side in patterns -> the cost of a word after another (bigrams).

Witten-Bell smoothing: the more different words have followed a word, the likelier is yet another
(Witten and Bell, IEEE Transactions on Information Theory 37, 1991; from memory). Patterns serve
for a word that no sentence has, as most of another procedure's words.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from itertools import pairwise
from math import log
from typing import TYPE_CHECKING

from voicecheck.ears.tuning import PAIRS_SHARE, UNSEEN_COUNT

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator
    from collections.abc import Set as AbstractSet

START = ""
"""Stands before the first word of a sentence."""


class Bigrams:
    """What a word costs after another: minus the logarithm of its probability, in nats."""

    def __init__(
        self,
        words: Collection[str],
        beside: Iterable[tuple[AbstractSet[str], AbstractSet[str]]],
        sentences: Iterable[str],
    ) -> None:
        """In patterns any of some words may stand `beside` any of others.

        Of `sentences` only `words` count.
        """
        spoken = [(START, *sentence.split()) for sentence in sentences]
        alone = Counter(word for sentence in spoken for word in sentence if word in words)
        whole = alone.total() + UNSEEN_COUNT * len(words)
        self._alone = {word: (alone[word] + UNSEEN_COUNT) / whole for word in words}
        self._seen: defaultdict[str, Counter[str]] = defaultdict(Counter)
        for sentence in spoken:
            for one, other in pairwise(sentence):
                if other in words:
                    self._seen[one][other] += 1
        self._paired: defaultdict[str, set[str]] = defaultdict(set)
        for ones, others in beside:
            for one in ones - self._seen.keys():
                self._paired[one] |= others & self._alone.keys()

    def alone(self, word: str) -> float:
        """Return the cost of a word, whatever is before it."""
        return -log(self._alone[word])

    def leaving(self, one: str) -> float:
        """Return the cost, after `one`, of going on with a word whatever is before it."""
        return -log(self._shares(one)[2])

    def followers(self, one: str) -> Iterator[tuple[str, float]]:
        """Yield each word that follows `one` in a sentence or a pattern, and its cost there."""
        by_sentence, by_pattern, by_word = self._shares(one)
        seen, paired = self._seen[one], self._paired[one]
        times, mass = seen.total(), sum(self._alone[word] for word in paired)
        for word in sorted({*seen, *paired}):
            probability = by_word * self._alone[word]
            if word in seen:
                probability += by_sentence * seen[word] / times
            if word in paired:
                probability += by_pattern * self._alone[word] / mass
            yield word, -log(probability)

    def _shares(self, one: str) -> tuple[float, float, float]:
        """How probable it is that sentences, patterns or words alone give the word after `one`."""
        seen = self._seen[one]
        by_sentence = seen.total() / (seen.total() + len(seen)) if seen else 0.0
        by_pattern = PAIRS_SHARE if self._paired[one] else 0.0
        return by_sentence, by_pattern, 1 - by_sentence - by_pattern
