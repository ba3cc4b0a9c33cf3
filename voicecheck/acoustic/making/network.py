"""The network as it trains, in torch, and how it folds into the plain layers of the topology."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import torch
from torch import Tensor, nn

from voicecheck.ears.topology import (
    CEPSTRA,
    LAYERS,
    LEFT_CONTEXT_FRAMES,
    RIGHT_CONTEXT_FRAMES,
    SUBSAMPLING,
    Layer,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray


class _Signal:
    """A layer's output (batch × steps × width), the time of its first step, frames per step."""

    def __init__(self, values: Tensor, start: int, step: int) -> None:
        self.values, self.start, self.step = values, start, step

    def at(self, start: int, count: int) -> Tensor:
        first, stride = (start - self.start) // self.step, SUBSAMPLING // self.step
        return self.values[:, first : first + (count - 1) * stride + 1 : stride]

    def count_to(self, last_offset: int, start: int) -> int:
        end = self.start + (self.values.shape[1] - 1) * self.step
        return int((end - last_offset - start) // SUBSAMPLING + 1)


class Network:
    """Layers with batch normalisation before every ReLU, and of the input."""

    def __init__(self, device: torch.device) -> None:
        linears, norms = nn.ModuleDict(), nn.ModuleDict()
        for layer in LAYERS:
            last = layer.name == LAYERS[-1].name
            linears[key(layer)] = nn.Linear(layer.columns, layer.outputs, bias=last)
            if layer.relu:
                norms[key(layer)] = nn.BatchNorm1d(layer.outputs)
            if layer.residual:
                # Ten blocks train at once only if they start near the identity.
                nn.init.constant_(norms[key(layer)].weight, 0.3)
        heard = nn.BatchNorm1d(CEPSTRA, affine=False, momentum=0.02)
        parts = {"heard": heard, "linears": linears, "norms": norms}
        self.parts = nn.ModuleDict(parts).to(device)
        """Everything that is learned."""

    def __call__(self, features: Tensor) -> Tensor:
        """Batch × frames × cepstra to log-probabilities, batch × ⌈frames / 3⌉ × pdfs."""
        x = _by_column(self.parts["heard"], features)
        first, last = x[:, :1], x[:, -1:]
        x = torch.cat(
            (
                first.expand(-1, LEFT_CONTEXT_FRAMES, -1),
                x,
                last.expand(-1, RIGHT_CONTEXT_FRAMES, -1),
            ),
            1,
        )
        known = {"input": _Signal(x, -LEFT_CONTEXT_FRAMES, 1)}
        for layer in LAYERS:
            known[layer.name] = self._through(layer, known)
        return known[LAYERS[-1].name].values.float().log_softmax(2)

    def _through(self, layer: Layer, known: dict[str, _Signal]) -> _Signal:
        source = known[layer.source]
        start = source.start - layer.offsets[0]
        count = source.count_to(layer.offsets[-1], start)
        spliced = torch.cat([source.at(start + offset, count) for offset in layer.offsets], 2)
        values = self.parts["linears"][key(layer)](spliced)
        if layer.relu:
            values = _by_column(self.parts["norms"][key(layer)], values)
        if layer.residual:
            values = values + known[layer.residual].at(start, count)
        return _Signal(values.relu() if layer.relu else values, start, SUBSAMPLING)


def key(layer: Layer) -> str:
    """The name of a layer's parts: torch allows no dot."""
    return layer.name.replace(".", "_")


def _by_column(norm: nn.Module, values: Tensor) -> Tensor:
    result: Tensor = norm(values.flatten(0, 1))
    return result.view_as(values)


def folded(network: Network) -> dict[str, NDArray[np.generic]]:
    """The arrays of weights.npz: matrices in half precision, biases in single."""
    arrays: dict[str, NDArray[np.generic]] = {}
    with torch.no_grad():
        for layer in LAYERS:
            weight, bias = _affine(network, layer)
            arrays[f"{layer.name}.linear"] = weight.numpy().astype(np.float16)
            arrays[f"{layer.name}.bias"] = bias.numpy().astype(np.float32)
    return arrays


def _affine(network: Network, layer: Layer) -> tuple[Tensor, Tensor]:
    """The layer's matrix and bias with every normalisation beside it folded in."""
    linear = network.parts["linears"][key(layer)]
    weight = linear.weight.double().cpu()
    bias = (
        torch.zeros(layer.outputs).double() if linear.bias is None else linear.bias.double().cpu()
    )
    if layer.relu:
        scale, shift = _scale_and_shift(network.parts["norms"][key(layer)])
        weight, bias = weight * scale[:, None], bias * scale + shift
    if layer.source == "input":
        parts = _scale_and_shift(network.parts["heard"])
        scale, shift = (part.repeat(len(layer.offsets)) for part in parts)
        weight, bias = weight * scale, bias + weight @ shift
    return weight, bias


def _scale_and_shift(norm: nn.Module) -> tuple[Tensor, Tensor]:
    mean, variance = (getattr(norm, f"running_{name}").double().cpu() for name in ("mean", "var"))
    scale = (variance + norm.eps).rsqrt()
    if norm.weight is not None:
        scale = scale * norm.weight.double().cpu()
    shift = -mean * scale
    return scale, shift if norm.bias is None else shift + norm.bias.double().cpu()
