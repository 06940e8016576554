"""Whole files, replaced at once: tables, pictures and kept readings.

A file is written under a hidden name in its own folder, forced to the disk, and put in the place
of the old one in one step. Whatever happens in between (a full disk, a lost power line, a killed
run), a file under its real name is a whole one.
"""

import errno
import os
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from uuid import uuid4

from vision.errors import SpotlampError
from vision.photo.find import OUTPUT_MARKER

__all__ = [
    "CannotWriteError",
    "marker_of",
    "remove_leftovers",
    "write_whole",
]

_PART = ".part"
# Windows knows no quota error.
_FULL = (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))


class CannotWriteError(SpotlampError):
    """A file could not be written; the message is one sentence for people."""


def marker_of(out: Path) -> dict[Path, bytes]:
    """Return the file that keeps a folder's pictures from being scored as photos."""
    text = b"Results of spotlamp; its pictures are not scored as photos.\n"
    return {out / OUTPUT_MARKER: text}


def write_whole(files: Mapping[Path, bytes], *, durable: bool = True) -> None:
    """Write files that belong together: all are laid ready first, then each takes its place.

    Parameters
    ----------
    files : mapping of Path to bytes
        Folders are made as needed.
    durable : bool
        Force the bytes to the disk before a file takes its place. False only for files whose
        damage is noticed when they are read.

    Raises
    ------
    CannotWriteError
        With one sentence; the old files are then as they were and no part is left.
    """
    parts = {path: path.with_name(f".{uuid4().hex}{_PART}") for path in files}
    path = None
    try:
        for path, data in files.items():
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


def _write_part(part: Path, data: bytes, *, durable: bool) -> None:
    # os.open with 0o666 gives the file the rights that the user's umask asks for; the safer
    # looking tempfile.mkstemp would hide the tables from everybody else.
    descriptor = os.open(
        part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666
    )
    with os.fdopen(descriptor, "wb") as stream:
        stream.write(data)
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


def remove_leftovers(folder: Path) -> None:
    """Remove the hidden parts that a killed run left in a folder and below."""
    for part in folder.rglob(f".*{_PART}"):
        with suppress(OSError):
            part.unlink()
