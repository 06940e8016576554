"""Building blocks that the learned networks share. Needs PyTorch, which only learning needs."""

from collections.abc import Sequence
from itertools import pairwise

import torch
import torch.nn.functional as F  # noqa: N812  its usual name
from torch import nn

__all__ = ["Pyramid", "Refine", "Step", "remember"]


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
