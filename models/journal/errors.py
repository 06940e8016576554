"""What can be wrong with a journal, each as one sentence for people."""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, OperationalError

from vision.errors import SpotlampError

__all__ = ["DamagedError", "JournalError", "explained"]

_DAMAGED = ("malformed", "not a database", "disk image", "unsupported file format")


class JournalError(SpotlampError):
    """The journal cannot be used; the message is one sentence for people."""


class DamagedError(JournalError):
    """The journal's file is damaged; the message names the way back."""


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
    JournalError
        `DamagedError` when the file itself is damaged. Violated rules of the tables are errors of
        the program and pass through.
    """
    try:
        yield
    except (DBAPIError, sqlite3.Error) as error:
        said = str(error.orig if isinstance(error, DBAPIError) else error)
        if any(sign in said for sign in _DAMAGED):
            raise DamagedError(f"The journal {what} is damaged. {way_back()}") from error
        if isinstance(error, OperationalError | sqlite3.OperationalError):
            raise JournalError(_operational(what, said)) from error
        raise


def _operational(what: str, said: str) -> str:
    if "locked" in said:
        return f"The journal {what} is in use by another program that does not let go; try again."
    if "full" in said:
        return f"The disk is full: nothing more could be filed in {what}; what was filed is kept."
    if "readonly" in said or "unable to open" in said:
        return f"The journal {what} cannot be opened for writing: look at the rights of its folder."
    return f"The journal {what} cannot be used: {' '.join(said.split())}."
