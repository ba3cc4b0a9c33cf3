"""Which wordings of different meanings sound most alike: a search over all patterns.

Two automata are walked at once, each over the phones of all wordings: one comes to a critical
statement, the other to another meaning. A step that both make with the same phone costs nothing; a
phone more, a phone less or another phone costs one edit, as in `lexicon.edits`. The walk is
Dijkstra's (Numerische Mathematik 1, 1959; from memory): pairs of places in the order of their
edits, then of their steps. So the first pair of wordings that it meets has the fewest edits, and of
those pairs the fewest phones.

It is not the pair of least `lexicon.distance`, which divides by the length: optional words lengthen
two wordings at will, and so bring any two as close as one likes, while it is as hard as before to
tell them apart. The shortest are also those that are said most often.

Fillers are no part of it, nor are words that deny or doubt: they may stand anywhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import chain, pairwise, product
from typing import TYPE_CHECKING, TypeAlias

from voicecheck.core.conduct import CURRENT
from voicecheck.core.inputs import Answer, Unclear
from voicecheck.ears.lexicon import distance
from voicecheck.ears.phone_ways import PhoneWays

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from voicecheck.core.inputs import Meaning
    from voicecheck.core.procedure import Procedure
    from voicecheck.ears.lexicon import Phones

MOST_EDITS = 4
"""Wordings that differ by more are not looked for. Common practice, no source."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Alike:
    """A critical statement and another meaning, in the words in which they sound most alike."""

    critical: Answer
    wording: str
    other: Meaning
    other_wording: str
    edits: int
    """How many phones differ."""
    distance: float
    """`lexicon.distance`."""


@lru_cache(maxsize=2)
def most_alike(procedure: Procedure) -> Sequence[Alike]:
    """Return for each critical statement the pair that sounds most alike, the closest first.

    Of those that sound the same, one for each other meaning. Raises UnknownWordError with a word
    that no dictionary has.
    """
    return Search(procedure).closest()


def same_sounding(procedure: Procedure) -> Iterator[str]:
    """Yield a sentence for each two wordings that only their spelling tells apart."""
    for each in most_alike(procedure):
        if not each.edits:
            yield f'"{each.wording}" and "{each.other_wording}" sound the same and mean two things'


_Pair: TypeAlias = tuple[int, int]
"""A place on the way to a critical statement, and one on the way to another meaning."""


class Search:
    """A walk over the pairs of places that some phones lead to."""

    def __init__(self, procedure: Procedure) -> None:
        self._lexicon = procedure.file.lexicon
        self._sounds = PhoneWays(procedure)
        self._before: dict[_Pair, _Pair | None] = {}
        self._lacking: set[Meaning] = {
            meaning
            for meaning in self._sounds.ways.sayable.meanings
            if isinstance(meaning, Answer) and CURRENT.is_critical(procedure.item(meaning.item))
        }
        """Critical statements whose closest pair is not found yet."""
        self._wanted = self._sounds.these(self._lacking)

    @property
    def expanded(self) -> int:
        """How many pairs of places it has come to."""
        return len(self._before)

    def closest(self) -> Sequence[Alike]:
        """See `most_alike`."""
        found: dict[frozenset[Meaning], Alike] = {}
        for edits, pair in self._ends():
            for critical, wording, other, other_wording in self._said(pair):
                if critical in self._lacking and frozenset({critical, other}) not in found:
                    found[frozenset({critical, other})] = Alike(
                        critical=critical,
                        wording=wording,
                        other=other,
                        other_wording=other_wording,
                        edits=edits,
                        distance=distance(wording, other_wording, self._lexicon),
                    )
                if edits:
                    self._lacking -= {critical, other}
                    self._wanted = self._sounds.these(self._lacking)
        return sorted(found.values(), key=lambda each: (each.edits, each.distance))

    def _ends(self) -> Iterator[tuple[int, _Pair]]:
        """The places where two wordings of different meanings end, and their edits."""
        cheaper: list[list[_Pair]] = []  # with one edit less, by the number of steps
        for edits in range(MOST_EDITS + 1):
            levels: list[list[_Pair]] = []
            reached: dict[_Pair, _Pair | None] = {} if edits else {(0, 0): None}
            while reached or len(levels) <= len(cheaper):
                level = [pair for pair, before in reached.items() if self._comes(pair, before)]
                for pair in level:
                    if self._differs(*map(self._sounds.ends, pair)):
                        yield edits, pair
                reached = self._after(level, *cheaper[len(levels) : len(levels) + 1])
                levels.append(level)
            cheaper = levels

    def _said(self, pair: _Pair) -> Iterator[tuple[Answer, str, Meaning, str]]:
        """What the two wordings that end here mean, and each in words.

        Words that sound the same give several. Words that mean something else as a whole, because
        of what is beside their pattern, are left out: with them another wording that ends at the
        same places may be missed.
        """
        one, other = self._sounds.words(*self._phones(pair))
        for (meaning, wording), (another, other_wording) in product(one, other):
            if not isinstance(meaning, Answer) or isinstance(another, Unclear):
                continue
            if another != meaning:
                yield meaning, wording, another, other_wording

    def _comes(self, pair: _Pair, before: _Pair | None) -> bool:
        """Whether it comes to a pair that matters, for the first time."""
        if pair in self._before or not self._matters(*pair):
            return False
        self._before[pair] = before
        return True

    def _after(
        self, level: Iterable[_Pair], *cheaper: Iterable[_Pair]
    ) -> dict[_Pair, _Pair | None]:
        """The pairs one step on, by no edit from those of a level, or by one from cheaper ones."""
        reached: dict[_Pair, _Pair | None]
        reached = {after: pair for pair in level for after in self._alike(*pair)}
        for pair in chain(*cheaper):
            if self._leads(pair[0]):
                for after in self._edited(*pair):
                    reached.setdefault(after, pair)
        return reached

    def _leads(self, one: int) -> bool:
        """Whether it may come to a critical statement that is wanted."""
        return bool(self._sounds.ahead(one) & self._wanted)

    def _matters(self, one: int, other: int) -> bool:
        """Whether two different meanings may come of it, the first of them critical."""
        return self._differs(self._sounds.ahead(one), self._sounds.ahead(other))

    def _differs(self, one: int, other: int) -> bool:
        one &= self._wanted
        return bool(one and other and (one | other).bit_count() > 1)

    def _alike(self, one: int, other: int) -> Iterator[_Pair]:
        onward = self._sounds.onward(other)
        for phone, to in self._sounds.onward(one).items():
            if phone in onward and self._leads(to):
                yield to, onward[phone]

    def _edited(self, one: int, other: int) -> Iterator[_Pair]:
        ones = {to for to in self._sounds.onward(one).values() if self._leads(to)}
        others = set(self._sounds.onward(other).values())
        yield from product(ones, others | {other})
        yield from ((one, to) for to in others)

    def _phones(self, pair: _Pair) -> tuple[Phones, Phones]:
        """The phones of both wordings on the way here."""
        way: list[_Pair] = [pair]
        while (before := self._before[way[-1]]) is not None:
            way.append(before)
        steps = [self._step(*each) for each in pairwise(reversed(way))]
        return tuple(p for p, _ in steps if p), tuple(p for _, p in steps if p)

    def _step(self, before: _Pair, after: _Pair) -> tuple[str, str]:
        """The phone that either wording takes, the same if it may be; "" for none."""
        one, other = (
            [phone for phone, to in self._sounds.onward(a).items() if to == b and a != b]
            for a, b in zip(before, after, strict=True)
        )
        same = next((phone for phone in one if phone in other), None)
        return (same, same) if same else (one[0] if one else "", other[0] if other else "")
