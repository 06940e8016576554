"""Rows that cannot be read: found before a query meets them, named, and set aside."""

import sqlite3
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import ColumnElement, Connection, Table, literal_column, true

from models.journal.errors import DamagedError
from models.journal.naming import named_rows
from models.journal.soundness import as_stored, changed_rows
from models.journal.tables import PHOTOS, READINGS
from models.remarks import remark

__all__ = ["SetAside"]

_MOST = 500  # rows of a table; where more are damaged, a backup is the better record


class SetAside:
    """The rows that one open journal leaves out, looked for once in each table that it reads.

    Only in an SQLite file: a database server looks after its own disks.

    Parameters
    ----------
    what : str
        What the journal is called in sentences.
    """

    def __init__(self, what: str) -> None:
        self._what = what
        self._found: dict[str, frozenset[int]] = {}  # of tables that were looked through whole
        self._found_among: dict[str, frozenset[int]] = {}
        self._only: Collection[int] | None = None

    @contextmanager
    def looking_at(self, photos: Collection[int] | None) -> Iterator[None]:
        """Look only through rows of photos of these numbers, or of all, until the block ends.

        Who asks for a few photos of a season need not wait until all its rows are looked through.
        Tables whose rows belong to no reading are small, and looked through as ever.
        """
        before = self._found_among, self._only
        self._found_among, self._only = {}, photos
        try:
            yield
        finally:
            self._found_among, self._only = before

    def sound(self, connection: Connection, table: Table, *parts: Table) -> ColumnElement[bool]:
        """Return a condition that leaves out the rows that cannot be read.

        Parameters
        ----------
        connection : Connection
            Within a transaction.
        table : Table
            Of the journal.
        *parts : Table
            Tables whose rows belong to rows of this one: with such a row its whole is left out.

        Raises
        ------
        DamagedError
            When too much is damaged to go on.
        """
        numbers = self.numbers(connection, table, *parts)
        if not numbers:
            return true()
        return literal_column(f"{table.name}.rowid").not_in(sorted(numbers))

    def numbers(self, connection: Connection, table: Table, *parts: Table) -> frozenset[int]:
        """Return the numbers (``rowid``) of the rows that `sound` leaves out."""
        if connection.dialect.name != "sqlite":
            return frozenset()
        raw: Any = connection.connection.driver_connection
        found = self._changed(raw, table)
        for part in parts:
            found |= _wholes(raw, part, self._changed(raw, part))
        return found

    def _changed(self, raw: sqlite3.Connection, table: Table) -> frozenset[int]:
        if table.name in self._found:
            return self._found[table.name]
        which = self._which(table)
        found = self._found_among if which else self._found
        if table.name not in found:
            numbers = changed_rows(raw, table, which)
            if len(numbers) > _MOST:
                raise DamagedError(
                    f"The journal {self._what} is damaged: {len(numbers)} rows of its table "
                    f"{table.name} cannot be read. “spotlamp restore” mends it from its backups."
                )
            found[table.name] = frozenset(numbers)
            if numbers:
                remark(
                    f"Set aside, because the journal {self._what} is damaged there: "
                    f"{named_rows(raw, table, numbers)}. “spotlamp restore” mends it from its "
                    "backups."
                )
        return found[table.name]

    def _which(self, table: Table) -> str:
        """Return the condition of the rows to be looked through; empty for all."""
        if self._only is None:
            return ""
        of_photos = f"IN ({', '.join(map(str, sorted(self._only)))})"
        if table is PHOTOS:
            return f"id {of_photos}"
        if table is READINGS:
            return f"photo_id {of_photos}"
        if any(key.column.table is READINGS for key in table.foreign_keys):
            return f"reading_id IN (SELECT id FROM readings WHERE photo_id {of_photos})"
        return ""


def _wholes(raw: sqlite3.Connection, part: Table, numbers: frozenset[int]) -> frozenset[int]:
    """Return the numbers of the rows that these rows of a table are parts of."""
    (key,) = part.foreign_keys
    query = f'SELECT "{key.parent.name}" FROM {part.name} WHERE rowid = ?'
    with as_stored(raw):
        found = [raw.execute(query, (number,)).fetchone() for number in sorted(numbers)]
    if None in found:  # rows that are met, but not found by their number: the pages are damaged
        raise sqlite3.DatabaseError("database disk image is malformed")
    return frozenset(owner for (owner,) in found if isinstance(owner, int))
