"""Sound -> MFCC features in numpy, the same that Vosk computes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import kaldi_native_fbank as knf
import numpy as np

from voicecheck.ears.topology import (
    CEPSTRA,
    CEPSTRAL_LIFTER,
    FRAME_LENGTH_MS,
    FRAME_SHIFT_MS,
    HIGH_HZ,
    LOW_HZ,
    MEL_BINS,
    PREEMPHASIS,
    SAMPLE_RATE_HZ,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from voicecheck.ears.forward import Matrix


def mfcc(sound: NDArray[np.int16]) -> Matrix:
    """Turn 16 kHz samples into frames × cepstra; too little sound gives no frames."""
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
