"""Bays of a leaf's margin, and what is measured of each to tell a bite from a sinus.

A bay is where a ball rolled along the outside of the margin cannot get in (closing with a disc:
Serra 1982, Image Analysis and Mathematical Morphology). Lobes have bays between them by nature:
narrow, pointed, much alike, and with one opposite on the other side of the midrib. A bite is a
round bay, or a row of round ones, with corners at its mouth; the other side of the leaf has none
in its place.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.raster import distance_inside, thinned

__all__ = ["BAY_LENGTH_PX", "BAY_MEASURES", "Bay", "find_bays"]

Bools = NDArray[np.bool_]
Mask = NDArray[np.uint8]
Floats = NDArray[np.float32]

BAY_LENGTH_PX = 160
"""Length to which a longer leaf's outline is reduced before its bays are looked for."""

BAY_MEASURES = (
    "area",  # log of the bay's area as a share of the leaf's
    "depth",  # deepest point from the mouth, in leaf lengths
    "mouth",  # width of the mouth, in leaf lengths
    "depth_of_mouth",
    "roundness",  # 1 − misfit of the inner edge to a circle, in radii
    "radius",  # of that circle, in leaf lengths
    "ragged",  # length of the inner edge ÷ that of its hull's part
    "opposite_leaf",  # share of the bay where the mirrored leaf is leaf
    "opposite_bay",  # share of the bay where the mirrored leaf has a bay
    "likeness",  # overlap of leaf and mirrored leaf
    "others",  # log of 1 + number of other bays at least half as large
    "rank",  # area ÷ that of the leaf's median bay, log
    "along",  # place along the leaf's axis, 0 at the middle, 1 at an end
    "sharp",  # shares of the inner edge that turn sharply inwards
    "solid",  # area of the leaf ÷ that of its closed outline
    "ball",  # radius of the rolled ball, in leaf lengths
)
"""What is measured of one bay, in order."""

_BALLS = (0.13, 0.3, 0.7)  # radii of the rolled balls, in leaf lengths
_LEAST_AREA = 0.0008  # of the leaf: smaller bays are teeth and noise
_LEAST_DEPTH = 0.012  # in leaf lengths
_TURNS_DEG = (-18, -12, -6, 0, 6, 12, 18)  # tilts of the axis that are tried
_SHIFTS = (-0.06, -0.03, 0.0, 0.03, 0.06)  # and its shifts, in leaf lengths
_MIRROR_PX = 64


@dataclass(frozen=True, eq=False)
class Bay:
    """One bay of a leaf's margin.

    Attributes
    ----------
    share : float
        Its area as a share of the leaf's.
    inside : ndarray of bool, shape (rows, columns)
        Its pixels, the size of the outline it was found on.
    values : ndarray of float32, shape (len(BAY_MEASURES),)
        In the order of ``BAY_MEASURES``.
    """

    share: float
    inside: Bools = field(repr=False)
    values: Floats = field(repr=False)


def find_bays(leaf: Bools) -> list[Bay]:
    """Return the bays of one leaf's margin, those of the smaller ball first.

    Parameters
    ----------
    leaf : ndarray of bool, shape (rows, columns)
        One leaf without holes.

    Returns
    -------
    list of Bay
        A bay of the larger ball may hold several of the smaller one.
    """
    left, top, width, height = cv2.boundingRect(leaf.view(np.uint8))
    window = slice(max(0, top - 1), top + height + 1), slice(max(0, left - 1), left + width + 1)
    blade = np.ascontiguousarray(leaf[window]).view(np.uint8)
    mirror = _Mirror.of(blade)
    length = float(max(width, height))
    own = [bay for ball in _BALLS for bay in _bays_of(blade, length, ball, mirror)]
    return [replace(bay, inside=_placed(bay.inside, window, leaf.shape)) for bay in own]


def _placed(inside: Bools, window: tuple[slice, slice], shape: tuple[int, ...]) -> Bools:
    """Return a mask of the whole picture from that of a window."""
    whole = np.zeros(shape, bool)
    whole[window] = inside
    return whole


def _bays_of(blade: Mask, length: float, ball: float, mirror: "_Mirror") -> Iterator[Bay]:
    closed = _closed(blade, ball * length)
    bay_px = (closed > 0) & (blade == 0)
    below = distance_inside(closed > 0)
    count, labels, stats, centres = cv2.connectedComponentsWithStats(bay_px.view(np.uint8))
    area = float(np.count_nonzero(blade))
    deep = np.zeros(count, np.float32)
    np.maximum.at(deep, labels[bay_px], below[bay_px])
    large = (stats[:, cv2.CC_STAT_AREA] >= _LEAST_AREA * area) & (deep >= _LEAST_DEPTH * length)
    large[0] = False
    mirrored = mirror.turned(blade) > 0, mirror.turned(bay_px.view(np.uint8)) > 0
    areas = stats[large, cv2.CC_STAT_AREA].astype(np.float64)
    solid = area / float(np.count_nonzero(closed))
    whole = _Leaf(below, labels, length, area, solid, ball, mirror, *mirrored, areas)
    for label in np.flatnonzero(large):
        yield _bay(whole, int(label), stats[label], centres[label])


def _closed(blade: Mask, radius: float) -> Mask:
    """Close with a disc: the closing lies inside the hull, only the way there needs more room."""
    pad = int(radius) + 2
    room = np.pad(1 - blade, pad, constant_values=1)
    grown = cv2.distanceTransform(room, cv2.DIST_L2, 5) <= radius
    kept = cv2.distanceTransform(grown.view(np.uint8), cv2.DIST_L2, 5)[pad:-pad, pad:-pad] > radius
    return np.asarray(kept.view(np.uint8) | blade)


@dataclass(frozen=True, eq=False)
class _Mirror:
    """The line along which a leaf and its mirror picture agree best."""

    matrix: NDArray[np.float64]
    axis: NDArray[np.float64]
    middle: NDArray[np.float64]
    likeness: float

    @classmethod
    def of(cls, blade: Mask) -> "_Mirror":
        """Find the mirror line of a leaf.

        Parameters
        ----------
        blade : ndarray of uint8, shape (rows, columns)
            1 on the leaf without its stalk, 0 elsewhere.
        """
        shrink = min(1.0, _MIRROR_PX / max(blade.shape))
        small = thinned(blade * 255, shrink, cv2.INTER_AREA)
        rows, cols = np.nonzero(small > 127)
        points = np.stack([cols, rows], axis=1).astype(np.float64)
        middle = points.mean(axis=0)
        _, axes = np.linalg.eigh(np.cov((points - middle).T))
        along = np.arctan2(axes[1, 1], axes[0, 1])
        length = float(np.ptp(points @ axes[:, 1]))
        tried = []
        for turn in _TURNS_DEG:
            angle = along + np.radians(turn)
            across = np.array([-np.sin(angle), np.cos(angle)])
            for shift in _SHIFTS:
                matrix = _reflection(angle, middle + shift * length * across)
                other = cv2.warpAffine(small, matrix, small.shape[::-1])
                both = np.count_nonzero((other > 127) & (small > 127))
                either = np.count_nonzero((other > 127) | (small > 127))
                tried.append((both / either, angle, middle + shift * length * across))
        likeness, angle, at = max(tried, key=lambda one: one[0])
        full = (at + 0.5) / shrink - 0.5
        axis = np.array([np.cos(angle), np.sin(angle)])
        return cls(_reflection(angle, full), axis, full, float(likeness))

    def turned(self, mask: Mask) -> Mask:
        """Return the mirror picture of a mask of uint8, shape (rows, columns): the same shape."""
        size = (mask.shape[1], mask.shape[0])
        return np.asarray(
            cv2.warpAffine(mask, self.matrix, size, flags=cv2.INTER_NEAREST), np.uint8
        )


def _reflection(angle: float, through: NDArray[np.float64]) -> NDArray[np.float64]:
    cos, sin = np.cos(2 * angle), np.sin(2 * angle)
    turn = np.array([[cos, sin], [sin, -cos]])
    return np.column_stack([turn, through - turn @ through])


@dataclass(frozen=True, eq=False)
class _Leaf:
    below: Floats
    labels: NDArray[np.int32]
    length: float
    area: float
    solid: float
    ball: float
    mirror: _Mirror
    mirrored_leaf: Bools
    mirrored_bays: Bools
    areas: NDArray[np.float64]  # of its bays


def _bay(whole: _Leaf, label: int, box: NDArray[np.int32], centre: NDArray[np.float64]) -> Bay:
    left, top, width, height, area_px = (int(value) for value in box)
    window = slice(top, top + height), slice(left, left + width)
    inside = whole.labels[window] == label
    below = whole.below[window]
    area, length = float(area_px), whole.length
    edge, mouth_px = _edges(inside, below)
    depth = float(below[inside].max())
    radius, misfit = _circle(edge)
    at = centre - whole.mirror.middle
    others = np.count_nonzero(whole.areas >= area / 2) - 1
    values = (
        np.log(area / whole.area),
        depth / length,
        mouth_px / length,
        depth / max(mouth_px, 1.0),
        1 - misfit / max(radius, 1.0),
        min(radius / length, 1.0),
        len(edge) / max(mouth_px, 1.0),
        np.count_nonzero(whole.mirrored_leaf[window] & inside) / area,
        np.count_nonzero(whole.mirrored_bays[window] & inside) / area,
        whole.mirror.likeness,
        np.log1p(others),
        np.log(area / float(np.sort(whole.areas)[len(whole.areas) // 2])),
        min(1.5, abs(float(at @ whole.mirror.axis)) / (length / 2)),
        _sharp_share(edge, length),
        whole.solid,
        whole.ball,
    )
    own = np.zeros(whole.labels.shape, bool)
    own[window] = inside
    return Bay(area / whole.area, own, np.array(values, np.float32))


def _edges(inside: Bools, below: Floats) -> tuple[NDArray[np.float64], float]:
    """Return the inner edge as ordered points (x, y), and the mouth's width in pixels."""
    outlines, _ = cv2.findContours(
        inside.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    points = max(outlines, key=len)[:, 0].astype(np.intp)
    at_leaf = below[points[:, 1], points[:, 0]] > 1.8
    if at_leaf.all() or not at_leaf.any():
        return points.astype(np.float64), 1.0
    start = int(np.flatnonzero(~at_leaf)[0])
    turned, inner = np.roll(points, -start, axis=0), np.roll(at_leaf, -start)
    edge = turned[inner].astype(np.float64)
    return edge, float(np.hypot(*(edge[0] - edge[-1]))) + 1.0


def _circle(edge: NDArray[np.float64]) -> tuple[float, float]:
    """Fit a circle (Kåsa 1976, IEEE Trans. Instrum. Meas. 25:8–14); return radius and misfit."""
    if len(edge) < 5:
        return 1.0, 1.0
    middle = edge.mean(axis=0)
    x, y = (edge - middle).T
    system = np.column_stack([2 * x, 2 * y, np.ones_like(x)])
    (a, b, c), *_ = np.linalg.lstsq(system, x * x + y * y, rcond=None)
    radius = float(np.sqrt(max(c + a * a + b * b, 1e-6)))
    away = np.hypot(x - a, y - b) - radius
    return radius, float(np.sqrt((away * away).mean()))


def _sharp_share(edge: NDArray[np.float64], length: float) -> float:
    """Return how much the inner edge turns at its sharpest place, in half turns."""
    reach = max(3, round(0.03 * length))
    if len(edge) < 2 * reach + 1:
        return 0.0
    before = edge[reach:-reach] - edge[: -2 * reach]
    after = edge[2 * reach :] - edge[reach:-reach]
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    turn = np.arctan2(cross, (before * after).sum(axis=1))
    return float(np.abs(turn).max() / np.pi)
