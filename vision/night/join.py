"""Joining the pieces of a body that a leaf or a stem cuts in two.

Two pieces belong together when one goes on where the other ends: the gap is short, the ends point
at each other, width and colour of the light are alike. How much each of these counts was learned.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.night.body import STATIONS, Body
from vision.night.features import Sampled, remapped
from vision.night.light import FLOOR, NightLight

__all__ = ["PAIR_FEATURES", "joined", "pair_features", "possible_pairs"]

PAIR_FEATURES = (
    "gap_in_widths",
    "gap_share",
    "turn_into_gap",
    "turn_out_of_gap",
    "ln_width_ratio",
    "ln_glow_ratio",
    "green_over_blue_difference",
    "green_over_red_difference",
    "ln_slenderness_joined",
    "ln_shorter_slenderness",
    "sideways_in_widths",
    "ground_in_gap",
    "ln_longer_slenderness",
    "facing_end_small",
    "facing_end_large",
    "cut_facing_ends",
    "cut_other_ends",
    "facing_end_far_small",
    "facing_end_far_large",
    "turn_over_gap",
    "ln_gap_light",
)
"""What is measured on two pieces; turns are in radians, the others are ratios or their ln."""

_MOST_GAP_IN_WIDTHS = 5.0
_MOST_TURN = 1.8
_MOST_WIDTH_RATIO = 2.5
_END_DEPTH, _FAR_DEPTH = 0.12, 0.35  # widths
_SHORT_OF_END = 0.5  # widths

Floats = NDArray[np.float64]


def possible_pairs(seen: Sequence[Sampled]) -> list[tuple[int, int]]:
    """Return the pairs that are worth a closer look, as numbers in the sequence."""
    bodies = [one.body for one in seen]
    if len(bodies) < 2:
        return []
    near = np.triu(_near_each_other(bodies), 1)
    pairs = ((int(i), int(j)) for i, j in np.argwhere(near))
    return [(i, j) for i, j in pairs if max(_turns(*_courses(bodies[i], bodies[j]))) <= _MOST_TURN]


def _near_each_other(bodies: Sequence[Body]) -> NDArray[np.bool_]:
    """Tell for each two bodies whether their ends are near and their widths alike."""
    ends = np.array([body.midline[[0, -1]] for body in bodies])
    gap = np.hypot(*(ends[:, None, :, None] - ends[None, :, None]).transpose(4, 0, 1, 2, 3))
    gap = gap.min(axis=(2, 3))
    width, length = (
        np.array([getattr(body, name) for body in bodies]) for name in ("width", "length")
    )
    usual = (width[:, None] + width) / 2
    alike = np.maximum(width[:, None], width) <= _MOST_WIDTH_RATIO * np.minimum(
        width[:, None], width
    )
    long = np.minimum(length[:, None], length) >= 0.5 * usual
    reach = np.minimum(_MOST_GAP_IN_WIDTHS * usual, 0.8 * (length[:, None] + length))
    return np.asarray(alike & long & (gap > 0) & (gap <= reach))


def _facing(one: Body, other: Body) -> tuple[Floats, Floats]:
    """Return both midlines so that the first ends where the second begins."""
    ways = [
        (a, b)
        for a in (one.midline, one.midline[::-1])
        for b in (other.midline, other.midline[::-1])
    ]
    return min(ways, key=lambda pair: float(np.hypot(*(pair[1][0] - pair[0][-1]))))


@dataclass(frozen=True, eq=False)
class _Course:
    """Where a piece goes on towards a gap, read short of its end: a slanting cut bends that.

    Attributes
    ----------
    end, ahead : ndarray of float64, shape (2,)
        A point on the midline half a width before its end, and the way that led there.
    """

    end: Floats
    ahead: Floats


def _turns(first: _Course, second: _Course) -> tuple[float, float]:
    """Return the turns from the first piece into the gap and from the gap into the second."""
    across = second.end - first.end
    return _angle(first.ahead, across), _angle(across, -second.ahead)


def _course(body: Body, line: Floats) -> _Course:
    """Read a body's course at the last point of its midline as given."""
    short = round(_SHORT_OF_END * STATIONS * body.width / max(body.length, 1e-6))
    at = STATIONS - 1 - min(short, STATIONS // 3)
    return _Course(line[at], np.asarray(line[at] - line[at - STATIONS // 4]))


def _courses(one: Body, other: Body) -> tuple[_Course, _Course]:
    first, second = _facing(one, other)
    return _course(one, first), _course(other, second[::-1])


def _angle(one: Floats, other: Floats) -> float:
    lengths = np.hypot(*one) * np.hypot(*other) + 1e-9
    return float(np.arccos(np.clip((one @ other) / lengths, -1, 1)))


def pair_features(one: Sampled, other: Sampled, night: NightLight) -> list[float]:
    """Measure two pieces, in the order of ``PAIR_FEATURES``.

    Parameters
    ----------
    one, other : Sampled
        The pieces.
    night : NightLight
        The photo: how bright the gap is.
    """
    first, second = _facing(one.body, other.body)
    gap = float(np.hypot(*(second[0] - first[-1])))
    width = (one.body.width + other.body.width) / 2
    length = one.body.length + other.body.length + gap
    courses = _courses(one.body, other.body)
    shorter, longer = sorted((one.body, other.body), key=lambda body: body.length)
    near, far = (
        sorted(_end_width(*end, depth) for end in ((one.body, first), (other.body, second[::-1])))
        for depth in (_END_DEPTH, _FAR_DEPTH)
    )
    cut = [_cut(one.body, first), _cut(other.body, second)[::-1]]
    own = np.log(one.own_light), np.log(other.own_light)
    colours = [abs(float((own[0][1] - own[0][c]) - (own[1][1] - own[1][c]))) for c in (2, 0)]
    return [
        gap / width,
        gap / length,
        *_turns(*courses),
        abs(float(np.log(one.body.width / other.body.width))),
        abs(float(np.log(np.median(one.glow) + 1e-3) - np.log(np.median(other.glow) + 1e-3))),
        *colours,
        float(np.log(length / width)),
        float(np.log(max(shorter.length / width, 0.1))),
        _sideways(*courses) / width,
        _gap_glow(first[-1], second[0], night.glow) / (float(np.median(one.glow)) + 1e-3),
        float(np.log(max(longer.length / width, 0.1))),
        *near,
        float(cut[0][1] + cut[1][1]),
        float(cut[0][0] + cut[1][0]),
        *far,
        _angle(courses[0].ahead, -courses[1].ahead),
        _gap_light(first[-1], second[0], night) - _ln_light(one) / 2 - _ln_light(other) / 2,
    ]


def _ln_light(piece: Sampled) -> float:
    """Return the light that is sent back beside a piece, as ln."""
    return float(np.log(piece.ground[0] + piece.ground[2] + 2 * FLOOR))


def _end_width(body: Body, line: Floats, depth: float) -> float:
    """Return the width just before a line's last point ÷ usual width: near 1 where it is cut."""
    at = np.clip(depth * body.width / max(body.length, 1e-6), 0, 0.5) * (STATIONS - 1)
    widths = _in_order(body.widths, body, line)[::-1]
    return float(np.interp(at, np.arange(STATIONS), widths) / max(body.width, 1e-6))


def _cut(body: Body, line: Floats) -> tuple[bool, bool]:
    """Return a body's cut ends in the direction of its midline as given."""
    first, last = body.cut_ends
    return (first, last) if np.array_equal(line, body.midline) else (last, first)


def _sideways(first: _Course, second: _Course) -> float:
    """Return how far the second piece begins beside the first one's course."""
    out = first.ahead / (np.hypot(*first.ahead) + 1e-9)
    across = second.end - first.end
    return abs(float(out[0] * across[1] - out[1] * across[0]))


def _gap_glow(start: Floats, end: Floats, glow: NDArray[np.float32]) -> float:
    return float(np.median(remapped(glow, _in_gap(start, end))))


def _gap_light(start: Floats, end: Floats, night: NightLight) -> float:
    """Return the light that the gap sends back, as ln: a leaf that lies over a body is lit."""
    red, _, blue = np.median(remapped(night.light, _in_gap(start, end)), axis=(0, 1))
    return float(np.log(red + blue + 2 * FLOOR))


def _in_gap(start: Floats, end: Floats) -> Floats:
    return np.asarray(start + np.linspace(0.2, 0.8, 7)[:, None] * (end - start))[:, None]


def joined(one: Body, other: Body) -> Body:
    """Return two pieces as one body; its mask holds what is seen of both."""
    first, second = _facing(one, other)
    line, (widths, hidden) = _evenly(*_end_to_end(one, other, first, second))
    mask, top, left = _union(one, other)
    gap = float(np.hypot(*(second[0] - first[-1])))
    unseen = one.gap_share * one.length + other.gap_share * other.length + gap
    share = unseen / max(one.length + other.length + gap, 1e-6)
    cut = _cut(one, first)[0], _cut(other, second)[1]
    return replace(one, midline=line, widths=widths, mask=mask, top=top, left=left, arms=1,
                   gap_share=share, cut_ends=cut, hidden=hidden > 0.5,
                   region_share=min(one.region_share, other.region_share))  # fmt: skip


def _end_to_end(
    one: Body, other: Body, first: Floats, second: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return the points of both midlines, the width at each, and 1 where it is hidden.

    Ends taper where they are cut, so in the gap a body is as wide as its pieces usually are.
    """
    between = second[0] - first[-1]
    edges = np.stack([first[-1] + 0.01 * between, second[0] - 0.01 * between])
    gap = (one.width, other.width), (1.0, 1.0)
    pieces = (one, first), (other, second)
    widths, hidden = (
        np.concatenate([_in_order(known(pieces[0][0]), *pieces[0]), inner,
                        _in_order(known(pieces[1][0]), *pieces[1])])
        for known, inner in zip((_widths, _hidden), gap, strict=True)
    )  # fmt: skip
    return np.concatenate([first, edges, second]), widths, hidden


def _widths(body: Body) -> Floats:
    return body.widths


def _hidden(body: Body) -> Floats:
    return body.hidden.astype(np.float64)


def _in_order(values: Floats, body: Body, line: Floats) -> Floats:
    """Return what is known at a body's stations in the direction of its midline as given."""
    return values if np.array_equal(line, body.midline) else values[::-1]


def _evenly(points: Floats, *along: Floats) -> tuple[Floats, list[Floats]]:
    """Return STATIONS points evenly spaced along a line, and what is known along it at each."""
    steps = np.hypot(*np.diff(points, axis=0).T)
    way = np.concatenate([[0.0], np.cumsum(steps)])
    even = np.linspace(0, way[-1], STATIONS)
    line = np.stack([np.interp(even, way, points[:, axis]) for axis in (0, 1)], axis=1)
    return line, [np.interp(even, way, one) for one in along]


def _union(one: Body, other: Body) -> tuple[NDArray[np.bool_], int, int]:
    top, left = min(one.top, other.top), min(one.left, other.left)
    bottom = max(body.top + body.mask.shape[0] for body in (one, other))
    right = max(body.left + body.mask.shape[1] for body in (one, other))
    mask = np.zeros((bottom - top, right - left), bool)
    for body in (one, other):
        row, col = body.top - top, body.left - left
        mask[row : row + body.mask.shape[0], col : col + body.mask.shape[1]] |= body.mask
    return mask, top, left
