"""What is measured of an outlined spot, so that a dropping can be told from what only looks alike.

A dropping is a solid, convex barrel of one colour. It is darker than most things whatever it lies
on, its edge is as sharp as the photo allows, it throws a shadow to one side, its ridges catch the
light, and what it lies on looks the same close to it and farther away. A lesion is part of the
leaf: brown, with a slope or a halo at its edge. A crumb is irregular and brown, a shade has no
edge and no colour of its own.
"""

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.frass_picture import picture_of
from vision.frass_regions import Region
from vision.raster import hull_area

__all__ = ["COMPANY", "MEASURES", "Measured", "keep_company", "measure_regions"]

Floats = NDArray[np.float32]
Bools = NDArray[np.bool_]

MEASURES = (
    "size",  # natural log of the root of the area, in pixels of the photo as it is given
    "size_seen",  # the same in pixels of the view
    "size_of_spot",  # natural log of the root of the area ÷ diameter of the spot
    "off_middle",  # from the spot's middle, in its diameters
    "elongation",  # long ÷ short side of the narrowest box
    "solidity",  # area ÷ area of the convex hull
    "fullness",  # area ÷ area of the ellipse in the narrowest box
    "shadow_side",  # how one-sided the likeness close to its edge is, 0 to 1
    "edge",  # mean slope of the scale from ground to spot along the outline, per pixel
    "edge_low",  # the same, at the softest fifth of the outline
    "growth",  # log of area at one quarter ÷ at three quarters of that scale
    "like_around",  # share of the surroundings that is nearer to the spot's colour
    "like_near",  # share of the strip close to its edge that is
    "like_most",  # place on the scale of the most alike fifth of that strip
    "unlike_inside",  # share inside that is nearer to the ground's colour
    "lightness",  # median L* inside, CIELAB
    "lightness_low",  # 10th percentile of it
    "gloss",  # 95th percentile of L* inside minus the median
    "grain",  # standard deviation of L* inside
    *("a", "b"),  # mean a*, b* inside
    *("lightness_far", "a_far", "b_far"),  # of the surroundings
    "grain_far",  # standard deviation of L* of the surroundings
    *("lightness_near", "a_near", "b_near"),  # close to the edge minus farther away: a halo
    "step",  # distance of its colour from that of the surroundings, CIELAB
)
"""What is measured of one outlined spot, in order."""

COMPANY = (
    "score",  # log-odds by its own measures
    "others",  # how many other droppings are believed, log of 1 + their probabilities
    "size_apart",  # |log size − that of the other droppings|, 0 where there are none
    "lightness_apart",  # |L* − that of the other droppings|
    "colour_apart",  # distance in a*, b* from the other droppings
    "size",  # as in MEASURES
    "step",  # as in MEASURES
)
"""What is measured of a spot among the others of its photo, in order."""

_RING_OF_SIZE = 0.3  # width of the strip close to the edge, of the spot's size
_LAB_SCALE = np.array([100 / 255, 1, 1], np.float32)  # of OpenCV's 8-bit coding
_LAB_ZERO = np.array([0, 128, 128], np.float32)


@dataclass(frozen=True, eq=False)
class Measured:
    """One outlined spot with its measures.

    Attributes
    ----------
    region : Region
        Its outline.
    values : ndarray of float32, shape (len(MEASURES),)
        In the order of ``MEASURES``.
    picture : ndarray of uint8
        From ``vision.frass_picture``.
    row, col : float
        Its middle, in pixels of the view's picture.
    length, width : float
        Sides of the narrowest box around it, in the same pixels.
    """

    region: Region
    values: Floats = field(repr=False)
    picture: NDArray[np.uint8] = field(repr=False)
    row: float
    col: float
    length: float
    width: float


def measure_regions(regions: list[Region]) -> list[Measured]:
    """Measure outlined spots in their views.

    Parameters
    ----------
    regions : list of Region
        From ``vision.frass_regions``.
    """
    if not regions:
        return []
    shown = [region.spot.view.pixels[region.window] for region in regions]
    joined = np.concatenate([part.reshape(-1, 3) for part in shown])[None]
    lab = cv2.cvtColor(joined, cv2.COLOR_RGB2LAB)[0].astype(np.float32)  # a call each costs more
    lab = lab * _LAB_SCALE - _LAB_ZERO
    ends = np.cumsum([region.inside.size for region in regions])[:-1]
    return [
        _measured(region, part.reshape(*region.inside.shape, 3))
        for region, part in zip(regions, np.split(lab, ends), strict=True)
    ]


def _measured(region: Region, lab: Floats) -> Measured:
    seen, spot = _Seen.of(region, lab), region.spot
    form, length, width = _form(seen.inside)
    rows, cols = np.nonzero(region.inside)
    row, col = region.row + float(rows.mean()), region.col + float(cols.mean())
    size = np.log(np.sqrt(seen.area))
    values = [
        size + np.log(spot.view.factor),
        size,
        size - np.log(spot.size_px),
        float(np.hypot(row - spot.row, col - spot.col)) / spot.size_px,
        *form,
        *_edges(seen),
        *_colours(seen),
    ]
    picture = picture_of(region, row, col)
    return Measured(region, np.array(values, np.float32), picture, row, col, length, width)


@dataclass(frozen=True, eq=False)
class _Seen:
    """An outlined spot with its surroundings, all of one shape."""

    scale: Floats
    lab: Floats
    inside: NDArray[np.uint8]
    core: Bools
    near: Bools
    far: Bools
    area: float

    @classmethod
    def of(cls, region: Region, lab: Floats) -> "_Seen":
        inside = region.inside.view(np.uint8)
        area = float(np.count_nonzero(inside))
        away = cv2.distanceTransform(1 - inside, cv2.DIST_L2, 3)
        ring = 1.5 + max(2.0, _RING_OF_SIZE * float(np.sqrt(area)))
        near, far = (away > 1.5) & (away <= ring), away > ring
        core = cv2.erode(inside, np.ones((3, 3), np.uint8), borderValue=0) > 0
        return cls(
            region.scale,
            lab,
            inside,
            core if core.any() else inside > 0,
            near if near.any() else inside > 0,
            next((part for part in (far, near) if part.any()), inside > 0),
            area,
        )


def _form(inside: NDArray[np.uint8]) -> tuple[tuple[float, float, float], float, float]:
    """Return elongation, solidity and fullness, then length and width in pixels."""
    outlines, _ = cv2.findContours(inside, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(outlines, key=len)
    _, (one, other), _ = cv2.minAreaRect(outline)
    length, width = max(one, other) + 1, min(one, other) + 1
    area = float(np.count_nonzero(inside))
    solid = area / hull_area(outline)
    return (length / width, solid, area / (np.pi / 4 * length * width)), length, width


def _edges(seen: _Seen) -> tuple[float, ...]:
    """Return shadow_side to unlike_inside."""
    rim = (cv2.dilate(seen.inside, np.ones((3, 3), np.uint8)) > 0) & ~seen.core
    across, down = (
        cv2.Sobel(seen.scale, cv2.CV_32F, *way, scale=1 / 8) for way in ((1, 0), (0, 1))
    )
    along = np.sort(np.hypot(across[rim], down[rim]))
    reach = cv2.dilate(seen.inside, np.ones((5, 5), np.uint8)) > 0
    wide, tight = (np.count_nonzero((seen.scale > at) & reach) for at in (0.25, 0.75))
    near = np.sort(seen.scale[seen.near])
    like = seen.scale > 0.5
    return (
        _one_sidedness(seen),
        float(along.mean()),
        _share_of(along, 0.2),
        float(np.log((wide + 2) / (tight + 2))),
        *(np.count_nonzero(like & part) / np.count_nonzero(part) for part in (seen.far, seen.near)),
        _share_of(near, 0.8),
        np.count_nonzero(~like & (seen.inside > 0)) / seen.area,
    )


def _one_sidedness(seen: _Seen) -> float:
    """Length of the mean direction in which it is like the spot close to the edge, 0 to 1."""
    rows, cols = np.nonzero(seen.near)
    own_rows, own_cols = np.nonzero(seen.inside)
    down, right = rows - own_rows.mean(), cols - own_cols.mean()
    away = np.hypot(down, right) + 1e-6
    like = np.clip(seen.scale[rows, cols], 0, 1)
    total = float(like.sum()) + 0.05 * len(rows)
    return float(np.hypot((like * down / away).sum(), (like * right / away).sum()) / total)


def _share_of(ordered: Floats, share: float) -> float:
    """Return the value below which this share lies (faster than np.percentile); 0 without any."""
    return float(ordered[int(share * (len(ordered) - 1))]) if len(ordered) else 0.0


def _colours(seen: _Seen) -> tuple[float, ...]:
    """Return lightness to step."""
    own, far, near = (seen.lab[part] for part in (seen.core, seen.far, seen.near))
    lightness = np.sort(own[:, 0])
    low, middle, high = (_share_of(lightness, share) for share in (0.1, 0.5, 0.95))
    mean, mean_far = own.mean(axis=0), far.mean(axis=0)
    return (
        *(middle, low, high - middle, float(lightness.std())),
        *(float(value) for value in mean[1:]),
        *(float(value) for value in mean_far),
        float(far[:, 0].std()),
        *(float(value) for value in near.mean(axis=0) - mean_far),
        float(np.linalg.norm(mean - mean_far)),
    )


def keep_company(rows: Floats, scores: Floats, believed: Bools | None = None) -> Floats:
    """Return ``COMPANY`` of each spot.

    Parameters
    ----------
    rows : ndarray of float32, shape (spots, at least len(MEASURES))
        ``MEASURES`` come first.
    scores : ndarray of float32, shape (spots,)
        Log-odds of each by its own measures.
    believed : ndarray of bool, shape (spots,), optional
        Which of them may be the company of others: those that do not overlap. All by default.
    """
    chance = np.asarray(1 / (1 + np.exp(-scores)), np.float32)
    chance[chance <= 0.2] = 0
    if believed is not None:
        chance[~believed] = 0
    size, lightness, a, b, step = (
        rows[:, MEASURES.index(name)] for name in ("size", "lightness", "a", "b", "step")
    )
    others = np.asarray(chance.sum() - chance, np.float32)
    apart = [
        np.where(others > 0.3, values - _mean_of_others(values, chance, others), 0.0)
        for values in (size, lightness, a, b)
    ]
    columns = (scores, np.log1p(others), np.abs(apart[0]), np.abs(apart[1]),
               np.hypot(apart[2], apart[3]), size, step)  # fmt: skip
    return np.stack(columns, axis=1).astype(np.float32)


def _mean_of_others(values: Floats, chance: Floats, others: Floats) -> Floats:
    return np.asarray(((chance * values).sum() - chance * values) / np.maximum(others, 1e-6))
