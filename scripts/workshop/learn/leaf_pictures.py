"""Pictures made anew for every batch from which the leaf's outline is learned, on an accelerator.

Lessons (``scripts.workshop.learn.leaf_lessons``) are turned, cut and seen in other light; leaves
are cut out and laid on other grounds, singly, touching, or in a crowd; parts of them die. Needs
PyTorch only.
"""

import io
import math
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F  # noqa: N812  its usual name
from numpy.typing import NDArray
from PIL import Image
from torch import Tensor

__all__ = ["CANVAS_PX", "UNKNOWN", "Bank", "Batch", "Maker", "load_bank"]

CANVAS_PX = 352
UNKNOWN = 255

_REAL = {
    "bean": 0.17, "blackgram": 0.17, "chilli": 0.10, "coffee": 0.07, "potato": 0.09,
    "tomato": 0.07, "pepper": 0.04,
}  # fmt: skip
_LAID, _PAINTED, _NOTHING, _THINGS, _CROWD = 0.26, 0.2, 0.09, 0.04, 0.03
_GROUNDS = ("ground", "canopy", "texture")
_CANOPY_CUTS = 40
_DEAD = (
    (0.47, 0.33, 0.20), (0.74, 0.65, 0.47), (0.51, 0.49, 0.45), (0.24, 0.18, 0.14),
    (0.78, 0.70, 0.24), (0.33, 0.37, 0.31), (0.62, 0.60, 0.56),
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Bank:
    """All lessons, each in the corner of a square canvas.

    Attributes
    ----------
    pixels : tensor of uint8, shape (lessons, 3, CANVAS_PX, CANVAS_PX)
    masks : tensor of uint8, shape (lessons, 1, CANVAS_PX, CANVAS_PX)
    sizes : tensor of float32, shape (lessons, 2)
        Columns and rows that are used.
    boxes : tensor of float32, shape (lessons, 4)
        Left, top, width and height of what is leaf.
    kinds : dict of str to tensor of int64
        Where the lessons of each source are.
    """

    pixels: Tensor
    masks: Tensor
    sizes: Tensor
    boxes: Tensor
    kinds: dict[str, Tensor]


@dataclass(frozen=True, eq=False)
class Batch:
    """Pictures and what is to be seen in them.

    Attributes
    ----------
    pictures : tensor of float32, shape (pictures, 3, rows, columns)
        sRGB, 0 to 1.
    leaf, known : tensor of float32, shape (pictures, 1, rows, columns)
        1 for leaf; 1 where that is known.
    border, border_known : tensor of float32, same shape
        1 where two leaves meet.
    any_leaf : tensor of float32, shape (pictures,)
        1 where a leaf is shown that could be measured.
    """

    pictures: Tensor
    leaf: Tensor
    known: Tensor
    border: Tensor
    border_known: Tensor
    any_leaf: Tensor


def load_bank(
    path: Path, device: str, without: Sequence[str] = (), canvas_px: int = CANVAS_PX
) -> Bank:
    """Read the lessons but for those of some sources."""
    pixels, masks, sizes, kinds = [], [], [], []
    cuts = np.random.default_rng(0)
    with zipfile.ZipFile(path) as store:
        for name in sorted(n for n in store.namelist() if n.endswith(".webp")):
            kind = name.split("/")[0]
            if kind in without:
                continue
            picture = np.asarray(Image.open(io.BytesIO(store.read(name))).convert("RGB"))
            mask = np.asarray(Image.open(io.BytesIO(store.read(f"{name[:-4]}png"))))
            for part in _cuts(cuts, picture) if kind == "canopy" else [(picture, mask)]:
                pixels.append(_on_canvas(part[0], canvas_px))
                masks.append(_on_canvas(part[1][..., None], canvas_px))
                sizes.append((part[0].shape[1], part[0].shape[0]))
                kinds.append(kind)
    all_masks = np.stack(masks)
    boxes = [_box(one[0]) for one in all_masks]
    where = {
        kind: torch.tensor([i for i, own in enumerate(kinds) if own == kind], device=device)
        for kind in sorted(set(kinds))
    }
    return Bank(
        torch.from_numpy(np.stack(pixels)).to(device),
        torch.from_numpy(all_masks).to(device),
        torch.tensor(sizes, dtype=torch.float32, device=device),
        torch.tensor(boxes, dtype=torch.float32, device=device),
        where,
    )


def _on_canvas(part: NDArray[np.uint8], side: int) -> NDArray[np.uint8]:
    canvas = np.zeros((part.shape[2], side, side), np.uint8)
    canvas[:, : part.shape[0], : part.shape[1]] = part.transpose(2, 0, 1)
    return canvas


def _box(mask: NDArray[np.uint8]) -> tuple[int, int, int, int]:
    rows, cols = np.nonzero((mask > 0) & (mask < UNKNOWN))
    if len(rows) == 0:
        return 0, 0, 1, 1
    left, top = int(cols.min()), int(rows.min())
    return left, top, int(cols.max()) - left + 1, int(rows.max()) - top + 1


def _cuts(
    chance: np.random.Generator, picture: NDArray[np.uint8]
) -> list[tuple[NDArray[np.uint8], NDArray[np.uint8]]]:
    parts = []
    for _ in range(_CANOPY_CUTS):
        side = int(chance.uniform(0.5, 1.0) * min(picture.shape[:2]))
        top = int(chance.integers(picture.shape[0] - side + 1))
        left = int(chance.integers(picture.shape[1] - side + 1))
        cut = Image.fromarray(picture[top : top + side, left : left + side])
        small = np.asarray(cut.resize((CANVAS_PX, CANVAS_PX), Image.Resampling.BOX))
        parts.append((small, np.zeros(small.shape[:2], np.uint8)))
    return parts


class Maker:
    """Makes batches from a bank."""

    def __init__(self, bank: Bank, device: str, seed: int) -> None:
        self._bank, self._device = bank, device
        self._chance = torch.Generator(device).manual_seed(seed)
        self._draw = np.random.default_rng(seed)
        self._real = {k: share for k, share in _REAL.items() if k in bank.kinds}
        self._leaves = torch.cat([bank.kinds[k] for k in self._real])
        self._painted = _PAINTED if "painted" in bank.kinds else 0.0
        self._grounds = [bank.kinds[k] for k in _GROUNDS if k in bank.kinds]

    def batch(self, count: int, rows: int, columns: int) -> Batch:
        """Make a batch of pictures of one size."""
        shares = np.array(
            [sum(self._real.values()), _LAID, self._painted, _NOTHING, _THINGS, _CROWD]
        )
        parts = self._draw.multinomial(count, shares / shares.sum())
        size = (rows, columns)
        made = [
            self._as_they_are(self._pick_real(int(parts[0])), size),
            self._laid(int(parts[1]), size),
            self._as_they_are(self._pick(["painted"], int(parts[2])), size),
            self._as_they_are(self._pick(list(_GROUNDS), int(parts[3])), size),
            self._things(int(parts[4]), size),
            self._crowd(int(parts[5]), size),
        ]
        pictures, numbers, known, single = (torch.cat([one[i] for one in made]) for i in range(4))
        pictures, numbers = self._dying(pictures, numbers)
        pictures = self._camera(pictures)
        leaf = ((numbers > 0) & (numbers < UNKNOWN)).float()
        known = known * (numbers < UNKNOWN)
        border = _borders(numbers) * (1 - single)
        any_leaf = (leaf.mean((1, 2, 3)) > 0.02).float()
        return Batch(pictures, leaf, known, border, known, any_leaf)

    def _uniform(self, count: int, low: float, high: float) -> Tensor:
        values = torch.rand(count, generator=self._chance, device=self._device)
        return low + (high - low) * values

    def _normal(self, *shape: int) -> Tensor:
        return torch.randn(*shape, generator=self._chance, device=self._device)

    def _of(self, choices: Tensor, count: int) -> Tensor:
        at = torch.randint(len(choices), (count,), generator=self._chance, device=self._device)
        return choices[at]

    def _pick_real(self, count: int) -> Tensor:
        kinds, shares = list(self._real), np.array(list(self._real.values()))
        parts = self._draw.multinomial(count, shares / shares.sum())
        picked = [self._of(self._bank.kinds[k], int(n)) for k, n in zip(kinds, parts, strict=True)]
        return torch.cat(picked)

    def _pick(self, kinds: list[str], count: int) -> Tensor:
        own = [kind for kind in kinds if kind in self._bank.kinds]
        if not own:
            return self._leaves[:0]
        parts = self._draw.multinomial(count, np.full(len(own), 1 / len(own)))
        picked = [self._of(self._bank.kinds[k], int(n)) for k, n in zip(own, parts, strict=True)]
        return torch.cat(picked)

    def _as_they_are(
        self, at: Tensor, size: tuple[int, int]
    ) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        """Whole lessons, turned and cut a little."""
        count = len(at)
        sizes = self._bank.sizes[at]
        frame = torch.tensor([size[1], size[0]], device=self._device, dtype=torch.float32)
        whole = (sizes / frame).amin(1)
        most = (sizes / frame).amax(1)
        mixed = whole + (most - whole) * self._uniform(count, -0.1, 1.0)
        step = mixed * torch.exp(self._uniform(count, -0.4, 0.25))
        close = self._uniform(count, 0.3, 0.7) * (self._uniform(count, 0, 1) < 0.12)
        step = torch.where(close > 0, step * close, step)
        middle = sizes / 2 + self._normal(count, 2) * 0.08 * sizes
        turned = self._angles(count)
        pictures, numbers, inside = self._seen(at, middle, step, turned, size)
        # Several leaves in one published outline are not told apart there.
        single = torch.ones(count, 1, 1, 1, device=self._device)
        single[torch.isin(at, self._bank.kinds.get("painted", at[:0]))] = 0
        return pictures, numbers, inside, single

    def _angles(self, count: int) -> Tensor:
        quarter = torch.randint(4, (count,), generator=self._chance, device=self._device)
        any_way = self._uniform(count, -math.pi, math.pi)
        small = quarter * (math.pi / 2) + 0.2 * self._normal(count)
        return torch.where(self._uniform(count, 0, 1) < 0.7, small, any_way)

    def _seen(
        self,
        at: Tensor,
        middle: Tensor,
        step: Tensor,
        turned: Tensor,
        size: tuple[int, int],
        where: Tensor | None = None,
    ) -> tuple[Tensor, Tensor, Tensor]:
        """See lessons so that ``middle`` comes to ``where`` (of the frame, 0 to 1), turned."""
        rows, columns = size
        y, x = torch.meshgrid(
            torch.arange(rows, device=self._device) + 0.5,
            torch.arange(columns, device=self._device) + 0.5,
            indexing="ij",
        )
        if where is None:
            where = torch.full((len(at), 2), 0.5, device=self._device)
        dx = x[None] - (where[:, 0] * columns)[:, None, None]
        dy = y[None] - (where[:, 1] * rows)[:, None, None]
        flip = torch.where(self._uniform(len(at), 0, 1) < 0.5, -1.0, 1.0)
        stretch = torch.exp(0.08 * self._normal(len(at)))
        c, s = torch.cos(turned) * step, torch.sin(turned) * step
        shape = (-1, 1, 1)
        px = (c * flip * stretch).view(shape) * dx - s.view(shape) * dy + middle[:, 0].view(shape)
        py = (s * flip * stretch).view(shape) * dx + c.view(shape) * dy + middle[:, 1].view(shape)
        wide, high = (self._bank.sizes[at][:, i].view(shape) for i in (0, 1))
        inside = ((px >= 0) & (px <= wide) & (py >= 0) & (py <= high))[:, None].float()
        px = torch.minimum(px.clamp(min=0.5), wide - 0.5)
        py = torch.minimum(py.clamp(min=0.5), high - 0.5)
        grid = torch.stack([px, py], -1) * (2 / self._bank.pixels.shape[-1]) - 1
        pictures = F.grid_sample(
            self._bank.pixels[at].float() / 255, grid, mode="bilinear", align_corners=False
        )
        numbers = F.grid_sample(
            self._bank.masks[at].float(), grid, mode="nearest", align_corners=False
        )
        return pictures, numbers.round(), inside

    def _laid(self, count: int, size: tuple[int, int]) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        """Leaves cut out and laid on other grounds: one, or a few that may touch."""
        pictures = self._ground(count, size)
        if count and float(self._uniform(1, 0, 1)) < 0.5:  # other leaves behind
            for _ in range(int(self._draw.integers(1, 6))):
                some = self._uniform(count, 0, 1) < 0.6
                where = 0.5 + self._uniform(count, 0.35, 0.6)[:, None] * F.normalize(
                    self._normal(count, 2)
                )
                behind, _ = self._lay(pictures, size, (0.4, 1.0), where)
                pictures = torch.where(some.view(-1, 1, 1, 1), behind, pictures)
            far = self._uniform(count, 0.8, 4.0) * (self._uniform(count, 0, 1) < 0.5)
            pictures = _blurred(pictures, far)  # half of them as sharp as the leaf in front
        numbers = torch.zeros(count, 1, *size, device=self._device)
        if self._draw.random() < 0.3:
            pictures, _ = self._thing(pictures)
        several, reach, spread = self._how_many()
        if several > 6:
            pictures = self._flat(count, size)
        for number in range(1, several + 1):
            where = (0.5 + spread * self._normal(count, 2)).clamp(0.05, 0.95)
            pictures, cover = self._lay(pictures, size, reach, where)
            numbers = torch.where(cover > 0.5, float(number), numbers)
        if self._draw.random() < 0.2:  # a finger, say, in front
            pictures, cover = self._thing(pictures)
            numbers = torch.where(cover > 0.5, 0.0, numbers)
        known = torch.ones_like(numbers)
        single = torch.zeros(count, 1, 1, 1, device=self._device)
        return pictures, numbers, known, single

    def _how_many(self) -> tuple[int, tuple[float, float], float]:
        """Draw how many leaves are laid, their size in frames, and how far they spread."""
        chance = self._draw.random()
        if chance < 0.6:
            return 1, (0.35, 1.3), 0.1
        if chance < 0.88:
            return int(self._draw.integers(2, 6)), (0.25, 0.6), 0.22
        return int(self._draw.integers(7, 18)), (0.12, 0.3), 0.3

    def _things(self, count: int, size: tuple[int, int]) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        """Things that are no leaves, on grounds without any."""
        at = self._pick(list(_GROUNDS), count)
        pictures, nothing, known, single = self._as_they_are(at, size)
        flat = (self._uniform(count, 0, 1) < 0.6).view(-1, 1, 1, 1)
        pictures = torch.where(flat, self._flat(count, size), pictures)
        for _ in range(int(self._draw.integers(1, 4))):
            pictures, _ = self._thing(pictures)
        return pictures, nothing, torch.ones_like(known), single

    def _thing(self, pictures: Tensor) -> tuple[Tensor, Tensor]:
        """Lay something smooth and shaded on each picture: a ball, fruit, stick or finger."""
        count, _, rows, columns = pictures.shape
        y, x = torch.meshgrid(
            torch.linspace(-1, 1, rows, device=self._device),
            torch.linspace(-1, 1, columns, device=self._device),
            indexing="ij",
        )
        middle = 0.6 * self._normal(count, 2)
        turned = self._uniform(count, -math.pi, math.pi).view(-1, 1, 1)
        dx, dy = x - middle[:, 0].view(-1, 1, 1), y - middle[:, 1].view(-1, 1, 1)
        u = dx * torch.cos(turned) + dy * torch.sin(turned)
        v = dy * torch.cos(turned) - dx * torch.sin(turned)
        broad = torch.exp(self._uniform(count, math.log(0.08), math.log(0.7)))
        long = torch.where(self._uniform(count, 0, 1) < 0.5, 1.0, self._uniform(count, 1.5, 8.0))
        power = torch.where(long > 1, 4.0, 2.0).view(-1, 1, 1)
        u, v = u / (broad * long).view(-1, 1, 1), v / broad.view(-1, 1, 1)
        away = (u.abs() ** power + v.abs() ** power + 1e-6) ** (1 / power)
        cover = torch.sigmoid((1 - away) * 40 * broad.view(-1, 1, 1))[:, None]
        shade = (1.15 - 0.9 * ((u - 0.25) ** 2 + (v + 0.25) ** 2)).clamp(0.12, 1)[:, None]
        skin = torch.tensor([0.75, 0.52, 0.4], device=self._device)
        tone = torch.rand(count, 3, generator=self._chance, device=self._device)
        dark = self._uniform(count, 0.35, 1.2)[:, None]
        is_skin = (long > 1.2)[:, None] & (self._uniform(count, 0, 1) < 0.7)[:, None]
        tone = torch.where(is_skin, skin * dark, tone).view(-1, 3, 1, 1)
        laid = (tone * shade).clamp(0, 1)
        return pictures + cover * (laid - pictures), cover

    def _crowd(self, count: int, size: tuple[int, int]) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        """Leaves all over a bed of leaves: none of them is what the picture is of."""
        pictures = self._bed(count, size)
        for _ in range(24 if count else 0):
            where = self._uniform(2 * count, -0.05, 1.05).view(count, 2)
            pictures, _ = self._lay(pictures, size, (0.15, 0.42), where)
        nothing = torch.zeros(count, 1, *size, device=self._device)
        single = torch.ones(count, 1, 1, 1, device=self._device)
        return pictures, nothing, torch.ones_like(nothing), single

    def _ground(self, count: int, size: tuple[int, int]) -> Tensor:
        """Grounds: bare or grown, blurred pictures of leaves, flat boards and paper."""
        bed = self._bed(count, size)
        flat = self._uniform(count, 0, 1) < 0.45
        return torch.where(flat.view(-1, 1, 1, 1), self._flat(count, size), bed)

    def _bed(self, count: int, size: tuple[int, int]) -> Tensor:
        choices = [*self._grounds, self._leaves]
        at = self._of(choices[int(self._draw.integers(len(choices)))], count)
        step = self._uniform(count, 0.4, 1.2)
        middle = self._bank.sizes[at] * (0.5 + 0.15 * self._normal(count, 2))
        grounds, numbers, _ = self._seen(at, middle, step, self._angles(count), size)
        leafy = (numbers > 0).float().mean((1, 2, 3)) > 0.01
        far = torch.where(leafy, self._uniform(count, 2.5, 7.0), self._uniform(count, 0.0, 2.0))
        return _blurred(grounds, far)

    def _flat(self, count: int, size: tuple[int, int]) -> Tensor:
        grey = self._uniform(count, 0.08, 1.0).view(-1, 1, 1, 1)
        tone = grey * torch.exp(0.18 * self._normal(count, 3, 1, 1))
        slow = F.interpolate(self._normal(count, 1, 4, 4), size=size, mode="bicubic")
        fine = F.interpolate(
            self._normal(count, 1, size[0] // 3, size[1] // 3), size=size, mode="bilinear"
        )
        amount = self._uniform(count, 0, 0.06).view(-1, 1, 1, 1)
        return (tone * (1 + 0.12 * slow) + amount * fine).clamp(0, 1)

    def _lay(
        self, pictures: Tensor, size: tuple[int, int], reach: tuple[float, float], where: Tensor
    ) -> tuple[Tensor, Tensor]:
        """Lay a leaf on each picture; also return what it covers."""
        count = len(pictures)
        at = self._of(self._leaves, count)
        box = self._bank.boxes[at]
        extent = self._uniform(count, *reach) * min(size)
        step = box[:, 2:].amax(1) / extent
        middle = box[:, :2] + box[:, 2:] / 2
        turned = self._uniform(count, -math.pi, math.pi)
        own, numbers, inside = self._seen(at, middle, step, turned, size, where)
        cover = ((numbers > 0) & (numbers < UNKNOWN)).float() * inside
        cover = -F.max_pool2d(-cover, 3, 1, 1)  # a little inside, so that no old rim is left
        cover = F.avg_pool2d(cover, 3, 1, 1)
        light = torch.exp(0.1 * self._normal(count, 3, 1, 1) + 0.2 * self._normal(count, 1, 1, 1))
        shade = self._uniform(count, 0, 0.6).view(-1, 1, 1, 1)
        moved = torch.roll(cover, (int(self._draw.integers(-6, 7)), 4), (2, 3))
        pictures = pictures * (1 - shade * F.avg_pool2d(moved, 9, 1, 4))
        return pictures + cover * ((own * light).clamp(0, 1) - pictures), cover

    def _dying(self, pictures: Tensor, numbers: Tensor) -> tuple[Tensor, Tensor]:
        """Let parts of some leaves turn yellow, brown, grey or black, often from the margin."""
        count, _, rows, columns = pictures.shape
        leaf = ((numbers > 0) & (numbers < UNKNOWN)).float()
        noise = F.interpolate(self._normal(count, 1, 7, 7), size=(rows, columns), mode="bicubic")
        fine = F.interpolate(self._normal(count, 1, 40, 40), size=(rows, columns), mode="bilinear")
        inner = F.avg_pool2d(leaf, 31, 1, 15)
        field = noise + 0.35 * fine + self._uniform(count, 0, 3.0).view(-1, 1, 1, 1) * (1 - inner)
        level = self._uniform(count, 0.6, 2.6).view(-1, 1, 1, 1)
        some = (self._uniform(count, 0, 1) < 0.3).float().view(-1, 1, 1, 1)
        amount = some * leaf * torch.sigmoid((field - level) * 8)
        colours = torch.tensor(_DEAD, device=self._device)
        colour = self._of(colours, count).view(-1, 3, 1, 1)
        colour = colour * torch.exp(0.12 * self._normal(count, 3, 1, 1))
        light = pictures.mean(1, keepdim=True)
        usual = (light * leaf).sum((2, 3), keepdim=True) / leaf.sum((2, 3), keepdim=True).clamp(1)
        dead = colour * (light / usual.clamp(min=0.05)).clamp(0.3, 2) ** 0.7
        amount = amount * self._uniform(count, 0.5, 1.0).view(-1, 1, 1, 1)
        return pictures + amount * (dead.clamp(0, 1) - pictures), numbers

    def _camera(self, pictures: Tensor) -> Tensor:
        """Other light, shadows, focus, and noise."""
        count, _, rows, columns = pictures.shape
        linear = pictures.clamp(0, 1) ** 2.2
        strong = torch.where(self._uniform(count, 0, 1) < 0.2, 0.3, 0.1).view(-1, 1, 1, 1)
        gains = torch.exp(
            strong * self._normal(count, 3, 1, 1) + 0.3 * self._normal(count, 1, 1, 1)
        )
        linear = linear * gains
        field = F.interpolate(self._normal(count, 1, 6, 6), size=(rows, columns), mode="bicubic")
        hard = torch.sigmoid((field - 0.3) * self._uniform(count, 2, 40).view(-1, 1, 1, 1))
        depth = self._uniform(count, 0, 0.75) * (self._uniform(count, 0, 1) < 0.3)
        linear = linear * (1 - depth.view(-1, 1, 1, 1) * hard)
        grey = linear.mean(1, keepdim=True)
        vivid = torch.exp(0.2 * self._normal(count, 1, 1, 1))
        linear = grey + (linear - grey) * vivid
        soft = self._uniform(count, 0, 1.3) * (self._uniform(count, 0, 1) < 0.35)
        linear = _blurred(linear, soft)
        noise = self._uniform(count, 0, 0.03).view(-1, 1, 1, 1)
        coded = linear.clamp(0, 1) ** (1 / 2.2)
        return (coded + noise * self._normal(*coded.shape)).clamp(0, 1)


def _borders(numbers: Tensor) -> Tensor:
    """Where two leaves of different numbers are within two pixels of each other."""
    leaf = (numbers > 0) & (numbers < UNKNOWN)
    largest = F.max_pool2d(torch.where(leaf, numbers, 0), 5, 1, 2)
    least = -F.max_pool2d(-torch.where(leaf, numbers, 1000), 5, 1, 2)
    return ((largest > least) & (least > 0) & (least < 1000) & leaf).float()


def _blurred(pictures: Tensor, spread_px: Tensor) -> Tensor:
    """Blur each picture by its own amount; below a quarter of a pixel not at all."""
    if len(pictures) == 0:
        return pictures
    reach = 10
    at = torch.arange(-reach, reach + 1, device=pictures.device, dtype=torch.float32)
    kernel = torch.exp(-0.5 * (at[None] / spread_px[:, None].clamp(min=0.2)) ** 2)
    kernel = kernel / kernel.sum(1, keepdim=True)
    count, planes, rows, columns = pictures.shape
    kernel = kernel.repeat_interleave(planes, 0)
    flat = pictures.reshape(1, count * planes, rows, columns)
    flat = F.pad(flat, (reach, reach, reach, reach), mode="replicate")
    flat = F.conv2d(flat, kernel[:, None, None, :], groups=count * planes)
    flat = F.conv2d(flat, kernel[:, None, :, None], groups=count * planes)
    return flat.view(count, planes, rows, columns)
