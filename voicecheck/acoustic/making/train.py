"""Train the acoustic network on a corpus until the time is up, and write weights.npz.

    python -m voicecheck.acoustic.making.train --corpus DIR --minutes M --out weights.npz \
        [--noises FILE...] [--rooms FILE...] [--checkpoint FILE] [--resume FILE] [--peak-rate R]

Manifests whose names begin with "dev-" only measure. `--resume` continues from a checkpoint with a
new cycle of learning rates and full augmentation from the start. Under torchrun each process takes
a GPU and its share of the manifests, and all train one network.
"""

from __future__ import annotations

import argparse
import math
import os
import time
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
import torch
from torch import distributed, nn

from voicecheck.acoustic.making.augment.recorded import load_recorded
from voicecheck.acoustic.making.features import Mfcc
from voicecheck.acoustic.making.network import Network, folded
from voicecheck.acoustic.making.recordings import (
    VIEWS,
    Batch,
    Recordings,
    augmented,
    load,
    plain,
    plan,
)
from voicecheck.ears.topology import BLANK

WARM_UP = 0.05
AVERAGING = 0.9985
"""Each step keeps this share of the averaged weights, and those are what ships."""
AGREEMENT = 0.2
"""Weight of the CR-CTC term: how differently the network hears two views of an item."""


class Trainer:
    """The network, its optimiser and the running average of its weights."""

    def __init__(self, device: torch.device, peak_rate: float) -> None:
        self.network, self.average = Network(device), Network(device)
        self.average.parts.load_state_dict(self.network.parts.state_dict())
        self.average.parts.eval()
        self.mfcc = Mfcc(device)
        self.peak_rate = peak_rate
        self.optimiser = torch.optim.AdamW(
            self.network.parts.parameters(), lr=0.0, weight_decay=0.02, betas=(0.9, 0.98)
        )
        self.steps = 0
        self.progress = 0.0
        """The share of the time that is over, 0 to 1; the same in every process after each step."""

    def step(self, batch: Batch, progress: float) -> float:
        """Learn from a batch; `progress`, 0 to 1, sets the learning rate.

        Returns the loss every 50 steps, else nan.
        """
        self.network.parts.train()
        wrong = loss(self.network, batch)
        self.optimiser.zero_grad(set_to_none=True)
        wrong.backward()
        self.progress = self._agreed(progress)
        for group in self.optimiser.param_groups:
            group["lr"] = self.peak_rate * one_cycle(self.progress)
        nn.utils.clip_grad_norm_(self.network.parts.parameters(), 5.0)
        self.optimiser.step()
        self._follow()
        return float(wrong.detach()) if self.steps % 50 == 0 else math.nan

    def _agreed(self, progress: float) -> float:
        """Average the gradients and the progress over all processes."""
        if not distributed.is_initialized():
            return progress
        learned = [each for each in self.network.parts.parameters() if each.grad is not None]
        told = torch.full((1,), progress, device=learned[0].device)
        together = torch.cat([*(each.grad.flatten() for each in learned), told])
        distributed.all_reduce(together)
        together /= distributed.get_world_size()
        parts = together[:-1].split([each.numel() for each in learned])
        for each, part in zip(learned, parts, strict=True):
            each.grad = part.view_as(each)
        return float(together[-1])

    def _follow(self) -> None:
        self.steps += 1
        share = 1 - min(AVERAGING, self.steps / (self.steps + 20))
        ours, theirs = self.average.parts.state_dict(), self.network.parts.state_dict()
        floats = [name for name, value in ours.items() if value.is_floating_point()]
        torch._foreach_lerp_([ours[n] for n in floats], [theirs[n] for n in floats], share)

    def state(self) -> dict[str, Any]:
        """Return what `resume` needs."""
        return {"average": self.average.parts.state_dict()}

    def resume(self, state: dict[str, Any]) -> None:
        """Continue from the averaged weights of another training."""
        self.network.parts.load_state_dict(state["average"])
        self.average.parts.load_state_dict(state["average"])
        self.steps = 2_000


def one_cycle(progress: float) -> float:
    """Return the share of the peak learning rate: up in a straight line, down along a cosine."""
    if progress < WARM_UP:
        return progress / WARM_UP
    return 0.5 + 0.5 * math.cos(math.pi * min(1.0, (progress - WARM_UP) / (1 - WARM_UP)))


def loss(network: Network, batch: Batch) -> torch.Tensor:
    """Return the CTC loss a phone plus the weighted disagreement of the two views (CR-CTC).

    The batch holds every item twice (`recordings.augmented`). Source: Yao et al., "CR-CTC:
    Consistency regularization on CTC for improved speech recognition", ICLR 2025, from memory.
    """
    device = batch.features.device
    with torch.autocast(device.type, torch.bfloat16, enabled=device.type == "cuda"):
        scores = network(batch.features)
    steps = torch.full((len(scores),), scores.shape[1], device=device)
    losses = nn.functional.ctc_loss(
        scores.transpose(0, 1),
        batch.targets,
        steps,
        batch.target_lengths,
        blank=BLANK,
        reduction="none",
        zero_infinity=True,
    )
    apart = AGREEMENT * disagreement(*scores.chunk(VIEWS))
    return (losses.sum() + apart * VIEWS) / batch.target_lengths.sum().clamp_min(1)


def disagreement(one: torch.Tensor, other: torch.Tensor) -> torch.Tensor:
    """Return the mean of both Kullback-Leibler divergences between two views' log-probabilities.

    In nats, summed over all frames. No gradient flows into the view that teaches.
    """
    return (_divergence(one, other) + _divergence(other, one)) / 2


def _divergence(teacher: torch.Tensor, learner: torch.Tensor) -> torch.Tensor:
    return nn.functional.kl_div(learner, teacher.detach(), reduction="sum", log_target=True)


def phone_error_rate(
    trainer: Trainer, recordings: Recordings, *, snr_db: float | None = None
) -> float:
    """Return the averaged network's phone error rate by its best path, in percent."""
    wrong = total = 0
    for items in plan(recordings, 300.0, Random(0)):  # noqa: S311
        batch = plain(recordings, items, trainer.mfcc, snr_db=snr_db)
        with torch.no_grad():
            best = trainer.average(batch.features).argmax(2).tolist()
        for item, path in zip(items, best, strict=True):
            wrong += edits(collapsed(path), recordings.labels[item])
            total += len(recordings.labels[item])
    return 100 * wrong / total


def collapsed(path: list[int]) -> list[int]:
    """Return what a CTC path says: repeats merged, blanks removed."""
    return [p for p, before in zip(path, [BLANK, *path], strict=False) if p not in (before, BLANK)]


def edits(heard: list[int], said: list[int]) -> int:
    """Return the edit distance of two strings (Levenshtein)."""
    row = list(range(len(said) + 1))
    for i, sound in enumerate(heard, start=1):
        diagonal, row[0] = row[0], i
        for j, meant in enumerate(said, start=1):
            best = min(row[j] + 1, row[j - 1] + 1, diagonal + (sound != meant))
            diagonal, row[j] = row[j], best
    return row[-1]


def train(
    trainer: Trainer, recordings: Recordings, dev: Recordings, options: argparse.Namespace
) -> None:
    """Train until the minutes are over; print the loss and the error rates on the way."""
    rank = _rank()
    recorded = load_recorded(options.noises, options.rooms, recordings.store.device)
    begun, rng, passes = time.monotonic(), Random(f"{options.seed}/{rank}"), 0  # noqa: S311
    told = 0.0
    while True:
        passes += 1
        for items in plan(recordings, options.batch_seconds, rng):
            progress = (time.monotonic() - begun) / (60 * options.minutes)
            strength = 1.0 if options.resume else min(1.0, 0.15 + progress * 1.7)
            batch = augmented(
                recordings, items, trainer.mfcc, strength=strength, rng=rng, recorded=recorded
            )
            wrong = trainer.step(batch, progress)
            if trainer.progress >= 1:
                return
            if rank == 0 and not math.isnan(wrong) and progress - told > 0.08:
                told = progress
                print(f"{progress:.2f} pass {passes} step {trainer.steps} loss {wrong:.3f} "
                      f"{figures(trainer, dev)}", flush=True)  # fmt: skip


def figures(trainer: Trainer, dev: Recordings) -> str:
    """Return the phone error rates on the development voices as text."""
    clean, noisy = (phone_error_rate(trainer, dev, snr_db=snr_db) for snr_db in (None, 10.0))
    return f"dev phone errors {clean:.2f} % clean, {noisy:.2f} % in noise at 10 dB"


def main() -> None:
    """Read the command line, load, train, fold, save."""
    parser = argparse.ArgumentParser(description="Train the acoustic network.")
    parser.add_argument("--corpus", type=Path, required=True, nargs="+")
    parser.add_argument("--minutes", type=float, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--noises", type=Path, nargs="*", default=(), help="recorded, 16 kHz")
    parser.add_argument("--rooms", type=Path, nargs="*", default=(), help="impulse responses")
    parser.add_argument("--checkpoint", type=Path)
    parser.add_argument("--resume", type=Path)
    parser.add_argument("--peak-rate", type=float, default=2e-3)
    parser.add_argument("--batch-seconds", type=float, default=400.0)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    device = _device()
    manifests = sorted(path for folder in options.corpus for path in folder.glob("*.jsonl"))
    dev = load([path for path in manifests if path.name.startswith("dev-")], device)
    share = [path for path in manifests if not path.name.startswith("dev-")][_rank() :: _ranks()]
    recordings = load(share, device)
    print(f"{recordings.hours:.2f} h in {len(recordings)} utterances", flush=True)
    torch.manual_seed(options.seed)
    trainer = Trainer(device, options.peak_rate)
    if options.resume:
        trainer.resume(torch.load(options.resume, map_location=device))
    torch.manual_seed(options.seed + _rank())  # one network, but different noise in each process
    train(trainer, recordings, dev, options)
    if _rank() == 0:
        if options.checkpoint:
            torch.save(trainer.state(), options.checkpoint)
        arrays: dict[str, Any] = {**folded(trainer.average)}
        np.savez(options.out, **arrays)
        print(figures(trainer, dev))
    if distributed.is_initialized():
        distributed.destroy_process_group()


def _device() -> torch.device:
    """The GPU of this process, or the CPU; joins the other processes if torchrun started it."""
    kind = "cuda" if torch.cuda.is_available() else "cpu"
    if "RANK" in os.environ:
        distributed.init_process_group("nccl" if kind == "cuda" else "gloo")
    if kind == "cuda":
        torch.cuda.set_device(_rank() % torch.cuda.device_count())
    return torch.device(kind)


def _rank() -> int:
    return distributed.get_rank() if distributed.is_initialized() else 0


def _ranks() -> int:
    return distributed.get_world_size() if distributed.is_initialized() else 1


if __name__ == "__main__":
    main()
