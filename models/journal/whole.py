"""The whole journal at once: every row of every table out, and into an empty journal again."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    Integer,
    Table,
    and_,
    func,
    insert,
    or_,
    select,
    text,
)
from sqlalchemy.exc import IntegrityError

from models.journal.base import OpenJournal, again_if_lost
from models.journal.errors import JournalError
from models.journal.sums import CHECKSUM, own_columns
from models.journal.tables import METADATA, PHOTOS, parts_of

__all__ = ["TABLES", "WholeRecord"]

TABLES: tuple[Table, ...] = tuple(METADATA.sorted_tables)
"""Every table, each after those that its rows point to."""

Row = Mapping[str, Any]

_ROWS_AT_ONCE = 5000


class WholeRecord(OpenJournal):
    """The part of a journal that takes out and puts in everything."""

    @contextmanager
    def everything(self) -> Iterator[Callable[[Table], Iterator[Row]]]:
        """Give a function that yields a table's rows by their key; all are of one moment.

        Rows that cannot be read are left out, with those that are nothing without them.
        """
        with self.reading() as connection:
            sound = self._sound_everywhere(connection)

            def rows_of(table: Table) -> Iterator[Row]:
                query = select(*own_columns(table)).order_by(*table.primary_key)
                gone = self.set_aside(connection, table, *parts_of(table))
                own = [key.parent.name for key in table.foreign_keys if key.column.table is table]
                for row in connection.execute(query.where(sound[table.name])).mappings():
                    yield {**row, **{name: None for name in own if row[name] in gone}}

            yield rows_of

    def _sound_everywhere(self, connection: Connection) -> dict[str, ColumnElement[bool]]:
        """Return a condition for each table, under which its rows can be read and fit together."""
        sound: dict[str, ColumnElement[bool]] = {}
        for table in TABLES:
            conditions = [self.sound(connection, table, *parts_of(table))]
            for key in table.foreign_keys:
                if key.column.table is not table:
                    kept = select(key.column).where(sound[key.column.table.name])
                    conditions.append(or_(key.parent.is_(None), key.parent.in_(kept)))
            sound[table.name] = and_(*conditions)
        return sound

    @again_if_lost
    def put_everything(self, rows_of: Callable[[Table], Iterable[Row]]) -> int:
        """Fill an empty journal in one transaction; return the number of photos.

        Parameters
        ----------
        rows_of : callable
            Takes a table and returns its rows, as `everything` gave them.

        Raises
        ------
        JournalError
            When the journal is not empty, or the rows do not fit together; it is then as it was.
        """
        try:
            with self.writing() as connection:
                _refuse_filled(connection, self.what)
                for table in TABLES:
                    _insert_all(connection, table, rows_of(table))
                return int(
                    connection.execute(select(func.count()).select_from(PHOTOS)).scalar_one()
                )
        except IntegrityError as error:
            what = " ".join(str(error.orig).split())
            raise JournalError(f"The tables do not fit together ({what}).") from error


def _refuse_filled(connection: Connection, what: str) -> None:
    for table in TABLES:
        # Plants are recorded when a garden is made.
        if table.name == "plants":
            connection.execute(table.delete())
        elif connection.execute(select(table).limit(1)).first() is not None:
            raise JournalError(
                f"The journal {what} is not empty: import into a new garden, so that nothing is "
                "mixed up."
            )


def _insert_all(connection: Connection, table: Table, rows: Iterable[Row]) -> None:
    waiting: list[Row] = []
    for row in rows:
        waiting.append(row)
        if len(waiting) == _ROWS_AT_ONCE:
            connection.execute(insert(table), _plain(waiting))
            waiting = []
    if waiting:
        connection.execute(insert(table), _plain(waiting))
    _count_on(connection, table)


def _plain(rows: Sequence[Row]) -> list[dict[str, Any]]:
    """Return rows without their checksums, which are made anew."""
    return [{name: row[name] for name in row if name != CHECKSUM} for row in rows]


def _count_on(connection: Connection, table: Table) -> None:
    """Let PostgreSQL number new rows after those that came with their numbers."""
    key, *others = table.primary_key
    if connection.dialect.name == "postgresql" and isinstance(key.type, Integer) and not others:
        sequence = f"pg_get_serial_sequence('{table.name}', '{key.name}')"
        connection.execute(
            text(f"SELECT setval({sequence}, (SELECT max({key.name}) FROM {table.name}))")
        )
