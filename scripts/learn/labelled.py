"""Photos that a person has labelled, and the measurements of their leaves."""

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from models.csv_tables import TableError, read_table, unescape_formula
from models.pattern import CLASSES, MEASURES, measure_pattern
from models.pattern.training import LabelledLeaves
from scripts.common.workers import spread_over_processes, use_one_thread
from vision.errors import SpotlampError
from vision.measure import measure_day
from vision.photo.address import Place
from vision.photo.decode import UnreadablePhoto, read_photo
from vision.photo.find import PhotoFile, find_photos, printable

__all__ = [
    "LabelledPhoto",
    "LabelsError",
    "Unusable",
    "join_leaves",
    "labelled_leaves",
    "measure_labelled",
    "read_folder",
    "read_labels",
    "read_rows",
]

LABELS = "labels.csv"
_KINDS = ("", "early", "late")


class LabelsError(SpotlampError):
    """Labels cannot be used; the message is one sentence for people."""


@dataclass(frozen=True)
class LabelledPhoto:
    """A photo and what a person says of it.

    Attributes
    ----------
    path : Path or Address
        Where the photo is.
    name : str
        Its path below the folder of the labels, with ``/``.
    session : str
        Which round of photos it belongs to.
    pattern : str
        One of ``models.pattern.CLASSES``.
    blight_kind : {"early", "late", ""}
    """

    path: Place
    name: str
    session: str
    pattern: str
    blight_kind: str = ""


@dataclass(frozen=True)
class Unusable:
    """A labelled photo that could not be measured, and why."""

    name: str
    why: str


def read_rows(path: Path, needed: Sequence[str]) -> list[dict[str, str]]:
    """Read a CSV file with a header row: comma, semicolon or tab.

    Raises
    ------
    LabelsError
        When it cannot be read, holds no row, or lacks a needed column.
    """
    try:
        table = read_table(path)
        rows = list(table.records())
    except TableError as error:
        raise LabelsError(str(error)) from error
    missing = [name for name in needed if name not in table.names]
    if missing:
        raise LabelsError(f"“{path}” has no column {missing[0]}.")
    if not rows:
        raise LabelsError(f"“{path}” holds no labels.")
    broken = next((line for line, row in rows if "\0" in "".join(row.values())), None)
    if broken is not None:
        raise LabelsError(f"“{path}”, line {broken}: a sign there is no text (NUL).")
    return [{n: unescape_formula(cell).strip() for n, cell in row.items()} for _, row in rows]


def read_folder(folder: Path) -> list[LabelledPhoto]:
    """Read the labels of a folder of photos: from its labels.csv, else from its sub-folders.

    Sub-folders are named by pattern; each folder below one of them is a session.

    Raises
    ------
    LabelsError
        When nothing is labelled, or a label is not known.
    """
    if (folder / LABELS).is_file():
        return read_labels(folder / LABELS)
    found = [_from_place(file) for file in find_photos([folder]).photos]
    photos = [photo for photo in found if photo is not None]
    if not photos:
        raise LabelsError(
            f"“{folder}” has neither a {LABELS} nor photos in sub-folders named by pattern "
            f"({', '.join(CLASSES)})."
        )
    return photos


def read_labels(path: Path) -> list[LabelledPhoto]:
    """Read a CSV file of labels: photo (relative to the file), pattern, session, blight_kind.

    Raises
    ------
    LabelsError
        When nothing is labelled, or a label is not known.
    """
    rows = read_rows(path, ("photo", "pattern", "session"))
    return [_from_row(path, row) for row in rows]


def _from_row(labels: Path, row: dict[str, str]) -> LabelledPhoto:
    pattern, kind = row["pattern"], row.get("blight_kind", "")
    if pattern not in CLASSES:
        known = ", ".join(CLASSES)
        raise LabelsError(f"{labels.name} holds the pattern {pattern!r}; there are {known}.")
    if kind not in _KINDS:
        raise LabelsError(f"{labels.name} holds the blight_kind {kind!r}, not early or late.")
    photo = row["photo"]
    return LabelledPhoto(labels.parent / photo, photo, row["session"], pattern, kind)


def _from_place(file: PhotoFile) -> LabelledPhoto | None:
    pattern, *between = file.name.split("/")[:-1] or [""]
    if pattern not in CLASSES:
        return None
    session = between[0] if between else f"(photos directly in {pattern})"
    return LabelledPhoto(file.path, file.name, session, pattern)


def measure_labelled(
    photos: Sequence[LabelledPhoto],
    jobs: int | None = None,
    on_done: Callable[[object], None] = lambda result: None,
) -> tuple[LabelledLeaves, list[Unusable]]:
    """Measure the largest leaf of each photo, in parallel; the order of the photos is kept.

    Returns
    -------
    tuple of LabelledLeaves and list of Unusable
        What was measured, and which photos could not be.
    """
    # A worker process may stand in another folder.
    numbered = [(n, replace(photo, path=photo.path.absolute())) for n, photo in enumerate(photos)]
    done: dict[int, NDArray[np.float32] | str] = {}
    for number, measured in spread_over_processes(_measure, numbered, jobs or os.cpu_count() or 1):
        done[number] = measured
        on_done(measured)
    kept, rows, unusable = [], [], []
    for number, photo in numbered:
        measured = done[number]
        if isinstance(measured, str):
            unusable.append(Unusable(photo.name, measured))
        else:
            kept.append(photo)
            rows.append(measured)
    return labelled_leaves(kept, rows), unusable


def _measure(numbered: tuple[int, LabelledPhoto]) -> tuple[int, NDArray[np.float32] | str]:
    number, photo = numbered
    use_one_thread()
    try:
        read = read_photo(PhotoFile(photo.path, photo.name))
    except UnreadablePhoto as error:
        return number, str(error).removeprefix(f"“{printable(photo.path.name)}” ")
    day = measure_day(read)
    if not day.measurement.reading.leaves:
        return number, "shows no leaf that can be measured."
    return number, measure_pattern(day.photo.pixels, day.measurement, 1)


def labelled_leaves(
    photos: Sequence[LabelledPhoto], rows: Sequence[NDArray[np.float32]]
) -> LabelledLeaves:
    """Put labels and measurements together.

    Parameters
    ----------
    photos : sequence of LabelledPhoto
        One a leaf.
    rows : sequence of ndarray of float32, shape (measures,)
        From ``measure_pattern``, in the order of the photos.
    """

    def column(name: str) -> NDArray[np.str_]:
        return np.array([getattr(photo, name) for photo in photos], np.str_)

    measured = np.array(rows, np.float64).reshape(len(photos), len(MEASURES))
    return LabelledLeaves(
        column("name"), column("session"), column("pattern"), column("blight_kind"), measured
    )


def join_leaves(parts: Sequence[LabelledLeaves]) -> LabelledLeaves:
    """Append tables of labelled leaves."""
    names = ("photo", "session", "pattern", "blight_kind", "measured")
    return LabelledLeaves(*(np.concatenate([getattr(p, name) for p in parts]) for name in names))
