"""The network that outlines leaves: learned from a file of lessons, judged, written as ONNX.

    python -m scripts.workshop learn leaf_network --lessons leaf.zip --out leaf.onnx

For each output, two pixels wide, it gives log-odds that the leaf which the photo is of is there,
and that two leaves meet there; and one for the whole photo: that it shows a leaf that can be
measured. With ``--without`` a source is left out, and how well it is outlined is printed at the
end. Needs the packages of the ``train`` extra; an accelerator makes minutes of hours.
"""

from argparse import Namespace

import numpy as np
import torch
import torch.nn.functional as F  # noqa: N812  its usual name
from torch import nn

from scripts.workshop.learn.convolutions import (
    FROM_NOTHING,
    AnyNetwork,
    Pace,
    Pyramid,
    Recipe,
    learn_as_asked,
    learn_from_batches,
)
from scripts.workshop.learn.leaf_pictures import CANVAS_PX, UNKNOWN, Bank, Batch, Maker

__all__ = ["RECIPE", "LeafNetwork", "judge", "learn", "learn_leaves", "loss_of"]

_WIDTHS, _REFINES = (16, 32, 64, 96, 128), (1, 2, 2, 2)
_SIZES = ((320, 320), (320, 256), (256, 320), (352, 192), (192, 352), (288, 288), (352, 352))
_BORDER_WEIGHT, _ANY_WEIGHT = 0.3, 0.2
_GREY, _CONTRAST = 0.5, 0.25
_JUDGED, _LONG_PX = 200, 320  # lessons of a source, and how large they are judged


class LeafNetwork(nn.Module):
    """Photos in; log-odds of leaf and of a border, and of a leaf that can be measured, out."""

    def __init__(self, widths: tuple[int, ...] = _WIDTHS) -> None:
        super().__init__()
        self.pyramid = Pyramid(3, widths, _REFINES, 2)
        self.any_leaf = nn.Conv2d(widths[-1], 1, 1)

    def forward(self, photos: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        """Return what is seen, shapes (photos, 2, rows / 2, columns / 2) and (photos, 1, 1, 1)."""
        seen, whole = self.pyramid((photos - _GREY) / _CONTRAST)
        return seen, self.any_leaf(whole)


def loss_of(seen: torch.Tensor, any_leaf: torch.Tensor, batch: Batch) -> torch.Tensor:
    """Return how far outputs are from the truth: cross-entropy, and overlap where a leaf is."""
    size = batch.leaf.shape[2:]
    large = F.interpolate(seen, size=size, mode="bilinear", align_corners=False)
    leaf, border = large[:, :1], large[:, 1:]
    known = batch.known
    cross = F.binary_cross_entropy_with_logits(leaf, batch.leaf, reduction="none")
    per_pixel = (cross * known).sum() / known.sum().clamp(min=1)
    share = torch.sigmoid(leaf) * known
    both = (share * batch.leaf).sum((1, 2, 3))
    either = (share + batch.leaf * known - share * batch.leaf).sum((1, 2, 3))
    shown = batch.any_leaf
    missed = ((1 - (both + 1) / (either + 1)) * shown).sum() / shown.sum().clamp(min=1)
    edges = F.binary_cross_entropy_with_logits(border, batch.border, reduction="none")
    edges = (edges * batch.border_known * (1 + 8 * batch.border)).mean()
    whole = F.binary_cross_entropy_with_logits(any_leaf.flatten(), shown)
    return per_pixel + missed + _BORDER_WEIGHT * edges + _ANY_WEIGHT * whole


def learn(bank: Bank, asked: Namespace) -> LeafNetwork:
    """Return a network that has learned from a bank of lessons, as long as asked."""
    return learn_leaves(LeafNetwork(), bank, asked)


def learn_leaves(
    network: AnyNetwork,
    bank: Bank,
    asked: Namespace,
    pace: Pace = FROM_NOTHING,
) -> AnyNetwork:
    """Let a network that gives what `LeafNetwork` gives learn from a bank of lessons.

    Parameters
    ----------
    network : nn.Module
        Changed, and returned, ready to judge.
    bank : Bank
        The lessons.
    asked : Namespace
        Has ``device``, ``seed``, ``seconds`` and ``batch``.
    pace : Pace
        How fast it learns.
    """
    maker = Maker(bank, asked.device, asked.seed)

    def loss(learner: AnyNetwork, batch: Batch) -> torch.Tensor:
        with torch.autocast(asked.device.split(":")[0], torch.bfloat16):
            seen, any_leaf = learner(batch.pictures.contiguous(memory_format=torch.channels_last))
        return loss_of(seen.float(), any_leaf.float(), batch)

    def batch_of(rows: int, columns: int) -> Batch:
        return maker.batch(asked.batch, rows, columns)

    return learn_from_batches(network, batch_of, loss, _SIZES, asked, pace)


def judge(network: nn.Module, bank: Bank, kind: str) -> dict[str, float]:
    """Return how well the first lessons of one source are outlined."""
    overlaps, shown = [], []
    for at in bank.kinds[kind][:_JUDGED].tolist():
        wide, high = (int(v) for v in bank.sizes[at])
        picture = bank.pixels[at : at + 1, :, :high, :wide].float() / 255
        mask = bank.masks[at, 0, :high, :wide]
        scale = min(1.0, _LONG_PX / max(wide, high))
        small = F.interpolate(
            picture, size=(round(high * scale), round(wide * scale)), mode="bilinear",
            align_corners=False, antialias=True,
        )  # fmt: skip
        pad = (0, -small.shape[3] % 32, 0, -small.shape[2] % 32)
        seen, any_leaf = network(F.pad(small, pad, mode="replicate"))
        large = F.interpolate(seen[:, :1], scale_factor=2.0, mode="bilinear", align_corners=False)
        large = large[:, :, : small.shape[2], : small.shape[3]]
        found = F.interpolate(large, size=(high, wide), mode="bilinear", align_corners=False)
        found = found[0, 0] > 0
        shown.append(float(any_leaf) > 0)
        leaf, known = (mask > 0) & (mask < UNKNOWN), mask < UNKNOWN
        either = ((found | leaf) & known).sum()
        overlaps.append(float(((found & leaf).sum() + 1e-6) / (either + 1e-6)))
    return {
        "photos": len(overlaps),
        "mean": float(np.mean(overlaps)),
        "median": float(np.median(overlaps)),
        "p10": float(np.percentile(overlaps, 10)),
        "said to show a leaf": float(np.mean(shown)),
    }


RECIPE = Recipe(learn, judge, batch=48, canvas_px=CANVAS_PX, planes=3, outputs=("seen", "whole"))


def main() -> None:
    """Learn, judge what was left out, and write the network."""
    learn_as_asked(__doc__, RECIPE)


if __name__ == "__main__":
    main()
