"""A journal on a PostgreSQL server: how it is reached, and how transactions take turns there.

A garden's stations may write at the same time. As in a file, whatever is written sees all that was
written before: a transaction first takes the journal's lock, which lasts as long as the
transaction. Filing is about one photo alone, so there only that photo is locked against others.

When the connection is lost while a transaction ends, nobody has said whether it was done. So each
transaction leaves its number in the table ``commits``, and what was lost is looked up there.
"""

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any
from uuid import uuid4

from sqlalchemy import Connection, Engine, create_engine, text
from sqlalchemy.engine import URL
from sqlalchemy.exc import DBAPIError

from models.journal.errors import JournalError, trouble_of

__all__ = [
    "ON_SERVER",
    "WAITS_SECONDS",
    "ServerTurns",
    "lock_whole",
    "refuse_unfit",
    "server_engine",
    "server_reader",
    "shown",
]

ON_SERVER = "Copies of it are the server's business: ask who keeps it for the last good one."
"""What to do about a damaged journal on a server."""

WAITS_SECONDS = (0, 0.1, 0.4, 1, 2, 4, 8, 15)
"""Before each further try after a connection was lost: long enough for a server to start again."""

_OLDEST = 12
_BUSY = "30s"  # how long one transaction waits for another, which takes some hundredths of a second
_SILENT = "20s"  # after which the server lets go of one whose station has stopped in the middle
_KEPT = "7 days"

# How soon a server that has gone without a word is noticed; otherwise it would take hours.
_USUAL = {
    "connect_timeout": "10",
    "keepalives_idle": "30",
    "keepalives_interval": "10",
    "keepalives_count": "3",
    "tcp_user_timeout": "60000",  # milliseconds
    "client_encoding": "utf8",
    "fallback_application_name": "spotlamp",
}

_JOURNAL = "hashtextextended('spotlamp ' || current_schema(), 0)"
_PHOTO = "hashtextextended('spotlamp ' || current_schema() || ' ' || :photo, 0)"
_LOCK_ALL = f"pg_advisory_xact_lock({_JOURNAL})"
_LOCK_PHOTO = f"pg_advisory_xact_lock_shared({_JOURNAL}), pg_advisory_xact_lock({_PHOTO})"
_LIMITS = f"set_config('lock_timeout', '{_BUSY}', true)"
# A server may be set to answer before a transaction is on its disk.
_ON_DISK = (
    "CASE current_setting('synchronous_commit') "
    "WHEN 'off' THEN set_config('synchronous_commit', 'local', true) END"
)
_SHORT = f"set_config('idle_in_transaction_session_timeout', '{_SILENT}', true)"
_NUMBERED = (
    "WITH mine AS (INSERT INTO commits (token, number, at) "
    "VALUES (:token, :number, now() AT TIME ZONE 'UTC') "
    "ON CONFLICT (token) DO UPDATE SET number = excluded.number, at = excluded.at) "
)
_BEGIN_ALL, _BEGIN_PHOTO = (
    text(f"{_NUMBERED} SELECT {_LIMITS}, {_SHORT}, {_ON_DISK}, {lock}")
    for lock in (_LOCK_ALL, _LOCK_PHOTO)
)
# Waits until a transaction that the server may still be at has ended, for it holds the row.
_ASK = text(
    "INSERT INTO commits (token, number, at) VALUES (:token, 0, now() AT TIME ZONE 'UTC') "
    "ON CONFLICT (token) DO UPDATE SET number = commits.number RETURNING number"
)
_FORGET = text(
    "DELETE FROM commits WHERE token = :token "
    f"OR at < now() AT TIME ZONE 'UTC' - interval '{_KEPT}'"
)
_FIT = "SELECT current_setting('server_version_num')::int, current_setting('server_encoding')"


def server_engine(url: URL) -> Engine:
    """Return an engine on a server.

    Raises
    ------
    ImportError
        When the driver is not installed.
    """
    if url.drivername in {"postgresql", "postgres"}:
        url = url.set(drivername="postgresql+psycopg")
    usual = {name: value for name, value in _USUAL.items() if name not in url.query}
    if "PGCONNECT_TIMEOUT" in os.environ:
        usual.pop("connect_timeout", None)
    return create_engine(url, connect_args=usual, pool_pre_ping=True)


def shown(url: URL) -> str:
    """Return a server's address as sentences name it: without password, and without options."""
    service = {"service": url.query["service"]} if "service" in url.query else {}
    place = url.username, None, url.host, url.port, url.database
    return URL.create("postgresql", *place, query=service).render_as_string()


def refuse_unfit(connection: Connection, what: str) -> None:
    """Refuse a server that would not keep what is written to it.

    Raises
    ------
    JournalError
        When the server is too old, or its database holds no Unicode.
    """
    version, encoding = connection.execute(text(_FIT)).one()
    if version < _OLDEST * 10_000:
        raise JournalError(
            f"The server of the journal {what} runs PostgreSQL {version // 10_000}, and this "
            f"release needs {_OLDEST} or newer."
        )
    if encoding != "UTF8":
        raise JournalError(
            f"The database of the journal {what} keeps texts as {encoding}, and names of plants "
            "may be in any script: make one with ENCODING 'UTF8'."
        )


def lock_whole(connection: Connection) -> None:
    """Wait for all other transactions on the journal, and keep others out until this one ends."""
    connection.execute(text(f"SELECT {_LIMITS}"))
    connection.execute(text(f"SELECT {_LOCK_ALL}"))


class ServerTurns:
    """The transactions that one open journal writes to a server.

    Parameters
    ----------
    engine : Engine
        From `server_engine`.
    what : str
        What the journal is called in sentences.
    """

    def __init__(self, engine: Engine, what: str) -> None:
        self._engine = engine
        # Each statement sees what is there once the lock is held, not what was there before.
        self._writer = engine.execution_options(isolation_level="READ COMMITTED")
        self._what = what
        self._token = uuid4().hex
        self._number = 0

    @contextmanager
    def writing(self, photo: str = "") -> Iterator[Connection]:
        """Give a connection for one transaction, with the lock of a photo or of the journal.

        Raises
        ------
        DBAPIError
            When the transaction was not done.
        JournalError
            When nobody can say whether it was.
        """
        with self._writer.connect() as connection:
            self._number += 1
            number = self._number
            begin = _BEGIN_PHOTO if photo else _BEGIN_ALL
            given = {"photo": photo} if photo else {}
            connection.execute(begin, {"token": self._token, "number": number, **given})
            yield connection
            try:
                connection.commit()
            except DBAPIError as error:
                if not (trouble_of(error) == "lost" and self._was_done(number)):
                    raise

    def _was_done(self, number: int) -> bool:
        """Ask for a transaction whose answer was lost, until the server is there again."""
        for wait in WAITS_SECONDS:
            time.sleep(wait)
            try:
                with self._writer.begin() as connection:
                    connection.execute(text(f"SELECT {_LIMITS}"))
                    return bool(connection.execute(_ASK, {"token": self._token}).scalar() == number)
            except DBAPIError as error:
                if trouble_of(error) not in {"lost", "away", "locked"}:
                    raise
        raise JournalError(
            f"The connection to the journal {self._what} was lost just when something was filed, "
            "and its server does not answer: it is filed whole or not at all. Look which, before "
            "you say it again."
        )

    def close(self) -> None:
        """Forget the numbers, which nobody will ask for any more."""
        if self._number:
            with suppress(DBAPIError), self._writer.begin() as connection:
                connection.execute(_FORGET, {"token": self._token})


def server_reader(engine: Engine) -> Engine:
    """Return an engine whose transactions only read, all of one moment."""
    how: dict[str, Any] = {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
    return engine.execution_options(**how)
