"""Leaves and lesions of filed photos as masks in the format of COCO, an open one for outlines.

The journal keeps no pixels, so the photos are measured again; a photo whose leaves are then not
those of its reading is left out and counted.
"""

import json
import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from models.entries import PhotoEntry
from models.journal import Journal
from models.numerals import counted
from scripts.common.workers import spread_over_processes, use_one_thread
from vision.measure import measure_day
from vision.photo.decode import UnreadablePhoto, content_hash, read_photo
from vision.photo.find import PhotoFile, find_photos
from vision.records import LESION, DayMeasurement, Photo

__all__ = ["coco_masks", "run_lengths"]

_LEAF, _LESION = 1, 2
_CATEGORIES = [
    {"id": _LEAF, "name": "leaf", "supercategory": "plant"},
    {"id": _LESION, "name": "lesion", "supercategory": "symptom"},
]
_SAME_AREA_PX = 0.5
_OUTLINES_OTHERWISE = {"unused", "not_leaf", "outline", "not_lesion", "lesion"}

Mask = NDArray[np.bool_]
Annotation = dict[str, Any]


def coco_masks(
    journal: Journal, paths: Sequence[Path], jobs: int | None = None
) -> tuple[bytes, str]:
    """Return the masks of the photos that are filed, as JSON, and what to say about them.

    Parameters
    ----------
    journal : Journal
        Whose photos and readings they are.
    paths : sequence of Path
        Photos, and folders of them.
    jobs : int, optional
        Processes; all cores by default.
    """
    filed = {photo.sha256: photo for photo in journal.photos(mode="day", as_measured=True)}
    wanted = dict(_filed_files(paths, filed))
    otherwise = _put_right(journal) & wanted.keys()
    wanted = {content: file for content, file in wanted.items() if content not in otherwise}
    outlined: dict[str, list[Annotation] | None] = dict(
        spread_over_processes(_outlined, list(wanted.items()), jobs or os.cpu_count() or 1)
    )
    images: list[dict[str, Any]] = []
    annotations: list[Annotation] = []
    changed = 0
    for photo in filed.values():
        found = outlined.get(photo.sha256)
        if found is None:
            continue
        if not _agree(photo, found):
            changed += 1
            continue
        images.append(_image(photo, len(images) + 1))
        for one in found:
            number = len(annotations) + 1
            annotations.append({"id": number, "image_id": len(images), **one})
    document = {
        "info": {"description": "Leaves and lesions as measured by Spotlamp"},
        "images": images,
        "categories": _CATEGORIES,
        "annotations": annotations,
    }
    outlines, photos = counted(len(annotations), "outline"), counted(len(images), "photo")
    words = f"masks.json: {outlines} on {photos}."
    if changed:
        words += f" {changed} left out, measured otherwise by now: score them again first."
    if otherwise:
        words += (
            f" {len(otherwise)} left out, because you said that their leaves or lesions are others."
        )
    return json.dumps(document, separators=(",", ":")).encode(), words


def _put_right(journal: Journal) -> set[str]:
    """Return the photos whose leaves or lesions somebody put right: their masks are not true."""
    fixes = (fix for fix in journal.fixes() if not fix.undone)
    return {fix.sha256 for fix in fixes if fix.what in _OUTLINES_OTHERWISE}


def _filed_files(
    paths: Sequence[Path], filed: dict[str, PhotoEntry]
) -> Iterator[tuple[str, PhotoFile]]:
    for file in find_photos(paths).photos:
        try:
            content = content_hash(file.path)
        except UnreadablePhoto:
            continue
        if content in filed:
            yield content, PhotoFile(file.path.absolute(), file.name)


def _image(photo: PhotoEntry, number: int) -> dict[str, Any]:
    return {
        "id": number,
        "file_name": photo.photo,
        "width": photo.width_px,
        "height": photo.height_px,
        "date_captured": photo.taken_at.isoformat(),
        "sha256": photo.sha256,
        "plant": photo.plant,
    }


def _outlined(wanted: tuple[str, PhotoFile]) -> tuple[str, list[Annotation] | None]:
    """Measure a photo and return its outlines; None where it cannot be measured."""
    use_one_thread()
    content, file = wanted
    try:
        photo = read_photo(file)
    except UnreadablePhoto:
        return content, None
    return content, list(_annotations(photo, measure_day(photo).measurement))


def _annotations(photo: Photo, measured: DayMeasurement) -> Iterator[Annotation]:
    for leaf in measured.reading.leaves:
        blade = measured.leaf_numbers == leaf.leaf
        yield {
            **_annotation(photo, blade, _LEAF, leaf.leaf),
            "severity_pct": leaf.severity_pct,
            "reading_area_px": leaf.area_px,
        }
        dead = (blade & (measured.classes == LESION)).astype(np.uint8)
        count, labels = cv2.connectedComponents(dead)
        for number in range(1, count):
            yield _annotation(photo, labels == number, _LESION, leaf.leaf)


def _annotation(photo: Photo, mask: Mask, category: int, leaf: int) -> Annotation:
    full = _at_full_size(photo, mask)
    left, top, width, height = cv2.boundingRect(full.astype(np.uint8))
    return {
        "category_id": category,
        "leaf": leaf,
        "iscrowd": 0,
        "bbox": [left, top, width, height],
        "area": int(full.sum()),
        "segmentation": {"size": list(full.shape), "counts": run_lengths(full)},
    }


def _at_full_size(photo: Photo, mask: Mask) -> Mask:
    """Repeat each pixel as often as the photo was reduced; the last ones stand for fewer."""
    full = mask.repeat(photo.reduction, axis=0).repeat(photo.reduction, axis=1)
    return full[: photo.height_px, : photo.width_px]


def run_lengths(mask: Mask) -> list[int]:
    """Return COCO's run lengths: down the columns, first the pixels outside, then inside, in turn.

    Parameters
    ----------
    mask : ndarray of bool, shape (rows, columns)
        True inside the leaf or lesion.

    Examples
    --------
    >>> run_lengths(np.array([[True, False], [True, True]]))
    [0, 2, 1, 1]
    """
    flat = np.concatenate([[False], mask.ravel(order="F")])
    turns = np.flatnonzero(flat[1:] != flat[:-1])
    return [int(length) for length in np.diff([0, *turns, mask.size])]


def _agree(photo: PhotoEntry, found: Sequence[Annotation]) -> bool:
    """Whether the leaves measured now are those of the reading, each of the same area."""
    now = [one["reading_area_px"] for one in found if one["category_id"] == _LEAF]
    then = [leaf.area_px for leaf in photo.leaves]
    return len(now) == len(then) and all(
        abs(one - other) <= _SAME_AREA_PX for one, other in zip(now, then, strict=True)
    )
