"""A journal's connection: transactions that read, transactions that write, and the day's copy."""

import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime, tzinfo
from functools import wraps
from pathlib import Path
from types import TracebackType
from typing import Concatenate, ParamSpec, Self, TypeVar

from sqlalchemy import Connection, Engine, Insert

from models.journal.aside import SetAside
from models.journal.backup import copies, daily_backup, way_back
from models.journal.errors import AwayError, DamagedError, JournalError, explained
from models.journal.server import ON_SERVER, WAITS_SECONDS, ServerTurns, server_reader
from models.remarks import remark

__all__ = ["Moment", "OpenJournal", "again_if_lost", "inserted"]

Moment = datetime | date | None

_Given = ParamSpec("_Given")
_Kind = TypeVar("_Kind", bound="OpenJournal")
_Answer = TypeVar("_Answer")
_Method = Callable[Concatenate[_Kind, _Given], _Answer]


def again_if_lost(method: _Method[_Kind, _Given, _Answer]) -> _Method[_Kind, _Given, _Answer]:
    """Do the one transaction of a method again when the server's connection broke before its end.

    A method that uses several transactions is not to be decorated: the first would be done twice.
    """

    @wraps(method)
    def steady(self: _Kind, /, *given: _Given.args, **named: _Given.kwargs) -> _Answer:
        for wait in WAITS_SECONDS:
            try:
                return method(self, *given, **named)
            except AwayError:
                time.sleep(wait)
        return method(self, *given, **named)

    return steady


class OpenJournal:
    """What all parts of a journal share.

    Parameters
    ----------
    engine : Engine
        Connected to tables of the newest version.
    zone : tzinfo
        The garden's time zone, in which all times are given back.
    what : str
        What the journal is called in sentences.
    file : Path or None
        The SQLite file; None for a server.
    readonly : bool
        Whether it is damaged so that nothing may be written before it is mended; its attribute
        says so too.
    """

    def __init__(
        self,
        engine: Engine,
        zone: tzinfo,
        what: str,
        file: Path | None = None,
        *,
        readonly: bool = False,
    ) -> None:
        on_server = engine.dialect.name != "sqlite"
        self._engine = engine
        self._reader = server_reader(engine) if on_server else engine
        self._writer = engine.execution_options(writes=True)
        self._turns = ServerTurns(engine, what) if on_server else None
        self._file = file
        self.readonly = readonly
        self._backed_up: date | None = None
        self._first_day = self._wrote = False
        aside = SetAside(what)
        self.sound, self.set_aside = aside.sound, aside.numbers
        self.looking_at = aside.looking_at
        self.zone = zone
        self.what = what

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database; on a record's first day its copy is brought up to date."""
        if self._turns is not None:
            self._turns.close()
        self._engine.dispose()
        if self._first_day and self._wrote:
            self._back_up_again()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection for one transaction that only reads."""
        with self._explained(), self._reader.begin() as connection:
            yield connection

    @contextmanager
    def writing(self, photo: str = "") -> Iterator[Connection]:
        """Give a connection for one transaction; the day's first makes the backup before it.

        It sees all that was written before, and nothing is written meanwhile that it could miss.

        Parameters
        ----------
        photo : str
            Hash of the only photo that it looks at and changes, if so: on a server, others may
            then file theirs at the same time.

        Raises
        ------
        DamagedError
            When the journal is damaged, be it in its indexes alone.
        JournalError
            When the day's backup or the database cannot be written.
        """
        if self.readonly:
            raise DamagedError(
                f"The journal {self.what} is damaged in its indexes, so nothing was changed: "
                "“spotlamp restore” makes them anew."
            )
        with self._explained():
            self._back_up()
            turns = self._turns
            with turns.writing(photo) if turns else self._writer.begin() as connection:
                yield connection
        self._wrote = True
        if self._first_day and self._file is not None and not copies(self._file):
            self._back_up_again()

    @contextmanager
    def _explained(self) -> Iterator[None]:
        file, other = self._file, ON_SERVER if self._turns else ""
        with explained(self.what, lambda: way_back(file) if file else other):
            yield

    def _back_up(self) -> None:
        if self._file is None or self._backed_up == date.today():
            return
        try:
            daily_backup(self._file)
        except OSError as error:
            raise JournalError(
                f"The day's backup of the journal {self.what} cannot be written "
                f"({error.strerror}), so nothing was changed."
            ) from error
        self._backed_up = date.today()
        self._first_day = len(copies(self._file)) <= 1

    def _back_up_again(self) -> None:
        """Copy what was filed on the first day: there is no earlier copy to go back to."""
        if self._file is None:
            return
        try:
            daily_backup(self._file, again=True)
        except (OSError, sqlite3.Error) as error:
            remark(f"The backup of the journal {self.what} cannot be written ({error}).")


def inserted(connection: Connection, statement: Insert) -> int:
    """Insert a row and return its number."""
    key = connection.execute(statement).inserted_primary_key
    return int(key[0])  # type: ignore[index]  # every table here has one
