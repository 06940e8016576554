"""Where droppings could lie: small round spots of another colour, looked for at eight sizes.

A dropping is darker than most grounds, and its colour is that of dried leaf: less green than a
living leaf, greener than soil, straw, bark and lesions. So a spot stands out by how much darker it
is than its ground, together with how much more or less green it is; on wet soil it may even be the
lighter one. In each view of the photo, half the size of the one before, spots of two sizes are the
places where a small mean differs most from a large one (Lindeberg 1998, Int. J. Comput. Vision
30:79–116). A glance at rings around each chooses those that differ all round.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from vision.layers import Layers
from vision.raster import shrunk

__all__ = [
    "FRASS_LONG_PX",
    "GLANCE",
    "LOG_STEPS",
    "LOG_TABLE",
    "PAD_PX",
    "Peaks",
    "View",
    "find_peaks",
    "glanced",
    "views",
]

FRASS_LONG_PX = 1280
"""Long side at which droppings are looked for; smaller photos are used as they are."""

PAD_PX = 18
"""Pixels by which a view's picture is continued, mirrored, beyond each edge of the photo."""

_RINGS, _ANGLES, _RANKS = (0.45, 0.8, 1.15), 12, (0, 2, 5, 8, 11)

GLANCE = (
    *(f"{name}{ring}_{rank}" for name in ("light", "green") for ring in range(len(_RINGS))
      for rank in _RANKS),
    *("light", "green", "size", "photo_light", "photo_green", "strength"),
)  # fmt: skip
"""What a glance sees of a spot: how much lighter and how much greener the rings around it are, in
order, its own values, its size, the photo's usual values, and how much it stands out."""

_SIZES_PX = (3.5, 4.9)  # diameters of the spots that are looked for in each view's tone
_VIEWS = 4
_LEAST_SIDE_PX = 24  # of a tone
_INNER, _OUTER = 0.28, 2.1  # spread of the small mean, side of the large one, in diameters
_LEAST_STEP = 3  # how far a spot stands out at least
_LIGHT_PART, _GREEN_PART, _LEVEL = 0.6, 1.0, 60  # of standing out; 0 is coded as the last
_CELL_PX = 2
_MARGIN_PX = 7  # by which a small mean is continued beyond the edges, for the rings of a glance
_MOST_PEAKS = 1500  # of one size in one view
_DARK = 8.0  # added before logarithms, for noise in the dark
LOG_STEPS = 70.0  # per natural logarithm
LOG_TABLE = np.rint(LOG_STEPS * np.log1p(np.arange(256) / _DARK)).astype(np.uint8)
_AS_GREEN = 128  # code of as much green as red

Plane = NDArray[np.uint8]
Floats = NDArray[np.float32]
Numbers = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class View:
    """A photo at one of the sizes at which spots are looked for.

    Attributes
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first, continued by ``PAD_PX`` beyond each edge.
    tone : ndarray of uint8, shape (about half as many rows, columns, 2)
        How light it is, and how green: logarithms of the grey value, and of green ÷ red. Spots
        are found on this, of half the size, and looked at in the picture.
    factor : float
        Pixels of the given photo per pixel of the picture.
    finer : View or None
        The view that is twice as large.
    """

    pixels: Plane = field(repr=False)
    tone: Plane = field(repr=False)
    factor: float
    finer: "View | None" = field(repr=False)

    def in_photo(self, at: ArrayLike) -> NDArray[np.float64]:
        """Map rows or columns of the picture to those of the given photo.

        Pixel centres are whole numbers in both.
        """
        return (np.asarray(at) - PAD_PX + 0.5) * self.factor - 0.5


@dataclass(frozen=True, eq=False)
class Peaks:
    """Spots of one size in one view.

    Attributes
    ----------
    view : View
        In which they were found.
    size_px : float
        Their diameter in pixels of the view's picture, roughly.
    rows, cols : ndarray of intp, shape (spots,)
        Their middles in the view's picture, which is continued beyond its edges.
    glance : ndarray of float32, shape (spots, len(GLANCE))
        In the order of ``GLANCE``.
    """

    view: View = field(repr=False)
    size_px: float
    rows: Numbers
    cols: Numbers
    glance: Floats = field(repr=False)

    def only(self, which: NDArray[np.intp] | NDArray[np.bool_]) -> "Peaks":
        """Return some of them."""
        return Peaks(
            self.view, self.size_px, self.rows[which], self.cols[which], self.glance[which]
        )


def views(pixels: Plane) -> list[View]:
    """Return the photo at the sizes at which spots are looked for, the largest first."""
    picture = _brought_down(pixels)
    found: list[View] = []
    while len(found) < _VIEWS:
        half = shrunk(picture, 0.5)
        if found and min(half.shape[:2]) < _LEAST_SIDE_PX:
            break
        padded = cv2.copyMakeBorder(picture, *(PAD_PX,) * 4, cv2.BORDER_REFLECT)
        factor = pixels.shape[1] / picture.shape[1]
        finer = found[-1] if found else None
        found.append(View(np.asarray(padded, np.uint8), _tone(half), factor, finer))
        picture = half
    return found


def _brought_down(pixels: Plane) -> Plane:
    """Bring a photo to the usual size; linear steps of less than half cost a fifth of means."""
    picture = pixels
    while (factor := FRASS_LONG_PX / max(picture.shape[:2])) < 1:
        if factor < 0.5:
            picture = shrunk(picture, 0.5)
            continue
        size = (round(picture.shape[1] * factor), round(picture.shape[0] * factor))
        return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_LINEAR), np.uint8)
    return picture


def _tone(picture: Plane) -> Plane:
    """Return logarithms of grey and of green ÷ red, the same in shade as in the sun."""
    red, green, _ = (cv2.LUT(channel, LOG_TABLE) for channel in cv2.split(picture))
    grey = cv2.LUT(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY), LOG_TABLE)
    greener = cv2.addWeighted(green, 1, red, -1, _AS_GREEN)
    return np.asarray(cv2.merge([grey, greener]), np.uint8)


def find_peaks(shown: list[View]) -> list[Peaks]:
    """Return the spots of all views, by size."""
    usual = np.median(shown[-1].tone, axis=(0, 1))
    return [_peaks_of(view, size, usual) for view in shown for size in _SIZES_PX]


def _peaks_of(view: View, size_px: float, usual: Numbers) -> Peaks:
    """Return spots of a diameter given in pixels of the tone."""
    inner = np.asarray(cv2.GaussianBlur(view.tone, (0, 0), _INNER * size_px), np.uint8)
    side = round(_OUTER * size_px / 2 - 0.5) * 2 + 1
    strength = _standing_out(inner, np.asarray(cv2.blur(view.tone, (side, side)), np.uint8))
    top = cv2.compare(cv2.dilate(strength, np.ones((3, 3), np.uint8)), strength, cv2.CMP_LE)
    enough = (strength >= _LEVEL + _LEAST_STEP).view(np.uint8)
    at = cv2.findNonZero(cv2.bitwise_and(top, enough))
    at = np.zeros((0, 2), np.int32) if at is None else at.reshape(-1, 2)
    cols, rows = (np.asarray(axis, np.intp) for axis in at.T)
    kept = _strongest(rows, cols, strength)
    rows, cols = rows[kept], cols[kept]
    size, photo = np.log(2 * size_px * view.factor), usual / LOG_STEPS
    out = (strength[rows, cols] - float(_LEVEL)) / LOG_STEPS
    shared = np.broadcast_to(np.array([size, *photo]), (len(rows), 3))
    glance = np.column_stack([*_glance(inner, rows, cols, size_px), shared, out])
    rows, cols = (
        np.rint((at + 0.5) * (whole - 2 * PAD_PX) / half - 0.5).astype(np.intp) + PAD_PX
        for at, whole, half in zip((rows, cols), view.pixels.shape, view.tone.shape, strict=False)
    )
    return Peaks(view, 2 * size_px, rows, cols, glance.astype(np.float32))


def _standing_out(inner: Plane, outer: Plane) -> Plane:
    """Return how much darker, and how much more or less green, the small mean is."""
    light, green = cv2.split(inner)
    light_around, green_around = cv2.split(outer)
    darker = cv2.addWeighted(cv2.subtract(light_around, light), _LIGHT_PART, light, 0, _LEVEL)
    apart = cv2.absdiff(green_around, green)
    return np.asarray(cv2.addWeighted(darker, 1, apart, _GREEN_PART, 0), np.uint8)


def _strongest(rows: Numbers, cols: Numbers, strength: Plane) -> Numbers:
    """Choose the strongest spot of each cell, and at most so many."""
    order = np.argsort(-strength[rows, cols].astype(np.int16), kind="stable")
    cell = (rows[order] // _CELL_PX) * strength.shape[1] + cols[order] // _CELL_PX
    _, first = np.unique(cell, return_index=True)
    return order[np.sort(first)][:_MOST_PEAKS]


def _glance(inner: Plane, rows: Numbers, cols: Numbers, size_px: float) -> Iterator[Floats]:
    """Yield the first columns of ``GLANCE``."""
    wide = np.asarray(cv2.copyMakeBorder(inner, *(_MARGIN_PX,) * 4, cv2.BORDER_REFLECT), np.uint8)
    place = (rows + _MARGIN_PX) * wide.shape[1] + cols + _MARGIN_PX
    angle = np.arange(_ANGLES) * (2 * np.pi / _ANGLES)
    owns = []
    for plane in cv2.split(wide):
        flat = plane.ravel()
        own = flat[place].astype(np.float32)
        for ring in _RINGS:
            down = np.rint(ring * size_px * np.sin(angle)).astype(np.intp)
            right = np.rint(ring * size_px * np.cos(angle)).astype(np.intp)
            around = np.sort(flat[place[:, None] + (down * wide.shape[1] + right)], axis=1)
            yield (around[:, _RANKS] - own[:, None]) / np.float32(LOG_STEPS)
        owns.append(own / np.float32(LOG_STEPS))
    yield from owns


def glanced(found: list[Peaks], glance: Layers, most: int) -> Iterator[Peaks]:
    """Yield the spots that a glance holds for the likeliest, at most so many in all."""
    promise = [glance.log_odds(peaks.glance) for peaks in found]
    joined = np.concatenate(promise)
    if not len(joined):
        return
    least = -np.inf if len(joined) <= most else np.partition(joined, -most)[-most]
    for peaks, own in zip(found, promise, strict=True):
        if (own >= least).any():
            yield peaks.only(own >= least)
