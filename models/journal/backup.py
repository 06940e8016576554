"""Copies of the journal's file: one a day at most, a few kept, each whole."""

import os
import sqlite3
import time
from collections.abc import Callable
from contextlib import closing, suppress
from datetime import date, datetime
from pathlib import Path
from uuid import uuid4

from models.journal.examining import is_sound, is_whole, open_file

__all__ = [
    "aside_name",
    "backup_before",
    "backups",
    "copies",
    "daily_backup",
    "put_back",
    "way_back",
]

KEPT = 5
"""Daily copies that are kept."""

_FOLDER = "backups"
_DAY_SECONDS = 24 * 60 * 60


def copies(file: Path) -> list[Path]:
    """Return the daily copies of a journal's file, in no order."""
    return list((file.parent / _FOLDER).glob(f"{file.stem}-????-??-??.sqlite"))


def backups(file: Path, today: date | None = None) -> list[Path]:
    """Return the daily copies of a journal's file, newest first.

    A record only grows: the copy that holds more is the newer one, whatever the computer's clock
    said when it was made. Between equals the date decides, and one that is still to come is none.
    """
    now = f"{file.stem}-{today or date.today()}.sqlite"
    return sorted(copies(file), key=lambda c: (_size(c), c.name <= now, c.name), reverse=True)


def daily_backup(file: Path, today: date | None = None, *, again: bool = False) -> Path | None:
    """Copy a journal's file unless today's copy is there, and let go of the oldest.

    Parameters
    ----------
    file : Path
        An SQLite file; other programs may be writing to it.
    today : date, optional
        The day; the computer's by default.
    again : bool
        Whether to copy although there is a copy of the day, and put the new one in its place.

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
    if (target.exists() and not again) or not _holds_anything(file):
        return None
    _copy(file, target, wanted=lambda copy: not target.exists() or is_sound(copy))
    # While rows of the journal are damaged, no earlier copy is let go of: it may hold them.
    if is_sound(target):
        for old in backups(file, today)[KEPT:]:
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


def _holds_anything(file: Path) -> bool:
    with closing(open_file(file)) as opened:
        looks = (opened.execute(f"SELECT 1 FROM {name} LIMIT 1") for name in ("photos", "log"))
        return any(look.fetchone() for look in looks)


def _version(file: Path) -> str:
    with closing(open_file(file)) as opened:
        return str(opened.execute("SELECT version_num FROM alembic_version").fetchone()[0])


def _size(file: Path) -> int:
    """Return how much a copy holds: the sum of its last numbers; -1 where it cannot be read."""
    last = " + ".join(
        f"(SELECT coalesce(max({number}), 0) FROM {table})"
        for table, number in (("photos", "id"), ("readings", "id"), ("log", "number"))
    )
    try:
        with closing(open_file(file)) as opened:
            return int(opened.execute(f"SELECT {last}").fetchone()[0])
    except (sqlite3.Error, TypeError, ValueError):
        return -1


def _copy(file: Path, target: Path, wanted: Callable[[Path], bool] = lambda copy: True) -> None:
    """Copy through SQLite, which waits for other writers, and put the copy in place when whole."""
    target.parent.mkdir(exist_ok=True)
    _remove_leftovers(target.parent)
    part = target.with_name(f".{target.name}.{uuid4().hex}.part")
    try:
        with closing(open_file(file)) as source, closing(sqlite3.connect(part)) as copy:
            source.backup(copy)
        # The copy is checked, not the file: two runs may write meanwhile, and both are then known.
        if not is_whole(part):
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
    kept = [copy for copy in backups(file) if is_whole(copy)]
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
    copy = next((copy for copy in backups(file) if is_whole(copy)), None)
    if copy is None:
        return None
    part = file.with_name(f".{file.name}.{uuid4().hex}.part")
    with part.open("wb") as stream:
        stream.write(copy.read_bytes())
        os.fsync(stream.fileno())
    aside = aside_name(file, now)
    # Its rollback file goes along: beside the copy it would be taken for the copy's own.
    for ending in ("-journal", "-wal", "-shm", ""):
        with suppress(FileNotFoundError):
            Path(f"{file}{ending}").replace(f"{aside}{ending}")
    part.replace(file)
    return copy, aside


def aside_name(file: Path, now: datetime | None = None) -> Path:
    """Return the name under which a damaged file is kept."""
    return file.with_name(f"{file.stem}-damaged-{now or datetime.now():%Y%m%d-%H%M%S}.sqlite")
