"""Leaves made anew for every batch from which symptoms are learned, on an accelerator.

Lessons (``scripts.workshop.learn.tissue_lessons``) are turned, seen in other light, with gloss and
shade, and given painted lesions: spots with rims and halos, patches that die from the margin,
grey-green collapse, pale and whitish spots. What the network sees is what
``vision.day.symptom_network`` shows it: colour against the leaf's own healthy tissue. Needs PyTorch
only.
"""

import math
from dataclasses import dataclass

import numpy as np
import torch
import torch.nn.functional as F  # noqa: N812  its usual name
from torch import Tensor

from scripts.workshop.learn.leaf_pictures import Bank, Maker

__all__ = ["TissueBatch", "TissueMaker", "healthy_of", "lab_of", "seen_colours"]

_SHARES = {
    "coffee": 0.27, "potato": 0.12, "bean": 0.14, "blackgram": 0.12, "tomato": 0.11,
    "pepper": 0.06, "painted": 0.18,
}  # fmt: skip
_SICK, _LEAF, _HALO, _LESION = 9, 1, 2, 3
_COARSE = 0.35  # weight of what is drawn coarsely
_MOST_SPOTS = 26
_FAINT = 8.0  # CIELAB units: nobody would see a symptom that differs less
_TYPICAL = (45.0, -18.0, 28.0)  # vision.day.tissue.TYPICAL
# L*, a*, b* of a lesion's middle against healthy tissue, and how far from it they spread
_CORES = (
    ((-12.0, 22.0, -6.0), 6.0), ((2.0, 24.0, -4.0), 6.0), ((16.0, 20.0, -12.0), 6.0),
    ((30.0, 18.0, -20.0), 6.0), ((-22.0, 18.0, -18.0), 4.0), ((-7.0, 10.0, -14.0), 3.0),
    ((-2.0, 12.0, -16.0), 3.0), ((12.0, 14.0, -16.0), 4.0), ((5.0, 16.0, 8.0), 5.0),
)  # fmt: skip
_HALO_COLOUR = (14.0, 14.0, 12.0)


@dataclass(frozen=True, eq=False)
class TissueBatch:
    """Leaves and what is sick on them.

    Attributes
    ----------
    seen : tensor of float32, shape (leaves, 6, rows, columns)
        What the network sees.
    sick, sick_weight : tensor of float32, shape (leaves, 1, rows, columns)
        1 where there is a symptom; how much that is known.
    dead, dead_weight : tensor of float32, same shape
        1 where it is dead, 0 where it is yellow.
    """

    seen: Tensor
    sick: Tensor
    sick_weight: Tensor
    dead: Tensor
    dead_weight: Tensor


def lab_of(pictures: Tensor) -> Tensor:
    """Convert sRGB, 0 to 1, to CIELAB as ``vision.day.tissue.leaf_lab`` does (CIE 1976, D65)."""
    low = pictures / 12.92
    light = torch.where(pictures <= 0.04045, low, ((pictures + 0.055) / 1.055) ** 2.4)
    r, g, b = light[:, 0], light[:, 1], light[:, 2]
    x = (0.412453 * r + 0.357580 * g + 0.180423 * b) / 0.950456
    y = 0.212671 * r + 0.715160 * g + 0.072169 * b
    z = (0.019334 * r + 0.119193 * g + 0.950227 * b) / 1.088754
    fx, fy, fz = (
        torch.where(v > 0.008856, v.clamp(min=1e-6) ** (1 / 3), 7.787 * v + 16 / 116)
        for v in (x, y, z)
    )
    return torch.stack([116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)], 1)


def _pixels_of(lab: Tensor) -> Tensor:
    """Convert CIELAB back to sRGB, 0 to 1."""
    fy = (lab[:, 0] + 16) / 116
    fx, fz = fy + lab[:, 1] / 500, fy - lab[:, 2] / 200
    x, y, z = (
        torch.where(f > 0.2069, f.clamp(min=1e-4) ** 3, (f - 16 / 116) / 7.787)
        for f in (fx, fy, fz)
    )
    x, z = 0.950456 * x, 1.088754 * z
    light = torch.stack(
        [
            3.240479 * x - 1.537150 * y - 0.498535 * z,
            -0.969256 * x + 1.875991 * y + 0.041556 * z,
            0.055648 * x - 0.204043 * y + 1.057311 * z,
        ],
        1,
    ).clamp(0, 1)
    coded = 1.055 * light.clamp(min=1e-6) ** (1 / 2.4) - 0.055
    return torch.where(light <= 0.0031308, 12.92 * light, coded)


def seen_colours(lab: Tensor, leaf: Tensor, healthy: Tensor) -> Tensor:
    """Return what the network sees.

    Parameters
    ----------
    lab : tensor of float32, shape (leaves, 3, rows, columns)
    leaf : tensor of float32, shape (leaves, 1, rows, columns)
    healthy : tensor of float32, shape (leaves, 3)
        CIELAB of healthy tissue.
    """
    off = (lab - healthy[:, :, None, None]) / 20
    own = lab[:, 1:] / 40
    return torch.cat([off * leaf, own * leaf, leaf], 1)


class TissueMaker(Maker):
    """Makes batches of leaves from a bank."""

    def __init__(self, bank: Bank, device: str, seed: int) -> None:
        super().__init__(bank, device, seed)
        self._kinds = {k: share for k, share in _SHARES.items() if k in bank.kinds}

    def leaves(self, count: int, rows: int, columns: int) -> TissueBatch:
        """Make a batch of leaves of one size."""
        at, coarse = self._chosen(count)
        pictures, truth = self._placed(at, (rows, columns))
        leaf = (truth > 0).float()
        pictures = self._gloss_and_shade(pictures, leaf)
        lab = lab_of(pictures)
        healthy = healthy_of(lab, truth)
        lab, truth = self._patches(lab, truth, healthy)
        lab, truth = self._spots(lab, truth, healthy)
        pictures = self._camera(_pixels_of(lab))
        lab = lab_of(pictures)
        leaf = self._outline(leaf)
        seen = seen_colours(lab, leaf, self._estimated(healthy_of(lab, truth)))
        return _batch(seen, truth, leaf, coarse)

    def _chosen(self, count: int) -> tuple[Tensor, Tensor]:
        kinds, shares = list(self._kinds), np.array(list(self._kinds.values()))
        parts = self._draw.multinomial(count, shares / shares.sum())
        at = [self._of(self._bank.kinds[k], int(n)) for k, n in zip(kinds, parts, strict=True)]
        coarse = [
            torch.full((int(n),), float(k == "potato"), device=self._device)
            for k, n in zip(kinds, parts, strict=True)
        ]
        return torch.cat(at), torch.cat(coarse)

    def _placed(self, at: Tensor, size: tuple[int, int]) -> tuple[Tensor, Tensor]:
        sizes = self._bank.sizes[at]
        frame = torch.tensor([size[1], size[0]], device=self._device, dtype=torch.float32)
        upright = (sizes[:, 0] > sizes[:, 1]) == (size[1] > size[0])
        turn = torch.where(upright, 0.0, math.pi / 2)
        turn = turn + math.pi * (self._uniform(len(at), 0, 1) < 0.5) + 0.12 * self._normal(len(at))
        lying = torch.where(upright[:, None], sizes, sizes.flip(1))
        step = (lying / frame).amax(1) * torch.exp(self._uniform(len(at), -0.25, 0.35))
        step = torch.where(self._uniform(len(at), 0, 1) < 0.2, step * 1.6, step)
        middle = sizes / 2 + 0.04 * sizes * self._normal(len(at), 2)
        pictures, truth, inside = self._seen(at, middle, step, turn, size)
        return pictures, truth * inside

    def _gloss_and_shade(self, pictures: Tensor, leaf: Tensor) -> Tensor:
        """Pale gloss and light that shines through: light, not disease."""
        count, _, rows, columns = pictures.shape
        low = F.interpolate(self._normal(count, 1, 9, 9), size=(rows, columns), mode="bicubic")
        fine = F.interpolate(self._normal(count, 1, 60, 60), size=(rows, columns), mode="bilinear")
        some = (self._uniform(count, 0, 1) < 0.3).float().view(-1, 1, 1, 1)
        level = self._uniform(count, 0.8, 2.0).view(-1, 1, 1, 1)
        shine = torch.sigmoid((low + 0.4 * fine - level) * 5) * some * leaf
        amount = shine * self._uniform(count, 0.1, 0.7).view(-1, 1, 1, 1)
        bluish = torch.tensor([0.86, 0.93, 1.0], device=self._device).view(1, 3, 1, 1)
        pictures = pictures + amount * (bluish - pictures)
        through = torch.sigmoid((-low - level) * 4) * leaf
        through = through * (self._uniform(count, 0, 1) < 0.2).float().view(-1, 1, 1, 1)
        warm = torch.tensor([1.5, 1.45, 0.8], device=self._device).view(1, 3, 1, 1)
        return (pictures * (1 + through * 0.7 * (warm - 1))).clamp(0, 1)

    def _core(self, count: int) -> Tensor:
        cores = torch.tensor([core for core, _ in _CORES], device=self._device)
        spread = torch.tensor([spread for _, spread in _CORES], device=self._device)
        which = torch.randint(len(_CORES), (count,), generator=self._chance, device=self._device)
        return cores[which] + spread[which, None] * self._normal(count, 3)

    def _patches(self, lab: Tensor, truth: Tensor, healthy: Tensor) -> tuple[Tensor, Tensor]:
        """Patches that die, often from the margin, with or without a yellow band around."""
        count, _, rows, columns = lab.shape
        leaf = (truth > 0).float()
        noise = F.interpolate(self._normal(count, 1, 7, 7), size=(rows, columns), mode="bicubic")
        fine = F.interpolate(self._normal(count, 1, 50, 50), size=(rows, columns), mode="bilinear")
        inner = F.avg_pool2d(leaf, 41, 1, 20)
        field = noise + 0.25 * fine + self._uniform(count, 0, 3).view(-1, 1, 1, 1) * (1 - inner)
        level = self._uniform(count, 0.7, 2.4).view(-1, 1, 1, 1)
        some = (self._uniform(count, 0, 1) < 0.25).view(-1, 1, 1, 1) & (truth > 0)
        edge = self._uniform(count, 4, 25).view(-1, 1, 1, 1)
        amount = torch.sigmoid((field - level) * edge) * some
        band = self._uniform(count, 0.0, 0.5) * (self._uniform(count, 0, 1) < 0.5)
        around = torch.sigmoid((field - level + band.view(-1, 1, 1, 1)) * edge) * some - amount
        kept = self._uniform(count, 0.5, 1.0).view(-1, 1, 1, 1)
        sick = self._painted_over(lab, healthy, amount, around, kept)
        truth = _with(truth, amount, around * (band > 0.08).view(-1, 1, 1, 1))
        return sick, _without_faint(truth, lab, sick, amount + around)

    def _painted_over(
        self, lab: Tensor, healthy: Tensor, amount: Tensor, around: Tensor, texture: Tensor
    ) -> Tensor:
        count = len(lab)
        core = (healthy + self._core(count))[:, :, None, None]
        core[:, 0] = core[:, 0].clamp(6, 95)
        grain = (lab - F.avg_pool2d(lab, 25, 1, 12)) * texture
        halo = torch.tensor(_HALO_COLOUR, device=self._device) + 3 * self._normal(count, 3)
        yellow = lab + halo[:, :, None, None] * self._uniform(count, 0.5, 1.2).view(-1, 1, 1, 1)
        lab = lab + around.clamp(0, 1) * (yellow - lab)
        return lab + amount * (core + grain - lab)

    def _spots(self, lab: Tensor, truth: Tensor, healthy: Tensor) -> tuple[Tensor, Tensor]:
        """Spots of about one size, with or without a dark rim and a halo."""
        count, _, rows, columns = lab.shape
        spotted = self._uniform(count, 0, 1) < 0.4
        radius = torch.exp(self._uniform(count, math.log(1.6), math.log(16.0)))
        y = torch.arange(rows, device=self._device).view(1, rows, 1)
        x = torch.arange(columns, device=self._device).view(1, 1, columns)
        rough = F.interpolate(self._normal(count, 1, 40, 40), size=(rows, columns), mode="bicubic")
        nearest = torch.full((count, rows, columns), 1e3, device=self._device)
        many = self._uniform(count, 1, _MOST_SPOTS)
        for number in range(_MOST_SPOTS):
            own = radius * torch.exp(0.25 * self._normal(count))
            middle = self._uniform(2 * count, 0, 1).view(2, count, 1, 1)
            away = torch.hypot(y - middle[0] * rows, x - middle[1] * columns)
            away = away / own.view(-1, 1, 1) + 1e3 * (number > many).view(-1, 1, 1)
            nearest = torch.minimum(nearest, away)
        nearest = nearest[:, None] * (1 + 0.2 * rough)
        on = spotted.view(-1, 1, 1, 1) & (truth > 0)
        sharp = (radius / self._uniform(count, 0.6, 2.0)).view(-1, 1, 1, 1)
        amount = torch.sigmoid((1 - nearest) * 2.5 * sharp) * on
        reach = 1 + self._uniform(count, 0.2, 1.6) * (self._uniform(count, 0, 1) < 0.6)
        around = torch.sigmoid((reach.view(-1, 1, 1, 1) - nearest) * 4) * on
        around = (around - amount).clamp(0, 1) * (reach > 1).view(-1, 1, 1, 1)
        kept = self._uniform(count, 0.3, 0.9).view(-1, 1, 1, 1)
        sick = self._painted_over(lab, healthy, amount, around, kept)
        rim = torch.exp(-(((nearest - 0.95) / 0.2) ** 2)) * on
        rim = rim * (self._uniform(count, 0, 1) < 0.4).view(-1, 1, 1, 1)
        sick = torch.cat([sick[:, :1] - 14 * rim, sick[:, 1:2] + 5 * rim, sick[:, 2:] - 6 * rim], 1)
        return sick, _without_faint(_with(truth, amount, around), lab, sick, amount + around)

    def _outline(self, leaf: Tensor) -> Tensor:
        """Draw the outline a little too wide or too narrow, as it will be."""
        by = int(self._draw.integers(-2, 3))
        if by == 0:
            return leaf
        side = 2 * abs(by) + 1
        wide = F.max_pool2d(leaf if by > 0 else 1 - leaf, side, 1, abs(by))
        return wide if by > 0 else 1 - wide

    def _estimated(self, healthy: Tensor) -> Tensor:
        """Estimate the healthy colour as it will be: a little off, sometimes far."""
        count = len(healthy)
        sizes = torch.tensor([3.0, 1.5, 2.5], device=self._device)
        far = torch.where(self._uniform(count, 0, 1) < 0.1, 3.0, 1.0)
        off = healthy + self._normal(count, 3) * sizes * far[:, None]
        typical = torch.tensor(_TYPICAL, device=self._device)
        lost = (self._uniform(count, 0, 1) < 0.05)[:, None]
        return torch.where(lost, typical, off)


def healthy_of(lab: Tensor, truth: Tensor) -> Tensor:
    """Mean CIELAB of healthy tissue; of a leaf without any, the typical one."""
    sound = (truth == _LEAF).float()
    total = sound.sum((2, 3))
    mean = (lab * sound).sum((2, 3)) / total.clamp(min=1)
    typical = torch.tensor(_TYPICAL, device=lab.device)
    return torch.where(total > 50, mean, typical)


def _with(truth: Tensor, amount: Tensor, around: Tensor) -> Tensor:
    truth = torch.where((around > 0.5) & (truth == _LEAF), float(_HALO), truth)
    return torch.where((amount > 0.5) & (truth > 0), float(_LESION), truth)


def _without_faint(truth: Tensor, before: Tensor, after: Tensor, painted: Tensor) -> Tensor:
    """Leave unsaid what a painted symptom hardly changes."""
    apart = F.avg_pool2d((after - before).square().sum(1, keepdim=True).sqrt(), 5, 1, 2)
    return torch.where((apart < _FAINT) & (painted > 0.3) & (truth > _LEAF), 0.0, truth)


def _batch(seen: Tensor, truth: Tensor, leaf: Tensor, coarse: Tensor) -> TissueBatch:
    sick = ((truth == _SICK) | (truth == _HALO) | (truth == _LESION)).float()
    drawn = (truth == _SICK).float()
    # Near the edge of what a person drew, nobody knows; the more so where zones were drawn.
    narrow = F.max_pool2d(drawn, 3, 1, 1) + F.max_pool2d(-drawn, 3, 1, 1)
    broad = F.max_pool2d(drawn, 13, 1, 6) + F.max_pool2d(-drawn, 13, 1, 6)
    rough = coarse.view(-1, 1, 1, 1)
    weight = leaf * (truth > 0) * (1 - (rough * broad + (1 - rough) * 0.7 * narrow))
    weight = weight * torch.where((rough > 0) & (drawn > 0), _COARSE, 1.0)
    known = ((truth == _HALO) | (truth == _LESION)).float() * leaf
    return TissueBatch(seen, sick, weight, (truth == _LESION).float(), known)
