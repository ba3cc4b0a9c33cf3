"""The acoustic network as plain numbers: phones, features and layers.

Training (torch), the reference forward pass (numpy) and the exporter (Kaldi's nnet3) all build
their network from `LAYERS`, so the three cannot drift apart. Normalisation is already folded into
the affine layers.
"""

from __future__ import annotations

from dataclasses import dataclass

PHONES = (
    *("AA", "AE", "AH", "AO", "AW", "AY", "B", "CH", "D", "DH", "EH", "ER", "EY"),
    *("F", "G", "HH", "IH", "IY", "JH", "K", "L", "M", "N", "NG", "OW", "OY"),
    *("P", "R", "S", "SH", "T", "TH", "UH", "UW", "V", "W", "Y", "Z", "ZH"),
)
"""The 39 phones of the CMU pronouncing dictionary, stress left out."""

BLANK = 0
"""The network's output number 0 is CTC's blank."""

PDF_OF_PHONE = {phone: pdf for pdf, phone in enumerate(PHONES, start=1)}
PDF_COUNT = 1 + len(PHONES)

SAMPLE_RATE_HZ = 16_000
FRAME_LENGTH_MS = 25.0
FRAME_SHIFT_MS = 10.0
MEL_BINS = 40
CEPSTRA = 40
LOW_HZ = 20.0
HIGH_HZ = 7_600.0
CEPSTRAL_LIFTER = 22.0
PREEMPHASIS = 0.97
WAVEFORM_SCALE = 32_768.0
"""Kaldi's features expect samples as 16-bit integers: multiply samples in ±1 by this."""

SUBSAMPLING = 3
"""One output for every third input frame: one every 30 ms."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Layer:
    """One affine layer: splices `source` at `offsets`, multiplies, adds and perhaps rectifies.

    output(t) = [ReLU](linear · [source(t + offsets[0]); source(t + offsets[1]); …] + bias
    [+ residual(t)]). Times and offsets are in input frames (10 ms). `linear` has `outputs` rows and
    `inputs` × len(`offsets`) columns, the earliest offset first.
    """

    name: str
    source: str
    """The layer that it reads, or "input"."""
    offsets: tuple[int, ...]
    inputs: int
    outputs: int
    residual: str | None = None
    """The layer, `outputs` wide, whose output is added before rectifying."""
    relu: bool = False

    @property
    def columns(self) -> int:
        """The width of the spliced input."""
        return self.inputs * len(self.offsets)


WIDTH = 512
NARROW_WIDTH = 160
# Four blocks and the first layer see 140 ms ahead (look-ahead, right context). The other blocks see
# only back, so that a decision need not wait: almost a second, to know the voice and the noise.
BLOCK_OFFSETS = (
    *((-3, 0, 3),) * 2,
    *((-6, -3, 0, 3),) * 2,
    *((-6, -3, 0),) * 2,
    *((-12, -6, 0),) * 2,
    *((-18, -9, 0),) * 2,
)


def _block(number: int, offsets: tuple[int, ...]) -> tuple[Layer, Layer]:
    source = f"block{number - 1}.wide" if number > 1 else "conv0"
    narrow = Layer(
        name=f"block{number}.narrow",
        source=source,
        offsets=offsets,
        inputs=WIDTH,
        outputs=NARROW_WIDTH,
    )
    wide = Layer(
        name=f"block{number}.wide",
        source=narrow.name,
        offsets=(0,),
        inputs=NARROW_WIDTH,
        outputs=WIDTH,
        residual=source,
        relu=True,
    )
    return narrow, wide


LAYERS = (
    Layer(
        name="conv0",
        source="input",
        offsets=(-2, -1, 0, 1, 2),
        inputs=CEPSTRA,
        outputs=WIDTH,
        relu=True,
    ),
    *(layer for n, offsets in enumerate(BLOCK_OFFSETS, start=1) for layer in _block(n, offsets)),
    Layer(
        name="output",
        source=f"block{len(BLOCK_OFFSETS)}.wide",
        offsets=(0,),
        inputs=WIDTH,
        outputs=PDF_COUNT,
    ),
)
"""In order of computation; a log-softmax of the last layer's output follows."""

LEFT_CONTEXT_FRAMES = 2 - sum(min(offsets) for offsets in BLOCK_OFFSETS)
RIGHT_CONTEXT_FRAMES = 2 + sum(max(offsets) for offsets in BLOCK_OFFSETS)
"""The look-ahead: how many input frames after its own an output needs."""


def output_frames(input_frames: int) -> int:
    """Return how many outputs the network gives for so many 10 ms frames: a third, rounded up."""
    return -(-input_frames // SUBSAMPLING)
