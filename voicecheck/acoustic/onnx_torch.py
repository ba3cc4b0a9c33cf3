"""Run Kokoro's quantised ONNX graph in torch, so that a GPU can say hours of speech in minutes.

onnxruntime has no GPU kernels for 8-bit graphs. Here the 8-bit weights become floats once and the
quantisation of activations falls away, so the sound is that of the CPU within its own rounding.
Only the operators of that one graph are known. Needs onnx and torch. What depends on no input is
computed once; shapes stay on the CPU, so that they never wait for the GPU.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

import torch
import torch.nn.functional as F  # noqa: N812: torch's own convention
from torch import Tensor

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

Attributes = dict[str, Any]
Values = "Sequence[Tensor]"
_DTYPES = {1: torch.float32, 6: torch.int64, 7: torch.int64, 9: torch.bool}


class Graph:
    """A loaded graph; call it with named tensors and get its first output."""

    def __init__(self, model: bytes, device: torch.device) -> None:
        onnx = importlib.import_module("onnx")
        graph = onnx.load_from_string(model).graph
        self._device = device
        self._output = graph.output[0].name
        self._known: dict[str, Tensor] = {"": torch.empty(0)}
        for stored in graph.initializer:
            self._known[stored.name] = self._placed(onnx.numpy_helper.to_array(stored).copy())
        steps = [_step(node, onnx) for node in graph.node]
        self._steps = [self._in_floats(step) for step in self._without_constants(steps)]
        self._last_use = {name: i for i, step in enumerate(self._steps) for name in step[2]}

    def _placed(self, array: Any) -> Tensor:  # noqa: ANN401: numpy's arrays of any kind
        tensor = torch.from_numpy(array)
        if tensor.dtype == torch.int32:
            tensor = tensor.long()
        sound = tensor.is_floating_point() or tensor.dtype in (torch.uint8, torch.int8)
        return moved(tensor, self._device) if sound and tensor.dim() else tensor

    @torch.inference_mode()
    def _without_constants(self, steps: list[_Step]) -> list[_Step]:
        left = []
        for step in steps:
            kind, attributes, inputs, outputs = step
            if kind == "DynamicQuantizeLinear":
                self._known[outputs[1]] = torch.tensor(1.0)
                self._known[outputs[2]] = torch.tensor(0)
            if all(name in self._known for name in inputs):
                self._store(self._known, outputs, self._run(kind, attributes, inputs, self._known))
            else:
                left.append(step)
        return left

    @torch.inference_mode()
    def _in_floats(self, step: _Step) -> _Step:
        """The same step with its 8-bit weights turned to floats once and for all."""
        kind, attributes, inputs, outputs = step
        if kind == "DynamicQuantizeLSTM":
            stored = [self._known[inputs[place]] for place in (1, 2, 3, 8, 9, 10, 11)]
            attributes["weights"] = _lstm_weights(*stored, hidden=attributes["hidden_size"])
            return "LSTM", attributes, inputs[:1], outputs
        if kind in ("MatMulInteger", "ConvInteger") and inputs[1] in self._known:
            weight = f"{inputs[1]} in floats"
            self._known[weight] = _centred(self._known[inputs[1]], self._known[inputs[3]])
            return kind.removesuffix("Integer"), attributes, [inputs[0], weight], outputs
        return step

    @torch.inference_mode()
    def __call__(self, **inputs: Tensor) -> Tensor:
        """Compute the output of the graph for these inputs."""
        values = dict(self._known)
        values.update({name: moved(value, self._device) for name, value in inputs.items()})
        for place, (kind, attributes, names, outputs) in enumerate(self._steps):
            self._store(values, outputs, self._run(kind, attributes, names, values))
            for name in names:
                if self._last_use[name] == place and name not in self._known:
                    values.pop(name, None)
        return values[self._output]

    def _run(
        self, kind: str, attributes: Attributes, names: Sequence[str], values: Mapping[str, Tensor]
    ) -> Any:  # noqa: ANN401: a tensor or several
        given = [values[name] for name in names]
        if kind not in _SHAPED and any(value.is_cuda for value in given):
            given = [moved(value, self._device) if value.dim() else value for value in given]
        return _OPERATORS[kind](given, attributes)

    @staticmethod
    def _store(values: dict[str, Tensor], outputs: Sequence[str], result: Any) -> None:  # noqa: ANN401
        results = result if isinstance(result, (tuple, list)) else (result,)
        values.update(zip(outputs, results, strict=False))


def moved(value: Tensor, device: torch.device) -> Tensor:
    """The tensor on that device."""
    return value.to(device)


_Step = tuple[str, Attributes, list[str], list[str]]


def _step(node: Any, onnx: Any) -> _Step:  # noqa: ANN401: onnx carries no types
    attributes = {a.name: onnx.helper.get_attribute_value(a) for a in node.attribute}
    if "value" in attributes:
        attributes["value"] = onnx.numpy_helper.to_array(attributes["value"]).ravel()[0].item()
    return node.op_type, attributes, list(node.input), list(node.output)


def _conv(x: Tensor, weight: Tensor, bias: Tensor | None, a: Attributes) -> Tensor:
    before, after = a["pads"]
    if before != after:
        x, before = F.pad(x, (before, after)), 0
    return F.conv1d(x, weight, bias, a["strides"], before, a["dilations"], a["group"])


def _conv_transpose(v: Values, a: Attributes) -> Tensor:
    extra = a.get("output_padding", [0])
    bias = v[2] if len(v) > 2 else None
    return F.conv_transpose1d(v[0], v[1], bias, a["strides"], a["pads"][0], extra, a["group"])


def _centred(weight: Tensor, zero: Tensor) -> Tensor:
    return weight.float() - (moved(zero, weight.device) if zero.dim() else zero).float()


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
    found = x.index_select(axis, moved(index.flatten(), x.device) % x.shape[axis])
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
    return v[0].split(v[1].tolist(), a["axis"])


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


def _lstm_weights(  # noqa: PLR0913: what ONNX stores for one
    w: Tensor, r: Tensor, bias: Tensor, w_scale: Tensor, w_zero: Tensor, r_scale: Tensor,
    r_zero: Tensor, *, hidden: int,
) -> list[Tensor]:
    """ONNX packs gates as input, output, forget, cell; torch as input, forget, cell, output."""
    weights = []
    for d in range(len(w)):
        inward = _centred(w[d], w_zero[d]) * w_scale[d]
        back = _centred(r[d], r_zero[d]) * r_scale[d]
        parts = (inward.T, back.T, bias[d][: 4 * hidden], bias[d][4 * hidden :])
        weights += [_torch_gates(part, hidden).contiguous() for part in parts]
    return weights


def _lstm(v: Values, a: Attributes) -> tuple[Tensor, Tensor, Tensor]:
    x, hidden = v[0], a["hidden_size"]
    directions = len(a["weights"]) // 4
    start = x.new_zeros(directions, x.shape[1], hidden)
    y, h, c = torch.lstm(
        x, (start, start), a["weights"], True, 1, 0.0, False, directions == 2, False  # noqa: FBT003
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


_SHAPED = {
    *("Slice", "Reshape", "Unsqueeze", "Squeeze", "Expand", "Split", "Resize", "Pad", "Gather"),
    *("ReduceMean", "ReduceSum", "CumSum", "Shape", "ConstantOfShape", "Range"),
}
"""Operators that read some inputs as plain numbers, and so want them left on the CPU."""

_OPERATORS: dict[str, Callable[[Any, Attributes], Any]] = {
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
    "DequantizeLinear": lambda v, _: _centred(v[0], v[2]) * v[1],
    "LSTM": _lstm,
}
