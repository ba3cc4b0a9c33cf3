"""Forced alignment: the most likely way to say a phrase, frame by frame."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from voicecheck.ears.topology import BLANK, PDF_OF_PHONE
from voicecheck.ears.tuning import NO_FIT

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from voicecheck.ears.forward import Matrix
    from voicecheck.ears.lexicon import Phones


class PhraseStates:
    """All ways to say a phrase as CTC states: a blank first, then each phone and its blank.

    CTC: Graves et al., "Connectionist temporal classification", ICML 2006.
    """

    def __init__(self, words: Sequence[Sequence[Phones]]) -> None:
        """`words` holds the pronunciations of each word."""
        pdfs, word_of = [BLANK], [0]
        before: list[list[int]] = [[0]]  # for each state, the states that it may follow
        ends = [0]
        for place, spoken in enumerate(words):
            starts, ends = ends, []
            for phones in spoken:
                blanks = starts
                for phone in phones:
                    pdf, state = PDF_OF_PHONE[phone], len(pdfs)
                    said = [blank - 1 for blank in blanks if blank and pdfs[blank - 1] != pdf]
                    pdfs += [pdf, BLANK]
                    word_of += [place, place]
                    before += [[state, *blanks, *said], [state + 1, state]]
                    blanks = [state + 1]
                ends += blanks
        self._pdfs, self._word_of = np.array(pdfs), np.array(word_of)
        self._ends = [state for blank in ends for state in (blank, blank - 1)]
        widest, nowhere = max(map(len, before)), len(pdfs)
        self._before = np.array([each + [nowhere] * (widest - len(each)) for each in before])

    def goodness(self, scores: Matrix) -> tuple[float, float]:
        """Return the goodness of pronunciation of the whole phrase and of its worst word.

        `scores` is frames × pdfs, log-likelihoods. In nats a phone: 0 where nothing else fits
        better, else below, down to `NO_FIT`.
        """
        states = self._best_path(scores)
        if states is None:
            return NO_FIT, NO_FIT
        ratios = scores[np.arange(len(states)), self._pdfs[states]] - scores.max(axis=1)
        said = np.unique(states[self._pdfs[states] != BLANK])
        phones = np.bincount(self._word_of[said])
        by_word = np.bincount(self._word_of[states], weights=ratios)
        whole, worst_word = float(ratios.sum() / phones.sum()), float((by_word / phones).min())
        return max(whole, NO_FIT), max(worst_word, NO_FIT)

    def log_likelihood(self, scores: Matrix) -> float:
        """Return the log-likelihood of the best path; -inf where there are too few frames."""
        states = self._best_path(scores)
        if states is None:
            return -math.inf
        return float(scores[np.arange(len(states)), self._pdfs[states]].sum())

    def _best_path(self, scores: Matrix) -> NDArray[np.int64] | None:
        """The most likely state in each frame (Viterbi); None where there are too few frames."""
        best = np.full(len(self._pdfs) + 1, -np.inf)
        best[0] = 0.0
        chosen = np.empty((len(scores), len(self._pdfs)), np.int64)
        rows = np.arange(len(self._pdfs))
        for frame, score in enumerate(scores):
            ways = best[self._before]
            way = ways.argmax(axis=1)
            chosen[frame] = self._before[rows, way]
            best[:-1] = ways[rows, way] + score[self._pdfs]
        state = max(self._ends, key=lambda each: best[each])
        if not np.isfinite(best[state]):
            return None
        states = np.empty(len(scores), np.int64)
        for frame in range(len(scores) - 1, -1, -1):
            states[frame] = state
            state = chosen[frame, state]
        return states
