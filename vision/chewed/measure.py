"""Leaf area that was eaten: bites from the margin and holes, against the outline expected.

Bays of the margin are found and judged one by one (``vision.chewed.bays``); a hole with a rim of
dead tissue was left by disease, one with a clean green edge was eaten. Where nobody could say how
the leaf looked before (it is cut off, touches others, is made of several leaflets, lies on a busy
background, or has bays that may be natural or left by disease), nothing is said.
"""

from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision import learned
from vision.chewed.bays import BAY_LENGTH_PX, BAY_MEASURES, Bay, find_bays
from vision.learned import Layers, layers_of, refuse_others, stored_in
from vision.raster import disc, distance_inside, filled, largest_part, shrunk
from vision.records import LESION

__all__ = [
    "BITE_LOG_ODDS",
    "CHEWED_PATH",
    "LITTLE",
    "SHAPE",
    "BiteJudge",
    "Chewed",
    "SeenMargin",
    "bite_judge_of",
    "bite_log_odds",
    "chewed_interval",
    "chewed_pct",
    "eaten_pct",
    "is_compound",
    "load_bite_judge",
    "margin_bays",
    "measure_chewed",
    "read_outline",
    "without_stalk",
]

Bools = NDArray[np.bool_]
Mask = NDArray[np.uint8]

BITE_LOG_ODDS = 2.5
"""From here on (twelve to one) a bay is a bite: a lobe that reads as one is worse than a miss."""

SURE = 2.6
"""Weight of all bays together from which a leaf was eaten; below, its bays may be natural.

Chosen so that of 260 real leaves of six sources, none known to be eaten, one in a hundred reads as
eaten; ``python -m scripts.workshop figures feeding`` has what that costs and how others are read.
"""

LITTLE = 0.01
"""Share of a leaf below which bites are not told from each other by how much they took.

Holes that take less count as none: glare and noise leave such.
"""

SHAPE = (
    "believed",  # area of the bays believed to be bites, as a share of what is left
    "expected",  # of all bays, each place weighed by the likeliest bay over it
    "bays",  # of all bays
    "likeliest",  # log-odds of the likeliest bay
    "bites",  # log of 1 + bays believed in
    "holes",  # eaten holes, as a share of what is left
    "hull",  # what lies between leaf and convex hull, as a share of what is left
    "box",  # area of the narrowest box ÷ what is left
    "slender",  # its short ÷ its long side
    "likeness",  # overlap of leaf and mirrored leaf, 1 without bays
    "ragged",  # length of the margin ÷ that of the hull
)
"""What is measured of a whole outline, in order."""

CHEWED_PATH = learned.CHEWED

_MOST_PCT = 95.0
_LIKENESS, _BALL = BAY_MEASURES.index("likeness"), BAY_MEASURES.index("ball")
_WEIGHS_FROM = 1.5  # log-odds from which a bay weighs at all
_WEIGHT_OF_DEAD = 2.0  # log-odds that a rim of dead tissue takes from a bay: disease left it
_RIM_OF_BAY = 0.02  # width of the rim that is looked at around a bay, in leaf lengths
_LEAST_HOLE = 0.0004  # of the leaf: smaller holes are noise
_RIM_OF_LENGTH = 0.012  # width of the rim that is looked at around a hole, in leaf lengths
_DEAD_RIM = 0.35  # share of dead tissue in the rim from which disease left the hole
_MAIN_PART = 0.95  # of the leaf: where its blade is less, it is made of several parts
_STALK = 0.03  # half the width, in leaf lengths, of the broadest stalk
_LEAST_STALK = 0.004  # of the leaf's area
_BESIDE_STALK = 0.02  # leaf lengths
_NECK = 0.035  # leaf lengths taken off all round, so that leaflets on a stalk come apart
_LEAFLETS, _LEAFLET_SHARE = 3, 0.05  # so many parts of this share make a leaf of leaflets


@dataclass(frozen=True, eq=False)
class BiteJudge:
    """What tells bites from the sinuses between lobes.

    Attributes
    ----------
    bays : Layers
        Log-odds of a bite from ``BAY_MEASURES``.
    gain : Layers
        Logarithm of what bites took ÷ the bays believed in, from ``SHAPE``; both as shares of what
        is left, plus ``LITTLE``.
    spread : Layers
        Logarithm of the usual miss in percentage points, from ``SHAPE``.
    times_low, times_high : float
        Usual misses by which the interval reaches down and up.
    """

    bays: Layers
    gain: Layers
    spread: Layers
    times_low: float
    times_high: float


@dataclass(frozen=True, eq=False)
class SeenMargin:
    """What is seen of one leaf's outline.

    Attributes
    ----------
    believed : float
        Area of the bays believed to be bites, as a share of what is left.
    holes : float
        Area of eaten holes, as a share of what is left.
    weight : float
        How much speaks for bites at all, all bays together; see ``SURE``.
    shape : ndarray of float32, shape (len(SHAPE),)
        In the order of ``SHAPE``.
    missing : ndarray of bool, shape (rows, columns)
        Bites and holes, the size of the given leaf.
    """

    believed: float
    holes: float
    weight: float
    shape: NDArray[np.float32] = field(repr=False)
    missing: Bools = field(repr=False)


@dataclass(frozen=True, eq=False)
class Chewed:
    """How much of one leaf was eaten.

    Attributes
    ----------
    pct, low_pct, high_pct : float
        Eaten part of the expected area in percent, and its 95 % interval.
    missing : ndarray of bool, shape (rows, columns)
        Where leaf is expected but gone, the size of the given leaf.
    """

    pct: float
    low_pct: float
    high_pct: float
    missing: Bools = field(repr=False)


def measure_chewed(leaf: Bools, classes: Mask, judge: BiteJudge | None = None) -> Chewed | None:
    """Measure how much of one leaf was eaten.

    Parameters
    ----------
    leaf : ndarray of bool, shape (rows, columns)
        One leaf; holes are open.
    classes : ndarray of uint8, shape (rows, columns)
        Its mask values, from which dead rims are seen.
    judge : BiteJudge, optional
        The one that ships with the product by default.

    Returns
    -------
    Chewed or None
        None where the leaf is made of several parts or leaflets, and where it may be eaten or have
        its bays by nature or from disease.
    """
    judge = judge or load_bite_judge()
    seen = read_outline(leaf, classes, judge.bays)
    if seen is None or (seen.believed > 0 and seen.weight < SURE):
        return None
    if seen.believed == 0 and seen.holes < LITTLE:
        return Chewed(0.0, *chewed_interval(0.0, seen, judge), np.zeros_like(leaf))
    pct = chewed_pct(seen, judge)
    return Chewed(pct, *chewed_interval(pct, seen, judge), seen.missing)


def read_outline(leaf: Bools, classes: Mask, bite: Layers) -> SeenMargin | None:
    """Find bites and eaten holes of one leaf, and measure its whole outline.

    Parameters
    ----------
    leaf : ndarray of bool, shape (rows, columns)
        One leaf; holes are open.
    classes : ndarray of uint8, shape (rows, columns)
        Its mask values, from which dead rims are seen.
    bite : Layers
        Log-odds of a bite from ``BAY_MEASURES``.

    Returns
    -------
    SeenMargin or None
        None where the leaf is made of several parts or leaflets.
    """
    factor = min(1.0, BAY_LENGTH_PX / max(leaf.shape))
    small = shrunk(leaf.astype(np.uint8) * 255, factor) > 127
    whole = filled(largest_part(small))
    blade = without_stalk(whole)
    if np.count_nonzero(blade) < _MAIN_PART * np.count_nonzero(small) or is_compound(whole):
        return None
    bays = margin_bays(whole, blade)
    odds = bite_log_odds(bays, bite)
    holes = _eaten_holes(leaf, classes)
    bites = [bay for bay, one in zip(bays, odds, strict=True) if one > BITE_LOG_ODDS]
    bitten = _drawn(bites, leaf.shape) & ~(leaf | holes) if bites else np.zeros_like(leaf)
    left = np.count_nonzero(leaf)
    believed, holed = (float(np.count_nonzero(part) / left) for part in (bitten, holes))
    shape = _shape(blade, bays, odds, believed, holed)
    dead = shrunk((classes == LESION).astype(np.uint8) * 255, factor) > 127
    return SeenMargin(believed, holed, _weight(bays, odds, whole, dead), shape, bitten | holes)


def _weight(bays: list[Bay], odds: NDArray[np.float32], whole: Bools, dead: Bools) -> float:
    """Return how much the bays of one ball speak for bites, of the ball for which they do most.

    A leaf without bites may well have one bay that looks like a bite, but seldom several.
    """
    reach = disc(max(2, round(_RIM_OF_BAY * max(whole.shape))))
    by_ball: dict[float, float] = {}
    for bay, one in zip(bays, odds, strict=True):
        if one > _WEIGHS_FROM:
            rim = (cv2.dilate(bay.inside.view(np.uint8), reach) > 0) & whole
            share = np.count_nonzero(rim & dead) / max(1, int(np.count_nonzero(rim)))
            ball, weight = float(bay.values[_BALL]), one - _WEIGHS_FROM - _WEIGHT_OF_DEAD * share
            by_ball[ball] = by_ball.get(ball, 0.0) + max(0.0, float(weight))
    return max(by_ball.values(), default=0.0)


def chewed_pct(seen: SeenMargin, judge: BiteJudge) -> float:
    """Return the eaten part in percent: holes as they are, and what bites took as it is learned.

    A bay's mouth is straight where the margin was not, and of a margin that is eaten all along only
    its last points are left; so bites took more than their bays. No bite, no more than the holes.
    """
    bites = 0.0
    if seen.believed > 0:
        gain = float(np.exp(judge.gain.log_odds(seen.shape[None])[0]))
        bites = max(0.0, (seen.believed + LITTLE) * gain - LITTLE)
    return eaten_pct(bites + seen.holes)


def _shape(
    blade: Bools, bays: list[Bay], odds: NDArray[np.float32], believed: float, holes: float
) -> NDArray[np.float32]:
    """Return ``SHAPE`` of one blade."""
    left = float(np.count_nonzero(blade))
    chance = np.zeros(blade.shape, np.float32)
    for bay, one in zip(bays, odds, strict=True):
        chance[bay.inside] = np.maximum(chance[bay.inside], 1 / (1 + np.exp(-one)))
    outlines, _ = cv2.findContours(blade.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(outlines, key=len)
    hull = cv2.convexHull(outline)
    _, sides, _ = cv2.minAreaRect(outline)
    smooth = cv2.approxPolyDP(outline, 1.0, closed=True)
    values = (
        believed,
        float(chance.sum()) / left,
        np.count_nonzero(chance) / left,
        float(odds.max()) if len(odds) else -5.0,
        np.log1p(np.count_nonzero(odds > BITE_LOG_ODDS)),
        holes,
        cv2.contourArea(hull) / left,
        (max(sides) + 1) * (min(sides) + 1) / left,
        (min(sides) + 1) / (max(sides) + 1),
        float(bays[0].values[_LIKENESS]) if bays else 1.0,
        cv2.arcLength(smooth, closed=True) / cv2.arcLength(hull, closed=True),
    )
    return np.array(values, np.float32)


def eaten_pct(of_leaf: float) -> float:
    """Turn a missing area, as a share of what is left, into percent of the leaf before."""
    return 100 * of_leaf / (1 + of_leaf)


def margin_bays(whole: Bools, blade: Bools) -> list[Bay]:
    """Return the bays of a blade but those beside its stalk, where a leaf has one by nature.

    Parameters
    ----------
    whole : ndarray of bool, shape (rows, columns)
        The leaf with its stalk.
    blade : ndarray of bool, shape (rows, columns)
        Without it, from `without_stalk`.
    """
    reach = max(2, round(_BESIDE_STALK * max(whole.shape)))
    _, labels, stats, _ = cv2.connectedComponentsWithStats((whole & ~blade).view(np.uint8))
    broad = stats[:, cv2.CC_STAT_AREA] >= _LEAST_STALK * np.count_nonzero(whole)
    broad[0] = False  # tips of teeth are taken off too, and are no stalk
    beside = cv2.dilate(broad[labels].view(np.uint8), disc(reach)) > 0
    return [bay for bay in find_bays(blade) if not (bay.inside & beside).any()]


def bite_log_odds(bays: list[Bay], bite: Layers) -> NDArray[np.float32]:
    """Return the log-odds of each bay being a bite."""
    if not bays:
        return np.zeros(0, np.float32)
    return bite.log_odds(np.stack([bay.values for bay in bays]))


def chewed_interval(pct: float, seen: SeenMargin, judge: BiteJudge) -> tuple[float, float]:
    """Return the 95 % interval of the eaten part in percent.

    It is as wide as misses of such outlines are: wider where bays are doubtful, and where so much
    is gone that the outline is guessed.
    """
    usual = float(np.exp(judge.spread.log_odds(seen.shape[None])[0]))
    low, high = pct - judge.times_low * usual, pct + judge.times_high * usual
    return max(0.0, min(pct, low)), min(_MOST_PCT, max(pct, high))


def _drawn(bays: list[Bay], shape: tuple[int, ...]) -> Bools:
    """Return all these bays in one mask of the size of the given leaf."""
    joined = np.any([bay.inside for bay in bays], axis=0).view(np.uint8)
    return np.asarray(cv2.resize(joined, shape[::-1], interpolation=cv2.INTER_NEAREST) > 0)


def without_stalk(leaf: Bools) -> Bools:
    """Return the blade of a leaf: its broad part, without stalk and without what hangs on it.

    Parameters
    ----------
    leaf : ndarray of bool, shape (rows, columns)
        One leaf without holes.
    """
    width = round(_STALK * max(cv2.boundingRect(leaf.view(np.uint8))[2:]))
    core = distance_inside(leaf) > width
    if not core.any():
        return leaf
    grown = cv2.dilate(largest_part(core).view(np.uint8), disc(width + 2))
    return largest_part((grown > 0) & leaf)


def is_compound(blade: Bools) -> bool:
    """Whether a leaf is made of several leaflets: it comes apart where it is narrow.

    Parameters
    ----------
    blade : ndarray of bool, shape (rows, columns)
        The leaf, holes filled.
    """
    length = max(cv2.boundingRect(blade.view(np.uint8))[2:])
    core = distance_inside(blade) > _NECK * length
    _, _, stats, _ = cv2.connectedComponentsWithStats(core.view(np.uint8))
    large = stats[1:, cv2.CC_STAT_AREA] > _LEAFLET_SHARE * np.count_nonzero(core)
    return bool(np.count_nonzero(large) >= _LEAFLETS)


def _eaten_holes(leaf: Bools, classes: Mask) -> Bools:
    """Return holes without a rim of dead tissue."""
    eaten = np.zeros(leaf.shape, bool)
    # outlines, not labels of all pixels, which take five times as long
    outlines, nested = cv2.findContours(
        leaf.astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE
    )
    if nested is None:
        return eaten
    least = _LEAST_HOLE * np.count_nonzero(leaf)
    reach = max(2, round(_RIM_OF_LENGTH * max(leaf.shape)))
    for outline, (_, _, _, parent) in zip(outlines, nested[0], strict=True):
        if parent < 0 or cv2.contourArea(outline) < least:
            continue
        window, hole = _hole_in(leaf, outline, reach)
        rim = (cv2.dilate(hole.view(np.uint8), disc(reach)) > 0) & leaf[window]
        dead = np.count_nonzero(rim & (classes[window] == LESION))
        if np.count_nonzero(hole) >= least and dead < _DEAD_RIM * np.count_nonzero(rim):
            eaten[window] |= hole
    return eaten


def _hole_in(
    leaf: Bools, outline: cv2.typing.MatLike, reach: int
) -> tuple[tuple[slice, slice], Bools]:
    """Return a window around a hole, and the hole's pixels in it."""
    left, top, width, height = cv2.boundingRect(outline)
    corner = max(0, left - reach), max(0, top - reach)
    window = slice(corner[1], top + height + reach), slice(corner[0], left + width + reach)
    drawn = np.zeros(leaf[window].shape, np.uint8)
    offset = -corner[0], -corner[1]
    cv2.drawContours(drawn, [outline], 0, 1, cv2.FILLED, offset=offset)
    return window, (drawn > 0) & ~leaf[window]


def bite_judge_of(stored: dict[str, Any]) -> BiteJudge:
    """Return the judge whose numbers are given.

    Raises
    ------
    ValueError
        In one sentence, when they belong to other measures.
    """
    wanted = {"bays": list(BAY_MEASURES), "gain": list(SHAPE), "spread": list(SHAPE)}
    made_for = {name: stored.get(name, {}).get("inputs") for name in wanted}
    refuse_others(CHEWED_PATH, made_for, wanted)
    bays, gain, spread = (layers_of(stored[name]) for name in wanted)
    low, high = (float(stored[name]) for name in ("times_low", "times_high"))
    return BiteJudge(bays, gain, spread, low, high)


@cache
def load_bite_judge(path: Path = CHEWED_PATH) -> BiteJudge:
    """Load the judge that ships with the product, or another of the same layout."""
    return bite_judge_of(stored_in(path))
