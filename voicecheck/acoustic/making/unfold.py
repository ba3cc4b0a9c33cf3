"""Shipped weights -> a checkpoint to resume training from: the inverse of folding (network.py).

    python -m voicecheck.acoustic.making.unfold WEIGHTS.npz --corpus DIR --out start.pt

Folding loses the mean and variance of every normalisation. So each is measured anew, on noisy
speech as in training, and set so that the network's output does not change.
"""

from __future__ import annotations

import argparse
from itertools import islice
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any

import torch

from voicecheck.acoustic.making.features import Mfcc
from voicecheck.acoustic.making.network import Network, key
from voicecheck.acoustic.making.recordings import augmented, load, plan
from voicecheck.ears.forward import load_weights
from voicecheck.ears.topology import LAYERS, Layer

if TYPE_CHECKING:
    from collections.abc import Iterable

    from torch import Tensor, nn

    from voicecheck.ears.forward import Weights

BATCHES, BATCH_S = 6, 200.0
"""Enough sound to measure a mean and a variance."""


def unfolded(weights: Weights, sounds: Iterable[Tensor], device: torch.device) -> Network:
    """Return a network with the output of the weights and normalisations measured on `sounds`.

    Each sound is batch × frames × cepstra.
    """
    network, heard = Network(device), list(sounds)
    network.parts.eval()
    with torch.no_grad():
        _measure(network.parts["heard"], torch.cat([each.flatten(0, 1) for each in heard]))
        for layer in LAYERS:
            _plain(network, layer, weights)
        inputs = _inputs_of_norms(network, heard)
        for name, norm in network.parts["norms"].items():
            said = norm.bias.clone()
            _measure(norm, inputs[name])
            norm.weight.copy_((norm.running_var + norm.eps).sqrt())
            norm.bias.copy_(said + norm.running_mean)
    return network


def _plain(network: Network, layer: Layer, weights: Weights) -> None:
    """Set a layer's matrix; its bias goes into the next normalisation, otherwise an identity."""
    linear = network.parts["linears"][key(layer)]
    matrix = torch.from_numpy(weights[f"{layer.name}.linear"]).to(linear.weight).double()
    bias = torch.from_numpy(weights[f"{layer.name}.bias"]).to(linear.weight).double()
    if layer.source == "input":
        before = network.parts["heard"]
        times = len(layer.offsets)
        bias = bias + matrix @ before.running_mean.double().repeat(times)
        matrix = matrix * (before.running_var.double() + before.eps).sqrt().repeat(times)
    linear.weight.copy_(matrix)
    if layer.relu:
        norm = network.parts["norms"][key(layer)]
        norm.running_mean.zero_()
        norm.running_var.fill_(1 - norm.eps)
        norm.weight.fill_(1)
        norm.bias.copy_(bias)
    elif linear.bias is not None:
        linear.bias.copy_(bias)


def _inputs_of_norms(network: Network, sounds: Iterable[Tensor]) -> dict[str, Tensor]:
    """The input of each normalisation: rows × width."""
    seen: dict[str, list[Tensor]] = {name: [] for name in network.parts["norms"]}

    def see(name: str) -> Any:
        return lambda _norm, given, _result: seen[name].append(given[0])

    hooks = [norm.register_forward_hook(see(name)) for name, norm in network.parts["norms"].items()]
    for each in sounds:
        network(each)
    for hook in hooks:
        hook.remove()
    return {name: torch.cat(parts) for name, parts in seen.items()}


def _measure(norm: nn.Module, rows: Tensor) -> None:
    variance, mean = torch.var_mean(rows.double(), 0, correction=0)
    norm.running_mean.copy_(mean)
    norm.running_var.copy_(variance)


def main() -> None:
    """Read the command line, listen to some of the corpus, write the checkpoint."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("weights", type=Path)
    parser.add_argument("--corpus", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    manifests = [p for p in sorted(options.corpus.glob("*.jsonl")) if not p.name.startswith("dev-")]
    recordings, mfcc = load(manifests[:2], device), Mfcc(device)  # two are more than enough
    torch.manual_seed(5)
    sounds = [
        augmented(recordings, items, mfcc, strength=1.0, rng=Random(number)).features  # noqa: S311
        for number, items in enumerate(
            islice(plan(recordings, BATCH_S, Random(3)), BATCHES)  # noqa: S311
        )
    ]
    network = unfolded(load_weights(options.weights), sounds, device)
    torch.save({"average": network.parts.state_dict()}, options.out)


if __name__ == "__main__":
    main()
