"""The whole journal at once: every row of every table out, and into an empty journal again."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Integer, Table, func, insert, select, text
from sqlalchemy.exc import IntegrityError

from models.journal.base import OpenJournal
from models.journal.errors import JournalError
from models.journal.tables import METADATA, PHOTOS

__all__ = ["TABLES", "WholeRecord"]

TABLES: tuple[Table, ...] = tuple(METADATA.sorted_tables)
"""Every table, each after those that its rows point to."""

Row = Mapping[str, Any]

_ROWS_AT_ONCE = 5000


class WholeRecord(OpenJournal):
    """The part of a journal that takes out and puts in everything."""

    @contextmanager
    def everything(self) -> Iterator[Callable[[Table], Iterator[Row]]]:
        """Give a function that yields a table's rows by their key; all are of one moment."""
        with self.reading() as connection:

            def rows_of(table: Table) -> Iterator[Row]:
                query = select(table).order_by(*table.primary_key)
                for row in connection.execute(query).mappings():
                    yield {name: row[name] for name in table.columns.keys()}  # noqa: SIM118  a collection of SQLAlchemy

            yield rows_of

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
    return [dict(row) for row in rows]


def _count_on(connection: Connection, table: Table) -> None:
    """Let PostgreSQL number new rows after those that came with their numbers."""
    key, *others = table.primary_key
    if connection.dialect.name == "postgresql" and isinstance(key.type, Integer) and not others:
        sequence = f"pg_get_serial_sequence('{table.name}', '{key.name}')"
        connection.execute(
            text(f"SELECT setval({sequence}, (SELECT max({key.name}) FROM {table.name}))")
        )
