"""What the learned networks share: building blocks, and how they learn. Needs PyTorch."""

import argparse
import math
import time
from collections.abc import Callable, Sequence
from itertools import pairwise
from pathlib import Path
from typing import TypeVar

import torch
import torch.nn.functional as F  # noqa: N812  its usual name
from torch import nn

__all__ = ["Pyramid", "Refine", "Step", "asked_for", "learn_for", "remember"]

_RATE, _LAST_RATE, _DECAY = 3e-3, 1e-5, 1e-3
_WARM_UP, _MEMORY, _GREATEST_STEP = 300, 0.998, 2.0
_LOOK = 10  # steps between looks at the loss

AnyNetwork = TypeVar("AnyNetwork", bound=nn.Module)


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


@torch.no_grad()
def remember(kept: dict[str, torch.Tensor], network: nn.Module, memory: float) -> None:
    """Move the running means of all numbers towards the present ones."""
    for name, value in network.state_dict().items():
        if value.dtype.is_floating_point:
            kept[name].mul_(memory).add_(value, alpha=1 - memory)
        else:
            kept[name].copy_(value)


def learn_for(
    network: AnyNetwork, loss_of_next: Callable[[AnyNetwork], torch.Tensor], seconds: float
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
    """
    kept = {name: value.clone() for name, value in network.state_dict().items()}
    optimiser = torch.optim.AdamW(network.parameters(), lr=_RATE, weight_decay=_DECAY)
    began, step, told, total, gone = time.monotonic(), 0, 0.0, 0.0, 0.0
    while gone < 1:
        for group in optimiser.param_groups:
            group["lr"] = _rate(step, gone)
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


def _rate(step: int, gone: float) -> float:
    return _RATE * min(1, (step + 1) / _WARM_UP) * 0.5 * (1 + math.cos(math.pi * gone)) + _LAST_RATE


def asked_for(description: str | None, batch: int) -> argparse.Namespace:
    """Return what the command line asks of a network that learns from lessons.

    Parameters
    ----------
    description : str or None
        Of the command.
    batch : int
        Pictures a step, where nothing else is said.
    """
    parser = argparse.ArgumentParser(description=description)
    parser.add_argument("--lessons", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--without", action="append", default=[])
    parser.add_argument("--seconds", type=float, default=400)
    parser.add_argument("--batch", type=int, default=batch)
    parser.add_argument("--device", default="cuda")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--half", action="store_true", help="store numbers in 16 bits")
    return parser.parse_args()
