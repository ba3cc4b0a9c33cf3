"""The operators of Kokoro's ONNX graph, each in terms of torch (ONNX operator set 20)."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeAlias

import torch
import torch.nn.functional as F  # noqa: N812
from torch import Tensor

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    Values: TypeAlias = Sequence[Tensor]

Attributes: TypeAlias = dict[str, Any]

_DTYPES = {1: torch.float32, 6: torch.int64, 7: torch.int64, 9: torch.bool}


def _conv(x: Tensor, weight: Tensor, bias: Tensor | None, a: Attributes) -> Tensor:
    before, after = a["pads"]
    if before != after:
        x, before = F.pad(x, (before, after)), 0
    return F.conv1d(x, weight, bias, a["strides"], before, a["dilations"], a["group"])


def _conv_transpose(v: Values, a: Attributes) -> Tensor:
    extra = a.get("output_padding", [0])
    bias = v[2] if len(v) > 2 else None
    return F.conv_transpose1d(v[0], v[1], bias, a["strides"], a["pads"][0], extra, a["group"])


def centred(weight: Tensor, zero: Tensor) -> Tensor:
    """Return 8-bit weights as floats around zero; the graph applies their scale."""
    return weight.float() - (zero.to(weight.device) if zero.dim() else zero).float()


def _slice(v: Values, _: Attributes) -> Tensor:
    x = v[0]
    starts, ends = v[1].tolist(), v[2].tolist()
    axes = v[3].tolist() if len(v) > 3 else list(range(len(starts)))
    steps = v[4].tolist() if len(v) > 4 else [1] * len(starts)
    for start, end, axis, step in zip(starts, ends, axes, steps, strict=True):
        if step < 0:
            x = x.flip(axis)
            continue
        cut = [slice(None)] * x.dim()
        cut[axis] = slice(start, end, step)
        x = x[tuple(cut)]
    return x


def _gather(v: Values, a: Attributes) -> Tensor:
    x, index, axis = v[0], v[1], a["axis"]
    if index.dim() == 0:
        return x.select(axis, int(index))
    found = x.index_select(axis, index.flatten().to(x.device) % x.shape[axis])
    return found.reshape(*x.shape[:axis], *index.shape, *x.shape[axis + 1 :])


def _reshape(v: Values, _: Attributes) -> Tensor:
    wanted = [v[0].shape[i] if size == 0 else size for i, size in enumerate(v[1].tolist())]
    return v[0].reshape(wanted)


def _unsqueeze(v: Values, _: Attributes) -> Tensor:
    x = v[0]
    axes = v[1].flatten().tolist()
    for axis in sorted(axis % (x.dim() + len(axes)) for axis in axes):
        x = x.unsqueeze(axis)
    return x


def _squeeze(v: Values, _: Attributes) -> Tensor:
    x = v[0]
    for axis in sorted((axis % x.dim() for axis in v[1].flatten().tolist()), reverse=True):
        x = x.squeeze(axis)
    return x


def _expand(v: Values, _: Attributes) -> Tensor:
    return v[0].expand(torch.broadcast_shapes(v[0].shape, tuple(v[1].tolist())))


def _split(v: Values, a: Attributes) -> Sequence[Tensor]:
    return list(v[0].split(v[1].tolist(), a["axis"]))


def _resize(v: Values, a: Attributes) -> Tensor:
    scale = v[2].tolist()[2]
    size = int(v[0].shape[2] * scale)
    if a["mode"] == b"nearest":
        return F.interpolate(v[0], size=size, mode="nearest")
    return F.interpolate(v[0], size=size, mode="linear", align_corners=False)


def _pad(v: Values, _: Attributes) -> Tensor:
    pads = v[1].tolist()
    last = v[0].dim() - 1
    x = v[0].reshape(1, -1, v[0].shape[last]) if last < 2 else v[0]
    padded = F.pad(x, (pads[last], pads[-1]), mode="reflect")
    return padded.reshape(*v[0].shape[:-1], -1)


def _stft(v: Values, a: Attributes) -> Tensor:
    signal = v[0].reshape(v[0].shape[0], -1)
    frames = signal.unfold(1, int(v[3]), int(v[1])) * v[2]
    return torch.view_as_real(torch.fft.rfft(frames) if a["onesided"] else torch.fft.fft(frames))


def _scatter(v: Values, _: Attributes) -> Tensor:
    result = v[0].clone()
    result[tuple(v[1].unbind(-1))] = v[2]
    return result


def lstm_weights(stored: Sequence[Tensor], hidden: int) -> list[Tensor]:
    """Turn an LSTM's ONNX weights into torch's: W, R, bias, and the scales and zeros of W and R.

    ONNX packs gates as input, output, forget, cell; torch as input, forget, cell, output.
    """
    w, r, bias, w_scale, w_zero, r_scale, r_zero = stored
    weights = []
    for d in range(len(w)):
        inward = centred(w[d], w_zero[d]) * w_scale[d]
        back = centred(r[d], r_zero[d]) * r_scale[d]
        parts = (inward.T, back.T, bias[d][: 4 * hidden], bias[d][4 * hidden :])
        weights += [_torch_gates(part, hidden).contiguous() for part in parts]
    return weights


def _lstm(v: Values, a: Attributes) -> tuple[Tensor, Tensor, Tensor]:
    x, hidden = v[0], a["hidden_size"]
    directions = len(a["weights"]) // 4
    start = x.new_zeros(directions, x.shape[1], hidden)
    y, h, c = torch.lstm(
        x,
        (start, start),
        a["weights"],
        True,
        1,
        0.0,
        False,
        directions == 2,
        False,
    )
    return y.reshape(*y.shape[:2], directions, hidden).transpose(1, 2), h, c


def _torch_gates(rows: Tensor, hidden: int) -> Tensor:
    i, o, f, c = rows.split(hidden)
    return torch.cat((i, f, c, o))


def _layer_norm(x: Tensor, weight: Tensor, bias: Tensor, a: Attributes) -> Tensor:
    return F.layer_norm(x, x.shape[-1:], weight, bias, a["epsilon"])


def _mean(v: Values, a: Attributes) -> Tensor:
    return v[0].mean(v[1].tolist(), keepdim=bool(a["keepdims"]))


def _sum(v: Values, a: Attributes) -> Tensor:
    return v[0].sum(v[1].tolist(), keepdim=bool(a["keepdims"]))


def _divide(v: Values, _: Attributes) -> Tensor:
    whole = not v[0].is_floating_point() and not v[1].is_floating_point()
    return torch.div(v[0], v[1], rounding_mode="trunc" if whole else None)


def _range(v: Values, _: Attributes) -> Tensor:
    return torch.arange(*(value.item() for value in v))


NUMBERED = {
    *("Slice", "Reshape", "Unsqueeze", "Squeeze", "Expand", "Split", "Resize", "Pad", "Gather"),
    *("ReduceMean", "ReduceSum", "CumSum", "Shape", "ConstantOfShape", "Range"),
}
"""Operators that read some inputs as plain numbers, which therefore stay on the CPU."""

OPERATORS: dict[str, Callable[[Any, Attributes], Any]] = {
    "Add": lambda v, _: v[0] + v[1],
    "Sub": lambda v, _: v[0] - v[1],
    "Mul": lambda v, _: v[0] * v[1],
    "Div": _divide,
    "Pow": lambda v, _: v[0] ** v[1],
    "Sqrt": lambda v, _: v[0].sqrt(),
    "Exp": lambda v, _: v[0].exp(),
    "Sin": lambda v, _: v[0].sin(),
    "Cos": lambda v, _: v[0].cos(),
    "Atan": lambda v, _: v[0].nan_to_num(0).atan(),  # 0 / 0: the phase of silence
    "Tanh": lambda v, _: v[0].tanh(),
    "Sigmoid": lambda v, _: v[0].sigmoid(),
    "Floor": lambda v, _: v[0].floor(),
    "Round": lambda v, _: v[0].round(),
    "Clip": lambda v, _: v[0].clamp(*(x.item() if x.numel() else None for x in v[1:])),
    "And": lambda v, _: v[0] & v[1],
    "Equal": lambda v, _: v[0] == v[1],
    "Greater": lambda v, _: v[0] > v[1],
    "GreaterOrEqual": lambda v, _: v[0] >= v[1],
    "Less": lambda v, _: v[0] < v[1],
    "Where": lambda v, _: torch.where(v[0], v[1], v[2]),
    "Softmax": lambda v, a: v[0].softmax(a["axis"]),
    "LeakyRelu": lambda v, a: F.leaky_relu(v[0], a["alpha"]),
    "FastGelu": lambda v, _: F.gelu(v[0] + v[1], approximate="tanh"),
    "Cast": lambda v, a: v[0].to(_DTYPES[a["to"]]),
    "Concat": lambda v, a: torch.cat(list(v), a["axis"]),
    "Transpose": lambda v, a: v[0].permute(a["perm"]),
    "Shape": lambda v, _: torch.tensor(v[0].shape),
    "ConstantOfShape": lambda v, a: torch.full(tuple(v[0].tolist()), a["value"]),
    "Range": _range,
    "NonZero": lambda v, _: v[0].nonzero().T,
    "CumSum": lambda v, _: v[0].cumsum(int(v[1])),
    "ScatterND": _scatter,
    "Slice": _slice,
    "Gather": _gather,
    "Reshape": _reshape,
    "Unsqueeze": _unsqueeze,
    "Squeeze": _squeeze,
    "Expand": _expand,
    "Split": _split,
    "Resize": _resize,
    "Pad": _pad,
    "STFT": _stft,
    "ReduceMean": _mean,
    "ReduceSum": _sum,
    "MatMul": lambda v, _: v[0] @ v[1],
    "FusedMatMul": lambda v, _: v[0].transpose(-1, -2) @ v[1],
    "Conv": lambda v, a: _conv(v[0], v[1], v[2] if len(v) > 2 else None, a),
    "ConvTranspose": _conv_transpose,
    "LayerNormalization": lambda v, a: _layer_norm(v[0], v[1], v[2], a),
    "SkipLayerNormalization": lambda v, a: _layer_norm(v[0] + v[1], v[2], v[3], a),
    "DynamicQuantizeLinear": lambda v, _: (v[0],),
    "DequantizeLinear": lambda v, _: centred(v[0], v[2]) * v[1],
    "LSTM": _lstm,
}
