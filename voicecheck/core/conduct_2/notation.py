"""A pattern of wordings as text -> its tree.

A pattern is written in a subset of the ABNF form of SRGS 1.0 (Speech Recognition Grammar
Specification, W3C Recommendation, 2004): words in order, `( | )` for alternatives, `[ ]` for what
may be left out, `$name` for a named piece. Repeats, weights and tags are left out.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import TypeAlias

_TOKEN = re.compile(r"\s*(\$[a-z_]+|[a-z'.-]+|[()\[\]|])")


class PatternError(ValueError):
    """A pattern that cannot be read; its text is the sentence to show."""


Words: TypeAlias = frozenset[str]
"""One word, any of these."""


@dataclass(frozen=True, slots=True)
class InOrder:
    """One after the other."""

    parts: tuple[Tree, ...]


@dataclass(frozen=True, slots=True)
class OneOf:
    """One of them."""

    ways: tuple[Tree, ...]


@dataclass(frozen=True, slots=True)
class Maybe:
    """This or nothing."""

    part: Tree


Tree: TypeAlias = "Words | InOrder | OneOf | Maybe"


class Parser:
    """Reads patterns, by recursive descent; pieces once each."""

    def __init__(self, pieces: Mapping[str, str]) -> None:
        self._texts = pieces
        self._pieces: dict[str, Tree] = {}
        self._within: tuple[str, ...] = ()

    def tree(self, pattern: str) -> Tree:
        """Parse a pattern; raises PatternError."""
        tokens = _Tokens(pattern)
        tree = self._choice(tokens)
        if tokens.next is not None:
            raise PatternError(f'"{pattern}" has a {tokens.next!r} that nothing opened')
        return tree

    def _choice(self, tokens: _Tokens) -> Tree:
        ways = [self._sequence(tokens)]
        while tokens.next == "|":
            tokens.take()
            ways.append(self._sequence(tokens))
        return _chosen(ways)

    def _sequence(self, tokens: _Tokens) -> Tree:
        parts = []
        while tokens.next not in (None, "|", ")", "]"):
            parts.append(self._one(tokens))
        return parts[0] if len(parts) == 1 else InOrder(tuple(parts))

    def _one(self, tokens: _Tokens) -> Tree:
        taken = tokens.take()
        if taken in "([":
            inside, closing = self._choice(tokens), ")" if taken == "(" else "]"
            if tokens.next != closing:
                raise PatternError(f'"{tokens.pattern}" lacks a {closing!r}')
            tokens.take()
            return inside if taken == "(" else Maybe(inside)
        return self._piece(taken[1:], tokens) if taken.startswith("$") else frozenset({taken})

    def _piece(self, name: str, tokens: _Tokens) -> Tree:
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


def _chosen(ways: Iterable[Tree]) -> Tree:
    """A choice between these; single words become one part, so that they need one state."""
    flat = [inner for way in ways for inner in (way.ways if isinstance(way, OneOf) else (way,))]
    words = frozenset(word for way in flat if isinstance(way, frozenset) for word in way)
    others = tuple(way for way in flat if not isinstance(way, frozenset))
    if not others:
        return words
    whole = (words, *others) if words else others
    return whole[0] if len(whole) == 1 else OneOf(whole)
