"""Copies of the journal's file: one a day at most, a few kept, each whole."""

import os
import sqlite3
import time
from collections.abc import Callable
from contextlib import closing, suppress
from datetime import date, datetime
from pathlib import Path
from uuid import uuid4

__all__ = ["backup_before", "backups", "daily_backup", "is_sound", "put_back", "way_back"]

KEPT = 5
"""Daily copies that are kept."""

_FOLDER = "backups"
_DAY_SECONDS = 24 * 60 * 60


def backups(file: Path) -> list[Path]:
    """Return the daily copies of a journal's file, newest first."""
    return sorted((file.parent / _FOLDER).glob(f"{file.stem}-????-??-??.sqlite"), reverse=True)


def daily_backup(file: Path, today: date | None = None) -> Path | None:
    """Copy a journal's file unless today's copy is there, and let go of the oldest.

    Parameters
    ----------
    file : Path
        An SQLite file; other programs may be writing to it.
    today : date, optional
        The day; the computer's by default.

    Returns
    -------
    Path or None
        The new copy; None when there is one of today already, or nothing to copy yet.

    Raises
    ------
    sqlite3.DatabaseError
        When the file is damaged; the earlier copies are then as they were.
    """
    target = file.parent / _FOLDER / f"{file.stem}-{today or date.today()}.sqlite"
    if target.exists() or not _holds_anything(file):
        return None
    _copy(file, target)
    for old in backups(file)[KEPT:]:
        with suppress(OSError):
            old.unlink(missing_ok=True)
    return target


def backup_before(file: Path, version: str) -> Path:
    """Copy a journal's file before its tables are changed; these copies are not let go of.

    A file that another run has brought to the version meanwhile does not take the copy's place.
    """
    target = file.parent / _FOLDER / f"{file.stem}-before-{version}.sqlite"
    _copy(file, target, wanted=lambda copy: _version(copy) < version)
    return target


def is_sound(file: Path) -> bool:
    """Whether every page of an SQLite file can be read and fits the others."""
    try:
        with closing(_open(file)) as opened:
            return bool(opened.execute("PRAGMA quick_check(1)").fetchone() == ("ok",))
    except sqlite3.Error:
        return False


def _holds_anything(file: Path) -> bool:
    with closing(_open(file)) as opened:
        looks = (opened.execute(f"SELECT 1 FROM {name} LIMIT 1") for name in ("photos", "log"))
        return any(look.fetchone() for look in looks)


def _version(file: Path) -> str:
    with closing(_open(file)) as opened:
        return str(opened.execute("SELECT version_num FROM alembic_version").fetchone()[0])


def _open(file: Path) -> sqlite3.Connection:
    """Open a file that is there, and make none that is not."""
    return sqlite3.connect(f"{file.absolute().as_uri()}?mode=rw", uri=True, timeout=30)


def _copy(file: Path, target: Path, wanted: Callable[[Path], bool] = lambda copy: True) -> None:
    """Copy through SQLite, which waits for other writers, and put the copy in place when whole."""
    target.parent.mkdir(exist_ok=True)
    _remove_leftovers(target.parent)
    part = target.with_name(f".{target.name}.{uuid4().hex}.part")
    try:
        with closing(_open(file)) as source, closing(sqlite3.connect(part)) as copy:
            source.backup(copy)
        # The copy is checked, not the file: two runs may write meanwhile, and both are then known.
        if not is_sound(part):
            raise sqlite3.DatabaseError("database disk image is malformed")
        with part.open("rb+") as stream:
            os.fsync(stream.fileno())
        if wanted(part):
            part.replace(target)
    finally:
        part.unlink(missing_ok=True)


def _remove_leftovers(folder: Path) -> None:
    """Remove what killed runs have left; a copy under way is never a day old."""
    for part in folder.glob(".*.part"):
        with suppress(OSError):
            if time.time() - part.stat().st_mtime > _DAY_SECONDS:
                part.unlink()


def way_back(file: Path) -> str:
    """Say in one sentence how to go on with a damaged file."""
    kept = [copy for copy in backups(file) if is_sound(copy)]
    if not kept:
        return (
            f"There is no backup of it: move {file.name} to another place and score your photos "
            "again."
        )
    return (
        f"“spotlamp restore” puts back the backup {_FOLDER}/{kept[0].name}; then score your photos "
        "again to file what is newer."
    )


def put_back(file: Path, now: datetime | None = None) -> tuple[Path, Path] | None:
    """Put the newest sound copy in the place of a journal's file, and keep that under another name.

    Parameters
    ----------
    file : Path
        The journal's file, damaged or missing.
    now : datetime, optional
        Goes into the name under which the damaged file is kept.

    Returns
    -------
    tuple of Path or None
        The copy used, and where the old file is now (if there was one); None when there is no
        sound copy.
    """
    copy = next((copy for copy in backups(file) if is_sound(copy)), None)
    if copy is None:
        return None
    part = file.with_name(f".{file.name}.{uuid4().hex}.part")
    part.write_bytes(copy.read_bytes())
    aside = file.with_name(f"{file.stem}-damaged-{now or datetime.now():%Y%m%d-%H%M%S}.sqlite")
    # Its rollback file goes along: beside the copy it would be taken for the copy's own.
    for ending in ("-journal", "-wal", "-shm", ""):
        with suppress(FileNotFoundError):
            Path(f"{file}{ending}").replace(f"{aside}{ending}")
    part.replace(file)
    return copy, aside
