"""Measurements of a leaf's lesions by which a person tells spot from blight.

Each is relative to the leaf itself: lengths in leaf sides (the square root of the leaf's area),
areas in percent of the leaf, colours in CIELAB relative to the leaf's own healthy tissue. The
leaf is brought to one length first. So neither background nor light, camera nor picture size is
in them; ``tests/models/pattern/test_relations.py`` proves it one by one.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from models.pattern.edges import edge_measures
from models.pattern.leaf_view import (
    MARGIN,
    LeafView,
    LesionTable,
    leaf_view,
    lesion_table,
    mean_by,
)
from models.pattern.position import position_measures
from vision.raster import distance_inside
from vision.records import DayMeasurement

__all__ = ["MEASURES", "Measure", "measure_leaf", "measure_pattern"]

Floats = NDArray[np.float32]


@dataclass(frozen=True)
class Measure:
    """One measurement: its name, its unit, and why the trade looks at it."""

    name: str
    unit: str
    reason: str


MEASURES = (
    Measure("lesion_amount", "ln(1 + % of leaf)", "how much tissue is dead"),
    Measure("halo_amount", "ln(1 + % of leaf)", "yellow around lesions: often with spot"),
    Measure("sick_amount", "ln(1 + % of leaf)", "a healthy leaf has none"),
    Measure("tiny_lesions", "ln(1 + number)", "under 5 % of a leaf side, off the margin: spot"),
    Measure("small_lesions", "ln(1 + number)", "5 to 10 %: spot"),
    Measure("middle_lesions", "ln(1 + number)", "10 to 20 %: early blight's usual size"),
    Measure("large_lesions", "ln(1 + number)", "over 20 %: blight"),
    Measure("inner_lesions", "ln(1 + number)", "spots are many, blight lesions few"),
    Measure("margin_lesions", "ln(1 + number)", "late blight often starts at edge or tip"),
    Measure("small_roundness", "0 to 1", "spots are near round"),
    Measure("roundness", "0 to 1, by area", "late blight is irregular"),
    Measure("thickest", "leaf sides", "inscribed width of the broadest dead part"),
    Measure("thickness", "leaf sides, by area", "blight is broad, spots are narrow"),
    Measure("largest_diameter", "leaf sides", "size of the largest lesion"),
    Measure("mean_diameter", "leaf sides, by area", "lesion size"),
    Measure("median_diameter", "leaf sides", "lesion size, each counted once"),
    Measure("largest_share", "0 to 1", "one large lesion holds most of blight's dead tissue"),
    Measure("dominance", "ln ratio", "largest against second largest lesion"),
    Measure("size_spread", "standard deviation of ln", "spots are uniform in size"),
    Measure("broad_2", "0 to 1", "share of dead tissue in parts broader than 4 % of a side"),
    Measure("broad_4", "0 to 1", "the same, broader than 8 %"),
    Measure("broad_6", "0 to 1", "the same, broader than 12 %"),
    Measure("broad_9", "0 to 1", "the same, broader than 18 %"),
    Measure("sick_broad_4", "0 to 1", "share of lesion and halo broader than 8 %"),
    Measure("sick_broad_6", "0 to 1", "share of lesion and halo broader than 12 %"),
    Measure("small_share", "0 to 1", "share of dead tissue in small lesions off the margin"),
    Measure("small_amount", "ln(1 + % of leaf)", "area of small lesions off the margin"),
    Measure("inner_share", "0 to 1", "share of dead tissue off the margin"),
    Measure("halo_share", "0 to 1", "halo against all symptoms: spots have much for their size"),
    Measure("scatter", "0 to 1", "spots are scattered over the leaf, blight lies in one place"),
    Measure("covered", "0 to 1", "share of the leaf's fields with a lesion off the margin"),
    Measure("rings", "of healthy L*", "concentric rings are typical of early blight"),
    Measure("pale_centre", "of healthy L*", "tan centre with dark rim is typical of leaf spot"),
    Measure("lesion_lightness", "of healthy L*", "tan, brown or black"),
    Measure("lesion_redness", "Δa* of healthy chroma", "brown against olive"),
    Measure("rim_redness", "Δa* of healthy chroma", "water-soaked or yellowed border"),
    Measure("halo_redness", "Δa* of healthy chroma", "yellow against pale green halo"),
    Measure("large_grain", "of healthy L*", "papery or wrinkled dead tissue"),
    Measure("depth", "0 margin to 1", "how far from the margin dead tissue lies"),
    Measure("tiny_marks", "ln(1 + number)", "marks, dead or yellow, 3.5 to 6 % of a side: spot"),
    Measure("small_marks", "ln(1 + number)", "6 to 10 %: the same with its halo"),
    Measure("middle_marks", "ln(1 + number)", "10 to 20 %: early blight with its halo"),
    Measure("large_marks", "ln(1 + number)", "over 20 %: blight with its halo"),
    Measure("margin_reach", "leaf sides", "how far dead tissue reaches in from the margin: blight"),
    Measure("margin_amount", "ln(1 + % of leaf)", "dead tissue that reaches the margin"),
    Measure("inner_amount", "ln(1 + % of leaf)", "dead tissue that does not"),
    Measure("yellowed", "0 to 1", "share of living tissue that has turned yellow: early blight"),
    Measure("leaf_breadth", "leaf sides", "inscribed width of the leaf: less when it curls up"),
    Measure("pieces_1", "ln(1 + number)", "symptoms worn down by 1 % of a side: spots part"),
    Measure("pieces_2", "ln(1 + number)", "by 2 %: spots that have merged come apart"),
    Measure("pieces_4", "ln(1 + number)", "by 4 %: broader than spots are"),
    Measure("pieces_8", "ln(1 + number)", "by 8 %: blight"),
    Measure("effective_lesions", "ln(number)", "of equal size: spots are many, blight lesions few"),
    Measure("effective_marks", "ln(number)", "the same with their halos"),
    Measure("small_edge", "of healthy L* a pixel", "spots have a sharp edge, blight fades"),
    Measure("solidity", "0 to 1, by area", "of the convex hull: less where veins bound a lesion"),
    Measure("halo_width", "leaf sides", "yellow rim along the edges: often wide with spot"),
    Measure("tip_reach", "0 middle to 1", "towards tip or stalk: late blight often starts there"),
    Measure("off_midrib", "leaf half breadths", "dead tissue along the midrib or out on the blade"),
    Measure("clustering", "ratio", "distance to the next lesion against that by chance: 1"),
    Measure("lesion_chroma", "of healthy chroma", "grey against brown"),
    Measure("rim_yellowness", "Δb* of healthy chroma", "yellow against water-soaked border"),
)
"""All measurements, in the order of the columns; sizes and signs: common practice, no source."""

_MARK_SIZES = (0.035, 0.06, 0.10, 0.20, np.inf)  # leaf sides across, halo included
_MARKS = ("tiny_marks", "small_marks", "middle_marks", "large_marks")
_WORN_PCT = (1, 2, 4, 8)  # of a leaf side
_FEW_PX = 5  # fewer have no colour that can be trusted
_YELLOWER_DEG = 12  # of hue, from the leaf's own healthy green
_LOWER, _SMALL, _MIDDLE = 0.05, 0.10, 0.20  # leaf sides that part tiny, small, middle and large


def measure_pattern(pixels: NDArray[np.uint8], measurement: DayMeasurement, number: int) -> Floats:
    """Measure one leaf of a photo.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        The photo's pixels, sRGB.
    measurement : DayMeasurement
        Of the same photo.
    number : int
        The leaf's number, from 1.

    Returns
    -------
    ndarray of float32, shape (len(MEASURES),)
        NaN where the leaf has nothing of the kind, such as the roundness of no lesion.
    """
    return measure_leaf(leaf_view(pixels, measurement, number))


def measure_leaf(view: LeafView) -> Floats:
    """Measure one leaf that was cut out already."""
    table, sick_depth = lesion_table(view), distance_inside(view.sick)
    values = (
        _amounts(view)
        | _counts(table)
        | _shapes(table)
        | _sizes(table)
        | _breadths(view, sick_depth)
        | _places(view, table)
        | _profiles(table)
        | _colours(view, table)
        | _marks(view)
        | _margin(view)
        | _whole_leaf(view)
        | _pieces(view, sick_depth)
        | edge_measures(view, table)
        | position_measures(view, table)
    )
    return np.array([values[measure.name] for measure in MEASURES], np.float32)


def _amounts(view: LeafView) -> dict[str, float]:
    def amount(part: NDArray[np.bool_]) -> float:
        return float(np.log1p(100 * np.count_nonzero(part) / view.area_px))

    sick = max(1, int(np.count_nonzero(view.sick)))
    return {
        "lesion_amount": amount(view.dead),
        "halo_amount": amount(view.halo),
        "sick_amount": amount(view.sick),
        "halo_share": float(np.count_nonzero(view.halo) / sick),
    }


def _counts(table: LesionTable) -> dict[str, float]:
    def log_count(which: NDArray[np.bool_]) -> float:
        return float(np.log1p(np.count_nonzero(which)))

    inner, size = table.inner, table.diameter
    return {
        "tiny_lesions": log_count(inner & (size < _LOWER)),
        "small_lesions": log_count(inner & (size >= _LOWER) & (size < _SMALL)),
        "middle_lesions": log_count(inner & (size >= _SMALL) & (size < _MIDDLE)),
        "large_lesions": log_count(inner & (size >= _MIDDLE)),
        "inner_lesions": log_count(inner),
        "margin_lesions": log_count(table.clear & table.at_margin),
        "effective_lesions": _effective_number(table.area[inner]),
    }


def _effective_number(areas: Floats) -> float:
    """Logarithm of how many lesions of equal size would be as even as these are.

    The inverse of Simpson's index (Hill 1973, Ecology 54:427; from memory). Specks that may be
    gloss or dirt hardly count beside a lesion.
    """
    return float(2 * np.log(areas.sum()) - np.log((areas**2).sum())) if len(areas) else np.nan


def _shapes(table: LesionTable) -> dict[str, float]:
    small = table.inner & (table.diameter < 0.12)
    return {
        "small_roundness": float(np.median(table.roundness[small])) if small.any() else np.nan,
        "roundness": mean_by(table.roundness, table.area, table.clear),
    }


def _sizes(table: LesionTable) -> dict[str, float]:
    clear, inner, areas = table.clear, table.inner, np.sort(table.area)
    total = table.area.sum()
    small = inner & (table.diameter < _SMALL)
    return {
        "thickest": float(table.thickness.max(initial=0)),
        "thickness": mean_by(table.thickness, table.area, clear, empty=0.0),
        "largest_diameter": float(table.diameter.max(initial=0)),
        "mean_diameter": mean_by(table.diameter, table.area, clear, empty=0.0),
        "median_diameter": float(np.median(table.diameter[clear])) if clear.any() else 0.0,
        "largest_share": float(areas[-1] / total) if total else 0.0,
        "dominance": float(np.log(areas[-1] / max(4, areas[-2]))) if len(areas) > 1 else np.nan,
        "size_spread": _log_spread(table.diameter[inner]),
        "small_share": float(table.area[small].sum() / total) if total else np.nan,
        "small_amount": float(np.log1p(100 * table.area[small].sum() / table.leaf_px)),
        "inner_share": float(table.area[inner].sum() / total) if total else np.nan,
    }


def _log_spread(sizes: Floats) -> float:
    return float(np.std(np.log(sizes))) if len(sizes) > 3 else np.nan


def _breadths(view: LeafView, sick_depth: Floats) -> dict[str, float]:
    side, dead_depth = view.side_px, distance_inside(view.dead)
    dead = {f"broad_{n}": _broader(view.dead, dead_depth, n / 100 * side) for n in (2, 4, 6, 9)}
    sick = {f"sick_broad_{n}": _broader(view.sick, sick_depth, n / 100 * side) for n in (4, 6)}
    return dead | sick


def _broader(part: NDArray[np.bool_], depth: Floats, radius_px: float) -> float:
    """Share of a part that a disc of the radius can reach inside it (a granulometry)."""
    total = np.count_nonzero(part)
    core = depth > radius_px
    if not total or not core.any():
        return 0.0
    away = cv2.distanceTransform((~core).astype(np.uint8), cv2.DIST_L2, 3)
    return float(np.count_nonzero((np.asarray(away) <= radius_px) & part) / total)


def _places(view: LeafView, table: LesionTable) -> dict[str, float]:
    rows, cols = np.nonzero(view.dead)
    leaf_rows, leaf_cols = np.nonzero(view.leaf)
    extent = float(np.sqrt(leaf_rows.var() + leaf_cols.var()))
    field = max(4, int(view.side_px / 6))
    centres = table.centre[table.inner] // field
    # A set of pairs of numbers took a third of the time of all measures.
    place = leaf_rows // field * (view.leaf.shape[1] + 1) + leaf_cols // field
    fields = int(np.count_nonzero(np.bincount(place)))
    return {
        "scatter": float(np.sqrt(rows.var() + cols.var()) / extent) if len(rows) > 3 else 0.0,
        "covered": len({(int(r), int(c)) for r, c in centres}) / fields,
        "depth": float(view.depth[view.dead].mean() / view.depth.max()) if len(rows) else np.nan,
    }


def _profiles(table: LesionTable) -> dict[str, float]:
    def mean(values: Floats) -> float:
        return mean_by(values, table.area, table.clear & np.isfinite(values))

    return {"rings": mean(table.rings), "pale_centre": mean(table.pale_centre)}


def _colours(view: LeafView, table: LesionTable) -> dict[str, float]:
    lesion, rim, halo = (_colour(view, part) for part in (view.dead, _rim(view, table), view.halo))
    large = view.of_lesions(table.clear & (table.thickness > 0.1))
    grain = np.nan
    if np.count_nonzero(large) > 20:
        grain = float(view.lab[..., 0][large].std()) / view.healthy_lab[0]
    return {
        "lesion_lightness": lesion[0],
        "lesion_redness": lesion[1],
        "lesion_chroma": _chroma(view),
        "rim_redness": rim[1],
        "rim_yellowness": rim[2],
        "halo_redness": halo[1],
        "large_grain": grain,
    }


def _marks(view: LeafView) -> dict[str, float]:
    """Count connected symptoms off the margin by size; small ones may have no dead tissue yet."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(view.sick.astype(np.uint8))
    inner = np.ones(len(stats), bool)
    inner[labels[view.sick & (view.depth <= MARGIN * view.side_px)]] = False
    areas = stats[1:, cv2.CC_STAT_AREA][inner[1:]].astype(np.float32)
    across = np.sqrt(areas * (4 / np.pi)) / view.side_px
    counts, _ = np.histogram(across, bins=_MARK_SIZES)
    named = dict(zip(_MARKS, np.log1p(counts).tolist(), strict=True))
    return named | {"effective_marks": _effective_number(areas)}


def _pieces(view: LeafView, sick_depth: Floats) -> dict[str, float]:
    """Count what is left of the symptoms when they are worn down: spots that merged come apart."""
    counts = {
        pct: cv2.connectedComponents((sick_depth > pct / 100 * view.side_px).astype(np.uint8))[0]
        - 1
        for pct in _WORN_PCT
    }
    return {f"pieces_{pct}": float(np.log1p(count)) for pct, count in counts.items()}


def _margin(view: LeafView) -> dict[str, float]:
    band = view.dead & (view.depth <= MARGIN * view.side_px)
    reaching = np.zeros(len(view.stats) + 1, bool)
    reaching[view.labels[band]] = True
    joined = reaching[view.labels] & view.dead
    joined_pct = 100 * np.count_nonzero(joined) / view.area_px
    dead_pct = 100 * np.count_nonzero(view.dead) / view.area_px
    return {
        "margin_reach": float(view.depth[joined].max(initial=0) / view.side_px),
        "margin_amount": float(np.log1p(joined_pct)),
        "inner_amount": float(np.log1p(dead_pct - joined_pct)),
    }


def _whole_leaf(view: LeafView) -> dict[str, float]:
    living = view.leaf & ~view.dead & (view.depth > 2)
    _, a, b = cv2.split(view.lab)
    _, healthy_a, healthy_b = view.healthy_lab
    turned = np.arctan2(healthy_b, healthy_a) - np.arctan2(b[living], a[living])
    yellow = np.degrees(turned) > _YELLOWER_DEG
    return {
        "yellowed": float(yellow.mean()) if len(yellow) else 0.0,
        "leaf_breadth": float(2 * view.depth.max() / view.side_px),
    }


def _colour(view: LeafView, part: NDArray[np.bool_]) -> tuple[float, float, float]:
    """Median lightness of a part, of the healthy one, and how much redder and yellower it is."""
    if np.count_nonzero(part) < _FEW_PX:
        return np.nan, np.nan, np.nan
    lightness, a, b = np.median(view.lab[part], axis=0)
    healthy_l, healthy_a, healthy_b = view.healthy_lab
    chroma = np.hypot(healthy_a, healthy_b)
    return (
        float(lightness / healthy_l),
        float((a - healthy_a) / chroma),
        float((b - healthy_b) / chroma),
    )


def _chroma(view: LeafView) -> float:
    """Median chroma of dead tissue, of the healthy one."""
    if np.count_nonzero(view.dead) < _FEW_PX:
        return np.nan
    _, a, b = view.lab[view.dead].T
    return float(np.median(np.hypot(a, b)) / np.hypot(*view.healthy_lab[1:]))


def _rim(view: LeafView, table: LesionTable) -> NDArray[np.bool_]:
    """Mark the tissue next to clear lesions, inside the leaf."""
    clear = view.of_lesions(table.clear)
    side = max(3, int(0.04 * view.side_px) | 1)
    grown = cv2.dilate(clear.astype(np.uint8), np.ones((side, side), np.uint8))
    return np.asarray((np.asarray(grown) > 0) & view.leaf & ~view.dead & (view.depth > 3))
