"""What can be wrong with a journal, each as one sentence for people."""

import sqlite3
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Literal

from sqlalchemy.exc import DBAPIError, OperationalError

from vision.errors import SpotlampError

__all__ = ["DamagedError", "JournalError", "StaleError", "Trouble", "explained", "trouble_of"]

Trouble = Literal["damaged", "locked", "unreadable", "readonly", "full", "other"]


class JournalError(SpotlampError):
    """The journal cannot be used; the message is one sentence for people."""


class DamagedError(JournalError):
    """The journal's file is damaged; the message names the way back."""


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
            raise JournalError(_SENTENCES[trouble].format(what)) from error
        if isinstance(error, OperationalError | sqlite3.OperationalError):
            raise JournalError(f"The journal {what} cannot be used: {_said(error)}.") from error
        raise


def trouble_of(error: BaseException) -> Trouble:
    """Return what an error of a database is about, by SQLite's own code where it has one."""
    code = getattr(getattr(error, "orig", error), "sqlite_errorcode", None)
    if code is not None and code & 0xFF in _BY_CODE:  # the rest of the code tells details
        return _BY_CODE[code & 0xFF]
    return "damaged" if any(sign in _said(error) for sign in _DAMAGED) else "other"


def _said(error: BaseException) -> str:
    return " ".join(str(getattr(error, "orig", error)).split())


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

_SENTENCES: Mapping[Trouble, str] = {
    "locked": "The journal {} is in use by another program that does not let go; try again.",
    "unreadable": (
        "The journal {} cannot be opened or read: look at the rights of the file and its folder, "
        "and at the disk."
    ),
    "readonly": "The journal {} cannot be opened for writing: look at the rights of its folder.",
    "full": "The disk is full: nothing more could be filed in {}; what was filed is kept.",
}
