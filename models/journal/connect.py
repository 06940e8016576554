"""How the journal's database is opened: one file by default, or a server by its URL."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, NullPool, StaticPool, create_engine, event
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError

from models.journal.errors import JournalError
from models.journal.server import server_engine, shown

__all__ = ["DriverConnection", "called", "engine_for", "engine_on", "file_of", "read_url"]

_KINDS = {"sqlite", "postgresql", "postgres"}

BUSY_SECONDS = 30
"""How long one run waits for another's transaction, which takes some hundredths of a second."""


@contextmanager
def _as_database_errors() -> Iterator[None]:
    """Tell all errors as errors of a database.

    SQLite quotes a file's definitions of tables in its messages. Where those of a damaged file
    hold bytes that are no text, Python cannot read the message, and raises an error about text.
    """
    try:
        yield
    except UnicodeDecodeError as error:
        said = bytes(error.object).decode(errors="backslashreplace")
        raise sqlite3.DatabaseError(said) from error


class _Cursor(sqlite3.Cursor):
    def execute(self, *words: Any) -> "_Cursor":  # noqa: ANN401  as Python's own
        with _as_database_errors():
            super().execute(*words)
        return self

    def executemany(self, *words: Any) -> "_Cursor":  # noqa: ANN401
        with _as_database_errors():
            super().executemany(*words)
        return self


class DriverConnection(sqlite3.Connection):
    """Python's SQLite with all errors told so; hand it to ``sqlite3.connect`` as its factory."""

    def cursor(self, factory: Any = None) -> Any:  # noqa: ANN401  as Python's own
        """Return a cursor that tells errors so."""
        return super().cursor(factory or _Cursor)

    def execute(self, *words: Any) -> Any:  # noqa: ANN401
        """Return a cursor that has executed a statement."""
        return self.cursor().execute(*words)

    def executemany(self, *words: Any) -> Any:  # noqa: ANN401
        """Return a cursor that has executed a statement for each of some rows."""
        return self.cursor().executemany(*words)


def read_url(text: str) -> URL:
    """Return a database URL.

    Raises
    ------
    JournalError
        When it is none, or that of a database of another kind.
    """
    try:
        url = make_url(text)
    except (ArgumentError, ValueError):  # whose words hold the address, perhaps with a password
        url = None
    if url is None or url.get_backend_name() not in _KINDS:
        secret = text.rfind("@") + 1
        raise JournalError(
            f"“{'…' if secret else ''}{text[secret:]}” is no address of a journal: give a file's "
            "name, or a database URL such as postgresql://server/garden."
        )
    return url


def called(url: URL) -> str:
    """Return what a journal is called in sentences, never with a password."""
    file = file_of(url)
    is_server = url.get_backend_name() != "sqlite"
    return f"“{file or (shown(url) if is_server else url.render_as_string())}”"


def file_of(url: URL) -> Path | None:
    """Return the SQLite file behind a URL; None for a server, or a journal in memory."""
    named = url.database if url.get_backend_name() == "sqlite" else None
    return Path(named) if named and named != ":memory:" else None


def engine_for(url: URL) -> Engine:
    """Return an engine whose transactions are safe for two programs at once.

    Raises
    ------
    JournalError
        When the database's driver is not installed.
    """
    if url.get_backend_name() != "sqlite":
        try:
            return server_engine(url)
        except ImportError as error:
            raise JournalError(
                f"A journal on a server needs the Python package “{error.name or 'psycopg'}”: pip "
                "install 'spotlamp[postgresql]'."
            ) from error
    # A file's connection is closed after each transaction: nothing is held while photos are
    # measured. In memory the one connection is the journal.
    pool: dict[str, Any] = {"poolclass": NullPool} if file_of(url) else {}
    how = {"timeout": BUSY_SECONDS, "factory": DriverConnection}
    return _prepared(create_engine(url, connect_args=how, **pool))


def engine_on(connection: sqlite3.Connection) -> Engine:
    """Return an engine on one connection that is open already; disposing of it closes that."""
    return _prepared(create_engine("sqlite://", creator=lambda: connection, poolclass=StaticPool))


def _prepared(engine: Engine) -> Engine:
    event.listen(engine, "connect", _set_up)
    event.listen(engine, "begin", _begin)
    return engine


def _set_up(connection: Any, record: object) -> None:  # noqa: ANN401  SQLite's own
    # Python would begin transactions late and commit before some statements; we say when.
    connection.isolation_level = None
    connection.execute("PRAGMA foreign_keys = ON")
    # A rollback journal, SQLite's default, keeps the record in one file that can be copied, also
    # on a network drive. EXTRA: a commit outlasts a power cut the moment it returns.
    connection.execute("PRAGMA synchronous = EXTRA")


def _begin(connection: Connection) -> None:
    # A writer takes the lock before it looks, or two runs could both find a photo missing.
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
