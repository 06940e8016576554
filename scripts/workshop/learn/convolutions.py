"""What the learned networks share: building blocks, how they learn, and their command line.

Needs PyTorch.
"""

import argparse
import json
import math
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any, Generic, TypeVar

import numpy as np
import torch
import torch.nn.functional as F  # noqa: N812  its usual name
from torch import nn

from scripts.workshop.learn.leaf_pictures import CANVAS_PX, Bank, load_bank
from scripts.workshop.learn.options import options_of
from scripts.workshop.learn.smaller_onnx import halve, quarter

__all__ = [
    "FROM_NOTHING",
    "Pace",
    "Pyramid",
    "Recipe",
    "Refine",
    "Step",
    "learn_as_asked",
    "learn_for",
    "learn_from_batches",
    "remember",
    "write_onnx",
]

_MEMORY, _GREATEST_STEP = 0.998, 2.0
_LOOK = 10  # steps between looks at the loss

AnyNetwork = TypeVar("AnyNetwork", bound=nn.Module)
Batched = TypeVar("Batched")


class Step(nn.Sequential):
    """Convolution, normalisation, rectification."""

    def __init__(self, inputs: int, outputs: int, kernel: int = 3, step: int = 1) -> None:
        super().__init__(
            nn.Conv2d(inputs, outputs, kernel, step, kernel // 2, bias=False),
            nn.BatchNorm2d(outputs),
            nn.ReLU(inplace=True),
        )


class Refine(nn.Module):
    """Two convolutions whose result is added to what comes in."""

    def __init__(self, width: int) -> None:
        super().__init__()
        self.first = Step(width, width)
        self.second = nn.Sequential(
            nn.Conv2d(width, width, 3, 1, 1, bias=False), nn.BatchNorm2d(width)
        )

    def forward(self, seen: torch.Tensor) -> torch.Tensor:
        """Return what comes in, refined."""
        return F.relu(seen + self.second(self.first(seen)))


class Pyramid(nn.Module):
    """Sees a picture at several sizes, each half the one before, and goes back up.

    After Ronneberger, Fischer & Brox 2015 (MICCAI, LNCS 9351:234-241), with sums instead of
    joins; what the whole picture shows is added at the coarsest size. Input and output have the
    shapes (pictures, inputs, rows, columns) and (pictures, outputs, rows / 2, columns / 2); rows
    and columns are multiples of 2 to the number of sizes.
    """

    def __init__(
        self, inputs: int, widths: Sequence[int], refines: Sequence[int], outputs: int
    ) -> None:
        super().__init__()
        first = Step(inputs, widths[0], kernel=5, step=2)
        self.down = nn.ModuleList([nn.Sequential(first, Step(widths[0], widths[0]))])
        self.bring, self.up = nn.ModuleList(), nn.ModuleList()
        for (fine, coarse), often in zip(pairwise(widths), refines, strict=True):
            many = [Refine(coarse) for _ in range(often)]
            self.down.append(nn.Sequential(Step(fine, coarse, step=2), *many))
            self.bring.append(nn.Conv2d(coarse, fine, 1))
            self.up.append(Step(fine, fine))
        self.whole = nn.Sequential(
            nn.AdaptiveAvgPool2d(1), nn.Conv2d(widths[-1], widths[-1], 1), nn.ReLU()
        )
        self.spread = nn.Conv2d(widths[-1], widths[-1], 1)
        self.out = nn.Conv2d(widths[0], outputs, 3, 1, 1)

    def forward(self, pictures: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        """Return what is seen at each place, and what the whole picture shows."""
        seen = [self.down[0](pictures)]
        for down in self.down[1:]:
            seen.append(down(seen[-1]))
        back = seen.pop()
        whole = self.whole(back)
        back = back + self.spread(whole)
        for bring, up in zip(reversed(self.bring), reversed(self.up), strict=True):
            larger = F.interpolate(bring(back), scale_factor=2.0, mode="nearest")
            back = up(seen.pop() + larger)
        return self.out(back), whole


@dataclass(frozen=True)
class Pace:
    """How fast a network learns.

    Attributes
    ----------
    rate, last_rate : float
        Step of the optimiser, at first and at last.
    decay : float
        Of the numbers, each step.
    warm_up : int
        Steps until the rate is reached.
    begun : callable
        Returns those numbers of a network that have been learned before.
    begun_share : float
        Of the rate, for these.
    """

    rate: float = 3e-3
    last_rate: float = 1e-5
    decay: float = 1e-3
    warm_up: int = 300
    begun: Callable[[Any], Iterable[nn.Parameter]] = field(default=lambda _: ())
    begun_share: float = 1.0

    def at(self, step: int, gone: float) -> float:
        """Return the rate above the last one at a step, ``gone`` of the time being gone."""
        return self.rate * min(1, (step + 1) / self.warm_up) * 0.5 * (1 + math.cos(math.pi * gone))


FROM_NOTHING = Pace()


@torch.no_grad()
def remember(kept: dict[str, torch.Tensor], network: nn.Module, memory: float) -> None:
    """Move the running means of all numbers towards the present ones."""
    for name, value in network.state_dict().items():
        if value.dtype.is_floating_point:
            kept[name].mul_(memory).add_(value, alpha=1 - memory)
        else:
            kept[name].copy_(value)


def learn_for(
    network: AnyNetwork,
    loss_of_next: Callable[[AnyNetwork], torch.Tensor],
    seconds: float,
    pace: Pace = FROM_NOTHING,
) -> AnyNetwork:
    """Let a network learn for so long, ever slower; what is kept is the running mean.

    Parameters
    ----------
    network : nn.Module
        On its device. Changed, and returned, ready to judge.
    loss_of_next : callable
        Shows the network the next batch and returns the loss.
    seconds : float
        Above 0; at least one batch is learned from.
    pace : Pace
        How fast it learns.
    """
    kept = {name: value.clone() for name, value in network.state_dict().items()}
    before = list(pace.begun(network))
    known = {id(one) for one in before}
    new = [one for one in network.parameters() if id(one) not in known]
    groups = [(new, 1.0), (before, pace.begun_share)]
    optimiser = torch.optim.AdamW(
        [{"params": own, "share": share} for own, share in groups if own],
        lr=pace.rate,
        weight_decay=pace.decay,
    )
    began, step, told, total, gone = time.monotonic(), 0, 0.0, 0.0, 0.0
    while gone < 1:
        for group in optimiser.param_groups:
            group["lr"] = group["share"] * pace.at(step, gone) + pace.last_rate
        loss = loss_of_next(network)
        optimiser.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(network.parameters(), _GREATEST_STEP)
        optimiser.step()
        remember(kept, network, min(_MEMORY, (1 + step) / (20 + step)))
        total += float(loss.detach()) if step % _LOOK == 0 else 0  # a look makes the device wait
        step += 1
        gone = (time.monotonic() - began) / seconds
        if gone - told > 0.1:
            mean = total / -(-step // _LOOK)
            print(f"{min(gone, 1):.0%}, step {step}: loss {mean:.4f}", flush=True)
            told = gone
    network.load_state_dict(kept)
    network.eval()
    return network


def learn_from_batches(
    network: AnyNetwork,
    batch_of: Callable[[int, int], Batched],
    loss_of: Callable[[AnyNetwork, Batched], torch.Tensor],
    sizes: Sequence[tuple[int, int]],
    asked: argparse.Namespace,
    pace: Pace = FROM_NOTHING,
) -> AnyNetwork:
    """Let a network learn from batches that are made anew, each of one size; see `learn_for`.

    Parameters
    ----------
    network : nn.Module
        Changed, and returned, ready to judge.
    batch_of : callable
        Takes rows and columns, and makes a batch.
    loss_of : callable
        Shows the network a batch and returns the loss.
    sizes : sequence of tuple of int
        Rows and columns, drawn from with equal chance.
    asked : Namespace
        Has ``device``, ``seed`` and ``seconds``.
    pace : Pace
        How fast it learns.
    """
    chance = np.random.default_rng(asked.seed)

    def loss_of_next(learner: AnyNetwork) -> torch.Tensor:
        with torch.no_grad():
            batch = batch_of(*sizes[int(chance.integers(len(sizes)))])
        return loss_of(learner, batch)

    network.to(asked.device, memory_format=torch.channels_last)
    return learn_for(network, loss_of_next, asked.seconds, pace)


def write_onnx(
    network: nn.Module,
    path: Path,
    side_px: int,
    planes: int = 3,
    outputs: Sequence[str] = ("seen",),
    smaller: Callable[[Path], None] | None = None,
) -> None:
    """Write a network in the open format ONNX, for pictures of any size.

    Files that ship are made ``smaller`` afterwards, by `halve` or `quarter`.
    """
    any_size = {2: "rows", 3: "columns"}
    torch.onnx.export(
        network.cpu(), (torch.zeros(1, planes, side_px, side_px),), str(path),
        opset_version=13, dynamo=False, input_names=["photo"], output_names=list(outputs),
        dynamic_axes={"photo": any_size, "seen": any_size},
    )  # fmt: skip
    if smaller is not None:
        smaller(path)


@dataclass(frozen=True)
class Recipe(Generic[AnyNetwork]):
    """What sets one network that learns from lessons apart from the others.

    Attributes
    ----------
    learn : callable
        Takes a bank of lessons and what was asked for, and returns the network.
    judge : callable
        Takes a network, a bank and a source; returns figures of how well that source is seen.
    batch : int
        Pictures a step, where nothing else is said.
    canvas_px : int
        Side of the canvas on which a lesson lies.
    planes : int
        Of what the network sees.
    outputs : tuple of str
        Names of what it gives.
    """

    learn: Callable[[Bank, argparse.Namespace], AnyNetwork]
    judge: Callable[[AnyNetwork, Bank, str], dict[str, float]]
    batch: int
    canvas_px: int
    planes: int
    outputs: tuple[str, ...]


def learn_as_asked(description: str | None, recipe: Recipe[Any]) -> None:
    """Learn as the command line asks, print figures source by source, and write the network."""
    parser = options_of(description, None, photos=False)
    parser.add_argument("--lessons", type=Path, required=True)
    parser.add_argument("--without", action="append", default=[], help="leave this source out")
    parser.add_argument("--seconds", type=float, default=400)
    parser.add_argument("--batch", type=int, default=recipe.batch)
    parser.add_argument("--device", default="cuda")
    parser.add_argument("--seed", type=int, default=1)
    stored = parser.add_mutually_exclusive_group()
    for name, how, bits in (("--half", halve, 16), ("--quarter", quarter, 8)):
        stored.add_argument(
            name, dest="smaller", action="store_const", const=how, help=f"numbers in {bits} bits"
        )
    asked = parser.parse_args()
    asked.seconds *= asked.share
    torch.manual_seed(asked.seed)
    left = load_bank(asked.lessons, asked.device, asked.without, recipe.canvas_px)
    network = recipe.learn(left, asked)
    whole = load_bank(asked.lessons, asked.device, (), recipe.canvas_px)
    with torch.no_grad():
        figures = {
            f"{kind}{' (unseen)' if kind in asked.without else ''}": recipe.judge(
                network, whole, kind
            )
            for kind in whole.kinds
        }
    print(json.dumps(figures, indent=1))
    write_onnx(network, asked.out, CANVAS_PX, recipe.planes, recipe.outputs, asked.smaller)
