"""Gather the pictures from which the leaf's outline is learned, in one compact file.

Real leaves with outlines, in the field and on boards; painted scenes with exact truth; grounds and
canopies without a leaf that could be measured. The file holds small pictures and their masks, so
that a machine with an accelerator needs nothing else (``scripts.workshop.learn.leaf_network``).
Nothing of it is kept in the project but what is learned.
"""

import csv
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from scripts.workshop.learn.options import options_of, share_of, some
from scripts.workshop.learn.photos import board_mask, read, shrink, texture_photos, tint
from scripts.workshop.rendered import NATURAL_BACKGROUNDS, PLAIN_BACKGROUNDS, draw_scene, render

__all__ = ["LONG_PX", "UNKNOWN", "Lesson", "gather", "rows_of", "write", "write_gathered"]

LONG_PX = 352
"""Long side of the pictures; smaller ones are kept as they are."""

UNKNOWN = 255
"""In a mask: not known whether leaf; other values are 0 for no leaf, else the leaf's number."""

_QUALITY = 84  # of WebP: about as good as JPEG of 92, at half the size
_CANOPY_PX = 700
_PER_SESSION = 30  # tomato leaves of each session
_PER_PEPPER = 60
_LEAST = 2  # of each kind

Pixels = NDArray[np.uint8]
Mask = NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class Lesson:
    """One picture with its truth.

    Attributes
    ----------
    kind : str
        The source, such as ``bean``.
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.
    mask : ndarray of uint8, shape (rows, columns)
        0 no leaf, from 1 the leaf's number, ``UNKNOWN`` where not known.
    """

    kind: str
    pixels: Pixels
    mask: Mask


def gather(photos: Path, painted: int, seed: int, share: float = 1.0) -> Iterator[Lesson]:
    """Yield all lessons, or a share of them; the photos are those of ``../shared/photos``."""
    yield from _field(photos / "field", share)
    yield from _with_masks("coffee", sorted((photos / "coffee" / "images").glob("*.jpg")), share)
    yield from _with_masks("potato", sorted((photos / "potato").glob("*.jpg")), share)
    yield from _on_boards(photos, share)
    yield from _without_leaf(photos, share)
    yield from _painted(np.random.default_rng(seed), share_of(painted, share, _LEAST))


def _field(folder: Path, share: float) -> Iterator[Lesson]:
    for row in some(rows_of(folder / "labels.csv"), share, _LEAST):
        mask = _mask(folder / row["mask"])
        yield _lesson(row["source"], read(folder / row["photo"]), mask)


def rows_of(path: Path) -> list[dict[str, str]]:
    """Return the rows of a table of labels."""
    with path.open(encoding="utf-8", newline="") as table:
        return list(csv.DictReader(table))


def _with_masks(kind: str, photos: list[Path], share: float) -> Iterator[Lesson]:
    for path in some(photos, share, _LEAST):
        folder = path.parent.parent if path.parent.name == "images" else path.parent
        yield _lesson(kind, read(path), _mask(folder / "masks" / f"{path.stem}.png"))


def _mask(path: Path) -> Mask:
    mask = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
    if mask is None:
        raise FileNotFoundError(f"{path} is not a mask.")
    return np.asarray(mask > 0, np.uint8)


def _on_boards(photos: Path, share: float) -> Iterator[Lesson]:
    """Leaves on a plain board, where the plain method is sure of most of the outline."""
    rows = rows_of(photos / "tomato" / "labels.csv")
    chance = np.random.default_rng(0)
    for session in sorted({row["session"] for row in rows}):
        own = [row["photo"] for row in rows if row["session"] == session]
        for name in chance.permutation(own)[: share_of(_PER_SESSION, share)]:
            yield from _on_board("tomato", photos / "tomato" / str(name))
    pepper = sorted((photos / "pepper").glob("*.[jJ][pP][gG]"))[:: max(1, 250 // _PER_PEPPER)]
    for path in some(pepper, share):
        yield from _on_board("pepper", path)


def _on_board(kind: str, path: Path) -> Iterator[Lesson]:
    pixels = read(path)
    share = board_mask(pixels)
    if share is not None:
        mask = np.where(share == 0.5, UNKNOWN, share).astype(np.uint8)
        yield _lesson(kind, pixels, mask)


def _without_leaf(photos: Path, share: float) -> Iterator[Lesson]:
    for path in some(sorted((photos / "ground").glob("*.jpg")), share):
        yield _nothing("ground", shrink(read(path), LONG_PX))
    for path in some(sorted((photos / "canopy").glob("*.jpg")), share):
        yield _nothing("canopy", shrink(read(path), _CANOPY_PX))
    for pixels in texture_photos():
        grey = pixels if pixels.ndim == 3 else np.repeat(pixels[..., None], 3, axis=2)
        yield _nothing("texture", shrink(np.ascontiguousarray(grey[..., :3]), LONG_PX))


def _nothing(kind: str, pixels: Pixels) -> Lesson:
    return Lesson(kind, pixels, np.zeros(pixels.shape[:2], np.uint8))


def _painted(chance: np.random.Generator, count: int) -> Iterator[Lesson]:
    names = (*PLAIN_BACKGROUNDS, *NATURAL_BACKGROUNDS, *NATURAL_BACKGROUNDS)
    for number in range(count):
        width, height = chance.permutation([int(chance.integers(400, 701)), 400])
        scene = draw_scene(
            chance,
            background=names[number % len(names)],
            width_px=int(width),
            height_px=int(height),
        )
        if chance.random() < 0.35:  # much dead tissue, which is the hardest to keep
            severity_pct = float(chance.uniform(15, 60))
            scene = replace(scene, pattern="blight", kind="", severity_pct=severity_pct)
        photo = render(scene, int(chance.integers(1 << 31)))
        # What a photo is of is not said of painted scenes with many leaves: all are leaves there.
        pixels = photo.pixels if chance.random() < 0.7 else tint(chance, photo.pixels, 0.15, 0.3)
        numbers = np.where(photo.mask > 0, np.maximum(photo.leaf_numbers, 1), 0)
        yield _lesson("painted", pixels, numbers.astype(np.uint8))


def _lesson(kind: str, pixels: Pixels, mask: Mask) -> Lesson:
    small = shrink(pixels, LONG_PX)
    size = (small.shape[1], small.shape[0])
    if small.shape[:2] == mask.shape:
        return Lesson(kind, small, mask)
    if int(mask.max()) == 1:  # by area, so that the outline is not stepped
        share = cv2.resize(mask * np.uint8(255), size, interpolation=cv2.INTER_AREA)
        return Lesson(kind, small, np.asarray(share > 127, np.uint8))
    mask = np.asarray(cv2.resize(mask, size, interpolation=cv2.INTER_NEAREST), np.uint8)
    return Lesson(kind, small, mask)


def write(lessons: Iterator[Lesson], path: Path) -> dict[str, int]:
    """Write lessons into one file, and return how many there are of each kind."""
    counts: dict[str, int] = {}
    with zipfile.ZipFile(path, "w") as store:
        for lesson in lessons:
            number = counts[lesson.kind] = counts.get(lesson.kind, 0) + 1
            name = f"{lesson.kind}/{number:04d}"
            quality = [cv2.IMWRITE_WEBP_QUALITY, _QUALITY]
            _, picture = cv2.imencode(".webp", lesson.pixels[..., ::-1], quality)
            _, mask = cv2.imencode(".png", lesson.mask)
            store.writestr(f"{name}.webp", picture.tobytes())
            store.writestr(f"{name}.png", mask.tobytes())
    return counts


def write_gathered(
    description: str | None,
    gather: Callable[[Path, int, int, float], Iterator[Lesson]],
    painted: int,
    seed: int,
) -> None:
    """Write the lessons that the command line asks for, and print how many there are of each kind.

    Parameters
    ----------
    description : str or None
        Of the command.
    gather : callable
        Takes the folder of photos, the number of painted scenes, the seed and the share.
    painted, seed : int
        Where nothing else is said.
    """
    parser = options_of(description, None)
    parser.add_argument("--painted", type=int, default=painted)
    parser.add_argument("--seed", type=int, default=seed)
    given = parser.parse_args()
    print(write(gather(given.photos, given.painted, given.seed, given.share), given.out))


def main() -> None:
    """Write the lessons."""
    write_gathered(__doc__, gather, painted=700, seed=20261127)


if __name__ == "__main__":
    main()
