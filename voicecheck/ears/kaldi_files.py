"""Trained weights and the topology -> the files of a Vosk model, in Kaldi's binary formats."""

from __future__ import annotations

import math
import struct
from typing import TYPE_CHECKING

import numpy as np

from voicecheck.ears import hmm, topology, tuning
from voicecheck.ears.topology import LAYERS, Layer

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from voicecheck.ears.forward import Matrix, Weights

MFCC_CONF = f"""\
--use-energy=false
--sample-frequency={topology.SAMPLE_RATE_HZ}
--frame-length={topology.FRAME_LENGTH_MS:g}
--frame-shift={topology.FRAME_SHIFT_MS:g}
--preemphasis-coefficient={topology.PREEMPHASIS:g}
--num-mel-bins={topology.MEL_BINS}
--num-ceps={topology.CEPSTRA}
--cepstral-lifter={topology.CEPSTRAL_LIFTER:g}
--low-freq={topology.LOW_HZ:g}
--high-freq={topology.HIGH_HZ:g}
--dither=0
"""

MODEL_CONF = f"""\
--phone-determinize=false
--beam={tuning.BEAM}
--max-active={tuning.MAX_ACTIVE}
--min-active={tuning.MIN_ACTIVE}
--lattice-beam={tuning.LATTICE_BEAM}
--acoustic-scale={tuning.ACOUSTIC_SCALE}
--frame-subsampling-factor={topology.SUBSAMPLING}
--frames-per-chunk={tuning.FRAMES_PER_CHUNK}
--endpoint.silence-phones={hmm.SILENCE}
--endpoint.rule1.min-trailing-silence={tuning.RULE1_SILENCE_S}
--endpoint.rule2.min-trailing-silence={tuning.RULE2_SILENCE_S}
--endpoint.rule2.max-relative-cost={tuning.RULE2_RELATIVE_COST}
--endpoint.rule3.min-trailing-silence={tuning.RULE3_SILENCE_S}
--endpoint.rule3.max-relative-cost={tuning.RULE3_RELATIVE_COST}
--endpoint.rule4.min-trailing-silence={tuning.RULE4_SILENCE_S}
--endpoint.rule5.min-utterance-length={tuning.RULE5_UTTERANCE_S}
"""


def export(weights: Weights, folder: Path) -> None:
    """Write am/final.mdl and conf/ of a Vosk model under `folder`; graph.py writes the graph.

    The same weights give the same bytes.
    """
    files = {
        "am/final.mdl": acoustic_model(weights),
        "conf/mfcc.conf": MFCC_CONF.encode(),
        "conf/model.conf": MODEL_CONF.encode(),
    }
    for name, content in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)


def decoded_until_s(given_s: float) -> float:
    """Return how much Vosk has decoded after so many seconds since its network started.

    It decodes whole chunks, once it has the look-ahead (right context) of the last frame too.
    """
    frames = math.floor((given_s * 1000 - topology.FRAME_LENGTH_MS) / topology.FRAME_SHIFT_MS) + 1
    chunks = (frames - topology.RIGHT_CONTEXT_FRAMES) // tuning.FRAMES_PER_CHUNK
    return max(0, chunks) * tuning.FRAMES_PER_CHUNK * topology.FRAME_SHIFT_MS / 1000


def acoustic_model(weights: Weights) -> bytes:
    """Return Kaldi's binary final.mdl: the transition model, then the network."""
    return b"".join((b"\0B", *_transition_model(), *_network(weights)))


# The transition model (Kaldi's hmm/hmm-topology.cc and hmm/transition-model.cc)


def _transition_model() -> Iterator[bytes]:
    phones = range(hmm.SILENCE, hmm.PHONE_COUNT + 1)
    entry_of_phone = [-1, 0, *[1] * (hmm.PHONE_COUNT - hmm.SILENCE)]
    entries = (hmm.SILENCE_STATES, hmm.PHONE_STATES)
    yield _token("<TransitionModel>") + _token("<Topology>")
    yield _integers(phones) + _integers(entry_of_phone) + _integer(len(entries))
    for states in entries:
        yield _integer(len(states) + 1)
        for pdf_class, arcs in states:
            yield _integer(pdf_class) + _integer(len(arcs))
            yield from (_integer(to) + _float(probability) for to, probability in arcs)
        yield _integer(-1) + _integer(0)  # the end: no output, no arcs
    yield _token("</Topology>") + _token("<Triples>") + _integer(len(hmm.states()))
    yield from (_integer(value) for triple in hmm.states() for value in triple)
    yield _token("</Triples>") + _token("<LogProbs>")
    yield _vector(np.log([1.0, *hmm.probabilities()]))  # the first belongs to no transition
    yield _token("</LogProbs>") + _token("</TransitionModel>")


# The network (Kaldi's nnet3/nnet-nnet.cc)


def _network(weights: Weights) -> Iterator[bytes]:
    components = [component for layer in LAYERS for component in _components(layer, weights)]
    components.append(("log", _nonlinear("LogSoftmaxComponent", LAYERS[-1].outputs)))
    yield _token("<Nnet3>") + b"\n" + "\n".join(_node_lines()).encode() + b"\n\n"
    yield _token("<NumComponents>") + _integer(len(components))
    for name, content in components:
        yield _token("<ComponentName>") + _token(name) + content
    yield _token("</Nnet3>")
    yield _token("<LeftContext>") + _integer(topology.LEFT_CONTEXT_FRAMES)
    yield _token("<RightContext>") + _integer(topology.RIGHT_CONTEXT_FRAMES)
    yield _token("<Priors>") + _vector(np.zeros(0, np.float32))


def _components(layer: Layer, weights: Weights) -> Iterator[tuple[str, bytes]]:
    linear, bias = weights[f"{layer.name}.linear"], weights[f"{layer.name}.bias"]
    affine = _token("<LinearParams>") + _compressed(linear)
    affine += _token("<BiasParams>") + _vector(bias)
    yield f"{layer.name}.affine", _tagged("FixedAffineComponent", affine)
    if layer.relu:
        yield f"{layer.name}.relu", _nonlinear("RectifiedLinearComponent", layer.outputs)


def _node_lines() -> Iterator[str]:
    result = {"input": "input"}
    yield f"input-node name=input dim={topology.CEPSTRA}"
    for layer in LAYERS:
        affine, relu, source = f"{layer.name}.affine", f"{layer.name}.relu", result[layer.source]
        spliced = ", ".join(f"Offset({source}, {at})" if at else source for at in layer.offsets)
        whole = f"Append({spliced})" if len(layer.offsets) > 1 else spliced
        yield f"component-node name={affine} component={affine} input={whole}"
        if layer.relu:
            summed = f"Sum({affine}, {result[layer.residual]})" if layer.residual else affine
            yield f"component-node name={relu} component={relu} input={summed}"
        result[layer.name] = relu if layer.relu else affine
    yield f"component-node name=log component=log input={result[LAYERS[-1].name]}"
    yield "output-node name=output input=log objective=linear"


def _nonlinear(kind: str, width: int) -> bytes:
    empty = _vector(np.zeros(0, np.float32))
    body = _token("<Dim>") + _integer(width)
    body += _token("<ValueAvg>") + empty + _token("<DerivAvg>") + empty
    body += _token("<Count>") + _float(0)
    body += _token("<OderivRms>") + empty + _token("<OderivCount>") + _float(0)
    body += _token("<NumDimsSelfRepaired>") + _float(0) + _token("<NumDimsProcessed>") + _float(0)
    return _tagged(kind, body)


def _tagged(kind: str, body: bytes) -> bytes:
    return _token(f"<{kind}>") + body + _token(f"</{kind}>")


# Kaldi's binary forms (base/io-funcs.cc, matrix/kaldi-vector.cc, matrix/compressed-matrix.cc)


def _token(word: str) -> bytes:
    return word.encode() + b" "


def _integer(value: int) -> bytes:
    return struct.pack("<bi", 4, value)


def _float(value: float) -> bytes:
    return struct.pack("<bf", 4, value)


def _integers(values: Iterable[int]) -> bytes:
    listed: Sequence[int] = list(values)
    return struct.pack(f"<bi{len(listed)}i", 4, len(listed), *listed)


def _vector(values: NDArray[np.floating]) -> bytes:
    return _token("FV") + _integer(len(values)) + values.astype("<f4").tobytes()


def _compressed(matrix: Matrix) -> bytes:
    """Kaldi's 16-bit form: least value, range, rows, columns, then a step of 0 to 65535 each."""
    least = float(matrix.min())
    spread = max(float(np.float32(float(matrix.max()) - least)), 1e-5)
    steps = np.rint((matrix.astype(np.float64) - least) / spread * 65535)
    header = struct.pack("<ffii", least, spread, *matrix.shape)
    return _token("CM2") + header + np.clip(steps, 0, 65535).astype("<u2").tobytes()
