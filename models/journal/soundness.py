"""Which rows of a journal's file are as they were written."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from typing import Any

from sqlalchemy import Boolean, Column, DateTime, Float, Integer, LargeBinary, Table

from models.journal.packing import LESION_BYTES
from models.journal.sums import CHECKSUM, summed_columns, values_sum

__all__ = ["as_stored", "changed_rows", "quoted", "sum_rows"]

_YEARS = range(1900, 2200)  # of times that no time zone moves out of the calendar


def quoted(names: Iterator[str] | list[str]) -> str:
    """Return names of columns as SQL."""
    return ", ".join(f'"{name}"' for name in names)


@contextmanager
def as_stored(raw: sqlite3.Connection) -> Iterator[sqlite3.Connection]:
    """Let a connection give texts as their bytes, which can be read whatever they hold."""
    before, raw.text_factory = raw.text_factory, bytes
    try:
        yield raw
    finally:
        raw.text_factory = before


def changed_rows(raw: sqlite3.Connection, table: Table, which: str = "") -> list[int]:
    """Return the numbers (``rowid``) of the rows that do not fit their checksum.

    Parameters
    ----------
    raw : sqlite3.Connection
        To a journal of the newest version.
    table : Table
        Of the journal.
    which : str
        Condition, as SQL, of the rows to look through; empty for all.

    Raises
    ------
    sqlite3.DatabaseError
        When the file's pages do not fit together.
    """
    columns = quoted([column.name for column in summed_columns(table)])
    query = f"SELECT rowid, {CHECKSUM}, {columns} FROM {table.name}"
    if which:
        query += f" WHERE {which}"
    with as_stored(raw):
        return [
            number
            for number, checksum, *values in raw.execute(query)
            if checksum != values_sum(values).encode()
        ]


def sum_rows(raw: sqlite3.Connection, table: Table, only: int | None = None) -> None:
    """Give each row of a table its checksum; one that cannot be read gets none that fits.

    Parameters
    ----------
    raw : sqlite3.Connection
        Within a transaction that writes.
    table : Table
        With its column of checksums.
    only : int, optional
        Number (``rowid``) of the only row that is meant.
    """
    columns = summed_columns(table)
    query = f"SELECT rowid, {quoted([column.name for column in columns])} FROM {table.name}"
    if only is not None:
        query += f" WHERE rowid = {only:d}"
    with as_stored(raw):
        sums = [
            (values_sum(values), number)
            for number, *values in raw.execute(query)
            if all(map(_is_readable, columns, values))
        ]
    raw.executemany(f"UPDATE {table.name} SET {CHECKSUM} = ? WHERE rowid = ?", sums)


def _is_readable(column: Column[Any], value: Any) -> bool:  # noqa: ANN401  whatever is stored
    if value is None:
        return bool(column.nullable)
    if isinstance(column.type, Float):
        return isinstance(value, float)
    if isinstance(column.type, Integer | Boolean):
        return isinstance(value, int)
    with suppress(UnicodeDecodeError, ValueError, AttributeError):
        return _is_readable_text(column, value)
    return False


def _is_readable_text(column: Column[Any], value: bytes) -> bool:
    if isinstance(column.type, LargeBinary):
        return len(value) % LESION_BYTES == 0
    text = value.decode()
    return not isinstance(column.type, DateTime) or datetime.fromisoformat(text).year in _YEARS
