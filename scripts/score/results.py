"""What is known of one photo of a run, and its lasting form as JSON."""

import json
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from typing import Any, Literal

import numpy as np

from models.pattern import PatternCall
from vision.flags import FLAGS, explain
from vision.records import (
    Caterpillar,
    DayReading,
    Dropping,
    LeafReading,
    Lesion,
    NightReading,
    RejectedGlow,
    TagReading,
    TakenFrom,
)

__all__ = ["Mode", "PhotoResult", "Status", "from_json", "slim", "to_json"]

Status = Literal["ok", "flagged", "unreadable"]
Mode = Literal["day", "night"]


@dataclass(frozen=True, eq=False)
class PhotoResult:
    """One photo of a run: its day or its night reading, or what is wrong with it.

    Attributes
    ----------
    name : str
        Path relative to the folder that was given, with ``/`` between its parts.
    sha256 : str
        Hash of the file's bytes; empty when the file could not be read at all.
    taken_at : datetime or None
        Capture time; None when the photo could not be read.
    taken_from : {"exif", "name", "file"} or None
        Where the capture time was read.
    width_px, height_px : int or None
        The upright photo's full size.
    flags : tuple of str
        Names from ``vision.flags``, of the decoder, the photo and its leaves.
    reading : DayReading or None
        The measurement of a day photo; None for a night photo, and when the photo could not be
        read or measured.
    mm_per_px : float or None
        Scale; None where it is not known.
    pattern : PatternCall or None
        What the photo's leaves together look like; None without a leaf.
    leaf_patterns : tuple of PatternCall
        What each leaf looks like, in the order of the reading's leaves.
    problem : str
        Why there is no reading, as a sentence that goes on after the photo's name ("is empty:
        copy it again from the phone."); empty when there is one.
    kept : bool
        True when the reading was kept from an earlier run instead of measured anew.
    night : NightReading or None
        The measurement of a UV night photo; never beside a day reading.
    torch_off_sha256 : str
        Hash of the torch-off photo that was subtracted; empty without one.
    tag : TagReading or None
        The stake tag in the photo, read or refused; None where none was seen.
    filed_plant : str or None
        The plant to which the photo was filed in a garden, empty for none; None outside a garden.
    left_out : bool
        Whether the garden's record goes without it: somebody took it out, or put it right so that
        it shows no leaf that counts.
    """

    name: str
    sha256: str = ""
    taken_at: datetime | None = None
    taken_from: TakenFrom | None = None
    width_px: int | None = None
    height_px: int | None = None
    flags: tuple[str, ...] = ()
    reading: DayReading | None = None
    mm_per_px: float | None = None
    pattern: PatternCall | None = None
    leaf_patterns: tuple[PatternCall, ...] = ()
    problem: str = ""
    kept: bool = False
    night: NightReading | None = None
    torch_off_sha256: str = ""
    tag: TagReading | None = None
    filed_plant: str | None = None
    left_out: bool = False

    @property
    def mode(self) -> Mode | None:
        """How the photo was read; None when it could not be read."""
        if self.night is not None:
            return "night"
        return "day" if self.reading is not None else None

    @property
    def leaf_count(self) -> int | None:
        """How many leaves were measured; None where none was looked for."""
        return None if self.reading is None else len(self.reading.leaves)

    @property
    def lesion_count(self) -> int | None:
        """How many lesions its leaves have; None, not 0, where nothing was measured."""
        if self.reading is None or self.reading.severity_pct is None:
            return None
        return sum(len(leaf.lesions) for leaf in self.reading.leaves)

    @property
    def measured(self) -> bool:
        """Whether it carries a severity, droppings or a count of caterpillars."""
        if self.night is not None and self.night.caterpillar_count is not None:
            return True
        day = self.reading
        return day is not None and (day.severity_pct is not None or (day.frass_count or 0) > 0)

    @property
    def why_not(self) -> str:
        """What kept it from being measured, as words that go on after its name; empty if nothing.

        Every photo is measured or named with these.
        """
        if self.problem or self.measured:
            return self.problem
        stopping = [name for name in self.flags if not FLAGS[name].measurable]
        why = " ".join(explain(name) for name in stopping) or "Nothing was found on it."
        return f"could not be measured. {why}"

    @property
    def status(self) -> Status:
        """``unreadable`` without a reading, ``flagged`` with any flag, else ``ok``."""
        if self.mode is None:
            return "unreadable"
        return "flagged" if self.flags else "ok"

    @property
    def plant(self) -> str:
        """Name of the plant: as filed, else the photo's own folder below the given one."""
        if self.filed_plant is not None:
            return self.filed_plant
        return self.name.split("/")[-2] if "/" in self.name else ""


def slim(result: PhotoResult) -> PhotoResult:
    """Return a result with how many lesions, droppings and caterpillars there are, not each.

    A summary of many photos needs no more, and takes a tenth of the memory. Of a leaf's lesions
    the first stands for all of them.
    """
    day, night = result.reading, result.night
    if day is not None:
        leaves = tuple(
            replace(leaf, lesions=leaf.lesions[:1] * len(leaf.lesions)) for leaf in day.leaves
        )
        day = replace(day, leaves=leaves, droppings=())
    if night is not None:
        night = replace(night, caterpillars=(), rejected=())
    return replace(result, reading=day, night=night)


def to_json(result: PhotoResult) -> bytes:
    """Return a result as UTF-8 JSON; numbers keep every digit."""
    return json.dumps(asdict(result), default=_plain).encode()


def from_json(data: bytes) -> PhotoResult:
    """Return the result that ``to_json`` wrote, marked as kept.

    Raises
    ------
    KeyError, TypeError, ValueError
        When the bytes are not such a result (a damaged file).
    """
    values: dict[str, Any] = json.loads(data)
    values["taken_at"] = datetime.fromisoformat(values["taken_at"])
    values["flags"] = tuple(values["flags"])
    values["reading"] = _reading(values["reading"]) if values["reading"] else None
    values["night"] = _night(values["night"]) if values["night"] else None
    values["tag"] = _tag(values["tag"]) if values["tag"] else None
    values["pattern"] = PatternCall(**values["pattern"]) if values["pattern"] else None
    values["leaf_patterns"] = tuple(PatternCall(**call) for call in values["leaf_patterns"])
    return replace(PhotoResult(**values), kept=True)


def _plain(value: datetime | np.generic) -> object:
    """Return a date as text and a NumPy number as a Python one, for JSON."""
    return value.isoformat() if isinstance(value, datetime) else value.item()


def _reading(values: dict[str, Any]) -> DayReading:
    changed = {
        "leaves": tuple(_leaf(leaf) for leaf in values["leaves"]),
        "droppings": tuple(Dropping(**dropping) for dropping in values["droppings"]),
        "flags": tuple(values["flags"]),
    }
    return DayReading(**{**values, **changed})


def _leaf(values: dict[str, Any]) -> LeafReading:
    changed = {
        "lesions": tuple(Lesion(**lesion) for lesion in values["lesions"]),
        "healthy_lab": tuple(values["healthy_lab"]),
        "outline_px": tuple((row, col) for row, col in values["outline_px"]),
        "flags": tuple(values["flags"]),
    }
    return LeafReading(**{**values, **changed})


def _night(values: dict[str, Any]) -> NightReading:
    changed = {
        "caterpillars": tuple(_caterpillar(one) for one in values["caterpillars"]),
        "rejected": tuple(
            RejectedGlow(**(one | {"box_px": tuple(one["box_px"])})) for one in values["rejected"]
        ),
        "flags": tuple(values["flags"]),
    }
    return NightReading(**{**values, **changed})


def _caterpillar(values: dict[str, Any]) -> Caterpillar:
    midline = tuple((row, col) for row, col in values["midline_px"])
    return Caterpillar(**{**values, "midline_px": midline})


def _tag(values: dict[str, Any]) -> TagReading:
    gains = values["white_balance"]
    changed = {
        "flags": tuple(values["flags"]),
        "corners_px": tuple((row, col) for row, col in values["corners_px"]),
        "white_balance": tuple(gains) if gains else None,
    }
    return TagReading(**{**values, **changed})
