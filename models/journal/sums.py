"""Checksums of rows: a byte that flips on a disk is noticed, wherever in a value it lies.

Each row carries the CRC-32 of its other values. It is filled in by itself when a row is inserted;
`change_rows` keeps it right when one is changed, and a plain UPDATE without it is refused.
"""

import marshal
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any
from zlib import crc32

import sqlalchemy as sa
from sqlalchemy import Boolean, Column, Connection, DateTime, Float, Integer, String, Table, Text

__all__ = [
    "CHECKSUM",
    "add_checksum",
    "change_rows",
    "own_columns",
    "short_text",
    "summed_columns",
    "values_sum",
]

CHECKSUM = "checksum"

_FORMAT = 2  # of marshal: without references, so that equal values give equal bytes
_NOTHING = (None, b"")


def values_sum(values: Sequence[Any]) -> str:
    """Return the checksum of a row as eight hexadecimal digits.

    Values at the end that say nothing do not count: a table may get a new column at its end
    without its rows being summed again.

    Parameters
    ----------
    values : sequence
        Of `summed_columns`, as SQLite keeps them: None, int, float, and bytes for a text.
    """
    end = len(values)
    while end and values[end - 1] in _NOTHING:
        end -= 1
    # Ten times as fast as a text of the numbers; a test holds Python to these bytes.
    return f"{crc32(marshal.dumps(tuple(values[:end]), _FORMAT)):08x}"


def own_columns(table: Table) -> list[Column[Any]]:
    """Return a table's columns without the checksum."""
    return [column for column in table.columns if column.name != CHECKSUM]


def summed_columns(table: Table) -> list[Column[Any]]:
    """Return the columns that a row's checksum is of: not the number that the database gives it."""
    key = list(table.primary_key)
    given = key[0] if len(key) == 1 and isinstance(key[0].type, Integer) else None
    return [column for column in own_columns(table) if column is not given]


def short_text(length: int) -> String:
    """Return the type of a short text: the length is told, and no database holds us to it."""
    return String(length).with_variant(Text(), "postgresql")  # which would, as SQLite does not


def add_checksum(table: Table) -> None:
    """Add the column of checksums to a table, filled in by itself at each insertion."""
    columns = summed_columns(table)
    kinds = [(column.name, _as_stored(column)) for column in columns]

    def at_insertion(context: Any) -> str:  # noqa: ANN401  of SQLAlchemy
        return _sum_of(kinds, context.get_current_parameters())

    def at_change(context: Any) -> str:  # noqa: ANN401  of SQLAlchemy
        raise RuntimeError(f"change rows of {table.name} with change_rows, which sums them again")

    table.append_column(
        Column(
            CHECKSUM,
            short_text(8),
            nullable=False,
            server_default="",
            default=at_insertion,
            onupdate=at_change,
            comment="CRC-32 of the row's other values, hexadecimal.",
        )
    )


def change_rows(connection: Connection, table: Table, which: Any, **values: Any) -> int:  # noqa: ANN401  a condition of SQLAlchemy
    """Change the rows that a condition chooses, each with its checksum; return how many.

    Parameters
    ----------
    connection : Connection
        Within a transaction that writes.
    table : Table
        Of the journal.
    which : ColumnElement of bool
        Chooses rows that can be read.
    **values
        New values by column.
    """
    kinds = [(column.name, _as_stored(column)) for column in summed_columns(table)]
    # What is replaced need not be read: it may be what is damaged.
    kept = [c for c in own_columns(table) if c.primary_key or c.name not in values]
    found = connection.execute(sa.select(*kept).where(which)).mappings().all()
    for row in found:
        key = sa.and_(*(column == row[column.name] for column in table.primary_key))
        sums = {CHECKSUM: _sum_of(kinds, {**row, **values})}
        connection.execute(sa.update(table).where(key).values(**values, **sums))
    return len(found)


def _sum_of(kinds: Sequence[tuple[str, Callable[[Any], Any]]], row: Mapping[str, Any]) -> str:
    return values_sum([stored(row.get(name)) for name, stored in kinds])


def _as_stored(column: Column[Any]) -> Callable[[Any], Any]:
    """Return a function that gives a value of a column as SQLite gives it back."""
    kinds: tuple[tuple[type, Callable[[Any], Any]], ...] = (
        (Float, _float),
        (Boolean, int),
        (Integer, int),
        (DateTime, _time),
        (String, _text),
    )
    kind = next((stored for sort, stored in kinds if isinstance(column.type, sort)), bytes)
    return lambda value: None if value is None else kind(value)


def _float(value: Any) -> float | None:  # noqa: ANN401  any number
    number = float(value) + 0.0  # SQLite keeps no negative zero
    return number if number == number else None  # and NULL for what is no number


def _time(value: datetime) -> bytes:
    return value.replace(tzinfo=None).isoformat(" ", "microseconds").encode()


def _text(value: str) -> bytes:
    return value.encode("utf-8", "surrogatepass")
