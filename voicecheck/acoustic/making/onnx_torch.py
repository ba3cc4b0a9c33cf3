"""Run Kokoro's quantised ONNX graph in torch, so that a GPU can say hours of speech in minutes.

onnxruntime has no GPU kernels for 8-bit graphs. Here the 8-bit weights become floats once and
activations are not quantised, so the sound equals the CPU's within rounding. It knows only the
operators of that one graph. What depends on no input is computed once. Shapes stay on the CPU, so
that they never wait for the GPU. Needs onnx and torch.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

import torch
from torch import Tensor

from voicecheck.acoustic.making.onnx_operators import (
    NUMBERED,
    OPERATORS,
    Attributes,
    centred,
    lstm_weights,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


class Graph:
    """A loaded graph; called with named tensors, it returns its first output."""

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

    def _placed(self, array: Any) -> Tensor:
        tensor = torch.from_numpy(array)
        if tensor.dtype == torch.int32:
            tensor = tensor.long()
        sound = tensor.is_floating_point() or tensor.dtype in (torch.uint8, torch.int8)
        return tensor.to(self._device) if sound and tensor.dim() else tensor

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

    def _in_floats(self, step: _Step) -> _Step:
        """The same step with its 8-bit weights turned into floats."""
        kind, attributes, inputs, outputs = step
        if kind == "DynamicQuantizeLSTM":
            stored = [self._known[inputs[place]] for place in (1, 2, 3, 8, 9, 10, 11)]
            attributes["weights"] = lstm_weights(stored, attributes["hidden_size"])
            return "LSTM", attributes, inputs[:1], outputs
        if kind in ("MatMulInteger", "ConvInteger") and inputs[1] in self._known:
            weight = f"{inputs[1]} in floats"
            self._known[weight] = centred(self._known[inputs[1]], self._known[inputs[3]])
            return kind.removesuffix("Integer"), attributes, [inputs[0], weight], outputs
        return step

    def __call__(self, **inputs: Tensor) -> Tensor:
        """Compute the output of the graph for these inputs."""
        with torch.inference_mode():
            return self._computed(inputs)

    def _computed(self, inputs: Mapping[str, Tensor]) -> Tensor:
        values = dict(self._known)
        values.update({name: value.to(self._device) for name, value in inputs.items()})
        for place, (kind, attributes, names, outputs) in enumerate(self._steps):
            self._store(values, outputs, self._run(kind, attributes, names, values))
            for name in names:
                if self._last_use[name] == place and name not in self._known:
                    values.pop(name, None)
        return values[self._output]

    def _run(
        self, kind: str, attributes: Attributes, names: Sequence[str], values: Mapping[str, Tensor]
    ) -> Any:
        given = [values[name] for name in names]
        if kind not in NUMBERED and any(value.is_cuda for value in given):
            given = [value.to(self._device) if value.dim() else value for value in given]
        return OPERATORS[kind](given, attributes)

    @staticmethod
    def _store(values: dict[str, Tensor], outputs: Sequence[str], result: Any) -> None:
        results = result if isinstance(result, (tuple, list)) else (result,)
        values.update(zip(outputs, results, strict=False))


_Step = tuple[str, Attributes, list[str], list[str]]


def _step(node: Any, onnx: Any) -> _Step:
    attributes = {a.name: onnx.helper.get_attribute_value(a) for a in node.attribute}
    if "value" in attributes:
        attributes["value"] = onnx.numpy_helper.to_array(attributes["value"]).ravel()[0].item()
    return node.op_type, attributes, list(node.input), list(node.output)
