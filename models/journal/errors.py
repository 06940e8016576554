"""What can be wrong with a journal, each as one sentence for people."""

import re
import sqlite3
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Literal

from sqlalchemy.exc import DBAPIError, OperationalError

from vision.errors import SpotlampError

__all__ = [
    "AwayError",
    "DamagedError",
    "JournalError",
    "LostError",
    "StaleError",
    "Trouble",
    "explained",
    "trouble_of",
]

Trouble = Literal[
    "damaged", "locked", "unreadable", "readonly", "full", "other",
    # Of a server alone: no answer, a connection that broke, and what a server refuses.
    "away", "lost", "stranger", "nowhere", "rights", "crowded", "copy",
]  # fmt: skip


class JournalError(SpotlampError):
    """The journal cannot be used; the message is one sentence for people."""


class DamagedError(JournalError):
    """The journal's file is damaged; the message names the way back."""


class AwayError(JournalError):
    """The server of the journal does not answer; nothing was changed."""


class LostError(AwayError):
    """The connection to the server broke, or the server is just starting; nothing was changed."""


class StaleError(JournalError):
    """Somebody else put the same photo right in between; the message says to look again."""


@contextmanager
def explained(what: str, way_back: Callable[[], str]) -> Iterator[None]:
    """Turn a database's error into one sentence.

    Parameters
    ----------
    what : str
        Which journal, as it is called in the sentence.
    way_back : callable
        Says what to do about a damaged file.

    Raises
    ------
    DamagedError
        When the file itself is damaged.
    AwayError
        When a server does not answer.
    JournalError
        For all else but violated rules of the tables: errors of the program, which pass through.
    """
    try:
        yield
    except (DBAPIError, sqlite3.Error) as error:
        trouble = trouble_of(error)
        if trouble == "damaged":
            raise DamagedError(f"The journal {what} is damaged. {way_back()}") from error
        if trouble in _SENTENCES:
            raise _KINDS.get(trouble, JournalError)(
                _SENTENCES[trouble].format(what, said=_said(error))
            ) from error
        if isinstance(error, OperationalError | sqlite3.OperationalError) or _refused(error):
            raise JournalError(f"The journal {what} cannot be used: {_said(error)}.") from error
        raise


def trouble_of(error: BaseException) -> Trouble:
    """Return what an error of a database is about, by its own code where it has one."""
    original = getattr(error, "orig", error)
    if not isinstance(original, sqlite3.Error) and isinstance(error, DBAPIError):
        return _server_trouble(error, original)
    code = getattr(original, "sqlite_errorcode", None)
    if code is not None and code & 0xFF in _BY_CODE:  # the rest of the code tells details
        return _BY_CODE[code & 0xFF]
    return "damaged" if any(sign in _said(error) for sign in _DAMAGED) else "other"


def _server_trouble(error: DBAPIError, original: BaseException | None) -> Trouble:
    state = str(getattr(original, "sqlstate", None) or "")
    found = next((what for start, what in _BY_STATE.items() if state.startswith(start)), None)
    if state and found:
        return found
    if error.connection_invalidated:
        return "lost"
    if state or not isinstance(error, OperationalError):
        return "other"
    # No connection came about; the driver then has words alone.
    said = _said(error)
    return next((what for sign, what in _BY_WORDS if re.search(sign, said)), "away")


def _refused(error: BaseException) -> bool:
    """Whether no connection came about, because the driver does not know what is asked of it."""
    original = getattr(error, "orig", None)
    is_ours = original is None or isinstance(original, sqlite3.Error)
    return not is_ours and getattr(original, "sqlstate", None) is None


def _said(error: BaseException) -> str:
    """Return a library's words on one line, without a password that may stand in an address."""
    words = " ".join(str(getattr(error, "orig", error)).split())
    words = re.sub(r" Is the server running .*", "", words).rstrip(".")
    return re.sub(r"(?<=://)\S*@|(?<=password=)\S+", "…", words)


_BY_CODE: Mapping[int, Trouble] = {
    sqlite3.SQLITE_CORRUPT: "damaged",
    sqlite3.SQLITE_NOTADB: "damaged",
    sqlite3.SQLITE_BUSY: "locked",
    sqlite3.SQLITE_LOCKED: "locked",
    sqlite3.SQLITE_PERM: "unreadable",
    sqlite3.SQLITE_AUTH: "unreadable",
    sqlite3.SQLITE_IOERR: "unreadable",
    sqlite3.SQLITE_CANTOPEN: "unreadable",
    sqlite3.SQLITE_READONLY: "readonly",
    sqlite3.SQLITE_FULL: "full",
}
# Said without a code: by us, of a format that no release of SQLite wrote, of a text that is none.
_DAMAGED = ("malformed", "unsupported file format", "Could not decode to UTF-8")

# A server's own codes, of which the first signs tell the class.
_BY_STATE: Mapping[str, Trouble] = {
    "08": "lost",
    "25P": "lost",  # it let go of a transaction that had stopped in the middle
    "57P": "lost",  # it is going down, or coming up
    "25006": "copy",
    "28": "stranger",
    "3D": "nowhere",
    "3F": "rights",  # no schema that the role may use
    "40": "locked",
    "42501": "rights",
    "42P01": "rights",  # a table that the role is not shown
    "53100": "full",
    "53": "crowded",
    "55P03": "locked",
    "57014": "locked",
    "XX": "damaged",
}
_BY_WORDS: tuple[tuple[str, Trouble], ...] = (
    ("authentication failed|no password supplied|pg_hba.conf|role .* does not exist", "stranger"),
    ("database .* does not exist", "nowhere"),
    ("permission denied for database", "rights"),
    ("too many (clients|connections)|connection slots", "crowded"),
    ("(starting up|shutting down|recovery mode|not yet accepting)", "lost"),
    ("definition of service|service file|invalid (connection|port|integer)", "other"),
)

_KINDS: Mapping[Trouble, type[JournalError]] = {"away": AwayError, "lost": LostError}

_SENTENCES: Mapping[Trouble, str] = {
    "locked": "The journal {} is in use by another program that does not let go; try again.",
    "unreadable": (
        "The journal {} cannot be opened or read: look at the rights of the file and its folder, "
        "and at the disk."
    ),
    "readonly": "The journal {} cannot be opened for writing: look at the rights of its folder.",
    "full": "The disk is full: nothing more could be filed in {}; what was filed is kept.",
    "away": (
        "The server of the journal {} cannot be reached ({said}): is it running, and is its "
        "address in garden.toml right?"
    ),
    "lost": (
        "The connection to the journal {} was lost, and nothing was changed; try again when its "
        "server runs."
    ),
    "stranger": (
        "The server of the journal {} does not let us in: name or password is missing or wrong. "
        "A password belongs into the driver's own file (.pgpass, or the one that PGPASSFILE names)."
    ),
    "nowhere": (
        "The server has no database of the journal {}: ask who keeps the server to make it, or "
        "look at the address in garden.toml."
    ),
    "rights": (
        "The server of the journal {} does not allow this ({said}): ask who keeps it for the "
        "rights that “spotlamp guide server” lists."
    ),
    "copy": (
        "The server of the journal {} only copies another one, and takes nothing in: name the "
        "other one's address in garden.toml."
    ),
    "crowded": "The server of the journal {} is too busy ({said}); try again.",
}
