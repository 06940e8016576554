"""The network that sees symptoms on a leaf: learned from a file of lessons, judged, written.

    python -m scripts.workshop learn tissue_network --lessons tissue.zip --out tissue.onnx

For each output, two pixels wide, it gives log-odds of a symptom, and of dead rather than yellow
tissue where there is one. With ``--without`` a source is left out, and how well its symptoms are
seen is printed at the end. Needs the packages of the ``train`` extra.
"""

from argparse import Namespace

import numpy as np
import torch
import torch.nn.functional as F  # noqa: N812  its usual name
from torch import nn

from scripts.workshop.learn.convolutions import (
    Pyramid,
    Recipe,
    learn_as_asked,
    learn_from_batches,
)
from scripts.workshop.learn.leaf_pictures import Bank
from scripts.workshop.learn.tissue_pictures import (
    TissueBatch,
    TissueMaker,
    healthy_of,
    lab_of,
    seen_colours,
)

__all__ = ["RECIPE", "TissueNetwork", "judge", "learn", "loss_of"]

LONG_PX = 448
_WIDTHS, _REFINES = (16, 24, 48, 64, 96), (1, 2, 2, 2)
_SIZES = ((448, 320), (320, 448), (384, 384), (448, 224), (224, 448), (256, 192), (192, 256))
_DEAD_WEIGHT = 0.3


class TissueNetwork(nn.Module):
    """What is seen of leaves in; log-odds of a symptom, and of dead tissue, out."""

    def __init__(self) -> None:
        super().__init__()
        self.pyramid = Pyramid(6, _WIDTHS, _REFINES, 2)

    def forward(self, seen: torch.Tensor) -> torch.Tensor:
        """Return log-odds, shape (leaves, 2, rows / 2, columns / 2)."""
        return self.pyramid(seen)[0]


def loss_of(out: torch.Tensor, batch: TissueBatch) -> torch.Tensor:
    """Return how far outputs are from the truth."""
    large = F.interpolate(out, size=batch.sick.shape[2:], mode="bilinear", align_corners=False)
    cross = F.binary_cross_entropy_with_logits(large[:, :1], batch.sick, reduction="none")
    weight = batch.sick_weight
    per_pixel = (cross * weight).sum() / weight.sum().clamp(min=1)
    share = torch.sigmoid(large[:, :1]) * weight
    wanted = batch.sick * weight
    both = (share * wanted).sum((1, 2, 3))
    all_of = share.sum((1, 2, 3)) + wanted.sum((1, 2, 3))
    overlap = (1 - (2 * both + 30) / (all_of + 30)).mean()
    dead = F.binary_cross_entropy_with_logits(large[:, 1:], batch.dead, reduction="none")
    dead = (dead * batch.dead_weight).sum() / batch.dead_weight.sum().clamp(min=1)
    return 2 * per_pixel + 0.5 * overlap + _DEAD_WEIGHT * dead


def learn(bank: Bank, asked: Namespace) -> TissueNetwork:
    """Return a network that has learned from a bank of lessons, as long as asked."""
    maker = TissueMaker(bank, asked.device, asked.seed)

    def loss(network: TissueNetwork, batch: TissueBatch) -> torch.Tensor:
        with torch.autocast(asked.device.split(":")[0], torch.bfloat16):
            out = network(batch.seen.contiguous(memory_format=torch.channels_last))
        return loss_of(out.float(), batch)

    def batch_of(rows: int, columns: int) -> TissueBatch:
        return maker.leaves(asked.batch, rows, columns)

    return learn_from_batches(TissueNetwork(), batch_of, loss, _SIZES, asked)


def judge(network: TissueNetwork, bank: Bank, kind: str) -> dict[str, float]:
    """Return how well the symptoms of one source are seen."""
    both = either = 0.0
    true_pct, seen_pct = [], []
    for at in bank.kinds[kind].tolist():
        wide, high = (int(v) for v in bank.sizes[at])
        truth = bank.masks[at : at + 1, :, :high, :wide].float()
        lab = lab_of(bank.pixels[at : at + 1, :, :high, :wide].float() / 255)
        leaf = (truth > 0).float()
        seen = seen_colours(lab, leaf, healthy_of(lab, truth))
        out = network(F.pad(seen, (0, -wide % 32, 0, -high % 32)))
        large = F.interpolate(out[:, :1], scale_factor=2.0, mode="bilinear", align_corners=False)
        found = (large[:, :, :high, :wide] > 0) & (leaf > 0)
        sick = truth > 1
        both += float((found & sick).sum())
        either += float((found | sick).sum())
        true_pct.append(100 * float(sick.sum() / leaf.sum()))
        seen_pct.append(100 * float(found.sum() / leaf.sum()))
    t, s = np.array(true_pct), np.array(seen_pct)
    agree = (
        2
        * np.mean((t - t.mean()) * (s - s.mean()))
        / (t.var() + s.var() + (t.mean() - s.mean()) ** 2 + 1e-9)
    )
    clean = s[t == 0]
    return {
        "leaves": len(t), "overlap": both / max(either, 1), "concordance": float(agree),
        "bias_points": float((s - t).mean()),
        "healthy_pct": float(clean.mean()) if len(clean) else -1,
        "healthy over 2 %": float((clean > 2).mean()) if len(clean) else -1,
    }  # fmt: skip


RECIPE = Recipe(learn, judge, batch=32, canvas_px=LONG_PX, planes=6, outputs=("seen",))


def main() -> None:
    """Learn, judge what was left out, and write the network."""
    learn_as_asked(__doc__, RECIPE)


if __name__ == "__main__":
    main()
