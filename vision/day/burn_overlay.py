"""The picture of a burn check: before and after side by side, with what was taken for bleached."""

from collections.abc import Sequence
from functools import partial

import cv2
import numpy as np

from vision.day.burn import BLEACHED, GLARE, UNSURE, BurnReading
from vision.drawing import (
    BLACK,
    FONT,
    SHIFT,
    SKY_BLUE,
    VERMILLION,
    WHITE,
    Colour,
    Pixels,
    draw_around,
    draw_lines,
    resized,
    shown_scaled,
    text_size,
    viewing_scale,
    with_strip,
    write_edged,
)

__all__ = ["draw_burn_check"]

_HEIGHT_PX = 800  # of each of the two pictures
_LEGEND = (
    ("bleached", VERMILLION, BLACK, 4),
    ("pale, unsure", SKY_BLUE, BLACK, 2),
    ("glare", WHITE, BLACK, 2),
)


def draw_burn_check(
    pictures: Sequence[tuple[str, Pixels, BurnReading]], texts: Sequence[str]
) -> Pixels:
    """Return photos side by side, with outlines, their titles, and a strip of words below.

    Parameters
    ----------
    pictures : sequence of (str, ndarray of uint8, shape (rows, columns, 3), BurnReading)
        Title, the photo's sRGB pixels, red first, and what was read on them.
    texts : sequence of str
        Sentences for the strip.

    Returns
    -------
    ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.
    """
    views = [_view(title, pixels, reading) for title, pixels, reading in pictures]
    gap = np.full((_HEIGHT_PX, 8, 3), 255, np.uint8)
    row = [part for view in views for part in (gap, view)][1:]
    side_by_side = np.ascontiguousarray(np.concatenate(row, axis=1))
    return with_strip(side_by_side, texts, _draw_legend)


def _view(title: str, pixels: Pixels, reading: BurnReading) -> Pixels:
    scale = min(_HEIGHT_PX / pixels.shape[0], 2 * viewing_scale(pixels))
    view = resized(pixels, scale)
    outlined = partial(_outlined, view, reading.mask)
    outlined(GLARE, WHITE, 2)
    outlined(UNSURE, SKY_BLUE, 2)
    outlined(BLEACHED, VERMILLION, 3)
    if view.shape[0] < _HEIGHT_PX:
        below = np.full((_HEIGHT_PX - view.shape[0], view.shape[1], 3), 255, np.uint8)
        view = np.concatenate([view, below])
    write_edged(view, title, (12, 36), 0.8)
    return view[:_HEIGHT_PX]


def _outlined(view: Pixels, mask: Pixels, kind: int, line: Colour, width: int) -> None:
    patches = shown_scaled((mask == kind).astype(np.uint8), view)
    draw_around(view, patches, width, line, BLACK)


def _draw_legend(strip: Pixels) -> None:
    column, row = 10, 20
    for name, line, edge, width in _LEGEND:
        stroke = [np.array([[column, row], [column + 40, row]], np.int32) << SHIFT]
        draw_lines(strip, stroke, width, line, edge)
        cv2.putText(strip, name, (column + 50, row + 6), FONT, 0.62, BLACK, 1, cv2.LINE_AA)
        column += 50 + text_size(name, 0.62)[0] + 30
