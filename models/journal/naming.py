"""Rows of a journal in words that people know."""

import sqlite3
from collections.abc import Sequence

from sqlalchemy import Table

from models.journal.soundness import as_stored
from vision.photo.find import printable

__all__ = ["name_of", "named_rows"]

_MOST_NAMED = 5
_LONGEST = 80  # signs of a name, which may be damaged itself

_PHOTO_OF_READING = (
    "SELECT photo FROM photos JOIN readings ON photo_id = photos.id WHERE readings.id = {}"
)
_PHOTO_OF_FIX = "SELECT photo FROM photos JOIN fixes ON photo_id = id WHERE fixes.number = {}"


def _of_part(key: str, table: str, owner: str) -> str:
    """Return the query for the photo of a row that is a part of a reading or of a fix."""
    return owner.format(f"(SELECT {key} FROM {table} WHERE rowid = {{}})")


# What a row is called, and the query for the name in it.
_CALLED = {
    "photos": ("the photo “{}”", "SELECT photo FROM photos WHERE id = {}"),
    "readings": ("a reading of “{}”", _PHOTO_OF_READING.format("{}")),
    "leaves": (
        "a leaf of “{}”",
        _of_part("reading_id", "leaves", _PHOTO_OF_READING),
    ),
    "lesions": (
        "lesions of “{}”",
        _of_part("reading_id", "lesions", _PHOTO_OF_READING),
    ),
    "finds": (
        "a dropping or caterpillar of “{}”",
        _of_part("reading_id", "finds", _PHOTO_OF_READING),
    ),
    "log": ("entry {} of the log", "SELECT {}"),
    "log_plants": (
        "a plant of entry {} of the log",
        "SELECT number FROM log_plants WHERE rowid = {}",
    ),
    "plants": ("the plant “{}”", "SELECT name FROM plants WHERE rowid = {}"),
    "corrections": (
        "your word on “{}”",
        "SELECT photo FROM photos JOIN corrections ON photo_id = id WHERE number = {}",
    ),
    "fixes": ("what was put right of “{}”", _PHOTO_OF_FIX),
    **{
        name: ("what was put right of “{}”", _of_part("number", name, _PHOTO_OF_FIX))
        for name in ("marks", "redrawn", "redrawn_lesions")
    },
}


def named_rows(raw: sqlite3.Connection, table: Table, numbers: Sequence[int]) -> str:
    """Return what rows of a table are called, the first few of them by name.

    Parameters
    ----------
    raw : sqlite3.Connection
        To the journal that holds them, damaged as they may be.
    table : Table
        Of the journal.
    numbers : sequence of int
        Their ``rowid``; not empty.
    """
    names = [name_of(raw, table, number) for number in numbers[:_MOST_NAMED]]
    more = len(numbers) - len(names)
    return ", ".join(dict.fromkeys(names)) + (f" and {more} more" if more else "")


def name_of(raw: sqlite3.Connection, table: Table, number: int) -> str:
    """Return what one row is called."""
    if table.name not in _CALLED:
        return f"row {number} of {table.name}"
    called, query = _CALLED[table.name]
    with as_stored(raw):
        found = raw.execute(query.format(number)).fetchone()
    return called.format(_shown(found[0] if found else f"number {number}"))


def _shown(value: object) -> str:
    text = value.decode(errors="replace") if isinstance(value, bytes) else str(value)
    return printable(text[:_LONGEST])
