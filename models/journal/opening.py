"""Opening a journal: found by its garden or its address, made, upgraded or refused."""

import sqlite3
import time
from contextlib import closing
from datetime import UTC, tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo

from sqlalchemy import Engine
from sqlalchemy.engine import URL
from sqlalchemy.exc import DBAPIError

from models.garden.settings import read_garden
from models.journal.backup import backup_before, copies, way_back
from models.journal.connect import (
    DriverConnection,
    called,
    engine_for,
    engine_on,
    file_of,
    read_url,
)
from models.journal.errors import DamagedError, JournalError, LostError, explained, trouble_of
from models.journal.examining import open_file, pages_of
from models.journal.journal import Journal
from models.journal.server import ON_SERVER, WAITS_SECONDS, lock_whole, refuse_unfit
from models.journal.versions import newest_version, refuse_newer, upgrade, version_of
from models.remarks import remark

__all__ = ["journal_file", "journal_url", "open_journal"]


def open_journal(
    place: Path | str, zone: tzinfo | None = None, *, examined: bool = False
) -> Journal:
    """Open a garden's journal; make it where there is none, and upgrade an older one.

    Parameters
    ----------
    place : Path or str
        Folder of a garden (with its ``garden.toml``), or as str a database URL such as
        ``sqlite:///journal.sqlite``.
    zone : tzinfo, optional
        Time zone in which times are given back; that of the garden, or UTC with a URL.
    examined : bool
        Whether the caller has opened this journal lately, so that the pages of its file need not
        be looked through once more: it takes a hundredth of a second for a thousand photos.

    Returns
    -------
    Journal
        Close it, or use it in a ``with`` statement.

    Raises
    ------
    GardenError
        When the garden's settings file cannot be used.
    JournalError
        When the journal cannot be opened, is damaged, or comes from a newer release, in which
        case it is not touched.
    """
    if isinstance(place, Path):
        garden = read_garden(place)
        url, zone = journal_url(place, garden.journal), zone or ZoneInfo(garden.time_zone)
    else:
        url, zone = read_url(place), zone or UTC
    file, what = file_of(url), called(url)
    if url.get_backend_name() != "sqlite":
        return Journal(_server_ready(url, what), zone, what)
    with explained(what, lambda: way_back(file) if file else ""):
        engine = _ready(url, file, what)
        copy = _without_damaged_indexes(file, what) if file and not examined else None
        return Journal(copy or engine, zone, what, file, readonly=copy is not None)


def journal_url(folder: Path, journal: str) -> URL:
    """Return the address of a garden's journal: a file beside its settings, or a URL.

    Raises
    ------
    JournalError
        When the address is no URL, or that of a database in memory.
    """
    if "://" not in journal:
        return URL.create("sqlite", database=str(folder.absolute() / journal))
    url = read_url(journal)
    if url.get_backend_name() != "sqlite":
        return url
    file = file_of(url)
    if file is None or url.query or str(file).startswith("file:"):
        raise JournalError(
            f"journal = “{journal}” would keep nothing once a command ends: give the name of a "
            "file, such as journal.sqlite."
        )
    return url.set(database=str(folder.absolute() / file))


def journal_file(folder: Path, journal: str) -> Path | None:
    """Return the file of a garden's journal; None where it is on a database server."""
    return file_of(journal_url(folder, journal))


_BACKUPS = (
    "but there are backups of it: “spotlamp restore” puts the newest one back; to begin anew, move "
    "the backups away."
)


def _ready(url: URL, file: Path | None, what: str) -> Engine:
    if file is not None and not file.parent.is_dir():
        raise JournalError(f"The journal {what} cannot be made: its folder is not there.")
    # Looked for first: another run may just be making the journal and its first copy.
    kept = file is not None and bool(copies(file))
    if kept and file is not None and not file.exists():
        raise JournalError(f"The journal {what} is gone, {_BACKUPS}")
    if file is not None and file.exists() and not file.is_file():
        raise JournalError(f"The journal {what} is no file: give the name of one.")
    engine = engine_for(url)
    with engine.begin() as connection:
        version = version_of(connection, what)
    if kept and not version:
        raise DamagedError(f"The journal {what} is empty, {_BACKUPS}")
    refuse_newer(version, what)
    if version < newest_version():
        if file is not None and version:
            backup_before(file, newest_version())
        with engine.execution_options(writes=True).begin() as connection:
            # Alembic looks at the version itself: another run may have upgraded in between.
            upgrade(connection)
    return engine


def _server_ready(url: URL, what: str) -> Engine:
    """Return an engine on a server's journal of the newest version, made where there is none."""
    engine = engine_for(url)
    try:
        for wait in (*WAITS_SECONDS, None):
            try:
                with explained(what, lambda: ON_SERVER):
                    _make_newest(engine, what)
                break
            except LostError:  # it may be starting just now
                if wait is None:
                    raise
                time.sleep(wait)
    except JournalError:
        engine.dispose()
        raise
    return engine


def _make_newest(engine: Engine, what: str) -> None:
    with engine.begin() as connection:
        refuse_unfit(connection, what)
        version = version_of(connection, what)
    refuse_newer(version, what)
    if version == newest_version():
        return
    try:
        with engine.begin() as connection:
            lock_whole(connection)  # another station may be making the tables just now
            upgrade(connection)
    except DBAPIError as error:
        if trouble_of(error) != "rights":
            raise
        state = f"has tables of version {version}" if version else "has no tables yet"
        raise JournalError(
            f"The journal {what} {state}, and its server does not allow this user to make those "
            f"of version {newest_version()}: open it once, as with “spotlamp assign”, as the user "
            "that owns the database."
        ) from error


def _without_damaged_indexes(file: Path, what: str) -> Engine | None:
    """Return a copy in memory with its indexes made anew; None where the file's fit its rows.

    A damaged index hides rows from some queries, and none of their checksums tells.

    Raises
    ------
    DamagedError
        When the pages as a whole do not fit together, or the rows give no index.
    """
    with closing(open_file(file)) as raw:
        state = pages_of(raw)
        if state == "damaged":
            raise sqlite3.DatabaseError("database disk image is malformed")
        if state == "whole":
            return None
        remark(
            f"The journal {what} is damaged in its indexes, and is read without them: “spotlamp "
            "restore” makes them anew."
        )
        memory = sqlite3.connect(":memory:", check_same_thread=False, factory=DriverConnection)
        raw.backup(memory)
    try:
        memory.execute("REINDEX")
    except sqlite3.Error as error:
        memory.close()
        raise DamagedError(
            f"The journal {what} is damaged. “spotlamp restore” mends it from its backups."
        ) from error
    return engine_on(memory)
