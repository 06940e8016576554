"""A leaf whose outline a person drew, in place of those that the program finds."""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.day.leaf import Leaves, find_leaves, fitted_to_edges, reaches_frame
from vision.records import Photo

__all__ = ["drawn_leaf"]

_LEAST_PX = 400  # of a leaf at the scale at which it is measured: less is a slip of the finger


def drawn_leaf(
    photo: Photo,
    outline_px: Sequence[tuple[float, float]],
    card: NDArray[np.uint8] | None = None,
) -> Leaves:
    """Return the leaf inside an outline, alone.

    The outline follows the leaf's edge where that lies nearby: fingers and mice draw beside it.
    Whether its ground is plain, which decides how symptoms are told, is taken from the photo as it
    is when the program looks for leaves itself.

    Parameters
    ----------
    photo : Photo
        From ``vision.photo.decode.read_photo``.
    outline_px : sequence of (float, float)
        Row and column of each point in the full-size photo; the last is joined to the first.
    card : ndarray of uint8, shape (rows, columns), optional
        Above 0 where a stake tag is seen: there is no leaf.

    Returns
    -------
    Leaves
        With no leaf and the flag ``no_leaf`` where the outline encloses next to nothing.
    """
    shape = photo.pixels.shape[:2]
    points = (np.array(outline_px, np.float64) + 0.5) / photo.reduction - 0.5
    drawn = np.zeros(shape, np.uint8)
    cv2.fillPoly(drawn, [np.round(points[:, ::-1]).astype(np.int32)], 1)
    plain = find_leaves(photo.pixels, card).plain
    numbers = fitted_to_edges(photo.pixels, drawn > 0, card)
    if np.count_nonzero(numbers) < _LEAST_PX:
        return Leaves(np.zeros(shape, np.uint8), (), (), plain, ("no_leaf",))
    numbers.flags.writeable = False
    cut_off = reaches_frame(numbers > 0)
    return Leaves(numbers, (False,), (cut_off,), plain, ("cut_off",) if cut_off else ())
