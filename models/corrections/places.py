"""What lies at a place on a photo: how a correction finds again what it was said of.

A correction carries place and size of what it is about, not its number alone: another version of
the measuring may number otherwise, part one lesion into two, or not see it at all.
"""

from collections.abc import Callable, Sequence
from math import hypot, pi, sqrt
from typing import NamedTuple

from models.corrections.records import Mark, Target

__all__ = ["Place", "aimed_at", "diameter_px", "lying_at"]

_BESIDE = 0.015  # of the photo's long side: a finger's tap may miss a small thing by so much
_LEAF_REACH = 1.8  # radii of the disc of equal area: the tip of a leaf three times as long as broad


class Place(NamedTuple):
    """Something that was measured, and where it lies.

    Attributes
    ----------
    leaf, number : int
        Number of its leaf (0 for what lies on none), and its own.
    row_px, col_px : float
        Its middle.
    size_px : float
        Diameter of the disc of equal area, or a long thing's length.
    """

    leaf: int
    number: int
    row_px: float
    col_px: float
    size_px: float

    @property
    def mark(self) -> Mark:
        """The place as a correction keeps it."""
        return Mark(self.row_px, self.col_px, self.size_px)


def diameter_px(area_px: float) -> float:
    """Return the diameter of the disc of an area.

    Examples
    --------
    >>> round(diameter_px(3.14159265), 3)
    2.0
    """
    return sqrt(4 * area_px / pi)


def lying_at(mark: Mark, places: Sequence[Place]) -> int | None:
    """Return which of some places is the one that a correction marks; None where none is.

    It is the nearest of those whose middle lies inside the marked disc, or whose own disc holds
    the mark's middle.

    Returns
    -------
    int or None
        Position in `places`.
    """
    return _nearest(mark, places, lambda place: max(mark.size_px or 0.0, place.size_px) / 2)


def aimed_at(
    mark: Mark, places: Sequence[Place], target: Target, long_side_px: float
) -> int | None:
    """Return which of some places a tap means; None where it hits none.

    Parameters
    ----------
    mark : Mark
        The tap.
    places : sequence of Place
        All of one kind.
    target : {"leaf", "lesion", "dropping", "caterpillar"}
        What they are.
    long_side_px : float
        Of the photo.

    Returns
    -------
    int or None
        Position in `places`.
    """
    times, beside = (_LEAF_REACH, 0.0) if target == "leaf" else (1.0, _BESIDE * long_side_px)
    return _nearest(mark, places, lambda place: max(times * place.size_px / 2, beside))


def _nearest(mark: Mark, places: Sequence[Place], reach_px: Callable[[Place], float]) -> int | None:
    """Return the place within reach to whose middle the mark is closest, by its reach."""
    near = []
    for position, place in enumerate(places):
        away = hypot(place.row_px - mark.row_px, place.col_px - mark.col_px)
        reach = reach_px(place)
        if away <= reach:
            near.append((away / reach if reach else 0.0, position))
    return min(near)[1] if near else None
