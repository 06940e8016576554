"""Joining the pieces of a body that a leaf or a stem cuts in two.

Two pieces belong together when one goes on where the other ends: the gap is short, the ends point
at each other, width and colour of the light are alike. How much each of these counts was learned.
"""

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.night_body import STATIONS, Body
from vision.night_features import Sampled

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
)
"""What is measured on two pieces; turns are in radians, the others are ratios or their ln."""

_MOST_GAP_IN_WIDTHS = 5.0
_MOST_TURN = 1.5
_MOST_WIDTH_RATIO = 2.5

Floats = NDArray[np.float64]


def possible_pairs(seen: Sequence[Sampled]) -> list[tuple[int, int]]:
    """Return the pairs that are worth a closer look, as numbers in the sequence."""
    bodies = [one.body for one in seen]
    return [
        (i, j)
        for i, j in combinations(range(len(bodies)), 2)
        if _may_belong_together(bodies[i], bodies[j])
    ]


def _may_belong_together(one: Body, other: Body) -> bool:
    width = (one.width + other.width) / 2
    ratio = max(one.width, other.width) / max(min(one.width, other.width), 1e-6)
    if ratio > _MOST_WIDTH_RATIO or min(one.length, other.length) < 0.5 * width:
        return False
    first, second = _facing(one, other)
    gap = float(np.hypot(*(second[0] - first[-1])))
    if not 0 < gap <= min(_MOST_GAP_IN_WIDTHS * width, 0.8 * (one.length + other.length)):
        return False
    return max(_turns(first, second)) <= _MOST_TURN


def _facing(one: Body, other: Body) -> tuple[Floats, Floats]:
    """Return both midlines so that the first ends where the second begins."""
    ways = [
        (a, b)
        for a in (one.midline, one.midline[::-1])
        for b in (other.midline, other.midline[::-1])
    ]
    return min(ways, key=lambda pair: float(np.hypot(*(pair[1][0] - pair[0][-1]))))


def _turns(first: Floats, second: Floats) -> tuple[float, float]:
    """Return the turns from the first piece into the gap and from the gap into the second."""
    out, across, on = _ahead(first), second[0] - first[-1], _ahead(second[::-1]) * -1
    return _angle(out, across), _angle(across, on)


def _ahead(line: Floats) -> Floats:
    return np.asarray(line[-1] - line[-1 - STATIONS // 4])


def _angle(one: Floats, other: Floats) -> float:
    lengths = np.hypot(*one) * np.hypot(*other) + 1e-9
    return float(np.arccos(np.clip((one @ other) / lengths, -1, 1)))


def pair_features(one: Sampled, other: Sampled, glow: NDArray[np.float32]) -> list[float]:
    """Measure two pieces, in the order of ``PAIR_FEATURES``.

    Parameters
    ----------
    one, other : Sampled
        The pieces.
    glow : ndarray of float32, shape (rows, columns)
        From ``NightLight``: how bright the gap is.
    """
    first, second = _facing(one.body, other.body)
    gap = float(np.hypot(*(second[0] - first[-1])))
    width = (one.body.width + other.body.width) / 2
    length = one.body.length + other.body.length + gap
    turns = _turns(first, second)
    shorter = min((one.body, other.body), key=lambda body: body.length)
    own = np.log(one.own_light), np.log(other.own_light)
    colours = [abs(float((own[0][1] - own[0][c]) - (own[1][1] - own[1][c]))) for c in (2, 0)]
    return [
        gap / width,
        gap / length,
        *turns,
        abs(float(np.log(one.body.width / other.body.width))),
        abs(float(np.log(np.median(one.glow) + 1e-3) - np.log(np.median(other.glow) + 1e-3))),
        *colours,
        float(np.log(length / width)),
        float(np.log(max(shorter.length / width, 0.1))),
        _sideways(first, second) / width,
        _gap_glow(first[-1], second[0], glow) / (float(np.median(one.glow)) + 1e-3),
    ]


def _sideways(first: Floats, second: Floats) -> float:
    """Return how far the second piece begins beside the first one's course."""
    out = _ahead(first)
    out = out / (np.hypot(*out) + 1e-9)
    across = second[0] - first[-1]
    return abs(float(out[0] * across[1] - out[1] * across[0]))


def _gap_glow(start: Floats, end: Floats, glow: NDArray[np.float32]) -> float:
    points = start + np.linspace(0.2, 0.8, 7)[:, None] * (end - start)
    row, col = points[:, :1].astype(np.float32), points[:, 1:].astype(np.float32)
    return float(np.median(cv2.remap(glow, col, row, cv2.INTER_LINEAR)))


def joined(one: Body, other: Body) -> Body:
    """Return two pieces as one body; its mask holds what is seen of both."""
    first, second = _facing(one, other)
    gap = float(np.hypot(*(second[0] - first[-1])))
    line, widths = _evenly(
        np.concatenate([first, second]),
        np.concatenate([_in_order(one, first), _in_order(other, second)]),
    )
    mask, top, left = _union(one, other)
    hidden = one.gap_share * one.length + other.gap_share * other.length + gap
    share = hidden / max(one.length + other.length + gap, 1e-6)
    return replace(one, midline=line, widths=widths, mask=mask, top=top, left=left, arms=1,
                   gap_share=share)  # fmt: skip


def _in_order(body: Body, line: Floats) -> Floats:
    """Return a body's widths in the direction of its midline as given."""
    return body.widths if np.array_equal(line, body.midline) else body.widths[::-1]


def _evenly(points: Floats, widths: Floats) -> tuple[Floats, Floats]:
    steps = np.hypot(*np.diff(points, axis=0).T)
    way = np.concatenate([[0.0], np.cumsum(steps)])
    even = np.linspace(0, way[-1], STATIONS)
    line = np.stack([np.interp(even, way, points[:, axis]) for axis in (0, 1)], axis=1)
    return line, np.interp(even, way, widths)


def _union(one: Body, other: Body) -> tuple[NDArray[np.bool_], int, int]:
    top, left = min(one.top, other.top), min(one.left, other.left)
    bottom = max(body.top + body.mask.shape[0] for body in (one, other))
    right = max(body.left + body.mask.shape[1] for body in (one, other))
    mask = np.zeros((bottom - top, right - left), bool)
    for body in (one, other):
        row, col = body.top - top, body.left - left
        mask[row : row + body.mask.shape[0], col : col + body.mask.shape[1]] |= body.mask
    return mask, top, left
