"""Gather the leaves from which symptoms are learned, in one compact file.

Real leaves with drawn symptoms (coffee, potato), real healthy leaves on boards and in the field,
and painted leaves with exact truth. As ``scripts.workshop.learn.leaf_lessons``, for
``scripts.workshop.learn.tissue_network``.
"""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from scripts.workshop.learn.leaf_lessons import Lesson, rows_of, write_gathered
from scripts.workshop.learn.options import share_of, some
from scripts.workshop.learn.photos import board_mask, read
from scripts.workshop.rendered import draw_scene, render
from vision.raster import shrunk, window_around
from vision.records import HALO, LEAF, LESION

__all__ = ["LONG_PX", "SICK", "gather"]

LONG_PX = 448
"""Long side of the pictures; smaller ones are kept as they are."""

SICK = 9
"""In a mask: a symptom, whether dead or yellow not said; else as the masks of ``score``."""

_HEALTHY_TOMATO, _HEALTHY_PEPPER = 130, 80
_LEAST = 2  # of each kind

Pixels = NDArray[np.uint8]
Mask = NDArray[np.uint8]


def gather(photos: Path, painted: int, seed: int, share: float = 1.0) -> Iterator[Lesson]:
    """Yield all lessons, or a share of them; the photos are those of ``../shared/photos``."""
    for kind, folder in (("coffee", photos / "coffee" / "images"), ("potato", photos / "potato")):
        for path in some(sorted(folder.glob("*.jpg")), share, _LEAST):
            masks = (folder.parent if kind == "coffee" else folder) / "masks"
            yield _cut(kind, read(path), _mask(masks / f"{path.stem}.png"))
    yield from _field(photos / "field", share)
    yield from _on_boards(photos, share)
    yield from _painted(np.random.default_rng(seed), share_of(painted, share, _LEAST))


def _mask(path: Path) -> Mask:
    mask = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
    if mask is None:
        raise FileNotFoundError(f"{path} is not a mask.")
    return np.asarray(mask, np.uint8)


def _field(folder: Path, share: float) -> Iterator[Lesson]:
    clean = [row for row in rows_of(folder / "labels.csv") if row["pattern"] == "none"]
    for row in some(clean, share):
        mask = (_mask(folder / row["mask"]) > 0).astype(np.uint8)
        yield _cut(row["source"], read(folder / row["photo"]), mask)


def _on_boards(photos: Path, share: float) -> Iterator[Lesson]:
    """Yield healthy leaves on a board, where the plain method is sure of the outline."""
    tomato = sorted((photos / "tomato" / "healthy").glob("*.[jJ][pP][gG]"))
    pepper = sorted((photos / "pepper").glob("*JR_HL*.[jJ][pP][gG]"))
    for kind, paths, most in (
        ("tomato", tomato, _HEALTHY_TOMATO), ("pepper", pepper, _HEALTHY_PEPPER)
    ):  # fmt: skip
        for path in some(paths[:: max(1, len(paths) // most)], share):
            pixels = read(path)
            seen = board_mask(pixels)
            if seen is not None:
                yield _cut(kind, pixels, (seen == 1).astype(np.uint8))


def _painted(chance: np.random.Generator, count: int) -> Iterator[Lesson]:
    for number in range(count):
        scene = draw_scene(chance, width_px=700, height_px=560)
        scene = replace(scene, leaves=min(scene.leaves, 2))
        if number % 3 == 0:
            severity_pct = float(chance.uniform(5, 60))
            scene = replace(scene, pattern="blight", kind="", severity_pct=severity_pct)
        photo = render(scene, int(chance.integers(1 << 31)))
        for leaf in range(1, int(photo.leaf_numbers.max()) + 1):
            own = np.where(photo.leaf_numbers == leaf, photo.mask, 0).astype(np.uint8)
            if np.count_nonzero(own) > 4000:
                yield _cut("painted", photo.pixels, own)


def _cut(kind: str, pixels: Pixels, mask: Mask) -> Lesson:
    """Cut the leaf out and bring it to the length at which it is judged."""
    if mask.shape != pixels.shape[:2]:
        size = (pixels.shape[1], pixels.shape[0])
        mask = np.asarray(cv2.resize(mask, size, interpolation=cv2.INTER_NEAREST), np.uint8)
    window, _ = window_around(mask > 0, 4, 0.02)
    pixels, mask = pixels[window], mask[window]
    small = shrunk(pixels, min(1.0, LONG_PX / max(pixels.shape[:2])))
    size = (small.shape[1], small.shape[0])
    shares = [
        cv2.resize((mask == value).astype(np.float32), size, interpolation=cv2.INTER_AREA)
        for value in (0, LEAF, HALO, LESION, SICK)
    ]
    values = np.array([0, LEAF, HALO, LESION, SICK], np.uint8)
    return Lesson(kind, small, values[np.argmax(shares, axis=0)])


def main() -> None:
    """Write the lessons."""
    write_gathered(__doc__, gather, painted=300, seed=20261128)


if __name__ == "__main__":
    main()
