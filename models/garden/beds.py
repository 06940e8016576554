"""The garden as it stands: beds and the plants in them, by name and place."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

__all__ = ["Garden", "Plant", "free_tags"]


@dataclass(frozen=True)
class Plant:
    """One plant and where it stands.

    Attributes
    ----------
    name : str
        Unique in the garden, such as ``A1``.
    bed : str
        Name of its bed.
    row, place : int
        Row of the bed and place in the row, both from 1.
    tag : int or None
        Number of its stake tag, 1 to 586, its own in the garden; None where it has none. It is
        kept with the plant, so that a tag goes on meaning the same plant when others are added.
    """

    name: str
    bed: str
    row: int = 1
    place: int = 1
    tag: int | None = None


@dataclass(frozen=True)
class Garden:
    """What the garden's settings file says.

    Attributes
    ----------
    name : str
        The grower's own name for it.
    time_zone : str
        IANA name, such as ``Europe/Berlin``.
    units : {"metric", "US"}
        Units that people read; records are always metric.
    plants : tuple of Plant
        Bed by bed.
    spacing_m : float
        Distance from plant to plant and row to row, m.
    settings : mapping
        Every other table of the file, by its name, as plain values; ``settings["care"]`` holds
        the thresholds that ``models.care`` reads.
    journal : str
        Where the record is: a file's name beside the settings file, or a database URL.
    """

    name: str
    time_zone: str
    units: str = "metric"
    plants: tuple[Plant, ...] = ()
    spacing_m: float = 0.6
    settings: dict[str, Any] = field(default_factory=dict)
    journal: str = "journal.sqlite"


def free_tags(garden: Garden, wanted: Sequence[str]) -> dict[str, int]:
    """Return a number for each of these plants that has no tag yet.

    Numbers go on above the highest one in use, so that a tag left from a plant that is gone is not
    taken for another's; gaps are filled only when there are no higher ones.

    Parameters
    ----------
    garden : Garden
        Its plants keep the numbers that they have.
    wanted : sequence of str
        Names of plants; those with a tag are left out.

    Raises
    ------
    ValueError
        When all 586 numbers are taken.
    """
    taken = {plant.tag for plant in garden.plants if plant.tag is not None}
    highest = max(taken, default=0)
    free = [number for number in range(1, 587) if number not in taken]
    free.sort(key=lambda number: number < highest)
    without = {plant.name for plant in garden.plants if plant.tag is None}
    untagged = [name for name in dict.fromkeys(wanted) if name in without]
    if len(untagged) > len(free):
        raise ValueError("There are only 586 stake tags, and this garden needs more.")
    return dict(zip(untagged, free, strict=False))
