"""Goodness of pronunciation (GOP): how well a phrase fits its sound, by forced alignment.

GOP is a log-likelihood ratio for each phone: the phrase, aligned with its sound, against the best
output of every frame (Witt and Young, Speech Communication 30, 2000; from memory). The decoder
compares a phrase with a phone loop, at costs that let phrases through noise, so noise can pass for
a phrase. Here noise fits badly, and so does a phrase with a word changed or left out: that word
fits worst.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from voicecheck.ears.forced_alignment import PhraseStates
from voicecheck.ears.forward import forward
from voicecheck.ears.lexicon import possessive
from voicecheck.ears.mfcc import mfcc
from voicecheck.ears.topology import BLANK, FRAME_SHIFT_MS, SAMPLE_RATE_HZ, SUBSAMPLING
from voicecheck.ears.tuning import ALIGNMENT_BLANK_COST, AROUND_S, BEFORE_S, CONTEXT_S, NO_FIT

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from numpy.typing import NDArray

    from voicecheck.ears.forward import Matrix, Weights
    from voicecheck.ears.lexicon import Phones
    from voicecheck.ears.wordings import Wordings

_OUTPUT_SAMPLES = int(SAMPLE_RATE_HZ * FRAME_SHIFT_MS / 1000) * SUBSAMPLING
_BEFORE_FRAMES = round(BEFORE_S * SAMPLE_RATE_HZ) // _OUTPUT_SAMPLES


class Goodness(NamedTuple):
    """How well a phrase fits a stretch of sound."""

    whole: float
    """Nats a phone: 0 where nothing else fits better, else below."""
    worst_word: float
    """The same for the word that fits worst."""
    speech_before: float
    """Frames (30 ms) of speech just before, each counted by its probability of being speech.

    A statement starts after a pause; talk runs on. While the machine speaks nothing is heard, so
    nothing counts as speech before."""


class Pronunciation:
    """Scores how phrases are pronounced, by the mean of several networks.

    What only one network misses is hardly the speaker's fault.
    """

    def __init__(
        self,
        spoken: Callable[[str], Sequence[Phones]],
        *networks: Weights,
        wordings: Wordings | None = None,
    ) -> None:
        """`spoken` gives the pronunciations of a word."""
        self._spoken, self._networks, self._wordings = spoken, networks, wordings
        self._states: dict[str, PhraseStates] = {}

    def goodness(self, phrase: str, sound: NDArray[np.int16], begin: int, end: int) -> Goodness:
        """Score a phrase that was found from sample `begin` to `end` of 16 kHz sound.

        The sound before `begin` serves as the network's context.
        """
        around, context = int(AROUND_S * SAMPLE_RATE_HZ), int(CONTEXT_S * SAMPLE_RATE_HZ)
        first = max(0, begin - around)
        start = max(0, first - context)
        cepstra = mfcc(sound[start : end + 2 * around])
        if not len(cepstra):
            return Goodness(NO_FIT, NO_FIT, 0.0)
        skip, stop = ((at - start) // _OUTPUT_SAMPLES for at in (first, end + around))
        each = [self._goodness(phrase, forward(cepstra, n), skip, stop) for n in self._networks]
        return Goodness(*np.mean(each, axis=0).tolist())

    def log_likelihoods(self, phrases: Iterable[str], sound: NDArray[np.int16]) -> list[float]:
        """Rescore phrases: the log-likelihood of each over all of the sound, summed over networks.

        In nats, with `ALIGNMENT_BLANK_COST`; -inf where the sound is too short for the phrase.
        """
        heard = [forward(mfcc(sound), each) for each in self._networks]
        for scores in heard:
            scores[:, BLANK] -= ALIGNMENT_BLANK_COST
        return [sum(map(self._states_of(phrase).log_likelihood, heard)) for phrase in phrases]

    def _states_of(self, phrase: str) -> PhraseStates:
        if phrase not in self._states:
            self._states[phrase] = PhraseStates([self._ways(word) for word in phrase.split()])
        return self._states[phrase]

    def _ways(self, word: str) -> Sequence[Phones]:
        ways = self._spoken(word)
        free = self._wordings is not None and self._wordings.takes_possessive(word)
        return (*ways, possessive(ways[0])) if free else ways

    def _goodness(self, phrase: str, scores: Matrix, skip: int, stop: int) -> Goodness:
        blank = np.exp(scores[max(0, skip - _BEFORE_FRAMES) : skip, BLANK])
        scores[:, BLANK] -= ALIGNMENT_BLANK_COST
        whole, worst_word = self._states_of(phrase).goodness(scores[skip:stop])
        return Goodness(whole, worst_word, float((1 - blank).sum()))
