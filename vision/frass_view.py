"""Look for droppings twice: at half the size, then closely where something could be.

Most photos show leaves without droppings, and looking closely takes four times as long.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.frass_net import STEP_PX, Seen, see
from vision.raster import shrunk

__all__ = ["look_at"]

Floats = NDArray[np.float32]
Bools = NDArray[np.bool_]

_PROMISING = -2.5  # log-odds of a middle or of a dropping, at half the size
_CELL_PX = 64
_MARGIN_PX = 64  # around what is looked at: the network must see what a thing lies on
_MOST = 0.5  # share of the picture from which all of it is looked at
_NOTHING = -20.0  # log-odds where nothing was looked at closely


def look_at(picture: NDArray[np.uint8]) -> Seen:
    """Return what the network sees in a picture.

    Parameters
    ----------
    picture : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.
    """
    wanted = _promising(see(shrunk(picture, 0.5)), picture.shape)
    if wanted.mean() > _MOST:
        return see(picture)
    size = tuple(-(-side // STEP_PX) for side in picture.shape[:2])
    whole = Seen(*(np.full(size, value, np.float32) for value in (_NOTHING, _NOTHING, 1.0)))
    for window in _windows(wanted, picture.shape):
        _look_closely(picture, window, whole)
    return whole


def _promising(seen: Seen, shape: tuple[int, ...]) -> Bools:
    """Return which cells of the picture are worth a closer look."""
    cells = tuple(-(-side // _CELL_PX) for side in shape[:2])
    highest = np.maximum(seen.middle, seen.inside)
    side = _CELL_PX // (2 * STEP_PX)
    missing = [(0, cell * side - have) for cell, have in zip(cells, highest.shape, strict=True)]
    wide = np.pad(highest, missing, constant_values=_NOTHING)
    return np.asarray(wide.reshape(cells[0], side, cells[1], side).max(axis=(1, 3)) > _PROMISING)


def _windows(wanted: Bools, shape: tuple[int, ...]) -> list[tuple[slice, slice]]:
    """Return the boxes around groups of cells, in pixels of the picture."""
    _, _, boxes, _ = cv2.connectedComponentsWithStats(wanted.view(np.uint8), connectivity=8)
    return [
        (
            slice(top * _CELL_PX, min((top + rows) * _CELL_PX, shape[0])),
            slice(left * _CELL_PX, min((left + columns) * _CELL_PX, shape[1])),
        )
        for left, top, columns, rows, _ in boxes[1:]
    ]


def _look_closely(picture: NDArray[np.uint8], window: tuple[slice, slice], whole: Seen) -> None:
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
