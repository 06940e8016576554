"""Damaged rows taken back from backups; what no backup holds is left out, by name."""

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, suppress
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple

from sqlalchemy import Column, Integer, LargeBinary, Table

from models.journal.backup import aside_name, backups
from models.journal.errors import explained
from models.journal.examining import open_file
from models.journal.naming import name_of
from models.journal.soundness import as_stored, changed_rows, quoted, sum_rows
from models.journal.sums import CHECKSUM, own_columns, summed_columns, values_sum
from models.journal.tables import METADATA, READINGS, parts_of

__all__ = ["Mended", "mend"]

_TABLES = tuple(METADATA.sorted_tables)


class Mended(NamedTuple):
    """What became of damaged rows.

    Attributes
    ----------
    aside : Path
        Copy of the journal as it was.
    taken_back : tuple of str
        What was found in a backup, in words.
    left_out : tuple of str
        What was found in none.
    """

    aside: Path
    taken_back: tuple[str, ...]
    left_out: tuple[str, ...]


class _Bad(NamedTuple):
    table: Table
    number: int
    name: str
    owner: tuple[Table, int] | None
    found: tuple[Any, ...] | None


def mend(file: Path, now: datetime | None = None) -> Mended:
    """Put each row that does not fit its checksum right, in one transaction.

    Parameters
    ----------
    file : Path
        A journal of the newest version whose pages fit each other.
    now : datetime, optional
        Goes into the name of the copy that is kept.

    Raises
    ------
    JournalError
        When the file cannot be written; it is then as it was.
    """
    aside = aside_name(file, now)
    with explained(f"“{file}”", str), closing(open_file(file)) as raw:
        with closing(sqlite3.connect(aside)) as copy:
            raw.backup(copy)
        raw.isolation_level = None
        raw.execute("BEGIN IMMEDIATE")
        # An error closes the connection, which takes back what was begun.
        taken_back, left_out = _mended(raw, backups(file))
        raw.execute("COMMIT")
    return Mended(aside, tuple(dict.fromkeys(taken_back)), tuple(dict.fromkeys(left_out)))


def _mended(raw: sqlite3.Connection, copies: Sequence[Path]) -> tuple[list[str], list[str]]:
    bad = list(_bad_rows(raw, copies))
    # An index that holds another value than its row would be taken for damage of the whole.
    raw.execute("PRAGMA writable_schema = ON")
    for row in bad:
        raw.execute(f"DELETE FROM {row.table.name} WHERE rowid = ?", (row.number,))
    raw.execute("REINDEX")
    raw.execute("PRAGMA writable_schema = OFF")
    back = {id(row) for row in bad if row.found and _put(raw, row.table, row.number, row.found)}
    for row in bad:
        if id(row) not in back:
            _take_out(raw, *(row.owner or (row.table, row.number)))
    lost = [_lose(raw, *row) for row in _orphans(raw)]
    _settle_current(raw)
    names = [row.name for row in bad if id(row) not in back]
    return [row.name for row in bad if id(row) in back], names + lost


def _bad_rows(raw: sqlite3.Connection, copies: Sequence[Path]) -> Iterator[_Bad]:
    for table in _TABLES:
        for number in changed_rows(raw, table):
            found = (_in_copy(copy, table, number) for copy in copies)
            row = next((values for values in found if values is not None), None)
            yield _Bad(table, number, name_of(raw, table, number), _owner(raw, table, number), row)


def _in_copy(copy: Path, table: Table, number: int) -> tuple[Any, ...] | None:
    """Return the values of a row as a backup holds it; None where it does not, or not sound."""
    with suppress(sqlite3.Error), closing(open_file(copy)) as raw, as_stored(raw):
        there = {str(row[1], "utf-8") for row in raw.execute(f"PRAGMA table_info({table.name})")}
        # A copy from before there was a column says nothing in it.
        nothing = {True: "NULL", False: "''"}
        names = [
            f'"{c.name}"' if c.name in there else nothing[bool(c.nullable)]
            for c in own_columns(table)
        ]
        query = f"SELECT {CHECKSUM}, {', '.join(names)} FROM {table.name} WHERE rowid = ?"
        row = raw.execute(query, (number,)).fetchone()
        if row is not None and row[0] == _sum(table, row[1:]).encode():
            return tuple(map(_as_given, own_columns(table), row[1:]))
    return None


def _sum(table: Table, values: Sequence[Any]) -> str:
    summed = summed_columns(table)
    kept = [
        value for column, value in zip(own_columns(table), values, strict=True) if column in summed
    ]
    return values_sum(kept)


def _as_given(column: Column[Any], value: Any) -> Any:  # noqa: ANN401  whatever is stored
    is_text = isinstance(value, bytes) and not isinstance(column.type, LargeBinary)
    return value.decode() if is_text else value


def _put(raw: sqlite3.Connection, table: Table, number: int, values: Sequence[Any]) -> bool:
    columns = [column.name for column in own_columns(table)]
    given = dict(zip(columns, values, strict=True))
    key = list(table.primary_key)
    if len(key) != 1 or not isinstance(key[0].type, Integer):
        given["rowid"] = number
    marks = ", ".join("?" * len(given))
    try:
        raw.execute(
            f"INSERT INTO {table.name} ({quoted(list(given))}) VALUES ({marks})",
            tuple(given.values()),
        )
    except sqlite3.IntegrityError:  # another row has taken its place since
        return False
    sum_rows(raw, table, number)
    return True


def _owner(raw: sqlite3.Connection, table: Table, number: int) -> tuple[Table, int] | None:
    """Return the row that this one is a part of, and cannot be left out without."""
    for owner in _TABLES:
        if table in parts_of(owner):
            (key,) = table.foreign_keys
            query = f'SELECT "{key.parent.name}" FROM {table.name} WHERE rowid = ?'
            value = raw.execute(query, (number,)).fetchone()[0]
            return (owner, value) if isinstance(value, int) else None
    return None


def _take_out(raw: sqlite3.Connection, table: Table, number: int) -> None:
    """Delete a row with all that points to it; an entry that corrected it stands alone then."""
    for child in _TABLES:
        for key in child.foreign_keys:
            if key.column.table is not table:
                continue
            name = f'"{key.parent.name}"'
            query = f"SELECT rowid FROM {child.name} WHERE {name} = ?"
            for (other,) in raw.execute(query, (number,)).fetchall():
                if child is table:
                    raw.execute(f"UPDATE {table.name} SET {name} = NULL WHERE rowid = ?", (other,))
                    sum_rows(raw, table, other)
                else:
                    _take_out(raw, child, other)
    raw.execute(f"DELETE FROM {table.name} WHERE rowid = ?", (number,))


def _orphans(raw: sqlite3.Connection) -> list[tuple[Table, int]]:
    found = raw.execute("PRAGMA foreign_key_check").fetchall()
    return [(METADATA.tables[name], number) for name, number, *_ in found]


def _lose(raw: sqlite3.Connection, table: Table, number: int) -> str:
    """Take out a row that points to none, and return what it was called."""
    name = f"row {number} of {table.name}, which belongs to nothing"
    _take_out(raw, table, number)
    return name


def _settle_current(raw: sqlite3.Connection) -> None:
    """Let the newest reading of each photo be the current one, and no other."""
    newest = "(SELECT max(other.id) FROM readings other WHERE other.photo_id = readings.photo_id)"
    query = f"SELECT id FROM readings WHERE is_current != (id = {newest})"
    for (number,) in raw.execute(query).fetchall():
        raw.execute("UPDATE readings SET is_current = NOT is_current WHERE id = ?", (number,))
        sum_rows(raw, READINGS, number)
