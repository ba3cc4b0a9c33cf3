"""A decoder in numpy that shares nothing with Vosk: the best path through an HCLG.fst."""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

import numpy as np

from voicecheck.ears import hmm

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray


class Graph:
    """OpenFst's binary "vector" form, read back."""

    def __init__(self, path: Path) -> None:
        raw = path.read_bytes()
        # Magic, two length-prefixed names, version, flags, properties; then start, states, arcs.
        assert struct.unpack_from("<i", raw) == (2125659606,)
        at = 4 + (4 + len(b"vector")) + (4 + len(b"standard")) + 4 + 4 + 8
        self.start, self.states, arc_count = struct.unpack_from("<qqq", raw, at)
        at += 24
        arcs, self.final = [], np.zeros(self.states)
        for state in range(self.states):
            self.final[state], leaving = struct.unpack_from("<fq", raw, at)
            at += 12
            for _ in range(leaving):
                arcs.append((state, *struct.unpack_from("<iifi", raw, at)))
                at += 16
        assert at == len(raw)
        assert len(arcs) == arc_count
        columns = list(zip(*arcs, strict=True))
        self.source, self.label, self.word = (np.array(columns[n], int) for n in (0, 1, 2))
        self.cost, self.target = np.array(columns[3]), np.array(columns[4], int)
        listed = (path.parent / "words.txt").read_text().splitlines()
        self.words = [line.split()[0] for line in listed]

    def decode(self, log_probs: NDArray[np.floating]) -> tuple[list[str], float, float]:
        """Return the words of the best path, its cost in the graph and its acoustic cost."""
        emitting = np.flatnonzero(self.label)
        pdfs = _pdf_of_transition()[self.label[emitting]]
        cost = np.full(self.states, np.inf)
        cost[self.start] = 0
        path: list[tuple[tuple[str, ...], float]] = [((), 0.0)] * self.states
        self._follow_epsilons(cost, path)
        for frame in log_probs:
            reached = cost[self.source[emitting]] + self.cost[emitting] - frame[pdfs]
            order = np.argsort(reached, kind="stable")[::-1]
            best = np.full(self.states, -1)
            best[self.target[emitting[order]]] = order  # the last written is the cheapest
            new = np.full(self.states, np.inf)
            new_path = list(path)
            for state in np.flatnonzero(best >= 0):
                if np.isfinite(reached[best[state]]):
                    new[state] = reached[best[state]]
                    new_path[state] = self._extended(path, emitting[best[state]])
            cost, path = new, new_path
            self._follow_epsilons(cost, path)
        end = int(np.argmin(cost + self.final))
        words, graph_cost = path[end]
        return list(words), graph_cost, float(cost[end] - graph_cost)

    def _follow_epsilons(
        self, cost: NDArray[np.floating], path: list[tuple[tuple[str, ...], float]]
    ) -> None:
        epsilons, changed = np.flatnonzero(self.label == 0), True
        while changed:
            changed = False
            better = (
                cost[self.source[epsilons]] + self.cost[epsilons]
                < cost[self.target[epsilons]] - 1e-9
            )
            for arc in epsilons[better]:
                reached = cost[self.source[arc]] + self.cost[arc]
                if reached < cost[self.target[arc]] - 1e-9:
                    cost[self.target[arc]] = reached
                    path[self.target[arc]] = self._extended(path, arc)
                    changed = True

    def _extended(
        self, path: list[tuple[tuple[str, ...], float]], arc: int
    ) -> tuple[tuple[str, ...], float]:
        words, cost = path[self.source[arc]]
        said = (self.words[self.word[arc]],) if self.word[arc] else ()
        return words + said, cost + float(self.cost[arc])


def _pdf_of_transition() -> NDArray[np.integer]:
    """Kaldi's rule: transition-ids count through the states in order, one to each of its arcs."""
    pdfs = [0]
    for phone, state, pdf in hmm.states():
        states = hmm.SILENCE_STATES if phone == hmm.SILENCE else hmm.PHONE_STATES
        pdfs += [pdf] * len(states[state][1])
    return np.array(pdfs)
