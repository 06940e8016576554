"""The garden as it stands: beds and the plants in them, by name and place."""

from dataclasses import dataclass, field
from typing import Any

__all__ = ["Garden", "Plant"]


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
