"""Look for droppings three times: in a quarter of the size, in half, and closely.

Each look is only at places where the coarser one before saw that something could be. Most photos
show leaves without droppings, and looking closely takes sixteen times as long as the first look.
Where much could be something, as on soil and mulch, all is looked at closely at once.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.droppings.network import STEP_PX, Seen, see
from vision.raster import shrunk

__all__ = ["look_at"]

Bools = NDArray[np.bool_]
Pixels = NDArray[np.uint8]
Window = tuple[slice, slice]

_LOOKS = ((0.25, -3.5), (0.5, -2.0))
"""Size of the picture at each look but the last, and the log-odds of a middle or of a dropping from
which a place is looked at again at twice that size."""

_MUCH = 0.5  # share of places from which all around them is looked at closely at once
_CELL_PX = 32  # side of a place, at the size of the look that follows
_MARGIN_PX = 32  # around what is looked at: the network must see what a thing lies on
_NOTHING = -20.0  # log-odds where nothing was looked at


def look_at(picture: Pixels) -> Seen:
    """Return what the network sees in a picture.

    Parameters
    ----------
    picture : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.
    """
    first, _ = _LOOKS[0]
    seen = see(shrunk(picture, first))
    for share, promising in _LOOKS:
        larger = shrunk(picture, 2 * share)
        wanted = _wanted(seen, promising, larger.shape)
        if wanted.mean() > _MUCH:
            return _look_at_all(picture, wanted, share)
        seen = _look_again(larger, wanted)
    return seen


def _look_at_all(picture: Pixels, wanted: Bools, share: float) -> Seen:
    """See the box that holds all wanted cells closely, which were found at another size."""
    side = round(_CELL_PX / (2 * share))
    rows, cols = (np.flatnonzero(wanted.any(axis=axis)) for axis in (1, 0))
    whole = _nothing(picture)
    box = tuple(
        slice(side * int(at[0]), min(side * (int(at[-1]) + 1), length))
        for at, length in zip((rows, cols), picture.shape, strict=False)
    )
    _look_closely(picture, (box[0], box[1]), whole)
    return whole


def _wanted(seen: Seen, promising: float, shape: tuple[int, ...]) -> Bools:
    """Return which cells of a picture are worth a look; seen was one of half its size."""
    cells = tuple(-(-side // _CELL_PX) for side in shape[:2])
    highest = np.maximum(seen.middle, seen.inside)
    side = _CELL_PX // (2 * STEP_PX)
    missing = [(0, cell * side - have) for cell, have in zip(cells, highest.shape, strict=True)]
    wide = np.pad(highest, missing, constant_values=_NOTHING)
    return np.asarray(wide.reshape(cells[0], side, cells[1], side).max(axis=(1, 3)) > promising)


def _look_again(picture: Pixels, wanted: Bools) -> Seen:
    """See the wanted cells of a picture, or all of it where that is no more work."""
    windows = _windows(wanted, picture.shape)
    work = sum(
        np.prod([part.stop - part.start + 2 * _MARGIN_PX for part in one]) for one in windows
    )
    if work >= wanted.size * _CELL_PX**2:
        return see(picture)
    whole = _nothing(picture)
    for window in windows:
        _look_closely(picture, window, whole)
    return whole


def _nothing(picture: Pixels) -> Seen:
    size = tuple(-(-side // STEP_PX) for side in picture.shape[:2])
    return Seen(*(np.full(size, value, np.float32) for value in (_NOTHING, _NOTHING, 1.0)))


def _windows(wanted: Bools, shape: tuple[int, ...]) -> list[Window]:
    """Return the boxes around groups of cells, in pixels of the picture."""
    _, _, boxes, _ = cv2.connectedComponentsWithStats(wanted.view(np.uint8), connectivity=8)
    return [
        (
            slice(top * _CELL_PX, min((top + rows) * _CELL_PX, shape[0])),
            slice(left * _CELL_PX, min((left + columns) * _CELL_PX, shape[1])),
        )
        for left, top, columns, rows, _ in boxes[1:]
    ]


def _look_closely(picture: Pixels, window: Window, whole: Seen) -> None:
    """See a part with a margin around it, and copy the part without the margin."""
    start = [max(0, part.start - _MARGIN_PX) for part in window]
    seen = see(
        picture[start[0] : window[0].stop + _MARGIN_PX, start[1] : window[1].stop + _MARGIN_PX]
    )
    to = tuple(slice(part.start // STEP_PX, -(-part.stop // STEP_PX)) for part in window)
    of = tuple(
        slice(part.start - at // STEP_PX, part.stop - at // STEP_PX)
        for part, at in zip(to, start, strict=True)
    )
    for known, found in (
        (whole.middle, seen.middle),
        (whole.inside, seen.inside),
        (whole.diameter_px, seen.diameter_px),
    ):
        known[to] = found[of]
