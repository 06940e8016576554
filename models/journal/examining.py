"""What state a journal's file is in: only what is proven to be damaged is called so."""

import re
import sqlite3
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from models.journal.connect import DriverConnection
from models.journal.errors import trouble_of
from models.journal.soundness import changed_rows
from models.journal.sums import CHECKSUM
from models.journal.tables import METADATA
from models.journal.versions import newest_version

__all__ = [
    "Examined",
    "Pages",
    "State",
    "examine",
    "is_held",
    "is_sound",
    "is_whole",
    "open_file",
    "pages_of",
]

State = Literal["sound", "rows", "damaged", "missing", "locked", "unreadable", "other", "newer"]
"""``rows``: whole but for rows, or an index, that can be mended; ``other``: no journal at all;
``newer``: of a later release."""

Pages = Literal["whole", "indexes", "damaged"]
"""``indexes``: they do not fit the rows, and can be made anew from them."""

BUSY_SECONDS = 30

# What the check says of single rows, and of indexes that can be made anew from them.
_OF_ROWS = re.compile(
    r"(NULL|TEXT|NUMERIC|INT|INTEGER|REAL|BLOB|non-\w+) value (in|missing from|stored in) "
)
_OF_INDEXES = re.compile(
    r"row \d+ missing from index |wrong # of entries in index |non-unique entry in index "
    r"|rowid not at end-of-record for row \d+ of index "
)


@dataclass(frozen=True)
class Examined:
    """What was found.

    Attributes
    ----------
    state : str
        See `State`.
    why : str
        What the system says of a file that cannot be read.
    rows : mapping of str to list of int
        By table, the numbers (``rowid``) of the rows that do not fit their checksum.
    """

    state: State
    why: str = ""
    rows: Mapping[str, list[int]] = field(default_factory=dict)


def open_file(file: Path) -> sqlite3.Connection:
    """Open a file that is there, and make none that is not."""
    address = f"{file.absolute().as_uri()}?mode=rw"
    return sqlite3.connect(address, uri=True, timeout=BUSY_SECONDS, factory=DriverConnection)


def is_sound(file: Path) -> bool:
    """Whether a journal's pages fit each other, and each row its checksum."""
    return examine(file).state == "sound"


def is_whole(file: Path) -> bool:
    """Whether a file can be gone on with, but for some rows perhaps."""
    return examine(file).state in {"sound", "rows", "newer"}


def is_held(file: Path) -> bool:
    """Whether another program has the file open for writing just now, be it damaged or not."""
    try:
        with closing(open_file(file)) as raw:
            raw.execute("BEGIN EXCLUSIVE")
            raw.execute("ROLLBACK")
    except sqlite3.Error as error:
        return trouble_of(error) == "locked"
    return False


def examine(file: Path) -> Examined:
    """Read a whole file as the commands do, and say what state it is in; nothing is changed."""
    try:
        file.open("rb").close()  # the system says why where it does not give it
        with closing(open_file(file)) as raw:
            return _examined(raw)
    except FileNotFoundError:
        return Examined("missing")
    except OSError as error:
        return Examined("unreadable", error.strerror or str(error))
    except sqlite3.Error as error:
        trouble = trouble_of(error)
        state: State = trouble if trouble in {"damaged", "locked"} else "unreadable"
        return Examined(state, str(error))


def pages_of(raw: sqlite3.Connection) -> Pages:
    """Return whether a file's pages fit each other: rows that are gone leave no other trace.

    Takes a hundredth of a second for a thousand photos.
    """
    return _as_pages(_complaints(raw))


def _complaints(raw: sqlite3.Connection) -> list[str]:
    found = [line for (line,) in raw.execute("PRAGMA integrity_check(1000)")]
    return [line for line in found if line != "ok"]


def _as_pages(complaints: list[str]) -> Pages:
    others = [line for line in complaints if not _OF_ROWS.match(line)]
    if not all(map(_OF_INDEXES.match, others)):
        return "damaged"
    return "indexes" if others else "whole"


def _examined(raw: sqlite3.Connection) -> Examined:
    wrong = _complaints(raw)
    if _as_pages(wrong) == "damaged":
        return Examined("damaged")
    state = _tables_state(raw)
    if state != "sound" or _version(raw) != newest_version():
        return Examined(state)
    tables = METADATA.tables.items()
    rows = {name: numbers for name, table in tables if (numbers := changed_rows(raw, table))}
    torn = raw.execute("PRAGMA foreign_key_check").fetchone() is not None
    return Examined("rows" if rows or torn or wrong else "sound", rows=rows)


def _tables_state(raw: sqlite3.Connection) -> State:
    """Return ``sound`` where all tables are there with all columns of the file's version."""
    names = {name for (name,) in raw.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if names and not names & {*METADATA.tables, "alembic_version"}:
        return "other"
    version = _version(raw) if "alembic_version" in names else ""
    if re.fullmatch(r"\d{4}", version) is None:
        return "damaged"
    if version > newest_version():
        return "newer"
    expected = {t.name for t in METADATA.tables.values() if t.info.get("since", "") <= version}
    if not expected <= names:
        return "damaged"
    return "sound" if all(_has_columns(raw, name, version) for name in expected) else "damaged"


def _has_columns(raw: sqlite3.Connection, name: str, version: str) -> bool:
    there = {row[1] for row in raw.execute(f"PRAGMA table_info({name})")}
    columns = METADATA.tables[name].columns
    # Columns that came with a later version are not asked for.
    return version != newest_version() or {*columns.keys(), CHECKSUM} <= there


def _version(raw: sqlite3.Connection) -> str:
    row = raw.execute("SELECT version_num FROM alembic_version").fetchone()
    return str(row[0]) if row else ""
