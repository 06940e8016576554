"""A photo file's bytes: read once, within limits, or a sentence that says why not."""

import hashlib
import stat
from datetime import datetime
from pathlib import Path

from vision.errors import SpotlampError
from vision.find import printable

__all__ = ["BYTE_LIMIT", "UnreadablePhoto", "content_hash", "quoted_name", "read_content"]

BYTE_LIMIT = 2**30
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


def content_hash(path: Path) -> str:
    """Return the SHA-256 of a file's bytes, 64 hexadecimal digits; memory stays small.

    Raises
    ------
    UnreadablePhoto
        When the file cannot be read.
    """
    try:
        _check_regular(path)
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except (OSError, ValueError) as error:
        raise UnreadablePhoto(path, _file_problem(path, error)) from error


def _check_regular(path: Path) -> None:
    # Opening a pipe would wait for ever.
    if not stat.S_ISREG(path.stat().st_mode):
        raise UnreadablePhoto(path, f"{quoted_name(path)} is no file that could hold a photo.")


def read_content(path: Path) -> tuple[bytes, datetime]:
    """Read a file whole.

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
        _check_regular(path)
        facts = path.stat()
        if facts.st_size > BYTE_LIMIT:
            size = f"{facts.st_size / 2**20:,.0f} MB"
            raise UnreadablePhoto(path, f"{quoted_name(path)} is too large for a photo ({size}).")
        data = path.read_bytes()
        modified_at = _local_time(facts.st_mtime)
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
