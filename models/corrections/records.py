"""The records of what people put right of a photo."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal, NamedTuple, get_args

from models.entries import LeafEntry
from vision.records import Lesion

__all__ = [
    "ADDED",
    "FIXED",
    "OF_READING",
    "PATTERNS",
    "REJECTED",
    "Fix",
    "Fixed",
    "Mark",
    "Redrawn",
    "Target",
    "pattern_of",
]

Fixed = Literal[
    "taken",
    "plant",
    "removed",
    "unused",
    "pattern",
    "not_leaf",
    "outline",
    "not_lesion",
    "lesion",
    "not_dropping",
    "dropping",
    "not_caterpillar",
    "caterpillar",
    "not_eaten",
]
"""What can be put right. Of the photo: when it was taken, its plant, whether it is in the record
(``removed``), and whether it counts (``unused``). Of what was read on it: the pattern, a leaf that
is none, an outline, what was counted and is none, and what is one and was not counted."""

FIXED: tuple[Fixed, ...] = get_args(Fixed)
"""All that can be put right."""

OF_READING: frozenset[Fixed] = frozenset(FIXED[3:])
"""What changes what holds of a photo's reading, not where the photo belongs."""

Target = Literal["leaf", "lesion", "dropping", "caterpillar"]
"""What can be pointed at."""

REJECTED: Mapping[Fixed, Target] = {
    "not_leaf": "leaf",
    "not_lesion": "lesion",
    "not_dropping": "dropping",
    "not_caterpillar": "caterpillar",
}
"""What is taken out of the reading, by the kind of fix."""

ADDED: Mapping[Fixed, Target] = {
    "lesion": "lesion",
    "dropping": "dropping",
    "caterpillar": "caterpillar",
}
"""What is added to it, likewise."""


PATTERNS = ("spot", "blight", "blight early", "blight late", "none", "other")
"""What a leaf may be said to show."""


class Mark(NamedTuple):
    """A place on a photo that somebody pointed at.

    Attributes
    ----------
    row_px, col_px : float
        In the upright photo at its full size, from its top left corner.
    size_px : float or None
        Diameter of what lies there; None for a point of an outline.
    """

    row_px: float
    col_px: float
    size_px: float | None = None


class Fix(NamedTuple):
    """Something that was put right of a photo.

    Attributes
    ----------
    number : int
        Number of the fix, from 1.
    photo : str
        Path of the photo as filed.
    sha256 : str
        Hash of the photo.
    what : str
        What was put right, see `Fixed`.
    value : str
        What holds instead: a time in the garden's zone as ISO 8601, a plant, a pattern, or empty.
    old : str
        What was there before, of the same kind; of a reading the version that it was said of.
    old_from : str
        Where that was read: a `taken_from` or a `plant_from`; empty where neither applies.
    reason : str
        The grower's own words; may be empty.
    at : datetime
        When it was put right, in the garden's time zone.
    undone : bool
        Whether it was taken back.
    session : str
        Of a pattern: round of photos, as one day, place and phone.
    marks : tuple of Mark
        Where on the photo: what was pointed at, or the leaf that an outline stands for, where
        there is one (it alone has a size), and then the outline's points.
    """

    number: int
    photo: str
    sha256: str
    what: Fixed
    value: str
    old: str
    old_from: str
    reason: str
    at: datetime
    undone: bool
    session: str = ""
    marks: tuple[Mark, ...] = ()

    @property
    def outline(self) -> tuple[Mark, ...]:
        """The points of a redrawn outline."""
        return tuple(mark for mark in self.marks if mark.size_px is None)


@dataclass(frozen=True)
class Redrawn:
    """What was measured inside an outline that somebody drew.

    Attributes
    ----------
    fix : int
        Number of the fix.
    version : str
        Version of the measuring.
    leaf : LeafEntry
        The leaf inside.
    lesions : tuple of Lesion
        On it, largest first.
    """

    fix: int
    version: str
    leaf: LeafEntry
    lesions: tuple[Lesion, ...] = ()


def pattern_of(fix: Fix) -> tuple[str, str]:
    """Return the pattern that a fix says, and the kind of blight: ``early``, ``late`` or empty.

    Examples
    --------
    ``blight late`` is ``("blight", "late")``, ``spot`` is ``("spot", "")``.
    """
    pattern, _, kind = fix.value.partition(" ")
    return pattern, kind
