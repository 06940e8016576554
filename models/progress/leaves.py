"""The leaves of a season as one table of arrays: what all judging over time starts from."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from models.entries import PhotoEntry

__all__ = ["LeafTable", "leaf_table", "table_of_columns"]


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
    columns = zip(*rows, strict=True) if rows else ((),) * 5
    return table_of_columns(
        {number: (photo.plant, photo.taken_at) for number, photo in enumerate(kept)}, *columns
    )


def table_of_columns(
    photos: Mapping[int, tuple[str, datetime]],
    photo: Sequence[int],
    lesions: Sequence[float],
    severity_pct: Sequence[float],
    low_pct: Sequence[float],
    high_pct: Sequence[float],
) -> LeafTable:
    """Lay columns of leaves out as a table; those of photos without a plant are passed over.

    Parameters
    ----------
    photos : mapping of int to (str, datetime)
        Plant and capture time, in the garden's zone, of each photo by its number.
    photo : sequence of int
        Number of each leaf's photo.
    lesions, severity_pct, low_pct, high_pct : sequence of float
        Of each leaf, as in ``LeafTable``.
    """
    names = {plant: n for n, plant in enumerate(dict.fromkeys(p for p, _ in photos.values() if p))}
    number = np.array(photo, np.int64)
    known = np.array(list(photos), np.int64)
    order = np.argsort(known)
    place = order[np.searchsorted(known, number, sorter=order)] if len(number) else number
    plant = np.array([names.get(p, -1) for p, _ in photos.values()], np.int64)[place]
    day = np.array([at.toordinal() for _, at in photos.values()], np.int64)[place]
    measured = (np.array(c, np.float64) for c in (severity_pct, low_pct, high_pct, lesions))
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
