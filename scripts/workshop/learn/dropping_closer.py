"""The network that looks at spots closely: what it learns from, how it is built and written.

Needs the packages of the ``train`` extra; counting droppings does not.
"""

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F  # noqa: N812  its usual name
from numpy.typing import NDArray
from torch import nn

from scripts.workshop.learn.convolutions import Refine, Step
from scripts.workshop.learn.dropping_examples import Examples, joined
from scripts.workshop.learn.options import share_of
from vision.droppings.close import CLOSE_PX
from vision.droppings.network import CONTRAST, GREY

__all__ = ["Closer", "learn_again", "learn_closer", "learn_more", "write_closer"]

_WIDTHS = (32, 64, 96)
_DENSE = 96
_BATCH, _DECAY = 128, 1e-3
_CYCLES = ((8, 2e-3), (8, 1e-3), (10, 1.2e-3), (8, 1.2e-3), (7, 8e-4))
"""Rounds, and the rate they begin with."""
_AGAIN = (22, 1.5e-3)
"""The same, of learning from what is hardest to tell."""
_SIZE, _MOVED = 0.12, 0.08  # how far size (natural log) and place (diameters) are changed


class Closer(nn.Module):
    """Small pictures in, log-odds of a dropping out: shapes (pictures, 3, 48, 48) and (., 1).

    Each picture is seen as it is and with its own mean and contrast taken out, for form tells more
    than light.
    """

    def __init__(self) -> None:
        super().__init__()
        first, second, third = _WIDTHS
        side = CLOSE_PX // 8
        self.form = nn.InstanceNorm2d(3)
        self.layers = nn.Sequential(
            Step(6, first, kernel=5, step=2),
            Step(first, second, step=2), Refine(second),
            Step(second, third, step=2), Refine(third),
            nn.Flatten(), nn.Dropout(0.2), nn.Linear(third * side**2, _DENSE), nn.ReLU(),
            nn.Linear(_DENSE, 1),
        )  # fmt: skip

    def forward(self, pictures: torch.Tensor) -> torch.Tensor:
        """Return how like a dropping each picture is."""
        return self.layers(torch.cat([pictures, self.form(pictures)], dim=1))


def learn_closer(parts: Sequence[Examples], seed: int, share: float = 1.0) -> Closer:
    """Return a network that has learned from examples, turned, moved and in other light.

    First from the first part, then from all; so many rounds, or a share of them.
    """
    torch.manual_seed(seed)
    network = Closer()
    network.to(memory_format=torch.channels_last)
    for cycle, (rounds, rate) in enumerate(_CYCLES):
        shown = parts[:1] if cycle == 0 else parts
        learn_more(network, joined(shown), share_of(rounds, share), rate, seed + cycle)
    network.eval()
    return network


def learn_again(network: Closer, examples: Examples, seed: int, share: float = 1.0) -> None:
    """Go on learning, from examples of what the network itself takes for droppings."""
    rounds, rate = _AGAIN
    learn_more(network, examples, share_of(rounds, share), rate, seed + len(_CYCLES))
    network.eval()


def learn_more(network: Closer, examples: Examples, rounds: int, rate: float, seed: int) -> None:
    """Go through all examples that many times, ever slower."""
    if not len(examples.wanted):  # what has learned little finds no spots to look at closely
        return
    network.train()
    rng = np.random.default_rng(seed)
    optimiser = torch.optim.AdamW(network.parameters(), lr=rate, weight_decay=_DECAY)
    per_round = max(1, len(examples.wanted) // _BATCH)
    for number in range(rounds):
        order, total = rng.permutation(len(examples.wanted)), 0.0
        for part in range(per_round):
            done = (number + part / per_round) / rounds
            for group in optimiser.param_groups:
                group["lr"] = rate * (0.5 * (1 + math.cos(math.pi * done)) + 0.005)
            chosen = order[part * _BATCH : (part + 1) * _BATCH]
            with torch.autocast("cpu", torch.bfloat16):
                odds = network(_changed(rng, examples.pictures[chosen]))[:, 0]
            wanted = torch.from_numpy(examples.wanted[chosen].astype(np.float32))
            loss = F.binary_cross_entropy_with_logits(odds.float(), wanted)
            optimiser.zero_grad()
            loss.backward()
            optimiser.step()
            total += loss.item()
        print(f"round {number + 1} of {rounds}: loss {total / per_round:.4f}", flush=True)


def _changed(rng: np.random.Generator, pictures: NDArray[np.uint8]) -> torch.Tensor:
    """Turn by any angle, mirror, move, change size, exposure, tint and contrast."""
    many = len(pictures)
    photos = torch.from_numpy(pictures.transpose(0, 3, 1, 2).astype(np.float32) / 255)
    angle = rng.uniform(0, 2 * np.pi, many)
    size = np.exp(rng.normal(0, _SIZE, many)) * rng.choice((-1.0, 1.0), many)
    turn = np.zeros((many, 2, 3), np.float32)
    turn[:, 0, 0], turn[:, 0, 1] = np.abs(size) * np.cos(angle), -size * np.sin(angle)
    turn[:, 1, 0], turn[:, 1, 1] = np.abs(size) * np.sin(angle), size * np.cos(angle)
    turn[:, :, 2] = rng.normal(0, _MOVED, (many, 2)) * 2 / 3.2
    grid = F.affine_grid(torch.from_numpy(turn), list(photos.shape), align_corners=False)
    seen = F.grid_sample(photos, grid, padding_mode="reflection", align_corners=False)
    gains = np.exp(rng.normal(0, 0.15, (many, 1)) + rng.normal(0, 0.05, (many, 3)))
    power = np.exp(rng.normal(0, 0.15, many))
    seen = (seen * torch.from_numpy(gains.astype(np.float32))[:, :, None, None]).clamp(1e-4, 1)
    seen = seen ** torch.from_numpy(power.astype(np.float32))[:, None, None, None]
    return ((seen - GREY) / CONTRAST).contiguous(memory_format=torch.channels_last)


def write_closer(network: Closer, path: Path) -> None:
    """Write the network in the open format ONNX, for any number of pictures."""
    torch.onnx.export(
        network, (torch.zeros(1, 3, CLOSE_PX, CLOSE_PX),), str(path), opset_version=13,
        dynamo=False, input_names=["pictures"], output_names=["odds"],
        dynamic_axes={"pictures": {0: "many"}, "odds": {0: "many"}},
    )  # fmt: skip
