"""What speaks for a phrase in a stretch of sound: its best alignment, against anything else at all.

The decoder weighs phrases against each other and against a loop of phones, at prices that must let
a phrase through noise; so noise can pass for a phrase. This looks at the finished utterance again,
by the same network and by another training of it, with no price but one: how much better would any
other sounds have fitted, on the whole, and in the word that fits worst? There a word changed or
left out shows, and so does noise. And was there speech just before? Whoever states something begins
with it; talk runs on.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import kaldi_native_fbank as knf
import numpy as np

from voicecheck.ears.forward import forward
from voicecheck.ears.topology import (
    BLANK,
    CEPSTRA,
    CEPSTRAL_LIFTER,
    FRAME_LENGTH_MS,
    FRAME_SHIFT_MS,
    HIGH_HZ,
    LOW_HZ,
    MEL_BINS,
    PDF_OF_PHONE,
    PREEMPHASIS,
    SAMPLE_RATE_HZ,
    SUBSAMPLING,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from numpy.typing import NDArray

    from voicecheck.ears.forward import Matrix, Weights
    from voicecheck.ears.lexicon import Phones

CONTEXT_S = 1.0
"""What the network should see of the sound before, to know the voice and the noise."""
AROUND_S = 0.12
"""The decoder's times of a phrase are not exact: so much more is aligned on either side."""

BEFORE_S = 0.3
"""So long before that, speech is looked for; where nothing was heard, as while the machine spoke,
there was none."""
BLANK_COST = 1.0
"""In nats a frame, for a network trained with CTC says blank where it is unsure. Less than the
decoder's (graph.py, `Costs`): at 2 and 3 more is lost of voices unlike all that trained."""

_OUTPUT_SAMPLES = int(SAMPLE_RATE_HZ * FRAME_SHIFT_MS / 1000) * SUBSAMPLING
_BEFORE_FRAMES = round(BEFORE_S * SAMPLE_RATE_HZ) // _OUTPUT_SAMPLES
_NO_FIT = -30.0  # nats a phone; far below anything that was ever a phrase


class Fit(NamedTuple):
    """How well a phrase fits a stretch of sound."""

    whole: float
    """In nats a phone: 0 if nothing fits better, else below."""
    worst_word: float
    spoken_before: float
    """Frames of speech just before it, each counted as far as the network takes it for speech."""


class Evidence(NamedTuple):
    """What speaks for a phrase that the decoder found."""

    share: float
    """Of the likelihood of all that the decoder thought of, 0 to 1."""
    fit: Fit


ANY_VOICE_LOSES, ANY_WORD_LOSES = 0.3, 2.0
"""In nats a phone, on the whole and in the worst word: so little says nothing against a phrase."""
MOST_BEFORE = 1.5
"""More frames of speech before say no more: speech before alone silences nothing that fits well."""
SURE = (3.12, 0.43, 3.99, 1.03, -2.99)
"""Weights of a constant, of the share's log-odds, of the fit, whole and worst word, and of what was
before, in the log-odds that the phrase was said: calibrate.py's result on development voices."""


def confidence(evidence: Evidence) -> float:
    """How probable it is, 0 to 1, that the phrase was said, in the mix that calibrated it.

    False ones count more there (`calibrate.DEAR`), so it is rather too low than too high.
    """
    return 1 / (1 + math.exp(-sum(w * x for w, x in zip(SURE, terms(evidence), strict=True))))


def terms(evidence: Evidence) -> tuple[float, ...]:
    """What SURE weighs."""
    share = min(max(evidence.share, 0.001), 0.999)
    whole, worst_word, before = evidence.fit
    lost = min(0.0, whole + ANY_VOICE_LOSES), min(0.0, worst_word + ANY_WORD_LOSES)
    return 1.0, math.log(share / (1 - share)), *lost, min(before, MOST_BEFORE)


class Likeness:
    """Compares sound with phrases; `spoken` gives the pronunciations of a word.

    Of several networks' fits it is the mean: what only one of them misses is hardly the speaker's.
    """

    def __init__(self, spoken: Callable[[str], Sequence[Phones]], *networks: Weights) -> None:
        self._spoken, self._networks = spoken, networks
        self._paths: dict[str, _Path] = {}

    def fit(self, phrase: str, sound: NDArray[np.int16], begin: int, end: int) -> Fit:
        """Fit a phrase to the samples `begin` to `end` of 16 kHz sound, with the sound around."""
        around, context = int(AROUND_S * SAMPLE_RATE_HZ), int(CONTEXT_S * SAMPLE_RATE_HZ)
        first = max(0, begin - around)
        start = max(0, first - context)
        cepstra = mfcc(sound[start : end + 2 * around])
        if not len(cepstra):
            return Fit(_NO_FIT, _NO_FIT, 0.0)
        skip, stop = ((at - start) // _OUTPUT_SAMPLES for at in (first, end + around))
        fits = [self._fit(phrase, forward(cepstra, each), skip, stop) for each in self._networks]
        return Fit(*np.mean(fits, axis=0).tolist())

    def loglikelihoods(self, phrases: Iterable[str], sound: NDArray[np.int16]) -> list[float]:
        """Of each phrase in all of a sound, by its best alignment; of several networks, the sum.

        In nats, less `BLANK_COST` for each blank; -inf where the sound is too short for it.
        """
        heard = [forward(mfcc(sound), each) for each in self._networks]
        for scores in heard:
            scores[:, BLANK] -= BLANK_COST
        return [sum(map(self._path(phrase).loglikelihood, heard)) for phrase in phrases]

    def _path(self, phrase: str) -> _Path:
        if phrase not in self._paths:
            self._paths[phrase] = _Path([self._spoken(word) for word in phrase.split()])
        return self._paths[phrase]

    def _fit(self, phrase: str, scores: Matrix, skip: int, stop: int) -> Fit:
        silent = np.exp(scores[max(0, skip - _BEFORE_FRAMES) : skip, BLANK])
        scores[:, BLANK] -= BLANK_COST
        whole, worst_word = self._path(phrase).fit(scores[skip:stop])
        return Fit(whole, worst_word, float((1 - silent).sum()))


class _Path:
    """All ways to say a phrase, as states of CTC: the blank before, then each phone and its blank.

    CTC: Graves et al., "Connectionist temporal classification", ICML 2006.
    """

    def __init__(self, words: Sequence[Sequence[Phones]]) -> None:
        pdfs, word_of = [BLANK], [0]
        before: list[list[int]] = [[0]]  # for each state, those that it may follow
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

    def fit(self, scores: Matrix) -> tuple[float, float]:
        """Align with scores (frames × pdfs): how well all of it fits, and the worst word."""
        states = self._aligned(scores)
        if states is None:
            return _NO_FIT, _NO_FIT
        lost = scores[np.arange(len(states)), self._pdfs[states]] - scores.max(axis=1)
        said = np.unique(states[self._pdfs[states] != BLANK])
        phones = np.bincount(self._word_of[said])
        by_word = np.bincount(self._word_of[states], weights=lost)
        whole, worst_word = float(lost.sum() / phones.sum()), float((by_word / phones).min())
        return max(whole, _NO_FIT), max(worst_word, _NO_FIT)

    def loglikelihood(self, scores: Matrix) -> float:
        """Of the best alignment with scores (frames × pdfs)."""
        states = self._aligned(scores)
        if states is None:
            return -math.inf
        return float(scores[np.arange(len(states)), self._pdfs[states]].sum())

    def _aligned(self, scores: Matrix) -> NDArray[np.int64] | None:
        """The most likely state of each frame (Viterbi); None where there are too few frames."""
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


def mfcc(sound: NDArray[np.int16]) -> Matrix:
    """Turn 16 kHz samples into frames × cepstra, as Vosk does."""
    options = knf.MfccOptions()
    options.frame_opts.samp_freq = SAMPLE_RATE_HZ
    options.frame_opts.dither = 0
    options.frame_opts.frame_length_ms = FRAME_LENGTH_MS
    options.frame_opts.frame_shift_ms = FRAME_SHIFT_MS
    options.frame_opts.preemph_coeff = PREEMPHASIS
    options.mel_opts.num_bins = MEL_BINS
    options.mel_opts.low_freq, options.mel_opts.high_freq = LOW_HZ, HIGH_HZ
    options.num_ceps, options.cepstral_lifter = CEPSTRA, CEPSTRAL_LIFTER
    options.use_energy = False
    online = knf.OnlineMfcc(options)
    online.accept_waveform(SAMPLE_RATE_HZ, sound.astype(np.float32).tolist())
    online.input_finished()
    frames = [online.get_frame(at) for at in range(online.num_frames_ready)]
    return np.array(frames, np.float32).reshape(-1, CEPSTRA)
