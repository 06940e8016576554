"""Python's SQLite, with all its errors told as errors of a database.

SQLite quotes a file's definitions of tables in its messages. Where those of a damaged file hold
bytes that are no text, Python cannot read the message, and raises an error about text.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

__all__ = ["DriverConnection"]


@contextmanager
def _as_database_errors() -> Iterator[None]:
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
    """A connection; hand it to ``sqlite3.connect`` as its factory."""

    def cursor(self, factory: Any = None) -> Any:  # noqa: ANN401  as Python's own
        """Return a cursor that tells errors so."""
        return super().cursor(factory or _Cursor)

    def execute(self, *words: Any) -> Any:  # noqa: ANN401
        """Return a cursor that has executed a statement."""
        return self.cursor().execute(*words)

    def executemany(self, *words: Any) -> Any:  # noqa: ANN401
        """Return a cursor that has executed a statement for each of some rows."""
        return self.cursor().executemany(*words)
