"""The leaves of a season as one table of arrays: what all judging over time starts from."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.entries import PhotoEntry

__all__ = ["LeafTable", "leaf_table"]


@dataclass(frozen=True, eq=False)
class LeafTable:
    """Every measured leaf of a garden, one position an array, in no particular order.

    Attributes
    ----------
    plants : tuple of str
        Names of the plants.
    plant : ndarray of int, shape (leaves,)
        Place of the leaf's plant in ``plants``.
    day : ndarray of int, shape (leaves,)
        Day of the photo in the garden's time zone, as ``date.toordinal()``.
    photo : ndarray of int, shape (leaves,)
        Any number that tells photos apart.
    severity_pct, low_pct, high_pct : ndarray of float, shape (leaves,)
        Severity and its measuring interval, percent; the interval may be NaN.
    lesions : ndarray of float, shape (leaves,)
        Lesions on the leaf; NaN where not counted.
    """

    plants: tuple[str, ...]
    plant: NDArray[np.int64]
    day: NDArray[np.int64]
    photo: NDArray[np.int64]
    severity_pct: NDArray[np.float64]
    low_pct: NDArray[np.float64]
    high_pct: NDArray[np.float64]
    lesions: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.plant)


def leaf_table(photos: Iterable[PhotoEntry]) -> LeafTable:
    """Lay the leaves of filed photos out as a table.

    Photos of the night, without a plant or without a leaf are passed over.

    Parameters
    ----------
    photos : iterable of PhotoEntry
        One reading of each photo. ``taken_at`` is in the garden's time zone.
    """
    kept = [photo for photo in photos if photo.mode == "day"]
    rows = [
        (
            *(number, leaf.lesion_count, leaf.severity_pct),
            *(leaf.severity_low_pct, leaf.severity_high_pct),
        )
        for number, photo in enumerate(kept)
        for leaf in photo.leaves
    ]
    names = {plant: n for n, plant in enumerate(dict.fromkeys(p.plant for p in kept if p.plant))}
    photo, lesions, *severities = zip(*rows, strict=True) if rows else ((),) * 5
    number = np.array(photo, np.int64)
    plant = np.array([names.get(one.plant, -1) for one in kept], np.int64)[number]
    day = np.array([one.taken_at.toordinal() for one in kept], np.int64)[number]
    measured = (np.array(column, np.float64) for column in (*severities, lesions))
    return _chosen(LeafTable(tuple(names), plant, day, number, *measured), plant >= 0)


def _chosen(leaves: LeafTable, kept: NDArray[np.bool_]) -> LeafTable:
    """Return some of the leaves; plants of which none is left lose their place."""
    there, plant = np.unique(leaves.plant[kept], return_inverse=True)
    return LeafTable(
        tuple(leaves.plants[number] for number in there),
        plant,
        *(
            getattr(leaves, name)[kept]
            for name in ("day", "photo", "severity_pct", "low_pct", "high_pct", "lesions")
        ),
    )
