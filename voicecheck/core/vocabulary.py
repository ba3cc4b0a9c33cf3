"""The words that the ears listen for, as the conduct works them out of a procedure."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True, slots=True)
class Vocabulary:
    """What may follow the address word, besides the shown phrases, and all that may be a reply."""

    words: frozenset[str] = frozenset()
    """All words."""
    asides: frozenset[str] = frozenset()
    """Those of them that are common in any sentence: fillers, and words that deny or doubt."""
    ends: frozenset[str] = frozenset()
    """Those that may end a sentence."""
    beside: frozenset[tuple[frozenset[str], frozenset[str]]] = frozenset()
    """Words of which any stands beside any other in some pattern."""
    leads: frozenset[str] = frozenset()
    """Words that people say before the address word: "um"."""
    endings: frozenset[str] = frozenset()
    """Words that may follow a whole phrase: "please"."""
    courtesies: frozenset[str] = frozenset()
    """Words that may stand beside a reply."""
    reply_first: frozenset[str] = frozenset()
    """Words that may begin a reply, which is said without the address word."""
    reply_last: frozenset[str] = frozenset()
    """Words that may end one."""
    reply_pairs: frozenset[tuple[str, str]] = frozenset()
    """Words that stand side by side in some reply."""
