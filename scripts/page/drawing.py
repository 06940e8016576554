"""What was counted on a photo as outlines, layer by layer, to be laid over its picture.

A photo is measured once more for it, in the one way in which all are measured, because the journal
keeps numbers, not pixels. What comes out is kept beside the pictures.
"""

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path
from threading import Lock
from typing import Any, TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from models.entries import PhotoEntry
from scripts.common.files import write_whole
from scripts.page.pictures import kept_folder, photo_of
from vision.chewed.measure import measure_chewed
from vision.day.lesion import LEAF_LENGTH_PX
from vision.day.measure import MEASURING_VERSION
from vision.measure import measure_day, measure_night
from vision.raster import window_around
from vision.records import (
    CATERPILLAR,
    HALO,
    LESION,
    DayMeasurement,
    NightMeasurement,
    Photo,
)

__all__ = [
    "LAYERS",
    "Drawing",
    "Outlines",
    "Shape",
    "drawing_of",
    "drawing_of_photo",
    "kept_drawing",
    "svg_path",
]

LAYERS = ("leaf", "halo", "lesion", "dropping", "bite", "caterpillar")
"""The layers, from below."""

_FORM = 1  # raised whenever what is kept has another form
_SIMPLER_PX = 0.6  # how far a drawn outline may lie off, px of the measured scale
_LEAST_HALO_PX = 12  # area of the smallest halo drawn, px² of the measured scale

Bools = NDArray[np.bool_]
Place = tuple[float, float]
_Done = TypeVar("_Done")


@dataclass(frozen=True)
class Shape:
    """One thing that was counted, outlined.

    Attributes
    ----------
    layer : str
        One of `LAYERS`.
    row_px, col_px : float
        Its middle in the full-size photo.
    rings : tuple of tuple of (float, float)
        Outlines as (row, column) points in the full-size photo.
    leaf : int
        Number of its leaf; 0 where it belongs to none.
    sure : float or None
        Probability that it is what it is taken for; None where none is worked out.
    """

    layer: str
    row_px: float
    col_px: float
    rings: tuple[tuple[Place, ...], ...]
    leaf: int = 0
    sure: float | None = None


@dataclass(frozen=True)
class Drawing:
    """All shapes of a photo.

    Attributes
    ----------
    width_px, height_px : int
        The upright photo's full size.
    shapes : tuple of Shape
        Layer by layer.
    """

    width_px: int
    height_px: int
    shapes: tuple[Shape, ...]

    def layer(self, name: str) -> tuple[Shape, ...]:
        """Return the shapes of one layer."""
        return tuple(shape for shape in self.shapes if shape.layer == name)


def kept_drawing(garden_folder: Path, entry: PhotoEntry) -> Drawing | None:
    """Return a photo's drawing where it is kept; None where it must be made."""
    try:
        values = json.loads(_place(garden_folder, entry).read_bytes())
        shapes = tuple(
            Shape(**{**one, "rings": tuple(tuple(map(tuple, ring)) for ring in one["rings"])})
            for one in values["shapes"]
        )
        return Drawing(values["width_px"], values["height_px"], shapes)
    except (OSError, ValueError, KeyError, TypeError):
        return None


def drawing_of(garden_folder: Path, entry: PhotoEntry) -> Drawing:
    """Return a photo's drawing, made anew where it is not kept; this may take seconds.

    Raises
    ------
    NoPictureError, UnreadablePhoto
        When the photo cannot be read.
    CannotWriteError
        When the drawing cannot be kept.
    """
    kept = kept_drawing(garden_folder, entry)
    return kept or drawing_of_photo(garden_folder, entry, photo_of(garden_folder, entry))


def drawing_of_photo(garden_folder: Path, entry: PhotoEntry, photo: Photo) -> Drawing:
    """Return the drawing of a photo that is decoded already, wherever it lies; see `drawing_of`."""
    kept = kept_drawing(garden_folder, entry)
    if kept is not None:
        return kept
    shapes = _by_night(photo) if entry.mode == "night" else _by_day(photo)
    drawn = Drawing(photo.width_px, photo.height_px, tuple(shapes))
    data = json.dumps(asdict(drawn), separators=(",", ":")).encode()
    write_whole({_place(garden_folder, entry): data}, durable=False)
    return drawn


class Outlines:
    """Makes drawings one after the other, outside of any request, each photo's once at a time.

    Parameters
    ----------
    garden_folder : Path
        The garden's.
    """

    def __init__(self, garden_folder: Path) -> None:
        self._folder = garden_folder
        self._worker = ThreadPoolExecutor(1, thread_name_prefix="outlines")
        self._lock = Lock()
        self._under_way: dict[str, Future[Drawing]] = {}

    def of(self, entry: PhotoEntry) -> "Future[Drawing]":
        """Return a photo's drawing as it will be there."""
        kept = kept_drawing(self._folder, entry)
        if kept is not None:
            ready: Future[Drawing] = Future()
            ready.set_result(kept)
            return ready
        with self._lock:
            done = [sha256 for sha256, future in self._under_way.items() if future.done()]
            for sha256 in done:
                del self._under_way[sha256]
            if entry.sha256 not in self._under_way:
                future = self._worker.submit(drawing_of, self._folder, entry)
                self._under_way[entry.sha256] = future
            return self._under_way[entry.sha256]

    def run(self, work: Callable[..., _Done], *arguments: object) -> "Future[_Done]":
        """Do other work of the same kind in its turn."""
        return self._worker.submit(work, *arguments)

    def close(self) -> None:
        """Begin no further drawing."""
        self._worker.shutdown(wait=False, cancel_futures=True)


def svg_path(shape: Shape) -> str:
    """Return a shape's outlines as the path of a drawing in pixels of the full-size photo."""
    rings = (" ".join(f"{col:.0f},{row:.0f}" for row, col in ring) for ring in shape.rings)
    return " ".join(f"M{ring}Z" for ring in rings)


def _place(garden_folder: Path, entry: PhotoEntry) -> Path:
    name = f"{entry.sha256}-{entry.mode}-{MEASURING_VERSION}-{_FORM}.json"
    return kept_folder(garden_folder, "drawings") / name


def _by_day(photo: Photo) -> Iterator[Shape]:
    day = measure_day(photo)
    found, scale = day.measurement, photo.reduction
    for number in range(1, int(found.leaf_numbers.max(initial=0)) + 1):
        yield from _patches("leaf", found.leaf_numbers == number, scale, number, largest_only=True)
    for number in range(1, int(found.leaf_numbers.max(initial=0)) + 1):
        own = found.leaf_numbers == number
        yield from _patches("halo", own & (found.classes == HALO), scale, number, _LEAST_HALO_PX)
        yield from _patches("lesion", own & (found.classes == LESION), scale, number)
    for dropping in found.reading.droppings:
        reach = 0.75 * dropping.length_px + 3 * scale
        ring = _diamond(dropping.row_px, dropping.col_px, reach)
        middle = (round(dropping.row_px, 1), round(dropping.col_px, 1))
        yield Shape("dropping", *middle, (ring,), sure=round(dropping.confidence, 3))
    yield from _bites(found, scale)


def _by_night(photo: Photo) -> Iterator[Shape]:
    found: NightMeasurement = measure_night(photo).measurement
    shapes = list(_patches("caterpillar", found.classes == CATERPILLAR, photo.reduction, 0))
    for one in found.reading.caterpillars:
        own = [shape for shape in shapes if _nearest(shape, found.reading.caterpillars) is one]
        rings = tuple(ring for shape in own for ring in shape.rings)
        if not rings:
            rings = (_diamond(one.row_px, one.col_px, one.length_px / 2),)
        middle = (round(one.row_px, 1), round(one.col_px, 1))
        yield Shape("caterpillar", *middle, rings, sure=round(one.confidence, 3))


def _nearest(shape: Shape, bodies: Sequence[object]) -> object:
    """Return the body to whose middle a patch lies nearest."""

    def off(body: object) -> float:
        row, col = getattr(body, "row_px", 0.0), getattr(body, "col_px", 0.0)
        return float((row - shape.row_px) ** 2 + (col - shape.col_px) ** 2)

    return min(bodies, key=off)


def _patches(
    layer: str,
    mask: Bools,
    scale: int,
    leaf: int,
    least_px: float = 0.0,
    *,
    largest_only: bool = False,
) -> Iterator[Shape]:
    """Yield the connected patches of a mask, outlined, the largest first."""
    outlines, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    ordered = sorted(outlines, key=cv2.contourArea, reverse=True)
    for outline in ordered[:1] if largest_only else ordered:
        if cv2.contourArea(outline) < least_px:
            continue
        points = cv2.approxPolyDP(outline, _SIMPLER_PX, closed=True)[:, 0]
        ring = _full(((float(y), float(x)) for x, y in points), scale)
        middle = _full([_middle(outline)], scale)[0]
        yield Shape(layer, *middle, (ring,), leaf)


def _middle(outline: NDArray[Any]) -> Place:
    moments = cv2.moments(outline)
    if moments["m00"] > 0:
        return moments["m01"] / moments["m00"], moments["m10"] / moments["m00"]
    col, row = outline[:, 0].mean(axis=0)
    return float(row), float(col)


def _full(points: Iterable[Place], scale: float) -> tuple[Place, ...]:
    """Bring places to the full-size photo; pixel centres are whole numbers."""
    return tuple(
        (round((row + 0.5) * scale - 0.5, 1), round((col + 0.5) * scale - 0.5, 1))
        for row, col in points
    )


def _diamond(row: float, col: float, reach: float) -> tuple[Place, ...]:
    corners = ((0, 1), (1, 0), (0, -1), (-1, 0))
    return tuple((round(row + reach * y, 1), round(col + reach * x, 1)) for y, x in corners)


def _bites(found: DayMeasurement, scale: int) -> Iterator[Shape]:
    """Yield what was eaten of the leaves of which that is known."""
    for leaf in found.reading.leaves:
        if not leaf.chewed_pct:
            continue
        window, longest = window_around(found.leaf_numbers == leaf.leaf, 2, 0.02)
        factor = min(1.0, LEAF_LENGTH_PX / longest)
        own = _smaller(found.leaf_numbers[window] == leaf.leaf, factor)
        classes = _smaller(found.classes[window], factor)
        chewed = measure_chewed(own > 0, np.where(own > 0, classes, 0).astype(np.uint8))
        if chewed is None:
            continue
        corner = (window[0].start * scale, window[1].start * scale)
        for shape in _patches("bite", chewed.missing, 1, leaf.leaf, _LEAST_HALO_PX):
            yield _moved(shape, scale / factor, corner)


def _smaller(values: NDArray[np.generic], factor: float) -> NDArray[np.uint8]:
    small = cv2.resize(
        values.astype(np.uint8), None, fx=factor, fy=factor, interpolation=cv2.INTER_NEAREST
    )
    return np.asarray(small, np.uint8)


def _moved(shape: Shape, scale: float, corner: Place) -> Shape:
    def to_photo(place: Place) -> Place:
        row, col = ((value + 0.5) * scale - 0.5 for value in place)
        return round(row + corner[0], 1), round(col + corner[1], 1)

    rings = tuple(tuple(to_photo(place) for place in ring) for ring in shape.rings)
    return Shape(shape.layer, *to_photo((shape.row_px, shape.col_px)), rings, shape.leaf)
