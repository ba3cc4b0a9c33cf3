"""Phrases -> the decoding graph of a Vosk model: one whole phrase, other speech, or nothing.

Every phrase is a path through a tree of words. A loop over all phones, heard as "[unk]", stands for
other speech: before, within, after or instead of a phrase. So an utterance is a phrase only if no
part of it sounds more like other speech, at the `Costs`.
"""

from __future__ import annotations

import math
import struct
from array import array
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from voicecheck.core.inputs import UNKNOWN
from voicecheck.ears import hmm
from voicecheck.ears.language import START, Bigrams
from voicecheck.ears.lexicon import possessive
from voicecheck.ears.topology import PHONES
from voicecheck.ears.tuning import Costs

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
    from pathlib import Path

    from voicecheck.core.vocabulary import Vocabulary
    from voicecheck.ears.lexicon import Phones
    from voicecheck.ears.wordings import Wordings

_MAGIC, _EXPANDED_MUTABLE = 2125659606, 3  # OpenFst's fst.h and properties.h

_ARC = np.dtype([("transition", "<i4"), ("word", "<i4"), ("cost", "<f4"), ("to", "<i4")])
"""An arc as OpenFst writes it: input label, output label, weight, next state."""

_Source: TypeAlias = "tuple[int, str]"
"""A state, and the phone that needs a blank in between to follow it ("" for none)."""


def compile_graph(
    phrases: Collection[str],
    spoken: Callable[[str], Sequence[Phones]],
    folder: Path,
    costs: Costs | None = None,
    wordings: Wordings | None = None,
) -> None:
    """Write graph/HCLG.fst, graph/words.txt and graph/phones/word_boundary.int under `folder`.

    `spoken` gives the pronunciations of a word, the usual one first. Raises what `spoken` raises.
    The same phrases in any order give the same bytes.
    """
    words = {word for phrase in phrases for word in phrase.split()}
    words |= wordings.vocabulary.words if wordings else set()
    builder = Builder(numbered(words), spoken, costs or Costs())
    builder.build(sorted(phrase.split() for phrase in phrases), wordings)
    builder.write(folder)


def numbered(words: Collection[str]) -> dict[str, int]:
    """Return the label of each word, as words.txt lists them."""
    return {word: n for n, word in enumerate(("<eps>", UNKNOWN, *sorted({*words} - {UNKNOWN})))}


class Node:
    """A place between two words."""

    def __init__(self, entry: int) -> None:
        self.entry = entry  # the state before any silence
        self.sources: list[_Source] = [(entry, "")]
        self.next: dict[str, Node] = {}


class Builder:
    """Builds a graph in Kaldi's reordered form: the forward transition, then the self-loop."""

    def __init__(
        self, numbers: dict[str, int], spoken: Callable[[str], Sequence[Phones]], costs: Costs
    ) -> None:
        self.numbers, self.spoken, self.costs = numbers, spoken, costs
        self._states = 0
        self._leaving, self._transition, self._word, self._to = (array("i") for _ in range(4))
        self._cost = array("f")
        self.finals: dict[int, float] = {}

    def build(self, phrases: Iterable[Sequence[str]], wordings: Wordings | None = None) -> None:
        """Build the whole graph: phrases, other wordings, other speech, or nothing."""
        root = self.node()
        self.rest(root)
        nodes = [root]
        for phrase in phrases:
            node = root
            for word in phrase:
                if word not in node.next:
                    lone = self.costs.lone if len(phrase) == 1 else 0.0
                    node.next[word] = self.word(node, word, lone)
                    nodes.append(node.next[word])
                node = node.next[word]
            self.end(node)
        self.end(root)
        if wordings:
            self._replies(root, wordings.vocabulary)
            whole = [node for node in nodes[1:] if node.entry in self.finals]
            self._wordings(root, whole, root.next[wordings.address], wordings)
        self._other_speech(nodes)
        self._broken_off(nodes[1:])

    # The tree of words

    def word(
        self, before: Node, word: str, extra: float = 0.0, ways: Sequence[Phones] = ()
    ) -> Node:
        """Add a word, in all `ways` to say it; return the node behind it."""
        after = self.node()
        ways = ways or self.spoken(word)
        for rank, phones in enumerate(ways):
            sources, label = before.sources, self.numbers[word]
            cost = extra + (self.costs.variant if rank else 0.0)
            for phone, position in _positions(phones):
                sources = self._phone(sources, phone, position, label, cost)
                label, cost = 0, 0.0
            after.sources += sources
        self.rest(after)
        return after

    def _replies(self, root: Node, vocabulary: Vocabulary) -> None:
        """Add replies in other words: only pairs that the patterns have, and courtesies around."""
        words = sorted(vocabulary.reply_first.union(*vocabulary.reply_pairs))
        befores = {word: self.node() for word in words}
        afters = {word: self.word(befores[word], word) for word in words}
        start, courteous = self.node(), self.node()
        self.arc(root.entry, start.entry, cost=self.costs.reply)
        for word in sorted(vocabulary.reply_first):
            self.arc(start.entry, befores[word].entry)
        for one, other in sorted(vocabulary.reply_pairs):
            for state, _ in afters[one].sources:
                self.arc(state, befores[other].entry, cost=self.costs.reply_pair)
        for word in sorted(vocabulary.courtesies):
            for state, _ in self.word(start, word, self.costs.courtesy).sources:
                self.arc(state, start.entry)
            for state, _ in self.word(courteous, word, self.costs.courtesy).sources:
                self.arc(state, courteous.entry)
        for word in sorted(vocabulary.reply_last):
            for state, _ in afters[word].sources:
                self.arc(state, courteous.entry)
        self.rest(courteous)
        self.end(courteous)

    def _wordings(
        self, root: Node, whole: Sequence[Node], address: Node, wordings: Wordings
    ) -> None:
        """Add sentences of any words, at the costs of a bigram model (language.py)."""
        costs, anything, vocabulary = self.costs, self.node(), wordings.vocabulary
        bigrams = Bigrams(vocabulary.words, vocabulary.beside, wordings.sentences)
        self.end(address, costs.address_alone)
        for state, _ in root.sources:
            self.arc(state, anything.entry, cost=costs.unaddressed)
        befores, saids, afters = {}, {}, {START: self.node()}
        for state, _ in address.sources:
            self.arc(state, afters[START].entry, cost=costs.other_wording)
        for word in sorted(vocabulary.words):
            before, after = self.node(), self.node()
            said = self.word(before, word, ways=self._ways(word, wordings))
            for state, _ in said.sources:
                self.arc(state, after.entry)
            ends = word in vocabulary.ends
            self.finals[after.entry] = costs.word_end if ends else costs.word_no_end
            self.arc(after.entry, root.entry, cost=costs.address_again)
            befores[word], afters[word], saids[word] = before, after, said
        for one, after in afters.items():
            leaving = costs.language * bigrams.leaving(one)
            self.arc(after.entry, anything.entry, cost=leaving)
            for other, cost in bigrams.followers(one):
                self.arc(after.entry, befores[other].entry, cost=costs.language * cost)
        self._any_word(anything, saids, bigrams, wordings)
        self._around(root, whole, befores, vocabulary)
        unknown = self._any_phones([address, *(afters[word] for word in befores)], costs.unknown)
        self.arc(unknown.entry, anything.entry)

    def _around(
        self,
        root: Node,
        whole: Sequence[Node],
        befores: Mapping[str, Node],
        vocabulary: Vocabulary,
    ) -> None:
        """Allow "um" before the address word, and "please" or the next statement after a phrase."""
        for word in sorted(vocabulary.leads):
            for state, _ in self.word(root, word, self.costs.courtesy).sources:
                self.arc(state, root.entry)
        for node in whole:
            for state, _ in node.sources:
                self.arc(state, root.entry, cost=self.costs.address_again)
                for word in sorted(vocabulary.endings):
                    self.arc(state, befores[word].entry, cost=self.costs.courtesy)

    def _any_word(
        self, anything: Node, saids: Mapping[str, Node], bigrams: Bigrams, wordings: Wordings
    ) -> None:
        """Let any word follow: a tree of phones, so that words which begin alike share them.

        Each arc into the tree costs what the cheapest word behind it still costs.
        """
        costs: dict[Phones, float] = {}
        words: list[tuple[Phones, float, str]] = []
        for word in saids:
            for rank, phones in enumerate(self._ways(word, wordings)):
                extra = self.costs.variant if rank else 0.0
                cost = self.costs.language * bigrams.alone(word) + extra
                words.append((phones, cost, word))
                for so_far in (phones[:at] for at in range(len(phones))):
                    costs[so_far] = min(cost, costs.get(so_far, math.inf))
        begun: dict[Phones, list[_Source]] = {(): [(self.state(), "")]}
        self.arc(anything.entry, begun[()][0][0], cost=costs[()])
        for phones, cost, word in words:
            *first, (last, position) = _positions(phones)
            for at, (phone, place) in enumerate(first):
                before, so_far = phones[:at], phones[: at + 1]
                if so_far not in begun:
                    ahead = costs[so_far] - costs[before]
                    begun[so_far] = self._phone(begun[before], phone, place, 0, ahead)
            ahead, label = cost - costs[phones[:-1]], self.numbers[word]
            for state, _ in self._phone(begun[phones[:-1]], last, position, label, ahead):
                self.arc(state, saids[word].entry)

    def _ways(self, word: str, wordings: Wordings) -> Sequence[Phones]:
        ways = list(self.spoken(word))[: self.costs.most_variants]
        return [*ways, possessive(ways[0])] if wordings.takes_possessive(word) else ways

    def _phone(
        self, sources: Iterable[_Source], phone: str, position: str, label: int, cost: float
    ) -> list[_Source]:
        """Add a phone, then perhaps blank; return where to go on.

        No blank follows the last phone of a word. There silence takes its place, because Vosk
        counts silence to know that speech has ended.
        """
        via, spoken = hmm.transitions(phone, position), self.state()
        free = [state for state, barred in sources if barred != phone]
        self.arc(spoken, spoken, via.spoken_to_self)
        for state in free:
            self.arc(state, spoken, via.spoken_to_end, label, cost)
        if position in ("end", "singleton"):
            return [(spoken, phone)]
        leaving, blank = self.state(), self.state()
        for state in free:
            self.arc(state, leaving, via.spoken_to_blank, label, cost)
        self.arc(leaving, leaving, via.spoken_to_self)
        unsaid = self.costs.blank + self.costs.blank_within
        self.arc(leaving, blank, via.blank_to_end, cost=unsaid)
        self.arc(blank, blank, via.blank_to_self, cost=unsaid)
        return [(spoken, phone), (blank, "")]

    def rest(self, node: Node) -> None:
        """Allow silence at a node."""
        rest = self.state()
        for state, _ in node.sources:
            self.arc(state, rest, hmm.SILENCE_TO_END, cost=self.costs.blank)
        self.arc(rest, rest, hmm.SILENCE_TO_SELF, cost=self.costs.blank)
        node.sources.append((rest, ""))

    # Other speech

    def _other_speech(self, nodes: Sequence[Node]) -> None:
        whole = [node for node in nodes[1:] if node.entry in self.finals]
        begun = [node for node in nodes if node not in whole]
        after = self._any_phones(begun, self.costs.unknown)
        for node in begun:
            self.arc(after.entry, node.entry)
        # Other speech after a whole phrase never leads back into phrases. In loud talk their words
        # would be found there: words cost nothing, and blank costs something in each frame.
        self._any_phones(whole, self.costs.gone_on)

    def _any_phones(self, nodes: Sequence[Node], cost: float) -> Node:
        """Add other speech after the nodes, where it may end; return the node behind it."""
        begin, inside, after = self.state(), self.state(), self.node()
        for node in nodes:
            for state, _ in node.sources:
                self.arc(state, begin, cost=cost)
        self.any_phone(begin, "begin", inside, self.numbers[UNKNOWN])
        self.any_phone(inside, "internal", inside)
        after.sources = list(self.any_phone(inside, "end", None))
        self.rest(after)
        self.end(after, self.costs.unknown_end)
        for state, _ in after.sources:
            self.arc(state, after.entry)
        return after

    def _broken_off(self, nodes: Sequence[Node]) -> None:
        """Let a phrase end early, in one "[unk]" of one phone: Vosk needs a phone for each word."""
        begin, after = self.state(), self.node()
        for node in nodes:
            if node.entry not in self.finals:
                for state, _ in node.sources:
                    self.arc(state, begin, cost=self.costs.broken_off)
        unknown = self.numbers[UNKNOWN]
        after.sources = list(self.any_phone(begin, "singleton", None, unknown, 0.0))
        self.rest(after)
        self.end(after)

    def any_phone(
        self, start: int, position: str, to: int | None, label: int = 0, cost: float | None = None
    ) -> Iterator[_Source]:
        """Add any phone, with an arc to `to` if given; return where to go on."""
        each = self.costs.unknown_phone if cost is None else cost
        ends = [
            end
            for phone in PHONES
            for end in self._phone([(start, "")], phone, position, label, each)
        ]
        if to is not None:
            for state, _ in ends:
                self.arc(state, to)
        return iter(ends)

    # States and arcs

    def node(self) -> Node:
        """Add a node."""
        return Node(self.state())

    def state(self) -> int:
        """Add a state."""
        self._states += 1
        return self._states - 1

    def end(self, node: Node, cost: float = 0.0) -> None:
        """Let the utterance end at a node."""
        self.finals.update((state, cost) for state, _ in node.sources)

    def arc(self, state: int, to: int, transition: int = 0, word: int = 0, cost: float = 0) -> None:
        """Add an arc: a transition-id (hmm.py; 0 takes no sound) and a word's label (0: none)."""
        self._leaving.append(state)
        self._transition.append(transition)
        self._word.append(word)
        self._cost.append(cost)
        self._to.append(to)

    def write(self, folder: Path) -> None:
        """Write the files that `compile_graph` names."""
        (folder / "graph" / "phones").mkdir(parents=True, exist_ok=True)
        (folder / "graph" / "HCLG.fst").write_bytes(self.fst())
        listed = "".join(f"{word} {number}\n" for word, number in self.numbers.items())
        (folder / "graph" / "words.txt").write_text(listed, encoding="utf-8")
        (folder / "graph" / "phones" / "word_boundary.int").write_text(hmm.word_boundaries())

    def fst(self) -> bytes:
        """Return OpenFst's binary form of a "vector" transducer that starts in state 0.

        kaldifst could write it, but brings a second OpenFst into the process, and Vosk with its own
        then hangs or crashes (kaldifst 1.8.3, vosk 0.3.45).
        """
        kind = b"".join(struct.pack("<i", len(name)) + name for name in (b"vector", b"standard"))
        parts = [struct.pack("<i", _MAGIC), kind, struct.pack("<iiQ", 2, 0, _EXPANDED_MUTABLE)]
        parts.append(struct.pack("<qqq", 0, self._states, len(self._to)))
        arcs = np.empty(len(self._to), _ARC)
        for name in _ARC.names or ():
            arcs[name] = getattr(self, f"_{name}")
        leaving = np.array(self._leaving)
        packed = arcs[np.argsort(leaving, kind="stable")].tobytes()
        at = 0
        for state, count in enumerate(np.bincount(leaving, minlength=self._states).tolist()):
            until = at + count * _ARC.itemsize
            parts += (struct.pack("<fq", self.finals.get(state, math.inf), count), packed[at:until])
            at = until
        return b"".join(parts)


def _positions(phones: Phones) -> Iterator[tuple[str, str]]:
    if len(phones) == 1:
        yield phones[0], "singleton"
        return
    for at, phone in enumerate(phones):
        yield phone, "begin" if at == 0 else "end" if at == len(phones) - 1 else "internal"
