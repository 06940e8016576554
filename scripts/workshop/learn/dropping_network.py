"""The network that finds droppings: how it is built, learns from crops, and is written as ONNX.

It sees the photo at five sizes, each half the one before, and goes back up (after Ronneberger,
Fischer & Brox 2015, MICCAI, LNCS 9351:234-241, with sums instead of joins). For each output it says
whether the middle of a dropping is there (learned as by Zhou, Wang & Krähenbühl 2019,
arXiv:1904.07850), whether a dropping is there at all, and how large it is. Needs the packages of
the ``train`` extra; counting droppings does not.
"""

import math
from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise

import numpy as np
import torch
import torch.nn.functional as F  # noqa: N812  its usual name
from torch import nn

from scripts.workshop.learn.convolutions import Refine, Step, remember
from scripts.workshop.learn.dropping_crops import cut_crop, targets_of
from scripts.workshop.learn.dropping_lessons import Lesson
from scripts.workshop.learn.options import share_of
from vision.droppings.network import CONTRAST, GREY

__all__ = ["Network", "learn", "learn_more", "loss_of"]

_WIDTHS = (16, 32, 48, 64, 64)  # channels at half, a quarter ... of the photo's size
_BATCH = 16
_CYCLES = ((5500, 2e-3), (2000, 1e-3), (6000, 1.5e-3), (4500, 1.2e-3), (5200, 1.2e-3))
"""Batches, and the rate they begin with."""
_WARM_UP, _LAST_RATE = 100, 1e-5
_DECAY, _GREATEST_STEP = 1e-4, 5.0
_MEMORY = 0.998  # of the running mean of the weights, which is what is kept
_SHARES = (0.42, 0.38, 0.2)  # of crops: of collages, of other droppings, of photos without any
_INSIDE_WEIGHT, _SIZE_WEIGHT = 8.0, 0.3
_READY = 6  # batches that wait
_TELL = 100  # steps between lines that are printed


class Network(nn.Module):
    """Photo in; at half its size, log-odds of a middle and of a dropping, and log of diameter out.

    Input and output have the shapes (photos, 3, rows, columns) and (photos, 3, rows / 2,
    columns / 2); rows and columns are multiples of 32.
    """

    def __init__(self, widths: Sequence[int] = _WIDTHS) -> None:
        super().__init__()
        first = Step(3, widths[0], kernel=5, step=2)
        self.down = nn.ModuleList([nn.Sequential(first, Step(widths[0], widths[0]))])
        self.bring, self.up = nn.ModuleList(), nn.ModuleList()
        for fine, coarse in pairwise(widths):
            self.down.append(nn.Sequential(Step(fine, coarse, step=2), Refine(coarse)))
            self.bring.append(nn.Conv2d(coarse, fine, 1))
            self.up.append(Step(fine, fine))
        self.out = nn.Conv2d(widths[0], 3, 3, 1, 1)
        self.out.bias.data = torch.tensor([-4.0, -3.0, 3.0])  # rare, rare, about 20 outputs wide

    def forward(self, photos: torch.Tensor) -> torch.Tensor:
        """Return what is seen in photos."""
        seen = [self.down[0](photos)]
        for down in self.down[1:]:
            seen.append(down(seen[-1]))
        back = seen.pop()
        for bring, up in zip(reversed(self.bring), reversed(self.up), strict=True):
            larger = F.interpolate(bring(back), scale_factor=2.0, mode="nearest")
            back = up(seen.pop() + larger)
        return self.out(back)


def loss_of(outputs: torch.Tensor, targets: torch.Tensor) -> torch.Tensor:
    """Return how far outputs are from what ``dropping_crops.targets_of`` wants.

    Parameters
    ----------
    outputs : tensor of float32, shape (crops, 3, rows, columns)
    targets : tensor of float32, shape (crops, 5, rows, columns)
    """
    middle, inside, size = outputs.unbind(1)
    hills, tops, sizes, wanted, matters = targets.unbind(1)
    chance = torch.sigmoid(middle).clamp(1e-5, 1 - 1e-5)
    missed = (1 - chance) ** 2 * torch.log(chance) * tops
    false = (1 - hills) ** 4 * chance**2 * torch.log(1 - chance) * (1 - tops)
    middles = -((missed + false) * matters).sum() / tops.sum().clamp(min=4)
    areas = F.binary_cross_entropy_with_logits(inside, wanted, reduction="none") * matters
    known = (sizes != 0) * matters
    diameters = ((size - sizes).abs() * known).sum() / known.sum().clamp(min=1)
    return middles + _INSIDE_WEIGHT * areas.mean() + _SIZE_WEIGHT * diameters


def learn(
    lessons: Sequence[Lesson],
    seed: int,
    cycles: Sequence[tuple[int, float]] = _CYCLES,
    share: float = 1.0,
) -> Network:
    """Return a network that has learned from crops of lessons, in a few cycles or a share of it."""
    torch.manual_seed(seed)
    network = Network()
    network.to(memory_format=torch.channels_last)
    for cycle, (steps, rate) in enumerate(cycles):
        learn_more(network, lessons, share_of(steps, share), rate, seed + cycle)
    return network


def learn_more(
    network: Network, lessons: Sequence[Lesson], steps: int, rate: float, seed: int
) -> None:
    """Learn from that many batches, ever slower; what is kept is the running mean."""
    network.train()
    kept = {name: value.clone() for name, value in network.state_dict().items()}
    optimiser = torch.optim.AdamW(network.parameters(), lr=rate, weight_decay=_DECAY)
    total = 0.0
    for step, (photos, targets) in zip(range(steps), _batches(lessons, seed), strict=False):
        for group in optimiser.param_groups:
            group["lr"] = rate * _share(step, steps) + _LAST_RATE
        with torch.autocast("cpu", torch.bfloat16):
            outputs = network(photos)
        loss = loss_of(outputs.float(), targets)
        optimiser.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(network.parameters(), _GREATEST_STEP)
        optimiser.step()
        remember(kept, network, min(_MEMORY, (1 + step) / (20 + step)))
        total += loss.item()
        if (step + 1) % _TELL == 0:
            print(f"step {step + 1} of {steps}: loss {total / _TELL:.3f}", flush=True)
            total = 0.0
    network.load_state_dict(kept)
    network.eval()


def _share(step: int, steps: int) -> float:
    """Return how fast to learn: soon at full speed, then ever slower, 0 to 1."""
    return min(1.0, (step + 1) / _WARM_UP) * 0.5 * (1 + math.cos(math.pi * step / steps))


def _batches(lessons: Sequence[Lesson], seed: int) -> Iterator[tuple[torch.Tensor, torch.Tensor]]:
    """Yield crops and targets for ever; the next ones are cut while these are learned from."""
    draw = _Draw(lessons, np.random.default_rng(seed))
    with ThreadPoolExecutor(1) as pool:  # one, so that crops come in one order
        waiting = deque(pool.submit(draw.batch) for _ in range(_READY))
        while True:
            waiting.append(pool.submit(draw.batch))
            yield waiting.popleft().result()


class _Draw:
    """Draws crops from piles of lessons."""

    def __init__(self, lessons: Sequence[Lesson], rng: np.random.Generator) -> None:
        piles = [
            [one for one in lessons if one.kind.startswith(kind)]
            for kind in ("collage", "droppings", "none")
        ]
        shares = np.array(
            [share if pile else 0 for share, pile in zip(_SHARES, piles, strict=True)]
        )
        self._piles, self._shares, self._rng = piles, shares / shares.sum(), rng

    def batch(self) -> tuple[torch.Tensor, torch.Tensor]:
        crops = [cut_crop(self._rng, self._lesson()) for _ in range(_BATCH)]
        colours = np.stack([one.colours for one in crops]).transpose(0, 3, 1, 2)
        targets = np.stack([targets_of(one) for one in crops])
        photos = torch.from_numpy((colours - np.float32(GREY)) / np.float32(CONTRAST))
        return photos.contiguous(memory_format=torch.channels_last), torch.from_numpy(targets)

    def _lesson(self) -> Lesson:
        pile = self._piles[int(self._rng.choice(len(self._piles), p=self._shares))]
        return pile[int(self._rng.integers(len(pile)))]
