"""What may be said in other words than the listed phrases: a vocabulary, and what a text means."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from voicecheck.core.conduct import CURRENT
from voicecheck.core.inputs import UNKNOWN, Address, Unclear
from voicecheck.shipped import sentences

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Iterator, Sequence

    from voicecheck.core.procedure import Procedure
    from voicecheck.core.vocabulary import Vocabulary


@dataclass(frozen=True, kw_only=True)
class Wordings:
    """Sentences of the vocabulary may follow the address word."""

    address: str
    vocabulary: Vocabulary
    meaning: Callable[[str], Hashable | None]
    """A whole utterance -> what it means; None if nothing. Equal meanings are one."""
    strays: Callable[[str], int]
    """An utterance -> how many of its words are beside its meaning."""
    parts: Callable[[str], Sequence[str]]
    """An utterance -> each statement in it, as an utterance of its own."""
    sentences: Sequence[str] = ()
    """What people may say after the address word; they tell how likely words follow each other."""

    def takes_possessive(self, word: str) -> bool:
        """Whether "'s" may follow it and change nothing: "artery's clipped"."""
        plain = word not in self.vocabulary.asides and not word.endswith("s")
        return plain and word in self.vocabulary.words

    def statements(self, words: Sequence[str]) -> Iterator[tuple[str, int, int]]:
        """Yield what was said: the text, and from which to before which word it was said.

        The address word begins a statement, and what came before it was not meant for us. Nothing
        but other speech is `UNKNOWN`. A start that was broken off is dropped if it was begun anew.
        """
        starts = [n for n, word in enumerate(words) if word == self.address]
        if not starts:
            yield self._unaddressed(" ".join(words)), 0, len(words)
            return
        ends = [*starts[1:], len(words)]
        said = [(" ".join(words[a:b]), a, b) for a, b in zip(starts, ends, strict=True)]
        known = [each for each in said if self.meaning(each[0]) is not None]
        kept = known or said[-1:]
        before = None
        for text, begin, end in kept:
            *first, last = self.parts(text)
            for part in first:
                if part != before:
                    yield part, begin, begin + len(part.split())
                before = part
            if last != before:
                yield last, end - len(last.split()) + 1 if first else begin, end
            before = last

    def beside(self, words: Sequence[str]) -> int:
        """How many words of the last statement are beside its meaning."""
        last = max((n for n, word in enumerate(words) if word == self.address), default=0)
        return self.strays(" ".join(words[last:]))

    def _unaddressed(self, text: str) -> str:
        """A reply, or what may follow the address word; all other talk is nobody's business."""
        meant = [self.meaning(each) for each in (text, f"{self.address} {text}")]
        return UNKNOWN if text and meant == [None, None] else text


def wordings(procedure: Procedure) -> Wordings:
    """Return what the rules make of a procedure."""

    def meaning(text: str) -> Hashable | None:
        meant = CURRENT.interpret(procedure, text)
        return None if isinstance(meant, Unclear | Address) else meant

    address = procedure.common.listening.address
    return Wordings(
        address=address,
        vocabulary=_without_halves(CURRENT.vocabulary(procedure), address),
        meaning=meaning,
        strays=lambda text: CURRENT.strays(procedure, text),
        parts=lambda text: CURRENT.parts(procedure, text),
        sentences=sentences(),
    )


def _without_halves(vocabulary: Vocabulary, address: str) -> Vocabulary:
    """Leave out the words that the address word begins or ends with: "check list" is heard else."""
    halves = {
        word
        for word in vocabulary.words
        if len(word) >= _LEAST_HALF and word != address
        if address.startswith(word) or address.endswith(word)
    }
    return replace(vocabulary, words=vocabulary.words - halves)


_LEAST_HALF = 3
