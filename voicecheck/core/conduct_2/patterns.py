"""Patterns of wordings -> one automaton over words, which finds what a sentence may mean.

A pattern is written in a subset of the ABNF form of SRGS 1.0 (Speech Recognition Grammar
Specification, W3C Recommendation, 2004): words in order, `( | )` for alternatives, `[ ]` for what
may be left out, `$name` for a named piece. Repeats, weights and tags are left out.

The automaton is Glushkov's (1961, from memory): one state for each word written in a pattern.
"""

from __future__ import annotations

import math
import re
from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import accumulate, chain
from typing import TypeAlias

_TOKEN = re.compile(r"\s*(\$[a-z_]+|[a-z'.-]+|[()\[\]|])")


class PatternError(ValueError):
    """A pattern that cannot be read; its text is the sentence to show."""


@dataclass(slots=True)
class _Part:
    """A piece of a pattern: where it may begin and end, and whether it may be empty."""

    first: frozenset[int]
    last: frozenset[int]
    may_be_empty: bool


_NOTHING = _Part(frozenset(), frozenset(), may_be_empty=True)


@dataclass(slots=True)
class Automaton:
    """Words as states, each with the states that may follow it."""

    pieces: Mapping[str, str]
    words: list[str] = field(default_factory=list)
    follow: list[list[frozenset[int]]] = field(default_factory=list)
    """For each state the sets of states that may come next; sets are shared, to save memory."""
    first: dict[str, list[int]] = field(default_factory=dict)
    """Word -> the states that begin a pattern with it."""
    ends: dict[int, Hashable] = field(default_factory=dict)
    """State that may end a pattern -> what the pattern means."""

    def add(self, pattern: str, meaning: Hashable) -> None:
        """Add a pattern; raises PatternError."""
        part = _Parser(self, pattern).whole()
        if part.may_be_empty:
            raise PatternError(f'"{pattern}" may be empty: nothing would mean something')
        for state in part.first:
            self.first.setdefault(self.words[state], []).append(state)
        for state in part.last:
            self.ends[state] = meaning

    def state(self, word: str) -> int:
        """Add a state for one word written in a pattern."""
        self.words.append(word)
        self.follow.append([])
        return len(self.words) - 1

    def pairs(self) -> Iterator[tuple[str, str]]:
        """Every two words that some pattern has side by side."""
        for state, follow in enumerate(self.follow):
            yield from ((self.words[state], self.words[n]) for each in follow for n in each)

    def sentences(self, most_words: int) -> Iterator[str]:
        """Every sentence of all patterns with so many words at most, some perhaps twice."""
        waiting: list[tuple[int, tuple[str, ...]]]
        waiting = [(state, (self.words[state],)) for each in self.first.values() for state in each]
        while waiting:
            state, words = waiting.pop()
            if state in self.ends:
                yield " ".join(words)
            if len(words) < most_words:
                waiting += [
                    (after, (*words, self.words[after]))
                    for after in chain.from_iterable(self.follow[state])
                ]


class _Parser:
    """Reads one pattern into an automaton, by recursive descent."""

    def __init__(self, into: Automaton, pattern: str, within: tuple[str, ...] = ()) -> None:
        self._into, self._pattern, self._within = into, pattern, within
        self._tokens = list(self._split(pattern))
        self._at = 0

    def whole(self) -> _Part:
        part = self._alternatives()
        if self._next() is not None:
            raise PatternError(f'"{self._pattern}" has a {self._next()!r} that nothing opened')
        return part

    @staticmethod
    def _split(pattern: str) -> Iterator[str]:
        at, text = 0, pattern.rstrip()
        while at < len(text):
            found = _TOKEN.match(text, at)
            if found is None:
                raise PatternError(f'"{pattern}" has {text[at:].strip()[:1]!r}, which is no word')
            yield found[1]
            at = found.end()

    def _next(self) -> str | None:
        return self._tokens[self._at] if self._at < len(self._tokens) else None

    def _alternatives(self) -> _Part:
        part = self._sequence()
        while self._next() == "|":
            self._at += 1
            other = self._sequence()
            part = _Part(
                part.first | other.first,
                part.last | other.last,
                part.may_be_empty or other.may_be_empty,
            )
        return part

    def _sequence(self) -> _Part:
        part = _NOTHING
        while (token := self._next()) not in (None, "|", ")", "]"):
            part = self._joined(part, self._one(str(token)))
        return part

    def _one(self, word: str) -> _Part:
        self._at += 1
        if word in "([":
            inside = self._alternatives()
            closing = ")" if word == "(" else "]"
            if self._next() != closing:
                raise PatternError(f'"{self._pattern}" lacks a {closing!r}')
            self._at += 1
            return inside if word == "(" else _Part(inside.first, inside.last, may_be_empty=True)
        if word.startswith("$"):
            return self._piece(word[1:])
        state = frozenset({self._into.state(word)})
        return _Part(state, state, may_be_empty=False)

    def _piece(self, name: str) -> _Part:
        if name not in self._into.pieces:
            raise PatternError(f'"{self._pattern}" names ${name}, which is no piece')
        if name in self._within:
            raise PatternError(f"${name} holds itself")
        return _Parser(self._into, self._into.pieces[name], (*self._within, name)).whole()

    def _joined(self, one: _Part, other: _Part) -> _Part:
        for state in one.last:
            if other.first:
                self._into.follow[state].append(other.first)
        return _Part(
            one.first | other.first if one.may_be_empty else one.first,
            one.last | other.last if other.may_be_empty else other.last,
            one.may_be_empty and other.may_be_empty,
        )


# -------------------------------------------------------------------------------------- matching

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
    active: dict[int, _Way] = {}
    found: dict[Hashable, Match] = {}
    for place, word in enumerate(words):
        taken = _step(automaton, active, word)
        begun = (sum(until[place]), until[place], place)
        for state in automaton.first.get(word, ()):
            if begun[0] <= taken.get(state, _WORST)[0]:
                taken[state] = begun
        for state in taken.keys() & automaton.ends.keys():
            _note(found, automaton.ends[state], taken[state], until, place)
        active = _passed(active, _ONE[kinds[place]])
        for state, way in taken.items():
            if way[0] < active.get(state, _WORST)[0]:
                active[state] = way
    return found


_Way: TypeAlias = tuple[float, Counts, int]
"""How a state was reached: what was left over in all, by kind, and the first word taken."""

_WORST: _Way = (math.inf, _NONE, 0)


def _step(automaton: Automaton, active: Mapping[int, _Way], word: str) -> dict[int, _Way]:
    """The states that take this word."""
    taken: dict[int, _Way] = {}
    for state, way in active.items():
        for follower in chain.from_iterable(automaton.follow[state]):
            if automaton.words[follower] == word and way[0] < taken.get(follower, _WORST)[0]:
                taken[follower] = way
    return taken


def _passed(active: dict[int, _Way], step: Counts) -> dict[int, _Way]:
    """The states that stay where they are, and leave a word over."""
    if step == _NONE:
        return active
    return {
        state: (total + 1, _sum(counts, step), begin)
        for state, (total, counts, begin) in active.items()
    }


def _note(
    found: dict[Hashable, Match],
    meaning: Hashable,
    way: _Way,
    until: Sequence[Counts],
    end: int,
) -> None:
    _, counts, begin = way
    whole = _sum(counts, _less(until[-1], until[end + 1]))
    match = Match(meaning, whole, _less(counts, until[begin]), begin, end)
    known = found.get(meaning)
    if known is None or (sum(whole), whole) < (sum(known.whole), known.whole):
        found[meaning] = match


def _sum(one: Counts, other: Counts) -> Counts:
    return (one[0] + other[0], one[1] + other[1], one[2] + other[2])


def _less(one: Counts, other: Counts) -> Counts:
    return (one[0] - other[0], one[1] - other[1], one[2] - other[2])
