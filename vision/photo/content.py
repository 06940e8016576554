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
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from pathlib import Path
from typing import IO

from vision.errors import SpotlampError
from vision.photo.address import Address, Place, said_of
from vision.photo.find import printable

__all__ = [
    "BYTE_LIMIT",
    "Content",
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
    path : Path or Address
        Where the file is.
    reason : str
        One sentence for people that names the file and the problem.
    """

    def __init__(self, path: Place, reason: str) -> None:
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
            raise _too_large(facts.st_size)
        yield stream, facts


@dataclass(frozen=True, eq=False)
class Content:
    """A photo's file, read once.

    Attributes
    ----------
    data : bytes
        All of it.
    modified_at : datetime
        When it was last changed, local, without UTC offset.
    """

    data: bytes
    modified_at: datetime

    @cached_property
    def sha256(self) -> str:
        """Hash of the bytes, 64 hexadecimal digits."""
        return hashlib.sha256(self.data).hexdigest()


def content_hash(path: Place) -> str:
    """Return the SHA-256 of a file's bytes, 64 hexadecimal digits; memory stays small.

    What lies at an address is fetched for it: whoever needs its bytes too takes `read_content`.

    Raises
    ------
    UnreadablePhoto
        When the file cannot be read.
    """
    try:
        if isinstance(path, Address):
            return hashlib.sha256(_fetched(path)[0]).hexdigest()
        with _opened(path) as (stream, facts):
            if not facts.st_size:
                return hashlib.sha256().hexdigest()
            return hashlib.file_digest(stream, "sha256").hexdigest()  # type: ignore[arg-type]
    except (OSError, ValueError) as error:
        raise UnreadablePhoto(path, _file_problem(path, error)) from error


def read_content(path: Place) -> Content:
    """Read a photo's file whole; it may be empty.

    Raises
    ------
    UnreadablePhoto
        When the file cannot be read or exceeds `BYTE_LIMIT`.
    """
    try:
        if isinstance(path, Address):
            data, changed_at_s = _fetched(path)
        else:
            data, changed_at_s = file_bytes(path), path.stat().st_mtime
    except (OSError, ValueError) as error:
        raise UnreadablePhoto(path, _file_problem(path, error)) from error
    return Content(data, _local_time(changed_at_s))


def _fetched(address: Address) -> tuple[bytes, float]:
    """Return the bytes at an address, and when they were last changed."""
    if address.size is None:  # it was given by itself, so that no listing has told
        address = address.known().place
    if (address.size or 0) > BYTE_LIMIT:
        raise _too_large(address.size or 0)
    return address.read_bytes(), address.changed_at_s or 0.0


def _too_large(size: int) -> OSError:
    return OSError(errno.EFBIG, f"it is too large ({size / 2**20:,.0f} MB)")


def _local_time(seconds: float) -> datetime:
    try:
        return datetime.fromtimestamp(seconds)
    except (OverflowError, OSError, ValueError):  # file systems can hold any number
        return datetime(1970, 1, 1)


def _file_problem(path: Place, error: Exception) -> str:
    match error:
        case FileNotFoundError():
            return f"{quoted_name(path)} is not there any more."
        case PermissionError():
            return f"{quoted_name(path)} cannot be opened: you have no permission to read it."
        case _:
            return f"{quoted_name(path)} cannot be opened: {said_of(error)}."


def quoted_name(path: Place) -> str:
    """Return a file's name as it stands in a sentence."""
    return f"“{printable(path.name)}”"
