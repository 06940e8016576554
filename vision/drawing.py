"""What both overlays are drawn with: view, tints, lines, letters in free places, strip of words.

Colours are from the Okabe–Ito palette, which people with colour-blindness tell apart.
"""

from collections.abc import Callable, Iterator, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = [
    "BLACK",
    "BLUE",
    "BRIGHTER",
    "FONT",
    "GREY",
    "ORANGE",
    "PAPER",
    "PURPLE",
    "SHIFT",
    "SKY_BLUE",
    "VERMILLION",
    "WHITE",
    "Box",
    "Colour",
    "Pixels",
    "brightened",
    "draw_around",
    "draw_lines",
    "free_place",
    "lay_banner",
    "outlines_of",
    "resized",
    "shown_scaled",
    "text_size",
    "tint",
    "viewing_scale",
    "with_strip",
    "wrapped",
    "write_edged",
]

Pixels = NDArray[np.uint8]
Colour = tuple[int, int, int]
Box = tuple[int, int, int, int]
"""Left, top, right, bottom."""

BLUE: Colour = (0, 114, 178)
SKY_BLUE: Colour = (86, 180, 233)
ORANGE: Colour = (230, 159, 0)
VERMILLION: Colour = (213, 94, 0)
PURPLE: Colour = (204, 121, 167)
BLACK: Colour = (0, 0, 0)
WHITE: Colour = (255, 255, 255)
GREY: Colour = (90, 90, 90)
PAPER: Colour = (246, 246, 244)

BRIGHTER = "Shown brighter than it was taken."
"""Said below a view that was brightened."""

FONT = cv2.FONT_HERSHEY_SIMPLEX
SHIFT = 4  # outlines are drawn at 1/16 pixel

_MOST_COLUMNS, _MOST_ROWS, _LEAST_SIDE = 1600, 1400, 900
_LEAST_STRIP_COLUMNS = 700
_MOST_STRIP_LINES = 6

_DARK, _SEEN, _LEAST_POWER = 45.0, 70.0, 0.55


def viewing_scale(pixels: Pixels) -> float:
    """Return the factor that brings a photo to a size at which lines and letters are readable.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        The photo; only its size counts.
    """
    rows, columns = (int(side) for side in pixels.shape[:2])
    largest = min(_MOST_COLUMNS / columns, _MOST_ROWS / rows)
    return min(largest, max(1.0, _LEAST_SIDE / max(rows, columns)))


def resized(pixels: Pixels, scale: float) -> Pixels:
    """Return a copy of a picture at another scale, free to be drawn on.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        Not changed.
    scale : float
        New size ÷ old size, above 0.

    Returns
    -------
    ndarray of uint8, shape (round(scale · rows), round(scale · columns), 3)
        At least one pixel each way.
    """
    rows, columns = (max(1, round(side * scale)) for side in pixels.shape[:2])
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    resized = cv2.resize(pixels, (columns, rows), interpolation=how)
    # A photo's pixels are read-only; at scale 1 OpenCV may hand the same memory back.
    return np.array(resized, dtype=np.uint8)


def brightened(view: Pixels) -> tuple[Pixels, bool]:
    """Return a view whose darker half can be seen, and whether that took any brightening.

    A dark view is raised by a power, which keeps black black, white white and the order between.

    Parameters
    ----------
    view : ndarray of uint8, shape (rows, columns, 3)
        sRGB, 0 to 255; not changed.

    Returns
    -------
    view : ndarray of uint8, shape (rows, columns, 3)
        The same array where it was bright enough.
    brighter : bool
    """
    middle = float(np.median(view.max(axis=-1)))
    if middle >= _DARK:
        return view, False
    gamma = max(_LEAST_POWER, np.log(_SEEN / 255) / np.log(max(middle, 1.0) / 255))
    table = np.rint(255 * (np.arange(256) / 255) ** gamma).astype(np.uint8)
    return table[view], True


def shown_scaled(mask: Pixels, view: Pixels) -> Pixels:
    """Return a mask at the size of a view; the smallest patch of 1 stays.

    Parameters
    ----------
    mask : ndarray of uint8, shape (mask rows, mask columns)
        0 or 1.
    view : ndarray of uint8, shape (rows, columns, 3)
        Only its size counts.

    Returns
    -------
    ndarray of uint8, shape (rows, columns)
        0 or 1.
    """
    size = (view.shape[1], view.shape[0])
    if mask.shape[0] <= view.shape[0]:
        return np.asarray(cv2.resize(mask, size, interpolation=cv2.INTER_NEAREST), np.uint8)
    part = cv2.resize(mask * np.uint8(255), size, interpolation=cv2.INTER_AREA)
    return (part > 80).astype(np.uint8)


def tint(view: Pixels, mask: Pixels, colour: Colour, share: float) -> None:
    """Mix a colour into a part of a view.

    Parameters
    ----------
    view : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first; painted on.
    mask : ndarray of uint8, shape (rows, columns)
        Not 0 in the part.
    colour : tuple of int
        Red, green and blue, 0 to 255.
    share : float
        Of the colour in the mixture, 0 to 1.
    """
    inside = mask > 0
    mixed = (1 - share) * view[inside] + share * np.array(colour, np.float32)
    view[inside] = np.rint(mixed).astype(np.uint8)


def outlines_of(
    mask: Pixels, scale: float, offset: tuple[int, int] = (0, 0)
) -> list[NDArray[np.int32]]:
    """Return the outlines of a mask's patches, holes included, at viewing scale.

    Parameters
    ----------
    mask : ndarray of uint8, shape (rows, columns)
        Not 0 in the patches.
    scale : float
        Pixels of the view per pixel of the mask.
    offset : tuple of int
        Column and row of the mask's corner in the whole mask, pixels.

    Returns
    -------
    list of ndarray of int32, shape (points, 1, 2)
        Column and row in the view, in 1/16 pixel (``SHIFT``).
    """
    found, _ = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE, offset=offset)
    # Fewer points, none off by more than 0.6 pixels: on 20 leaves the lines take 15 ms, not 94.
    fewer = [cv2.approxPolyDP(points, 0.6 / min(1.0, scale), True) for points in found]
    centre = 0.5  # of a pixel, which grows with the scale
    return [
        np.round(((points + centre) * scale - centre) * (1 << SHIFT)).astype(np.int32)
        for points in fewer
    ]


def draw_lines(
    view: Pixels, outlines: Sequence[NDArray[np.int32]], width: int, line: Colour, edge: Colour
) -> None:
    """Draw closed lines, or open ones of two points, with an edge on both sides.

    Parameters
    ----------
    view : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first; drawn on.
    outlines : sequence of ndarray of int32, shape (points, 1, 2) or (points, 2)
        Column and row in the view, in 1/16 pixel (``SHIFT``).
    width : int
        Of the line, pixels; the edge adds one on either side.
    line, edge : tuple of int
        Red, green and blue, 0 to 255.
    """
    for colour, thickness in ((edge, width + 2), (line, width)):
        cv2.polylines(view, outlines, True, colour, thickness, cv2.LINE_AA, SHIFT)


def draw_around(view: Pixels, patches: Pixels, width: int, line: Colour, edge: Colour) -> None:
    """Draw a line just outside each patch of a mask; no patch is drawn on.

    Parameters
    ----------
    view : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first; drawn on.
    patches : ndarray of uint8, shape (rows, columns)
        1 in the patches, 0 elsewhere.
    width : int
        Of the line, pixels; its edge adds one on either side.
    line, edge : tuple of int
        Red, green and blue, 0 to 255.
    """
    inside = view[patches > 0]
    side = 2 * (width // 2 + 2) + 1  # as wide as half the line with its edge
    around = cv2.dilate(patches, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)))
    draw_lines(view, outlines_of(np.asarray(around, np.uint8), 1.0), width, line, edge)
    view[patches > 0] = inside


def text_size(text: str, size: float, thickness: int = 1) -> tuple[int, int]:
    """Return columns and rows that a text takes."""
    (columns, rows), below = cv2.getTextSize(text, FONT, size, thickness)
    return int(columns), int(rows + below)


def write_edged(view: Pixels, text: str, at: tuple[int, int], size: float) -> None:
    """Write white letters with a black edge, readable on light and on dark ground.

    Parameters
    ----------
    view : ndarray of uint8, shape (rows, columns, 3)
        sRGB; written on.
    text : str
        One line.
    at : tuple of int
        Column and row of the lower left corner of the text's base line, pixels.
    size : float
        Of the letters, in units of OpenCV's font.
    """
    columns, rows = text_size(text, size, thickness=2)
    left, top = max(0, at[0] - 4), max(0, at[1] - rows - 4)
    below, right = max(0, at[1] + rows // 2 + 4), max(0, at[0] + columns + 8)
    patch = view[top:below, left:right]
    if not patch.size:  # no room for a line: the strip below the picture says it too
        return
    letters = np.zeros(patch.shape[:2], np.uint8)
    cv2.putText(letters, text, (at[0] - left, at[1] - top), FONT, size, 255, 2, cv2.LINE_AA)
    edge = cv2.dilate(letters, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (7, 7)))
    ink = letters[..., None].astype(np.uint16)
    ground = patch * (255 - edge[..., None].astype(np.uint16)) // 255
    patch[...] = (ground * (255 - ink) // 255 + ink).astype(np.uint8)


def free_place(
    size: tuple[int, int], about: Box, taken: Sequence[Box], hides: Pixels
) -> Box | None:
    """Return a place for a text beside a thing, inside the view and clear of other texts.

    Parameters
    ----------
    size : tuple of int
        Columns and rows of the text.
    about : Box
        What the text is about; it stands above it, below it, beside it, or at its upper edge.
    taken : sequence of Box
        Other texts.
    hides : ndarray of uint8, shape (rows, columns)
        Not 0 where a text would hide something; of the free places, the nearest that hides least
        is taken. Its shape is that of the view.

    Returns
    -------
    Box or None
        None where no place is free.
    """
    best, least = None, hides.size + 1
    for place in _places(size, about, (hides.shape[0], hides.shape[1])):
        if any(_overlap(place, other) for other in taken):
            continue
        hidden = int(np.count_nonzero(hides[place[1] : place[3], place[0] : place[2]]))
        if hidden < least:
            best, least = place, hidden
        if hidden == 0:
            break
    return best


def _places(size: tuple[int, int], about: Box, shape: tuple[int, int]) -> Iterator[Box]:
    """Yield places about a thing that lie inside a view, the nearest first."""
    columns, rows = size
    left, top, right, bottom = about
    along = dict.fromkeys(((left + right - columns) // 2, left, right - columns))
    upper = [(col, top + step * rows) for step in range(3) for col in along]
    spots: list[tuple[int, int]] = []
    for away in range(4, 4 + 8 * rows, max(4, rows // 2)):
        below, above = bottom + away, top - away - rows
        beside = (top + bottom - rows) // 2
        sides = (right + away, left - away - columns)
        spots += [(col, row) for row in (above, below) for col in along]
        spots += [(col, row) for row in (beside, above, below) for col in sides]
    for col, row in (*spots, *upper):
        if 2 <= col < shape[1] - columns and 2 <= row < shape[0] - rows:
            yield col, row, col + columns, row + rows


def _overlap(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def wrapped(text: str, columns: int, size: float) -> list[str]:
    """Return the text as lines that fit; a word too long for a line is cut at its end."""
    return list(_lines(" ".join(text.split()), columns, size))


def _lines(text: str, columns: int, size: float) -> Iterator[str]:
    line = ""
    for word in text.split(" "):
        longer = f"{line} {word}".strip()
        if line and text_size(longer, size)[0] > columns:
            yield line
            longer = word
        line = longer
    most = max(8, int(len(line) * columns / max(1, text_size(line, size)[0])))
    yield line[:most]


def lay_banner(view: Pixels, text: str) -> None:
    """Lay a grey band with a text over the top of a view.

    Parameters
    ----------
    view : ndarray of uint8, shape (rows, columns, 3)
        sRGB; drawn on.
    text : str
        Broken into lines as wide as the view.
    """
    lines = wrapped(text, view.shape[1] - 20, 0.8)
    height = 16 + 32 * len(lines)
    view[:height] = view[:height] // 4 + np.array(GREY, np.uint8) // 4 * 3
    for number, line in enumerate(lines):
        write_edged(view, line, (10, 34 + 32 * number), 0.8)


def with_strip(view: Pixels, texts: Sequence[str], draw_legend: Callable[[Pixels], None]) -> Pixels:
    """Return the view with a strip below: the legend in its first row, then the texts.

    Parameters
    ----------
    view : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first; not changed.
    texts : sequence of str
        Each begins a line; empty ones are passed over.
    draw_legend : callable
        Draws the legend on the strip, an ndarray of uint8, shape (strip rows, columns, 3).

    Returns
    -------
    ndarray of uint8, shape (rows + strip rows, columns, 3)
        A narrow view is widened to the strip by a grey margin.
    """
    columns = max(view.shape[1], _LEAST_STRIP_COLUMNS)
    lines = [line for text in texts if text for line in wrapped(text, columns - 20, 0.62)]
    lines = lines[:_MOST_STRIP_LINES]
    strip = np.full((44 + 26 * len(lines), columns, 3), PAPER, np.uint8)
    draw_legend(strip)
    for number, line in enumerate(lines):
        at = (10, 58 + 26 * number)
        cv2.putText(strip, line, at, FONT, 0.62, BLACK, 1, cv2.LINE_AA)
    if view.shape[1] < columns:
        margin = np.full((view.shape[0], columns - view.shape[1], 3), GREY, np.uint8)
        view = np.concatenate([view, margin], axis=1)
    return np.concatenate([view, strip])
