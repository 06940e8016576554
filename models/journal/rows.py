"""Entries to the journal's rows, and back."""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, tzinfo
from typing import Any

from sqlalchemy import Table

from models.corrections import Mark, Redrawn
from models.entries import Find, LeafEntry, LogEntry, PhotoEntry
from models.journal.packing import LESION_FIELDS, pack_lesions
from models.journal.sums import own_columns
from models.journal.tables import FINDS, LEAVES, LOG, PHOTOS, READINGS, REDRAWN
from vision.records import Lesion

__all__ = [
    "CLOCK_DOUBTFUL",
    "NO_DATE",
    "PHOTO_COLUMNS",
    "find_rows",
    "from_utc",
    "leaf_entry",
    "leaf_rows",
    "lesion_rows",
    "log_entry",
    "log_row",
    "mark_rows",
    "photo_entry",
    "reading_row",
    "redrawn_leaf",
    "redrawn_lesion_rows",
    "redrawn_row",
    "storable",
]


def _names(table: Table, *without: str) -> list[str]:
    return [c.name for c in own_columns(table) if c.name not in without]


_OF_READING = _names(READINGS, "id", "photo_id", "is_current")
_OF_LEAF = _names(LEAVES, "reading_id")
_OF_FIND = _names(FINDS, "reading_id")
_OF_REDRAWN = _names(REDRAWN, "number", "version")
_OF_PHOTO = _names(PHOTOS, "id", "filed_at")
_PHOTO_NAMES = _OF_PHOTO + _OF_READING
_OF_LOG = _names(LOG, "number", "at")

CLOCK_DOUBTFUL = "clock_doubtful"
"""Flag of a photo whose date does not fit the others' (see ``models.garden.clock``)."""

NO_DATE = "no_date"
"""Flag of a photo with no date but its file's."""

_OF_DATES = {"bad_date", "future_date"}

PHOTO_COLUMNS = tuple([PHOTOS.c[name] for name in _OF_PHOTO] + [READINGS.c[n] for n in _OF_READING])
"""What `photo_entry` needs of a joined row of ``photos`` and ``readings``."""


def storable(text: str) -> str:
    """Return a text with what no database takes (NUL, halves of signs) as backslash escapes."""
    whole = text.encode("utf-8", errors="backslashreplace").decode()
    return whole.replace("\0", "\\x00")


def _plain(values: dict[str, Any]) -> dict[str, Any]:
    """Join flags, escape texts, and make Python's own numbers of NumPy's."""
    plain = {}
    for name, value in values.items():
        if name == "flags":
            value = ";".join(value)
        plain[name] = storable(value) if isinstance(value, str) else _number(value)
    return plain


def _number(value: Any) -> Any:  # noqa: ANN401  whatever a column holds
    """Return a number as SQLite keeps it, which knows no NaN and no negative zero."""
    value = value.item() if hasattr(value, "item") else value
    if isinstance(value, float):
        return None if math.isnan(value) else value + 0.0
    return value


def reading_row(entry: PhotoEntry) -> dict[str, Any]:
    """Return the columns of ``readings`` that an entry fills."""
    return _plain({name: getattr(entry, name) for name in _OF_READING})


def leaf_rows(reading_id: int, leaves: Iterable[LeafEntry]) -> list[dict[str, Any]]:
    """Return the rows of ``leaves``."""
    return [
        {"reading_id": reading_id, **_plain({name: getattr(leaf, name) for name in _OF_LEAF})}
        for leaf in leaves
    ]


def lesion_rows(reading_id: int, lesions: Iterable[Lesion]) -> list[dict[str, Any]]:
    """Return the rows of ``lesions``; a leaf without any has none."""
    by_leaf: dict[int, list[Lesion]] = defaultdict(list)
    for lesion in lesions:
        by_leaf[lesion.leaf].append(lesion)
    return [
        {"reading_id": reading_id, "leaf": leaf, "packed": pack_lesions(members)}
        for leaf, members in by_leaf.items()
    ]


def find_rows(reading_id: int, finds: Iterable[Find]) -> list[dict[str, Any]]:
    """Return the rows of ``finds``."""
    return [
        {"reading_id": reading_id, **_plain({name: getattr(find, name) for name in _OF_FIND})}
        for find in finds
    ]


def mark_rows(number: int, marks: Iterable[Mark]) -> list[dict[str, Any]]:
    """Return the rows of ``marks`` of a fix."""
    return [
        {"number": number, "position": position, **_plain(mark._asdict())}
        for position, mark in enumerate(marks, start=1)
    ]


def redrawn_row(number: int, redrawn: Redrawn) -> dict[str, Any]:
    """Return the row of ``redrawn`` of a fix."""
    key = {"number": number, "version": storable(redrawn.version)}
    return {**key, **_plain({name: getattr(redrawn.leaf, name) for name in _OF_REDRAWN})}


def redrawn_lesion_rows(number: int, redrawn: Redrawn) -> list[dict[str, Any]]:
    """Return the rows of ``redrawn_lesions`` of a fix."""
    key = {"number": number, "version": storable(redrawn.version)}
    return [
        {**key, "lesion": place, **_plain({name: getattr(one, name) for name in LESION_FIELDS})}
        for place, one in enumerate(redrawn.lesions, start=1)
    ]


def redrawn_leaf(row: Mapping[str, Any]) -> LeafEntry:
    """Return a leaf from a row of ``redrawn``."""
    values = {name: row[name] for name in _OF_REDRAWN}
    return LeafEntry(1, **{**values, "flags": _flags(values["flags"])})


def leaf_entry(row: Sequence[Any]) -> LeafEntry:
    """Return a leaf from a row whose columns are those of ``leaves`` after ``reading_id``."""
    values = dict(zip(_OF_LEAF, row, strict=True))
    values["flags"] = _flags(values["flags"])
    return LeafEntry(**values)


def photo_entry(
    row: Sequence[Any], leaves: tuple[LeafEntry, ...], zone: tzinfo, *, doubtful: bool, dated: bool
) -> PhotoEntry:
    """Return a photo from a row of `PHOTO_COLUMNS`.

    Parameters
    ----------
    row : sequence
        In the order of `PHOTO_COLUMNS`.
    leaves : tuple of LeafEntry
        Of the reading.
    zone : tzinfo
        The garden's.
    doubtful : bool
        Whether the photo's date does not fit the others'.
    dated : bool
        Whether somebody put its date right, so that nothing found wrong with it counts any more.
    """
    values = dict(zip(_PHOTO_NAMES, row, strict=True))
    values["taken_at"] = from_utc(values["taken_at"], zone)
    measured = (f for f in _flags(values["flags"]) if not (dated and f in _OF_DATES))
    of_record = ((CLOCK_DOUBTFUL, doubtful), (NO_DATE, values["taken_from"] == "file"))
    values["flags"] = (*measured, *(flag for flag, holds in of_record if holds))
    return PhotoEntry(leaves=leaves, **values)


def log_row(entry: LogEntry, at: datetime) -> dict[str, Any]:
    """Return the row of ``log`` without its number; `at` is the entry's time as naive UTC."""
    return {"at": at, **_plain({name: getattr(entry, name) for name in _OF_LOG})}


def log_entry(row: Any, plants: tuple[str, ...], zone: tzinfo) -> LogEntry:  # noqa: ANN401  a row of SQLAlchemy
    """Return an entry of the log."""
    values = {name: getattr(row, name) for name in _OF_LOG}
    return LogEntry(number=row.number, at=from_utc(row.at, zone), plants=plants, **values)


def from_utc(when: datetime, zone: tzinfo) -> datetime:
    """Return a stored time in the garden's zone."""
    return zone.fromutc(when.replace(tzinfo=zone))


def _flags(joined: str) -> tuple[str, ...]:
    return tuple(joined.split(";")) if joined else ()
