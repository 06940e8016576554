"""A file's bytes: read once, within limits, or a sentence that says why not.

Every file that people name is opened here, so that none can keep the program waiting: a pipe that
nobody writes into, a device, or what the system makes up while it is read.
"""

import errno
import hashlib
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import IO

from vision.errors import SpotlampError
from vision.photo.find import printable

__all__ = [
    "BYTE_LIMIT",
    "UnreadablePhoto",
    "content_hash",
    "file_bytes",
    "file_text",
    "quoted_name",
    "read_content",
]

BYTE_LIMIT = 2**28
"""Largest file read: far more than a phone's photo has; a film named .jpg may be larger."""


class UnreadablePhoto(SpotlampError):  # noqa: N818  it says what the file is
    """A file that gives no photo.

    Parameters
    ----------
    path : Path
        Where the file is.
    reason : str
        One sentence for people that names the file and the problem.
    """

    def __init__(self, path: Path, reason: str) -> None:
        super().__init__(path, reason)
        self.path = path
        self.reason = reason

    def __str__(self) -> str:
        """Return the sentence."""
        return self.reason


def file_bytes(path: Path) -> bytes:
    """Return the bytes of an ordinary file of at most `BYTE_LIMIT`.

    Raises
    ------
    OSError
        When it cannot be read, is no ordinary file, or is too large; `strerror` goes on after
        "cannot be opened:".
    """
    with _opened(path) as (stream, facts):
        # What the system makes up as it is read (below /proc) has no size, and may never end.
        return stream.read(BYTE_LIMIT) if facts.st_size else b""


def file_text(path: Path) -> str:
    """Return the text of an ordinary file in UTF-8, its lines ended by a line feed each.

    Raises
    ------
    OSError
        As `file_bytes` does.
    UnicodeDecodeError
        When it is no UTF-8.
    """
    text = file_bytes(path).decode("utf-8-sig")
    return text.replace("\r\n", "\n").replace("\r", "\n")


@contextmanager
def _opened(path: Path) -> Iterator[tuple[IO[bytes], os.stat_result]]:
    # Without waiting: opening a pipe would take until somebody writes into it.
    how = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    with os.fdopen(os.open(path, how), "rb") as stream:
        facts = os.fstat(stream.fileno())
        if not stat.S_ISREG(facts.st_mode):
            raise OSError(errno.EINVAL, "it is no ordinary file")
        if facts.st_size > BYTE_LIMIT:
            raise OSError(errno.EFBIG, f"it is too large ({facts.st_size / 2**20:,.0f} MB)")
        yield stream, facts


def content_hash(path: Path) -> str:
    """Return the SHA-256 of a file's bytes, 64 hexadecimal digits; memory stays small.

    Raises
    ------
    UnreadablePhoto
        When the file cannot be read.
    """
    try:
        with _opened(path) as (stream, facts):
            if not facts.st_size:
                return hashlib.sha256().hexdigest()
            return hashlib.file_digest(stream, "sha256").hexdigest()  # type: ignore[arg-type]
    except (OSError, ValueError) as error:
        raise UnreadablePhoto(path, _file_problem(path, error)) from error


def read_content(path: Path) -> tuple[bytes, datetime]:
    """Read a photo's file whole.

    Returns
    -------
    bytes
        Its content, never empty.
    datetime
        When it was last changed, local, without UTC offset.

    Raises
    ------
    UnreadablePhoto
        When the file cannot be read, is empty or exceeds `BYTE_LIMIT`.
    """
    try:
        data, modified_at = file_bytes(path), _local_time(path.stat().st_mtime)
    except (OSError, ValueError) as error:
        raise UnreadablePhoto(path, _file_problem(path, error)) from error
    if not data:
        raise UnreadablePhoto(path, f"{quoted_name(path)} is empty: copy it again from the phone.")
    return data, modified_at


def _local_time(seconds: float) -> datetime:
    try:
        return datetime.fromtimestamp(seconds)
    except (OverflowError, OSError, ValueError):  # file systems can hold any number
        return datetime(1970, 1, 1)


def _file_problem(path: Path, error: Exception) -> str:
    match error:
        case FileNotFoundError():
            return f"{quoted_name(path)} is not there any more."
        case PermissionError():
            return f"{quoted_name(path)} cannot be opened: you have no permission to read it."
        case _:
            problem = getattr(error, "strerror", None) or error
            return f"{quoted_name(path)} cannot be opened: {problem}."


def quoted_name(path: Path) -> str:
    """Return a file's name as it stands in a sentence."""
    return f"“{printable(path.name)}”"
