"""Leaf area that was eaten: bites from the margin and holes, against the outline expected.

Bays of the margin are found and judged one by one (``vision.chewed_bays``); a hole with a rim of
dead tissue was left by disease, one with a clean green edge was eaten. Where nobody could say how
the leaf looked before (it is cut off, touches others, is made of several leaflets, or lies on a
busy background), nothing is said.
"""

import json
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.chewed_bays import BAY_LENGTH_PX, BAY_MEASURES, Bay, find_bays
from vision.layers import Layers, layers_of
from vision.raster import disc, largest_part, shrunk
from vision.records import LESION

__all__ = [
    "BITE_LOG_ODDS",
    "CHEWED_PATH",
    "BiteJudge",
    "Chewed",
    "bite_judge_of",
    "is_compound",
    "margin_bays",
    "measure_chewed",
    "without_stalk",
]

Bools = NDArray[np.bool_]
Mask = NDArray[np.uint8]

BITE_LOG_ODDS = 1.8
"""From here on (six to one) a bay is a bite: a lobe that reads as one is worse than a miss."""

CHEWED_PATH = Path(__file__).with_name("chewed.json")

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
    doubt : float
        Divisor of the log-odds for the interval, from 1.
    gain : float
        Missing area ÷ area of the bays believed in: a bay's mouth is straight, the margin was not.
    base_pct, slope_low, slope_high : float
        The interval's least half width, and what it grows by with the area found, down and up.
    """

    bays: Layers
    doubt: float
    gain: float
    base_pct: float
    slope_low: float
    slope_high: float


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
        None where the leaf is made of several parts or leaflets.
    """
    judge = judge or load_bite_judge()
    factor = min(1.0, BAY_LENGTH_PX / max(leaf.shape))
    small = shrunk(leaf.astype(np.uint8) * 255, factor) > 127
    whole = _filled(largest_part(small))
    blade = without_stalk(whole)
    if np.count_nonzero(blade) < _MAIN_PART * np.count_nonzero(small) or is_compound(whole):
        return None
    bays = margin_bays(whole, blade)
    odds = bite_log_odds(bays, judge)
    holes = _eaten_holes(leaf, classes)
    bites = [bay for bay, one in zip(bays, odds, strict=True) if one > BITE_LOG_ODDS]
    bitten = _drawn(bites, leaf.shape) & ~(leaf | holes) if bites else np.zeros_like(leaf)
    missing = judge.gain * np.count_nonzero(bitten) + np.count_nonzero(holes)
    pct = eaten_pct(float(missing / np.count_nonzero(leaf)))
    low, high = chewed_interval(pct, bays, odds, judge)
    return Chewed(pct, low, high, bitten | holes)


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


def bite_log_odds(bays: list[Bay], judge: BiteJudge) -> NDArray[np.float32]:
    """Return the log-odds of each bay being a bite."""
    if not bays:
        return np.zeros(0, np.float32)
    return judge.bays.log_odds(np.stack([bay.values for bay in bays]))


def chewed_interval(
    pct: float, bays: list[Bay], odds: NDArray[np.float32], judge: BiteJudge
) -> tuple[float, float]:
    """Return the 95 % interval of the eaten part in percent.

    It grows with the area of bays of which nobody can be sure, and with the area found, whose
    outline is guessed.
    """
    chance = 1 / (1 + np.exp(-odds / judge.doubt))
    share = np.array([bay.share for bay in bays])
    spread = 100 * float(np.sqrt((chance * (1 - chance) * share**2).sum())) if bays else 0.0
    low = pct - judge.base_pct - judge.slope_low * pct - 2 * spread
    high = pct + judge.base_pct + judge.slope_high * pct + 2 * spread
    return max(0.0, low), min(100.0, high)


def _drawn(bays: list[Bay], shape: tuple[int, ...]) -> Bools:
    """Return all these bays in one mask of the size of the given leaf."""
    joined = np.any([bay.inside for bay in bays], axis=0).view(np.uint8)
    return np.asarray(cv2.resize(joined, shape[::-1], interpolation=cv2.INTER_NEAREST) > 0)


def _filled(leaf: Bools) -> Bools:
    """Close all holes."""
    outlines, _ = cv2.findContours(leaf.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    filled = np.zeros(leaf.shape, np.uint8)
    cv2.drawContours(filled, outlines, -1, 1, cv2.FILLED)
    return filled.view(np.bool_)


def without_stalk(leaf: Bools) -> Bools:
    """Return the blade of a leaf: its broad part, without stalk and without what hangs on it.

    Parameters
    ----------
    leaf : ndarray of bool, shape (rows, columns)
        One leaf without holes.
    """
    width = round(_STALK * max(cv2.boundingRect(leaf.view(np.uint8))[2:]))
    padded = np.pad(leaf, 1).view(np.uint8)
    core = cv2.distanceTransform(padded, cv2.DIST_L2, 5)[1:-1, 1:-1] > width
    if not core.any():
        return leaf
    grown = cv2.dilate(largest_part(core).view(np.uint8), disc(width + 2))
    return largest_part((grown > 0) & leaf)


def is_compound(blade: Bools) -> bool:
    """Whether a leaf is made of several leaflets: it comes apart where it is narrow."""
    length = max(cv2.boundingRect(blade.view(np.uint8))[2:])
    depth = cv2.distanceTransform(np.pad(blade, 1).view(np.uint8), cv2.DIST_L2, 5)
    core = depth > _NECK * length
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
    if stored["bays"]["inputs"] != list(BAY_MEASURES):
        raise ValueError("chewed.json was made for other measures: learn it again.")
    names = ("doubt", "gain", "base_pct", "slope_low", "slope_high")
    doubt, gain, base, low, high = (float(stored[name]) for name in names)
    return BiteJudge(layers_of(stored["bays"]), doubt, gain, base, low, high)


@cache
def load_bite_judge() -> BiteJudge:
    """Load the judge that ships with the product."""
    return bite_judge_of(json.loads(CHEWED_PATH.read_text(encoding="utf-8")))
