"""The leaves of a season as one table of arrays: what all judging over time starts from."""

from collections.abc import Iterable, Sequence
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
    names: dict[str, int] = {}
    rows: list[Sequence[float]] = []
    for number, photo in enumerate(photos):
        if photo.mode != "day" or not photo.plant:
            continue
        plant = names.setdefault(photo.plant, len(names))
        day = photo.taken_at.date().toordinal()
        rows += [
            (
                *(plant, day, number),
                *(leaf.severity_pct, leaf.severity_low_pct, leaf.severity_high_pct),
                leaf.lesion_count,
            )
            for leaf in photo.leaves
        ]
    columns = np.array(rows, np.float64).reshape(-1, 7).T
    whole = columns[:3].astype(np.int64)
    return LeafTable(tuple(names), whole[0], whole[1], whole[2], *columns[3:])
