"""What is measured on each body of a night photo, and why it tells a caterpillar from other things.

Light: a caterpillar sends out green to cyan of its own, where brighteners send blue-white, glare
the torch's violet, and stems and veins hardly more than foliage. Shape: a caterpillar is long,
blunt at both ends, evenly wide, gently bent and banded; tags have corners, twine is thin, drops
are round. Everything is a ratio, or a logarithm of one, so that another exposure or scale changes
little.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.night.body import STATIONS, Body
from vision.night.light import FLOOR, NightLight

__all__ = [
    "FEATURES",
    "Sampled",
    "describe",
    "described_among",
    "features_by_name",
    "normals_of",
    "remapped",
    "sample",
    "size_at_half",
]

_OFFSETS = np.linspace(-0.42, 0.42, 9)  # across the body, in widths
_BESIDE = 0.5  # widths beyond each edge, where the ground is looked at
_LEAST_BESIDE_PX = 3.0
_BURNT = 0.95  # linear light
_ALIKE = 0.3  # ln of length and of width

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Sampled:
    """A body's light on a grid along and across it.

    Attributes
    ----------
    body : Body
        The body.
    light : ndarray of float64, shape (STATIONS, 9, 3)
        Linear light; along, across, colour.
    glow : ndarray of float64, shape (STATIONS, 9)
        As in ``NightLight``.
    ratio : ndarray of float64, shape (STATIONS, 9)
        As in ``NightLight``.
    ground : ndarray of float64, shape (3,)
        Linear light beside the body, the lower half of both sides.
    """

    body: Body
    light: Floats = field(repr=False)
    glow: Floats = field(repr=False)
    ratio: Floats = field(repr=False)
    ground: Floats

    @cached_property
    def own_light(self) -> Floats:
        """Median light of the body beyond the ground's, where it is not burnt out; shape (3,)."""
        colours = self.light.reshape(-1, 3)
        kept = colours[colours.max(axis=1) < _BURNT]
        colours = kept if len(kept) >= 0.15 * len(colours) else colours
        bright = colours[colours[:, 1] >= np.percentile(colours[:, 1], 40)]
        return np.asarray(np.maximum(np.median(bright, axis=0) - self.ground, 0) + float(FLOOR))


def sample(body: Body, night: NightLight) -> Sampled:
    """Lay a body's light straight.

    Parameters
    ----------
    body : Body
        From ``bodies_of``.
    night : NightLight
        The photo.
    """
    normals = normals_of(body.midline)
    widths = np.maximum(body.widths, 0.5 * body.width)
    inner = body.midline[:, None] + normals[:, None] * (widths[:, None] * _OFFSETS)[..., None]
    inner = inner[_nearest_seen(body.hidden)]
    beyond = 0.5 * widths + np.maximum(_BESIDE * widths, _LEAST_BESIDE_PX)
    beside = np.stack([body.midline + sign * normals * beyond[:, None] for sign in (-1, 1)], axis=1)
    ground = remapped(night.light, beside).reshape(-1, 3)
    dark = ground[ground.sum(axis=1) <= np.median(ground.sum(axis=1))]
    return Sampled(
        body,
        remapped(night.light, inner),
        remapped(night.glow, inner),
        remapped(night.ratio, inner),
        np.median(dark, axis=0),
    )


def _nearest_seen(hidden: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Return for each station the nearest one that is seen: what hides a body is not its light."""
    stations, seen = np.arange(len(hidden)), np.flatnonzero(~hidden)
    if not len(seen):
        return stations
    return np.asarray(seen[np.abs(stations[:, None] - seen).argmin(axis=1)])


def normals_of(line: Floats) -> Floats:
    """Return unit vectors across a line.

    Parameters
    ----------
    line : ndarray of float64, shape (points, 2)
        Row and column, pixels.

    Returns
    -------
    ndarray of float64, shape (points, 2)
        Row and column, length 1.
    """
    ahead = cv2.blur(np.gradient(line, axis=0), (1, 5), borderType=cv2.BORDER_REPLICATE)
    length = np.hypot(*ahead.T)[:, None] + 1e-9
    return np.asarray(np.stack([-ahead[:, 1], ahead[:, 0]], axis=1) / length)


def remapped(picture: NDArray[np.float32], points: Floats) -> Floats:
    """Look a picture up at points, between pixels linearly.

    Parameters
    ----------
    picture : ndarray of float32, shape (rows, columns) or (rows, columns, 3)
        Continued beyond its edge by the nearest pixel.
    points : ndarray of float64, shape (along, across, 2)
        Row and column, pixels.

    Returns
    -------
    ndarray of float64, shape (along, across) or (along, across, 3)
        In the picture's unit.
    """
    row, col = points[..., 0].astype(np.float32), points[..., 1].astype(np.float32)
    seen = cv2.remap(picture, col, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(seen, np.float64)


def _ln(above: float, below: float) -> float:
    return float(np.log((above + 1e-6) / (below + 1e-6)))


def _end_widths(body: Body, depth: float) -> list[float]:
    """Return the width at some depth (in widths) from both ends, ÷ usual width, the larger last."""
    at = np.clip(depth * body.width / max(body.length, 1e-6), 0, 0.5) * (STATIONS - 1)
    where = np.arange(STATIONS)
    ends = [np.interp(at, where, one) for one in (body.widths, body.widths[::-1])]
    return sorted(float(end / max(body.width, 1e-6)) for end in ends)


def _turning(body: Body) -> Floats:
    """Return the turn of the midline at each station, in radians, over about one width."""
    steps = np.diff(body.midline, axis=0)
    heading = np.unwrap(np.arctan2(steps[:, 0], steps[:, 1]))
    span = int(np.clip(STATIONS * body.width / max(body.length, 1e-6), 2, STATIONS // 2))
    return np.asarray(heading[span:] - heading[:-span])


def _middle(values: Floats) -> Floats:
    cut = STATIONS // 6
    return values[cut:-cut]


def _waviness(body: Body) -> float:
    """Return how much the width wobbles along the body beyond a smooth course, ÷ width."""
    widths = _middle(body.widths)
    course = np.polynomial.Polynomial.fit(np.arange(len(widths)), widths, 3)
    return float(np.std(widths - course(np.arange(len(widths)))) / max(body.width, 1e-6))


def _profile(seen: Sampled) -> Floats:
    """Return the logarithm of the glow along the middle of the body."""
    return np.asarray(np.log(np.maximum(_middle(seen.glow[:, 2:7].mean(axis=1)), 1e-3)))


def _bands(seen: Sampled) -> float:
    profile = _profile(seen)
    smooth = cv2.blur(profile[:, None], (1, 9), borderType=cv2.BORDER_REFLECT)[:, 0]
    return float(np.std(profile - smooth))


def _grain(seen: Sampled) -> float:
    """Return what differs neither along nor across alone: marks on a body, noise."""
    glow = np.log(np.maximum(_middle(seen.glow), 1e-3))
    rest = glow - glow.mean(axis=0) - glow.mean(axis=1, keepdims=True) + glow.mean()
    return float(np.std(rest))


def _roundness(seen: Sampled) -> float:
    """Return how much brighter the middle is than the sides."""
    across = _middle(seen.glow).mean(axis=0)
    return _ln(float(across[3:6].mean()), float((across[0] + across[-1]) / 2))


def _own(seen: Sampled, above: int, below: int) -> float:
    own = seen.own_light
    return _ln(float(own[above]), float(own[below]))


def _against_foliage(seen: Sampled, night: NightLight, above: int, below: int) -> float:
    foliage = night.foliage + FLOOR
    return _own(seen, above, below) - _ln(float(foliage[above]), float(foliage[below]))


def _hue_spread(seen: Sampled) -> float:
    light = _middle(seen.light)
    return float(np.std(np.log((light[..., 1] + FLOOR) / (light[..., 2] + light[..., 0] + FLOOR))))


def _outline(body: Body) -> NDArray[np.int32]:
    outlines, _ = cv2.findContours(
        body.mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    return np.asarray(np.concatenate(outlines) if outlines else np.zeros((1, 1, 2)), np.int32)


def _solidity(body: Body) -> float:
    points = _outline(body)
    hull = cv2.contourArea(cv2.convexHull(points)) + 0.5 * cv2.arcLength(points, True) + 1
    return float(min(1.0, np.count_nonzero(body.mask) / hull))


def _box_fill(body: Body) -> float:
    """Return area ÷ area of the smallest rectangle around it: 1 for a tag."""
    area = int(np.count_nonzero(body.mask))
    if area < 3:
        return 1.0
    _, (width, height), _ = cv2.minAreaRect(_outline(body).astype(np.float32))
    return float(area / max((width + 1) * (height + 1), 1.0))


def _at_border(body: Body, night: NightLight) -> float:
    rows, columns = night.glow.shape
    ends = body.midline[[0, -1]]
    margin = 0.5 * body.width + 2
    near = (ends < margin) | (ends > np.array([rows, columns]) - 1 - margin)
    return float(near.any(axis=1).sum())


Measure = Callable[[Sampled, NightLight], float]

FEATURES: dict[str, Measure] = {
    # Shape
    "ln_length_px": lambda s, n: _ln(s.body.length, 1),
    "ln_width_px": lambda s, n: _ln(s.body.width, 1),
    "ln_slenderness": lambda s, n: _ln(s.body.length, s.body.width),
    "ln_share_of_picture": lambda s, n: _ln(s.body.length, max(n.glow.shape)),
    "width_variation": lambda s, n: float(np.std(_middle(s.body.widths)) / max(s.body.width, 1e-6)),
    "width_waviness": lambda s, n: _waviness(s.body),
    "end_near_small": lambda s, n: _end_widths(s.body, 0.1)[0],
    "end_near_large": lambda s, n: _end_widths(s.body, 0.1)[1],
    "end_far_small": lambda s, n: _end_widths(s.body, 0.4)[0],
    "end_far_large": lambda s, n: _end_widths(s.body, 0.4)[1],
    "bend": lambda s, n: float(np.abs(_turning(s.body)).mean() * s.body.length / s.body.width),
    "sharpest_bend": lambda s, n: float(np.abs(_turning(s.body)).max()),
    "fill": lambda s, n: float(
        np.count_nonzero(s.body.mask) / max(s.body.length * s.body.width, 1.0)
    ),
    "solidity": lambda s, n: _solidity(s.body),
    "box_fill": lambda s, n: _box_fill(s.body),
    "arms": lambda s, n: float(min(s.body.arms, 6)),
    "gap_share": lambda s, n: s.body.gap_share,
    "region_share": lambda s, n: s.body.region_share,
    "cut_ends": lambda s, n: float(sum(s.body.cut_ends)),
    "ends_at_border": lambda s, n: _at_border(s.body, n),
    # Light
    "ln_glow": lambda s, n: _ln(float(np.median(s.glow)), 1),
    "ln_green_ratio": lambda s, n: float(np.median(s.ratio)),
    "green_over_blue": lambda s, n: _own(s, 1, 2),
    "green_over_red": lambda s, n: _own(s, 1, 0),
    "green_over_blue_foliage": lambda s, n: _against_foliage(s, n, 1, 2),
    "green_over_red_foliage": lambda s, n: _against_foliage(s, n, 1, 0),
    "ln_own_green": lambda s, n: _ln(float(s.own_light[1]), 1),
    "ln_over_ground": lambda s, n: _ln(float(s.own_light[1]), float(s.ground[1] + FLOOR)),
    "burnt_share": lambda s, n: float((s.light.max(axis=2) >= _BURNT).mean()),
    "bands": lambda s, n: _bands(s),
    "along_variation": lambda s, n: float(np.std(_profile(s))),
    "grain": lambda s, n: _grain(s),
    "roundness": lambda s, n: _roundness(s),
    "hue_spread": lambda s, n: _hue_spread(s),
    "foliage_greenness": lambda s, n: n.foliage_greenness,
    "ln_foliage_light": lambda s, n: _ln(float(n.foliage.mean()), 1),
}
"""Each feature's measure by its name; lengths and widths in working pixels."""


def describe(seen: Sequence[Sampled], night: NightLight) -> NDArray[np.float32]:
    """Measure bodies.

    Parameters
    ----------
    seen : sequence of Sampled
        All bodies of one photo.
    night : NightLight
        The photo.

    Returns
    -------
    ndarray of float32, shape (bodies, len(FEATURES) + 1)
        In the order of ``FEATURES``; the last column is how many others there are of nearly the
        same length and width, as ln(1 + number): eggs, drops and pollen come in crowds.
    """
    rows = _rows(seen, night)
    return _with_alike(rows, rows, 0)


def _rows(seen: Sequence[Sampled], night: NightLight) -> NDArray[np.float64]:
    rows = [[measure(one, night) for measure in FEATURES.values()] for one in seen]
    return np.array(rows, np.float64).reshape(len(seen), len(FEATURES))


def _with_alike(rows: Floats, others: Floats, itself: int) -> NDArray[np.float32]:
    """Append how many others are of nearly the same size."""
    near = np.abs(rows[:, None, :2] - others[None, :, :2]).max(axis=2) < _ALIKE
    return np.column_stack([rows, np.log(near.sum(axis=1) + itself)]).astype(np.float32)


def described_among(
    some: Sequence[Sampled], others: Sequence[Sampled], night: NightLight
) -> NDArray[np.float32]:
    """Measure bodies that are not of a photo's own list, among those that are.

    Parameters
    ----------
    some : sequence of Sampled
        What is measured.
    others : sequence of Sampled
        All bodies of the photo: they count as others of the same size.
    night : NightLight
        The photo.

    Returns
    -------
    ndarray of float32, shape (some, len(FEATURES) + 1)
        As ``describe`` gives it.
    """
    rows = _rows(some, night)
    own = [[_ln(one.body.length, 1), _ln(one.body.width, 1)] for one in others]
    return _with_alike(rows, np.array(own, np.float64).reshape(len(others), 2), 1)


def features_by_name(
    seen: Sampled, night: NightLight, names: Iterable[str] = tuple(FEATURES)
) -> dict[str, float]:
    """Measure one body, each value by its name in ``FEATURES``."""
    return {name: FEATURES[name](seen, night) for name in names}


_REACH = 0.9  # widths to each side
_SAMPLES = 61
_HALF = 0.5


def size_at_half(body: Body, night: NightLight) -> tuple[float, float]:
    """Return length and width of a body in working pixels.

    Parameters
    ----------
    body : Body
        From ``vision.night.decide``.
    night : NightLight
        The photo.
    """
    cut = STATIONS // 5
    line = body.midline[cut:-cut]
    offsets = np.linspace(-_REACH, _REACH, _SAMPLES) * body.width
    points = line[:, None] + normals_of(body.midline)[cut:-cut, None] * offsets[:, None]
    profile = remapped(night.glow, points)
    middle = profile[:, _SAMPLES // 3 : -_SAMPLES // 3]
    own = np.percentile(middle, 75, axis=1, keepdims=True)
    inside = _connected_to_middle(profile >= _HALF * own)
    step = offsets[1] - offsets[0]
    width = float(np.median(inside.sum(axis=1)) * step)
    width = min(max(width, step), body.width)
    return max(body.length - (body.width - width), width), width


def _connected_to_middle(bright: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Keep what is connected to the middle column, row by row."""
    middle = bright.shape[1] // 2
    right = np.logical_and.accumulate(bright[:, middle:], axis=1)
    left = np.logical_and.accumulate(bright[:, middle::-1], axis=1)[:, ::-1]
    return np.concatenate([left, right[:, 1:]], axis=1)
