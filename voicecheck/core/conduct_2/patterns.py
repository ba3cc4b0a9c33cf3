"""Patterns of wordings -> one automaton over words, which finds what a sentence may mean.

A pattern is written in a subset of the ABNF form of SRGS 1.0 (Speech Recognition Grammar
Specification, W3C Recommendation, 2004): words in order, `( | )` for alternatives, `[ ]` for what
may be left out, `$name` for a named piece. Repeats, weights and tags are left out.

The automaton is Glushkov's (1961, from memory): one state for each word written in a pattern, but
one for all words of a choice between single words.
"""

from __future__ import annotations

import math
import re
from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import reduce
from itertools import accumulate
from typing import TypeAlias

_TOKEN = re.compile(r"\s*(\$[a-z_]+|[a-z'.-]+|[()\[\]|])")


class PatternError(ValueError):
    """A pattern that cannot be read; its text is the sentence to show."""


# ---------------------------------------------------------------------------------- reading

_Words: TypeAlias = frozenset[str]
"""One word, any of these."""


@dataclass(frozen=True, slots=True)
class _Sequence:
    """One after the other."""

    parts: tuple[_Tree, ...]


@dataclass(frozen=True, slots=True)
class _Choice:
    """One of them."""

    ways: tuple[_Tree, ...]


@dataclass(frozen=True, slots=True)
class _Optional:
    """This or nothing."""

    part: _Tree


_Tree: TypeAlias = "_Words | _Sequence | _Choice | _Optional"


class _Parser:
    """Reads patterns, by recursive descent; pieces once each."""

    def __init__(self, pieces: Mapping[str, str]) -> None:
        self._texts = pieces
        self._pieces: dict[str, _Tree] = {}
        self._within: tuple[str, ...] = ()

    def tree(self, pattern: str) -> _Tree:
        """Parse a pattern; raises PatternError."""
        tokens = _Tokens(pattern)
        tree = self._choice(tokens)
        if tokens.next is not None:
            raise PatternError(f'"{pattern}" has a {tokens.next!r} that nothing opened')
        return tree

    def _choice(self, tokens: _Tokens) -> _Tree:
        ways = [self._sequence(tokens)]
        while tokens.next == "|":
            tokens.take()
            ways.append(self._sequence(tokens))
        return _chosen(ways)

    def _sequence(self, tokens: _Tokens) -> _Tree:
        parts = []
        while tokens.next not in (None, "|", ")", "]"):
            parts.append(self._one(tokens))
        return parts[0] if len(parts) == 1 else _Sequence(tuple(parts))

    def _one(self, tokens: _Tokens) -> _Tree:
        taken = tokens.take()
        if taken in "([":
            inside, closing = self._choice(tokens), ")" if taken == "(" else "]"
            if tokens.next != closing:
                raise PatternError(f'"{tokens.pattern}" lacks a {closing!r}')
            tokens.take()
            return inside if taken == "(" else _Optional(inside)
        return self._piece(taken[1:], tokens) if taken.startswith("$") else frozenset({taken})

    def _piece(self, name: str, tokens: _Tokens) -> _Tree:
        if name not in self._texts:
            raise PatternError(f'"{tokens.pattern}" names ${name}, which is no piece')
        if name in self._within:
            raise PatternError(f"${name} holds itself")
        if name not in self._pieces:
            self._within += (name,)
            self._pieces[name] = self.tree(self._texts[name])
            self._within = self._within[:-1]
        return self._pieces[name]


class _Tokens:
    """The words and signs of a pattern, one by one."""

    def __init__(self, pattern: str) -> None:
        self.pattern = pattern
        self._left = list(self._split(pattern.rstrip()))[::-1]

    @property
    def next(self) -> str | None:
        return self._left[-1] if self._left else None

    def take(self) -> str:
        return self._left.pop()

    def _split(self, text: str) -> Iterator[str]:
        at = 0
        while at < len(text):
            found = _TOKEN.match(text, at)
            if found is None:
                raise PatternError(
                    f'"{self.pattern}" has {text[at:].strip()[:1]!r}, which is no word'
                )
            yield found[1]
            at = found.end()


def _chosen(ways: Sequence[_Tree]) -> _Tree:
    """A choice between these; single words become one part, so that they need one state."""
    flat = [inner for way in ways for inner in (way.ways if isinstance(way, _Choice) else (way,))]
    words = frozenset(word for way in flat if isinstance(way, frozenset) for word in way)
    others = tuple(way for way in flat if not isinstance(way, frozenset))
    if not others:
        return words
    whole = (words, *others) if words else others
    return whole[0] if len(whole) == 1 else _Choice(whole)


# --------------------------------------------------------------------------------- the automaton


@dataclass(frozen=True, slots=True)
class _Part:
    """A piece of a pattern: where it may begin and end, and whether it may be empty."""

    first: frozenset[int]
    last: frozenset[int]
    may_be_empty: bool


_NOTHING = _Part(frozenset(), frozenset(), may_be_empty=True)


@dataclass(frozen=True, slots=True)
class _Rim:
    """The words that a tree may begin and end with."""

    first: _Words
    last: _Words
    may_be_empty: bool

    def then(self, other: _Rim) -> _Rim:
        """This, and then the other."""
        return _Rim(
            self.first | other.first if self.may_be_empty else self.first,
            self.last | other.last if other.may_be_empty else other.last,
            self.may_be_empty and other.may_be_empty,
        )

    def instead(self, other: _Rim) -> _Rim:
        """This or the other."""
        return _Rim(
            self.first | other.first,
            self.last | other.last,
            self.may_be_empty or other.may_be_empty,
        )


_EMPTY = _Rim(frozenset(), frozenset(), may_be_empty=True)


@dataclass(slots=True, eq=False)
class Following:
    """States that may come next; many states share it."""

    states: frozenset[int]
    _taking: dict[str, list[int]] = field(default_factory=dict)

    def taking(self, word: str, labels: Sequence[frozenset[str]]) -> Sequence[int]:
        """Return those of them that take a word."""
        if not self._taking:
            for state in sorted(self.states):
                for each in labels[state]:
                    self._taking.setdefault(each, []).append(state)
        return self._taking.get(word, ())


class Automaton:
    """The states of all patterns, each with the words that it takes and the states that follow.

    The states of a pattern are made when a sentence first has a word that begins it.
    """

    def __init__(self, pieces: Mapping[str, str]) -> None:
        self.labels: list[frozenset[str]] = []
        self.follow: list[list[Following]] = []
        self.ends: dict[int, Hashable] = {}
        """State that may end a pattern -> what the pattern means."""
        self._parser = _Parser(pieces)
        self._patterns: list[tuple[_Tree, Hashable]] = []
        self._made: set[int] = set()
        self._unmade: dict[str, list[int]] = {}  # word -> the patterns that it begins
        self._first: dict[str, list[int]] = {}  # word -> the states that begin a pattern
        self._rims: dict[int, _Rim] = {}
        self._beside: set[tuple[_Words, _Words]] = set()
        self._words: set[str] = set()

    def add(self, pattern: str, meaning: Hashable) -> None:
        """Add a pattern; raises PatternError."""
        tree = self._parser.tree(pattern)
        rim = self._rim(tree)
        if rim.may_be_empty:
            raise PatternError(f'"{pattern}" may be empty: nothing would mean something')
        for word in rim.first:
            self._unmade.setdefault(word, []).append(len(self._patterns))
        self._patterns.append((tree, meaning))

    def first(self, word: str) -> Sequence[int]:
        """Return the states that begin a pattern with this word."""
        for number in self._unmade.pop(word, ()):
            if number not in self._made:
                self._make(number)
        return self._first.get(word, ())

    def prepare(self) -> None:
        """Make the states of all patterns now: a second that no sentence need wait for."""
        for word in tuple(self._unmade):
            self.first(word)

    @property
    def begins(self) -> frozenset[str]:
        """Every word that may begin a pattern."""
        return frozenset().union(*(self._rim(tree).first for tree, _ in self._patterns))

    @property
    def last(self) -> frozenset[str]:
        """Every word that may end a pattern."""
        return frozenset().union(*(self._rim(tree).last for tree, _ in self._patterns))

    @property
    def words(self) -> frozenset[str]:
        """Every word of every pattern."""
        return frozenset(self._words)

    @property
    def beside(self) -> frozenset[tuple[_Words, _Words]]:
        """Words of which any stands beside any other in some pattern."""
        return frozenset(self._beside)

    def sentences(self, most_words: int) -> Iterator[str]:
        """Every sentence of all patterns with so many words at most, some perhaps twice."""
        waiting: list[tuple[int, tuple[str, ...]]]
        waiting = [(state, (word,)) for word in self.begins for state in self.first(word)]
        while waiting:
            state, words = waiting.pop()
            if state in self.ends:
                yield " ".join(words)
            if len(words) < most_words:
                waiting += [
                    (after, (*words, word))
                    for each in self.follow[state]
                    for after in each.states
                    for word in self.labels[after]
                ]

    def _rim(self, tree: _Tree) -> _Rim:
        """What a tree begins and ends with; pieces are looked at once each."""
        if id(tree) not in self._rims:
            self._rims[id(tree)] = self._looked_at(tree)
        return self._rims[id(tree)]

    def _looked_at(self, tree: _Tree) -> _Rim:
        match tree:
            case _Sequence(parts):
                return reduce(self._met, map(self._rim, parts), _EMPTY)
            case _Choice(ways):
                return reduce(_Rim.instead, map(self._rim, ways))
            case _Optional(maybe):
                return _EMPTY.instead(self._rim(maybe))
            case words:
                self._words |= words
                return _Rim(words, words, may_be_empty=False)

    def _met(self, one: _Rim, other: _Rim) -> _Rim:
        if one.last and other.first:
            self._beside.add((one.last, other.first))
        return one.then(other)

    def _make(self, number: int) -> None:
        """Make the states of a pattern."""
        tree, meaning = self._patterns[number]
        self._made.add(number)
        part = self._built(tree)
        for state in sorted(part.first):
            for word in self.labels[state]:
                self._first.setdefault(word, []).append(state)
        for state in part.last:
            self.ends[state] = meaning

    def _built(self, tree: _Tree) -> _Part:
        match tree:
            case _Sequence(parts):
                return reduce(self._joined, map(self._built, parts), _NOTHING)
            case _Choice(ways):
                each = [self._built(way) for way in ways]
                return _Part(
                    frozenset().union(*(part.first for part in each)),
                    frozenset().union(*(part.last for part in each)),
                    any(part.may_be_empty for part in each),
                )
            case _Optional(maybe):
                inside = self._built(maybe)
                return _Part(inside.first, inside.last, may_be_empty=True)
            case words:
                self.labels.append(words)
                self.follow.append([])
                state = frozenset({len(self.labels) - 1})
                return _Part(state, state, may_be_empty=False)

    def _joined(self, one: _Part, other: _Part) -> _Part:
        if other.first:
            following = Following(other.first)
            for state in one.last:
                self.follow[state].append(following)
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
