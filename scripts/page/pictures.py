"""Photos of the garden as pictures for the page, made once and kept in the garden's folder.

A photo is asked for by its hash, never by a path, and is found only where the journal filed it and
only inside the garden's folder. It is decoded by the one guarded door, ``vision.photo.decode``.
"""

from pathlib import Path
from threading import BoundedSemaphore

from models.care.visits import Shot
from scripts.common.files import CannotWriteError, marker_of, write_whole
from scripts.score.pictures import jpg_bytes
from vision.drawing import resized
from vision.errors import SpotlampError
from vision.photo.decode import read_photo
from vision.photo.find import PhotoFile
from vision.records import Photo

__all__ = ["KEPT", "SIDES_PX", "NoPictureError", "kept_folder", "photo_of", "picture_jpg"]

KEPT = ".page"
"""Folder in the garden that holds what the page keeps; all of it but the spool can be made anew."""

SIDES_PX = {"small": 320, "large": 1600}
"""The long side of each size of picture, px."""

_decoding = BoundedSemaphore(2)  # photos of 12 megapixels take their memory


class NoPictureError(SpotlampError):
    """A photo cannot be shown; the message is one sentence for people."""


def kept_folder(garden_folder: Path, *parts: str) -> Path:
    """Return a folder of what the page keeps, made and marked as no place of photos."""
    root = garden_folder / KEPT
    if not root.is_dir():
        write_whole(marker_of(root))
    folder = root.joinpath(*parts)
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def photo_of(garden_folder: Path, entry: Shot) -> Photo:
    """Decode a filed photo.

    Raises
    ------
    NoPictureError
        When it lies outside the garden's folder, or is another one now.
    UnreadablePhoto
        When it is not there any more, or cannot be read.
    """
    path = garden_folder / entry.photo
    if not path.resolve().is_relative_to(garden_folder.resolve()):
        raise NoPictureError(f"“{entry.photo}” lies outside the garden's folder: it is not shown.")
    with _decoding:
        photo = read_photo(PhotoFile(path, entry.photo))
    if photo.sha256 != entry.sha256:
        raise NoPictureError(f"“{entry.photo}” is another photo now than the one that was filed.")
    return photo


def picture_jpg(garden_folder: Path, entry: Shot, size: str) -> bytes:
    """Return a filed photo as a JPEG of one of the `SIDES_PX`.

    Raises
    ------
    NoPictureError, UnreadablePhoto
        As `photo_of` does.
    """
    kept = kept_folder(garden_folder, "pictures") / f"{entry.sha256}-{size}.jpg"
    if kept.is_file():
        return kept.read_bytes()
    photo = photo_of(garden_folder, entry)
    scale = SIDES_PX[size] / max(photo.pixels.shape[:2])
    view = resized(photo.pixels, scale) if scale < 1 else photo.pixels
    data = jpg_bytes(view)
    try:
        write_whole({kept: data}, durable=False)
    except CannotWriteError:  # a full disk takes no picture away
        return data
    return data
