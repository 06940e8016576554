"""What rejected and added lesions do to a leaf's severity, and leaves to their photo's."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from math import pi, sqrt
from typing import Any

from models.entries import LeafEntry, PhotoEntry
from vision.records import Lesion

__all__ = ["halo_pct", "summed_up", "usual_size_px", "with_lesions"]

_SMALLER, _LARGER = 0.5, 1.5  # of a diameter that was tapped or drawn by eye: our own judgement
_USUAL_OF_SIDE = 0.04  # of the root of the leaf's area: a small spot, where the leaf has no other

_SUMMED = ("lesion_pct", "halo_pct", "severity_pct", "severity_low_pct", "severity_high_pct")


def halo_pct(lesion: Lesion) -> float:
    """Return the area of a lesion's yellow rim, percent of its leaf's area.

    The rim's width was measured as its area over the lesion's perimeter, which its roundness
    gives back: 4π·area ÷ perimeter².
    """
    if lesion.area_px <= 0 or lesion.roundness <= 0:  # an import may bring that
        return 0.0
    perimeter_px = sqrt(4 * pi * lesion.area_px / lesion.roundness)
    return lesion.share_of_leaf_pct * lesion.halo_width_px * perimeter_px / lesion.area_px


def with_lesions(
    leaf: LeafEntry, rejected: Sequence[Lesion], added_px: Sequence[float] = ()
) -> LeafEntry:
    """Return a leaf without some of its lesions, and with some that had been missed.

    A rejected lesion takes its own area and its yellow rim with it. An added one is a disc; the
    interval allows for half as much more or less of its diameter. Both ends move with the severity
    and keep what the measuring was unsure about. The pattern stays as it was called, but for a leaf
    that loses its last lesion (``none``) or gets its first (``unsure``).

    Parameters
    ----------
    leaf : LeafEntry
        As measured.
    rejected : sequence of Lesion
        Lesions of this leaf that are none.
    added_px : sequence of float
        Diameters of lesions that were not counted.

    Examples
    --------
    A leaf of 1000 px² with 10 % lesion, interval 8 to 12 %, gets a lesion of 20 px²: the severity
    is 12 %, from 8 + 0.5 to 12 + 4.5.
    """
    if not (rejected or added_px) or leaf.area_px <= 0:
        return leaf
    count = leaf.lesion_count - len(rejected)
    gone = sum(lesion.share_of_leaf_pct for lesion in rejected)
    lesion = 0.0 if count <= 0 else max(0.0, leaf.lesion_pct - gone)
    halo = max(0.0, leaf.halo_pct - sum(map(halo_pct, rejected)))
    lost = leaf.severity_pct - lesion - halo
    discs = sum(100 * pi / 4 * size**2 / leaf.area_px for size in added_px)
    grown = min(100 - halo, lesion + discs)
    discs, severity = grown - lesion, grown + halo
    low = leaf.severity_low_pct - lost + _SMALLER**2 * discs
    high = leaf.severity_high_pct - lost + _LARGER**2 * discs
    return replace(
        leaf,
        lesion_count=count + len(added_px),
        lesion_pct=grown,
        halo_pct=halo,
        severity_pct=severity,
        severity_low_pct=max(0.0, min(low, severity)),
        severity_high_pct=min(100.0, max(high, severity)),
        **_pattern(leaf, count + len(added_px)),
    )


def _pattern(leaf: LeafEntry, count: int) -> dict[str, Any]:
    if count == 0:
        return {"pattern": "none", "blight_kind": ""}
    if leaf.lesion_count == 0:
        return {"pattern": "unsure", "blight_kind": ""}
    return {}


def usual_size_px(leaf: LeafEntry, lesions: Sequence[Lesion]) -> float:
    """Return the diameter of a lesion that was only tapped: that of the leaf's middle one."""
    sizes = sorted(lesion.equivalent_diameter_px for lesion in lesions if lesion.leaf == leaf.leaf)
    return sizes[len(sizes) // 2] if sizes else _USUAL_OF_SIDE * sqrt(leaf.area_px)


def summed_up(photo: PhotoEntry, leaves: Iterable[LeafEntry]) -> PhotoEntry:
    """Return a photo with other leaves, and what they say together, weighed by their area.

    Errors of leaves in one photo share light and camera: they are added, not averaged out. Without
    a leaf nothing was measured.
    """
    kept = tuple(sorted(leaves, key=lambda leaf: (-leaf.area_px, leaf.leaf)))
    area_px = sum(leaf.area_px for leaf in kept)

    def mean(name: str) -> float | None:
        weighed = (getattr(leaf, name) * leaf.area_px for leaf in kept)
        return sum(weighed) / area_px if area_px else None

    sums: dict[str, Any] = {name: mean(name) for name in _SUMMED}
    count = sum(leaf.lesion_count for leaf in kept) if kept else None
    return replace(photo, leaves=kept, lesion_count=count, **sums)
