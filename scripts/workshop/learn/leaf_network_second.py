"""The second network that outlines leaves: it begins from an encoder that knows many things.

    python -m scripts.workshop learn leaf_network_second --lessons leaf.zip --out leaf.onnx

It learns from the same lessons, and gives the same, as ``leaf_network``. Few sources of leaves can
be had; what an encoder has learned from other pictures carries over to sources that are not among
them. Needs the packages of the ``train`` extra.
"""

from argparse import Namespace
from itertools import pairwise

import torch
import torch.nn.functional as F  # noqa: N812  its usual name
from torch import nn

from scripts.workshop.learn.convolutions import Pace, Recipe, Refine, Step, learn_as_asked
from scripts.workshop.learn.encoder import Encoder, begun
from scripts.workshop.learn.leaf_network import judge, learn_leaves
from scripts.workshop.learn.leaf_pictures import CANVAS_PX, Bank

__all__ = ["RECIPE", "EncodedLeafNetwork", "learn"]

_WIDTHS = (16, 24, 48, 80, 128)
_PACE = Pace(
    rate=2e-3,
    last_rate=1e-6,
    decay=1e-2,
    warm_up=200,
    begun=lambda network: network.encoder.parameters(),
    begun_share=0.2,
)


class EncodedLeafNetwork(nn.Module):
    """Photos in; log-odds of leaf and of a border, and of a leaf that can be measured, out."""

    def __init__(self, encoder: Encoder) -> None:
        super().__init__()
        self.encoder = encoder
        self.bring = nn.ModuleList(
            [nn.Conv2d(seen, own, 1) for seen, own in zip(encoder.widths, _WIDTHS, strict=True)]
        )
        self.narrow = nn.ModuleList([nn.Conv2d(b, a, 1) for a, b in pairwise(_WIDTHS)])
        self.up = nn.ModuleList([Step(width, width) for width in _WIDTHS[:-1]])
        self.top = Refine(_WIDTHS[-1])
        self.whole = nn.Sequential(
            nn.AdaptiveAvgPool2d(1), nn.Conv2d(_WIDTHS[-1], _WIDTHS[-1], 1), nn.ReLU()
        )
        self.spread = nn.Conv2d(_WIDTHS[-1], _WIDTHS[-1], 1)
        self.out = nn.Conv2d(_WIDTHS[0], 2, 3, 1, 1)
        self.any_leaf = nn.Conv2d(_WIDTHS[-1], 1, 1)

    def forward(self, photos: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        """Return what is seen, shapes (photos, 2, rows / 2, columns / 2) and (photos, 1, 1, 1)."""
        *finer, coarsest = (
            bring(seen) for bring, seen in zip(self.bring, self.encoder(photos), strict=True)
        )
        back = self.top(coarsest)
        whole = self.whole(back)
        back = back + self.spread(whole)
        for own, narrow, up in zip(
            reversed(finer), reversed(self.narrow), reversed(self.up), strict=True
        ):
            back = up(own + F.interpolate(narrow(back), scale_factor=2.0, mode="nearest"))
        return self.out(back), self.any_leaf(whole)


def learn(bank: Bank, asked: Namespace) -> EncodedLeafNetwork:
    """Return a network that has learned from lessons for as long as was asked for."""
    return learn_leaves(EncodedLeafNetwork(begun()), bank, asked, _PACE)


RECIPE = Recipe(learn, judge, batch=48, canvas_px=CANVAS_PX, planes=3, outputs=("seen", "whole"))


def main() -> None:
    """Learn, judge what was left out, and write the network."""
    learn_as_asked(__doc__, RECIPE)


if __name__ == "__main__":
    main()
