"""Whole files, replaced at once: tables, pictures and kept readings.

A file is written under a hidden name in its own folder, forced to the disk, and put in the place
of the old one in one step. Whatever happens in between (a full disk, a lost power line, a killed
run), a file under its real name is a whole one. At an address the same holds of each file: stores
replace an object at once.
"""

import errno
import os
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import TypeVar
from uuid import uuid4

from vision.errors import SpotlampError
from vision.photo.address import Address, Place, said_of
from vision.photo.find import OUTPUT_MARKER

__all__ = [
    "CannotWriteError",
    "marker_of",
    "remove_leftovers",
    "write_whole",
]

Data = bytes | Iterable[bytes]
Where = TypeVar("Where", Path, Address, Place)

_PART = ".part"
# Windows knows no quota error.
_FULL = (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))


class CannotWriteError(SpotlampError):
    """A file could not be written; the message is one sentence for people."""


def marker_of(out: Where) -> dict[Where, bytes]:
    """Return the file that keeps a folder's pictures from being scored as photos."""
    text = b"Results of spotlamp; its pictures are not scored as photos.\n"
    return {out / OUTPUT_MARKER: text}


def write_whole(
    files: Mapping[Path, Data] | Mapping[Place, Data] | Mapping[Address, Data],
    *,
    durable: bool = True,
) -> None:
    """Write files that belong together: all are laid ready first, then each takes its place.

    Those at addresses are written before, one by one.

    Parameters
    ----------
    files : mapping of Path or Address to bytes
        Folders are made as needed. In the place of bytes an iterable of them, which may be gone
        through again.
    durable : bool
        Force the bytes to the disk before a file takes its place. False only for files whose
        damage is noticed when they are read.

    Raises
    ------
    CannotWriteError
        With one sentence; the old files are then as they were and no part is left.
    """
    for place, data in files.items():
        if isinstance(place, Address):
            _send(place, data)
    here: dict[Path, Data] = {path: data for path, data in files.items() if isinstance(path, Path)}
    parts = {path: path.with_name(f".{uuid4().hex}{_PART}") for path in here}
    path = None
    try:
        for path, data in here.items():
            _make_folder(path.parent)
            _write_part(parts[path], data, durable=durable)
        for path, part in parts.items():
            part.replace(path)
    except OSError as error:
        raise CannotWriteError(_sentence(error, path)) from error
    finally:
        for part in parts.values():
            with suppress(OSError):
                part.unlink(missing_ok=True)


def _send(address: Address, data: Data) -> None:
    try:
        address.write_bytes(data)
    except OSError as error:
        raise CannotWriteError(f"“{address}” could not be written: {said_of(error)}.") from error


def _write_part(part: Path, data: Data, *, durable: bool) -> None:
    # os.open with 0o666 gives the file the rights that the user's umask asks for; the safer
    # looking tempfile.mkstemp would hide the tables from everybody else.
    descriptor = os.open(
        part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666
    )
    with os.fdopen(descriptor, "wb") as stream:
        stream.writelines((data,) if isinstance(data, bytes) else data)
        stream.flush()
        if durable:
            os.fsync(stream.fileno())


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (FileExistsError, NotADirectoryError) as error:
        raise CannotWriteError(f"“{folder}” cannot be a folder: there is a file there.") from error


def _sentence(error: OSError, path: Path | None) -> str:
    if error.errno in _FULL:
        return f"The disk is full: “{path}” could not be written; earlier files are as they were."
    return f"“{path}” could not be written: {error.strerror or error}."


def remove_leftovers(folder: Place) -> None:
    """Remove the hidden parts that a killed run left in a folder and below.

    At an address there are none: a store has an object whole, or not at all.
    """
    if isinstance(folder, Address):
        return
    for part in folder.rglob(f".*{_PART}"):
        with suppress(OSError):
            part.unlink()
