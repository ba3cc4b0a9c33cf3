"""How closely a sentence matches patterns: what each leaves over of it."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import TypeAlias

from .automaton import Automaton, Following

STRAY, DENIAL, HEDGE, FILLER = range(4)
"""What a word counts as where no pattern takes it."""

Counts: TypeAlias = tuple[int, int, int]
"""How many strays, denials and hedges."""

_NONE: Counts = (0, 0, 0)
_ONE: tuple[Counts, ...] = ((1, 0, 0), (0, 1, 0), (0, 0, 1), _NONE)


@dataclass(frozen=True, slots=True)
class Match:
    """A pattern's meaning found in a sentence, from word to word."""

    meaning: Hashable
    whole: Counts
    """What the pattern leaves over of the whole sentence."""
    inner: Counts
    """The same from its first word to its last."""
    begin: int
    end: int


def matches(
    automaton: Automaton, words: Sequence[str], kinds: Sequence[int]
) -> dict[Hashable, Match]:
    """For each meaning whose pattern the sentence holds, its words in order, the closest match.

    `kinds` says of each word what it counts as where no pattern takes it.
    """
    until = list(accumulate((_ONE[kind] for kind in kinds), _sum, initial=_NONE))
    active: dict[Following, _Way] = {}
    found: dict[Hashable, _Found] = {}
    for place, word in enumerate(words):
        taken = _step(automaton, active, word)
        begun = (sum(until[place]), until[place], -place)
        for state in automaton.first(word):
            if begun < taken.get(state, _WORST):
                taken[state] = begun
        active = _passed(active, _ONE[kinds[place]])
        rest = _less(until[-1], until[place + 1])
        for state, way in taken.items():
            if state in automaton.ends:
                meaning, ended = automaton.ends[state], (_left_over(way, rest), place)
                found[meaning] = min(ended, found.get(meaning, ended))
            for following in automaton.follow[state]:
                if way < active.get(following, _WORST):
                    active[following] = way
    return {
        meaning: Match(meaning, whole, _inner(whole, until, -begun, end), -begun, end)
        for meaning, ((_, whole, begun), end) in found.items()
    }


_Way: TypeAlias = tuple[float, Counts, int]
"""How a state was reached: what was left over in all and by kind, and minus the first word taken.

Of two ways the lesser is taken: that which leaves less over, then that which begins later."""

_Found: TypeAlias = tuple[_Way, int]
"""The way through the whole sentence, and the last word taken."""

_WORST: _Way = (math.inf, _NONE, 0)


def _step(automaton: Automaton, active: Mapping[Following, _Way], word: str) -> dict[int, _Way]:
    """The states that take this word."""
    taken: dict[int, _Way] = {}
    for following, way in active.items():
        for state in following.taking(word, automaton.labels):
            if way < taken.get(state, _WORST):
                taken[state] = way
    return taken


def _passed(active: dict[Following, _Way], step: Counts) -> dict[Following, _Way]:
    """What may follow later, with this word left over."""
    if step == _NONE:
        return active
    return {following: _left_over(way, step) for following, way in active.items()}


def _left_over(way: _Way, more: Counts) -> _Way:
    total, counts, begun = way
    return total + sum(more), _sum(counts, more), begun


def _inner(whole: Counts, until: Sequence[Counts], begin: int, end: int) -> Counts:
    """What is left over between two words, both within."""
    return _less(_less(whole, until[begin]), _less(until[-1], until[end + 1]))


def _sum(one: Counts, other: Counts) -> Counts:
    return (one[0] + other[0], one[1] + other[1], one[2] + other[2])


def _less(one: Counts, other: Counts) -> Counts:
    return (one[0] - other[0], one[1] - other[1], one[2] - other[2])
