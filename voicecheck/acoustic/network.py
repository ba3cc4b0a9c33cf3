"""The network as it trains, in torch, and how it folds into the plain layers of the topology."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import torch
from torch import Tensor, nn

from voicecheck.acoustic.topology import (
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
    """A layer's output (batch × steps × width), the time of its first step, frames a step."""

    def __init__(self, values: Tensor, start: int, step: int) -> None:
        self.values, self.start, self.step = values, start, step

    def at(self, start: int, count: int) -> Tensor:
        first, stride = (start - self.start) // self.step, SUBSAMPLING // self.step
        return self.values[:, first : first + (count - 1) * stride + 1 : stride]

    def count_to(self, last_offset: int, start: int) -> int:
        end = self.start + (self.values.shape[1] - 1) * self.step
        return (end - last_offset - start) // SUBSAMPLING + 1


class Network(nn.Module):
    """Layers with batch normalisation before every ReLU, and of the input."""

    def __init__(self) -> None:
        super().__init__()
        self.heard = nn.BatchNorm1d(CEPSTRA, affine=False, momentum=0.02)
        self.linears = nn.ModuleDict()
        self.norms = nn.ModuleDict()
        for layer in LAYERS:
            plain = not layer.relu and not layer.residual
            self.linears[_key(layer)] = nn.Linear(
                layer.columns, layer.outputs, bias=layer.name == LAYERS[-1].name
            )
            if not plain:
                self.norms[_key(layer)] = nn.BatchNorm1d(layer.outputs)
            if layer.residual:
                # Blocks that begin near the identity let ten of them train at once.
                nn.init.constant_(self.norms[_key(layer)].weight, 0.3)

    def forward(self, features: Tensor) -> Tensor:
        """Batch × frames × cepstra to log-probabilities, batch × ⌈frames / 3⌉ × pdfs."""
        x = _by_column(self.heard, features)
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
        values = self.linears[_key(layer)](spliced)
        if _key(layer) in self.norms:
            values = _by_column(self.norms[_key(layer)], values)
        if layer.residual:
            values = values + known[layer.residual].at(start, count)
        return _Signal(values.relu() if layer.relu else values, start, SUBSAMPLING)


def _key(layer: Layer) -> str:
    return layer.name.replace(".", "_")


def _by_column(norm: nn.Module, values: Tensor) -> Tensor:
    result: Tensor = norm(values.flatten(0, 1))
    return result.view_as(values)


@torch.no_grad()
def folded(network: Network) -> dict[str, NDArray[np.generic]]:
    """The arrays of weights.npz: matrices in half precision, biases in single."""
    arrays: dict[str, NDArray[np.generic]] = {}
    for layer in LAYERS:
        linear = network.linears[_key(layer)]
        weight = linear.weight.double().cpu()
        bias = torch.zeros(layer.outputs).double()
        if linear.bias is not None:
            bias = linear.bias.double().cpu()
        if _key(layer) in network.norms:
            scale, shift = _scale_and_shift(network.norms[_key(layer)])
            weight, bias = weight * scale[:, None], bias * scale + shift
        if layer.source == "input":
            scale, shift = (part.repeat(len(layer.offsets)) for part in _scale_and_shift(
                network.heard
            ))
            weight, bias = weight * scale, bias + weight @ shift
        arrays[f"{layer.name}.linear"] = weight.numpy().astype(np.float16)
        arrays[f"{layer.name}.bias"] = bias.numpy().astype(np.float32)
    return arrays


def _scale_and_shift(norm: nn.Module) -> tuple[Tensor, Tensor]:
    mean, variance = (getattr(norm, f"running_{name}").double().cpu() for name in ("mean", "var"))
    scale = (variance + norm.eps).rsqrt()
    if norm.weight is not None:
        scale = scale * norm.weight.double().cpu()
    shift = -mean * scale
    return scale, shift if norm.bias is None else shift + norm.bias.double().cpu()
