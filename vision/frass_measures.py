"""What is measured of a dark patch, so that a dropping can be told from what only looks like one.

A dropping is a solid, convex barrel of one dark colour. It is black or nearly so whatever it lies
on, its edge is as sharp as the photo allows, it throws a shadow to one side, its ridges catch the
light, and what it lies on looks the same close to it and farther away. A lesion is part of the
leaf: brown, with a slope or a halo at its edge. A crumb is irregular and brown, a shade has no
edge and no colour of its own.
"""

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.frass_regions import Region

__all__ = ["COMPANY", "MEASURES", "Measured", "keep_company", "measure_region", "with_photo"]

Floats = NDArray[np.float32]
Bools = NDArray[np.bool_]

MEASURES = (
    "size",  # natural log of the root of the area, in pixels of the photo as it is looked at
    "size_seen",  # the same in pixels of the view in which it was found
    "elongation",  # long ÷ short side of the narrowest box
    "solidity",  # area ÷ area of the convex hull
    "fullness",  # area ÷ area of the ellipse in the narrowest box
    "contrast",  # natural log of the grey value around it ÷ its own
    "contrast_near",  # the same, close to its edge
    "shadow_side",  # how one-sided the darkness close to its edge is, 0 to 1
    "edge",  # mean grey slope along the outline ÷ contrast, per pixel
    "edge_low",  # the same, at the softest fifth of the outline
    "growth",  # log of area at three quarters ÷ at one quarter of the way to the ground
    "dark_around",  # share of the surroundings that is as dark
    "dark_near",  # share of the strip close to its edge that is as dark
    "contrast_weak",  # grey step to the darkest fifth of that strip ÷ step to the surroundings
    "lightness",  # median L* inside, CIELAB
    "lightness_low",  # 10th percentile of it
    "gloss",  # 95th percentile of L* inside minus the median
    "grain",  # standard deviation of L* inside
    *("a", "b"),  # median a*, b* inside
    *("lightness_far", "a_far", "b_far"),  # of the surroundings
    "grain_far",  # standard deviation of L* of the surroundings
    *("a_near", "b_near"),  # close to the edge minus farther away: a halo
    "part",  # 1 for a part of a larger patch, else 0
    "darker_share",  # share of the photo's patches that are darker
)
"""What is measured of one patch, in order."""

COMPANY = (
    "score",  # log-odds by the patch's own measures
    "others",  # how many other droppings are believed, log of 1 + their probabilities
    "size_apart",  # |log size − that of the other droppings|, 0 where there are none
    "lightness_apart",  # |L* − that of the other droppings|
    "size",  # as in MEASURES
    "contrast",  # as in MEASURES
)
"""What is measured of a patch among the others of its photo, in order."""

_RING_OF_SIZE = 0.3  # width of the strip close to the edge, of the patch's size
_PAD_OF_SIZE = 0.8  # how far the surroundings reach
_LAB_SCALE = np.array([100 / 255, 1, 1], np.float32)  # of OpenCV's 8-bit coding
_LAB_ZERO = np.array([0, 128, 128], np.float32)


@dataclass(frozen=True, eq=False)
class Measured:
    """One patch with its measures.

    Attributes
    ----------
    region : Region
        The patch.
    values : ndarray of float32, shape (len(MEASURES),)
        In the order of ``MEASURES``; the last is set by ``with_photo``.
    length, width : float
        Sides of the narrowest box around it, in pixels of its view.
    """

    region: Region
    values: Floats = field(repr=False)
    length: float
    width: float


def measure_region(region: Region) -> Measured:
    """Measure a patch in its view.

    Parameters
    ----------
    region : Region
        From ``vision.frass_regions``.

    Returns
    -------
    Measured
        With the last measure still 0: it needs all patches of the photo.
    """
    seen = _Seen.of(region)
    form, length, width = _form(seen.inside)
    size = np.log(np.sqrt(seen.area))
    values = [
        *(size + np.log(region.view.factor), size, *form),
        *_edges(seen),
        *_colours(seen),
        float(region.part),
        0.0,
    ]
    return Measured(region, np.array(values, np.float32), length, width)


@dataclass(frozen=True, eq=False)
class _Seen:
    """A patch with its surroundings, all of one shape."""

    grey: Floats
    slope: Floats
    lab: Floats
    inside: NDArray[np.uint8]
    core: Bools
    near: Bools
    far: Bools
    area: float

    @classmethod
    def of(cls, region: Region) -> "_Seen":
        size = float(np.sqrt(np.count_nonzero(region.inside)))
        window, inside = _around(region, round(_PAD_OF_SIZE * size) + 3)
        away = cv2.distanceTransform(1 - inside, cv2.DIST_L2, 3)
        ring = 1.5 + max(2.0, _RING_OF_SIZE * size)
        near, far = (away > 1.5) & (away <= ring), away > ring
        core = cv2.erode(inside, np.ones((3, 3), np.uint8), borderValue=0) > 0
        lab = cv2.cvtColor(region.view.pixels[window], cv2.COLOR_RGB2LAB).astype(np.float32)
        return cls(
            region.view.grey[window].astype(np.float32),
            region.view.slope[window].astype(np.float32) * np.float32(0.5),
            lab * _LAB_SCALE - _LAB_ZERO,
            inside,
            core if core.any() else inside > 0,
            near,
            next((part for part in (far, near, away > 0) if part.any()), inside > 0),
            float(np.count_nonzero(inside)),
        )


def _around(region: Region, pad: int) -> tuple[tuple[slice, slice], NDArray[np.uint8]]:
    """Return the window of the view around a patch, and the patch drawn in it."""
    spans, own_spans = [], []
    for start, side, most in zip(
        (region.row, region.col), region.inside.shape, region.view.grey.shape, strict=True
    ):
        spans.append(slice(max(0, start - pad), min(most, start + side + pad)))
        own_spans.append(slice(max(0, -start), min(side, most - start)))
    inside = np.zeros([span.stop - span.start for span in spans], np.uint8)
    own = region.inside[own_spans[0], own_spans[1]]
    row = region.row + own_spans[0].start - spans[0].start
    col = region.col + own_spans[1].start - spans[1].start
    inside[row : row + own.shape[0], col : col + own.shape[1]] = own
    return (spans[0], spans[1]), inside


def _form(inside: NDArray[np.uint8]) -> tuple[tuple[float, float, float], float, float]:
    """Return elongation, solidity and fullness, then length and width in pixels."""
    outlines, _ = cv2.findContours(inside, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(outlines, key=len)
    _, (one, other), _ = cv2.minAreaRect(outline)
    length, width = max(one, other) + 1, min(one, other) + 1
    area = float(np.count_nonzero(inside))
    hull = cv2.convexHull(outline)
    solid = area / (cv2.contourArea(hull) + cv2.arcLength(hull, closed=True) / 2 + 1)
    return (length / width, solid, area / (np.pi / 4 * length * width)), length, width


def _edges(seen: _Seen) -> tuple[float, ...]:
    """Return contrast to shadow_side, edge to contrast_weak."""
    own, around, close = (
        _share_of(np.sort(seen.grey[part]), 0.5) for part in (seen.core, seen.far, seen.near)
    )
    step = max(around - own, 4.0)
    rim = (cv2.dilate(seen.inside, np.ones((3, 3), np.uint8)) > 0) & ~seen.core
    along = seen.slope[rim] / step
    middle = seen.grey < own + step / 2
    reach = cv2.dilate(seen.inside, np.ones((5, 5), np.uint8)) > 0
    wide = np.count_nonzero((seen.grey < own + 0.75 * step) & reach)
    tight = np.count_nonzero((seen.grey < own + 0.25 * step) & reach)
    return (
        float(np.log((around + 5) / (own + 5))),
        float(np.log((close + 5) / (own + 5))),
        _one_sidedness(seen, around),
        float(along.mean()),
        _share_of(np.sort(along), 0.2),
        float(np.log((wide + 2) / (tight + 2))),
        int(np.count_nonzero(middle & seen.far)) / int(np.count_nonzero(seen.far)),
        int(np.count_nonzero(middle & seen.near)) / max(1, int(np.count_nonzero(seen.near))),
        (_share_of(np.sort(seen.grey[seen.near]), 0.2) - own) / step,
    )


def _one_sidedness(seen: _Seen, around: float) -> float:
    """Length of the mean direction in which it is dark close to the edge, 0 to 1."""
    rows, cols = np.nonzero(seen.near)
    if len(rows) == 0:
        return 0.0
    own_rows, own_cols = np.nonzero(seen.inside)
    down, right = rows - own_rows.mean(), cols - own_cols.mean()
    away = np.hypot(down, right) + 1e-6
    dark = np.maximum(around - seen.grey[rows, cols], 0)
    total = float(dark.sum()) + 2.0 * len(rows)
    return float(np.hypot((dark * down / away).sum(), (dark * right / away).sum()) / total)


def _share_of(ordered: Floats, share: float) -> float:
    """Return the value below which this share lies (faster than np.percentile); 0 without any."""
    return float(ordered[int(share * (len(ordered) - 1))]) if len(ordered) else 0.0


def _colours(seen: _Seen) -> tuple[float, ...]:
    """Return lightness to b_near."""
    own = seen.lab[seen.core].T
    lightness = np.sort(own[0])
    low, middle, high = (_share_of(lightness, share) for share in (0.1, 0.5, 0.95))
    far = seen.lab[seen.far].T
    near = seen.lab[seen.near].T if seen.near.any() else far
    far_a, far_b = float(far[1].mean()), float(far[2].mean())
    return (
        *(middle, low, high - middle, float(lightness.std())),
        *(float(own[1].mean()), float(own[2].mean())),
        *(float(far[0].mean()), far_a, far_b),
        float(far[0].std()),
        *(float(near[1].mean()) - far_a, float(near[2].mean()) - far_b),
    )


def with_photo(measured: list[Measured]) -> Floats:
    """Return the measures of all patches of one photo as rows, the photo's own filled in."""
    rows = np.stack([one.values for one in measured])
    lightness = rows[:, MEASURES.index("lightness")]
    order = np.argsort(np.argsort(lightness, kind="stable"), kind="stable")
    rows[:, -1] = order / len(rows)
    return rows


def keep_company(rows: Floats, scores: Floats) -> Floats:
    """Return ``COMPANY`` of each patch.

    Parameters
    ----------
    rows : ndarray of float32, shape (patches, len(MEASURES))
        Patches that do not overlap.
    scores : ndarray of float32, shape (patches,)
        Log-odds of each by its own measures.
    """
    chance = 1 / (1 + np.exp(-scores))
    chance = np.where(chance > 0.2, chance, 0.0)
    size, lightness, contrast = (
        rows[:, MEASURES.index(name)] for name in ("size", "lightness", "contrast")
    )
    others = chance.sum() - chance
    weight = np.maximum(others, 1e-6)
    apart = []
    for values in (size, lightness):
        mean = ((chance * values).sum() - chance * values) / weight
        apart.append(np.where(others > 0.3, np.abs(values - mean), 0.0))
    columns = (scores, np.log1p(others), *apart, size, contrast)
    return np.stack(columns, axis=1).astype(np.float32)
