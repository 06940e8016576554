"""The picture that shows what was counted: the photo with leaves, lesions and halos outlined.

Colours are from the Okabe–Ito palette, which people with colour-blindness tell apart. Every kind
of line has a second cue: a leaf's outline is thin with a white edge, a lesion's thick with a
black edge, a halo's is a row of dots.
"""

from collections.abc import Iterator, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.flags import FLAGS, explain
from vision.records import HALO, LESION, DayMeasurement, DayReading, LeafReading, Photo

__all__ = ["draw_overlay"]

Pixels = NDArray[np.uint8]
Colour = tuple[int, int, int]
Box = tuple[int, int, int, int]

BLUE: Colour = (0, 114, 178)
ORANGE: Colour = (230, 159, 0)
VERMILLION: Colour = (213, 94, 0)
BLACK: Colour = (0, 0, 0)
WHITE: Colour = (255, 255, 255)
GREY: Colour = (90, 90, 90)
PAPER: Colour = (246, 246, 244)

_MOST_COLUMNS, _MOST_ROWS, _LEAST_SIDE = 1600, 1400, 900
_LEAST_STRIP_COLUMNS = 700
_MOST_STRIP_LINES = 6
_FONT = cv2.FONT_HERSHEY_SIMPLEX
_SHIFT = 4  # outlines are drawn at 1/16 pixel
_PATTERN_NOTE = "Words such as spot-like say what lesions look like. They are not a diagnosis."
_LEGEND = ("leaf", "halo: yellow rim", "lesion: dead or dying")


def draw_overlay(photo: Photo, measurement: DayMeasurement, patterns: Sequence[str] = ()) -> Pixels:
    """Return the photo at viewing size with everything that was counted drawn on it.

    Parameters
    ----------
    photo : Photo
        The measured photo.
    measurement : DayMeasurement
        Its masks (the size of ``photo.pixels``) and numbers.
    patterns : sequence of str, optional
        What each leaf looks like, in words, in the order of the reading's leaves.

    Returns
    -------
    ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first, neither side above 1600; the photo above, a strip of explanation below.
        Photos below 900 pixels are enlarged so that lines and letters stay readable.
    """
    scale = _viewing_scale(photo.pixels)
    view = _resized(photo.pixels, scale)
    unit = max(view.shape[0], view.shape[1]) / 1000
    boxes = _boxes(measurement.leaf_numbers)
    _draw_leaves(view, measurement.leaf_numbers, boxes, scale, unit)
    _draw_halos(view, measurement.classes, scale, unit)
    _draw_lesions(view, measurement.classes, scale, unit)
    for place, leaf in enumerate(measurement.reading.leaves):
        texts = _labels(leaf, patterns[place] if patterns else "")
        _label_leaf(view, texts, boxes.get(leaf.leaf, (0, 0, 0, 0)), scale, unit)
    if measurement.reading.severity_pct is None:
        _draw_banner(view, measurement.reading)
    return _with_strip(view, photo, measurement.reading, _PATTERN_NOTE if patterns else "")


def _viewing_scale(pixels: Pixels) -> float:
    rows, columns = (int(side) for side in pixels.shape[:2])
    largest = min(_MOST_COLUMNS / columns, _MOST_ROWS / rows)
    return min(largest, max(1.0, _LEAST_SIDE / max(rows, columns)))


def _resized(pixels: Pixels, scale: float) -> Pixels:
    rows, columns = (max(1, round(side * scale)) for side in pixels.shape[:2])
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    resized = cv2.resize(pixels, (columns, rows), interpolation=how)
    # A photo's pixels are read-only; at scale 1 OpenCV may hand the same memory back.
    return np.array(resized, dtype=np.uint8)


def _boxes(leaf_numbers: Pixels) -> dict[int, Box]:
    """Return each leaf's box as left, top, width and height at the measured scale."""
    found = {}
    for number in range(1, int(leaf_numbers.max(initial=0)) + 1):
        left, top, width, height = cv2.boundingRect((leaf_numbers == number).view(np.uint8))
        if width:
            found[number] = (left, top, width, height)
    return found


def _outlines(
    mask: Pixels, scale: float, offset: tuple[int, int] = (0, 0)
) -> list[NDArray[np.int32]]:
    """Return the outlines of a mask's patches, holes included, as points at viewing scale."""
    found, _ = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE, offset=offset)
    # Fewer points, none off by more than 0.6 pixels: on 20 leaves the lines take 15 ms, not 94.
    fewer = [cv2.approxPolyDP(points, 0.6 / min(1.0, scale), True) for points in found]
    centre = 0.5  # of a pixel, which grows with the scale
    return [
        np.round(((points + centre) * scale - centre) * (1 << _SHIFT)).astype(np.int32)
        for points in fewer
    ]


def _draw_lines(
    view: Pixels, outlines: Sequence[NDArray[np.int32]], width: int, line: Colour, edge: Colour
) -> None:
    for colour, thickness in ((edge, width + 2), (line, width)):
        cv2.polylines(view, outlines, True, colour, thickness, cv2.LINE_AA, _SHIFT)


def _draw_leaves(
    view: Pixels, leaf_numbers: Pixels, boxes: dict[int, Box], scale: float, unit: float
) -> None:
    for number, (left, top, width, height) in boxes.items():
        window = leaf_numbers[top : top + height, left : left + width]
        outlines = _outlines((window == number).astype(np.uint8), scale, (left, top))
        _draw_lines(view, outlines, max(2, round(1.2 * unit)), BLUE, WHITE)


def _draw_lesions(view: Pixels, classes: Pixels, scale: float, unit: float) -> None:
    lesions = (classes == LESION).astype(np.uint8)
    # The line runs just outside, so that the smallest spots stay visible inside it.
    around = cv2.dilate(lesions, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (3, 3)))
    outlines = _outlines(around.astype(np.uint8), scale)
    _draw_lines(view, outlines, max(2, round(1.5 * unit)), VERMILLION, BLACK)


def _draw_halos(view: Pixels, classes: Pixels, scale: float, unit: float) -> None:
    """Dot the outer rim of sick tissue where it is a halo."""
    sick = ((classes == HALO) | (classes == LESION)).astype(np.uint8)
    contours, _ = cv2.findContours(sick, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    step = max(2, round(7 * unit / scale))
    radius = max(2, round(1.3 * unit))
    for contour in contours:
        for column, row in contour[::step, 0]:
            if classes[row, column] == HALO:
                at = (int((column + 0.5) * scale), int((row + 0.5) * scale))
                cv2.circle(view, at, radius + 1, BLACK, -1, cv2.LINE_AA)
                cv2.circle(view, at, radius, ORANGE, -1, cv2.LINE_AA)


def _labels(leaf: LeafReading, pattern: str) -> list[str]:
    """Return number, severity and pattern of a leaf, the longest text first."""
    interval = f"{_digits(leaf.severity_low_pct)}-{_digits(leaf.severity_high_pct)}"
    long = f"leaf {leaf.leaf}: {leaf.severity_pct:.1f} % ({interval})"
    short = f"{leaf.leaf}: {leaf.severity_pct:.0f} %"
    if not pattern:
        return [long, short]
    return [f"{long}, {pattern}", f"{short}, {pattern}", short]


def _label_leaf(view: Pixels, texts: Sequence[str], box: Box, scale: float, unit: float) -> None:
    """Write the longest label that fits above the leaf, or at its upper edge without room."""
    left, top, width, _ = box
    size = 0.55 * unit + 0.15
    room = width * scale
    fitting = (text for text in texts if _text_size(text, size, thickness=2)[0] <= room)
    text = next(fitting, texts[-1])
    columns, rows = _text_size(text, size, thickness=2)
    col = int((left + width / 2) * scale - columns / 2)
    col = max(4, min(col, view.shape[1] - columns - 4))
    row = int(top * scale - 0.4 * rows)
    if row < 1.2 * rows:
        row = int(top * scale + 1.3 * rows)
    _write_edged(view, text, (col, min(row, view.shape[0] - 6)), size)


def _digits(percent: float) -> str:
    return f"{percent:.1f}" if percent < 10 else f"{percent:.0f}"


def _text_size(text: str, size: float, thickness: int = 1) -> tuple[int, int]:
    (columns, rows), below = cv2.getTextSize(text, _FONT, size, thickness)
    return int(columns), int(rows + below)


def _write_edged(view: Pixels, text: str, at: tuple[int, int], size: float) -> None:
    """Write white letters with a black edge, readable on light and on dark ground.

    ``at`` is the column and row of the lower left corner of the text's base line.
    """
    columns, rows = _text_size(text, size, thickness=2)
    left, top = max(0, at[0] - 4), max(0, at[1] - rows - 4)
    patch = view[top : at[1] + rows // 2 + 4, left : at[0] + columns + 8]
    letters = np.zeros(patch.shape[:2], np.uint8)
    cv2.putText(letters, text, (at[0] - left, at[1] - top), _FONT, size, 255, 2, cv2.LINE_AA)
    edge = cv2.dilate(letters, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (7, 7)))
    ink = letters[..., None].astype(np.uint16)
    ground = patch * (255 - edge[..., None].astype(np.uint16)) // 255
    patch[...] = (ground * (255 - ink) // 255 + ink).astype(np.uint8)


def _draw_banner(view: Pixels, reading: DayReading) -> None:
    """Lay a grey band over the top that says why nothing was measured."""
    reasons = [explain(name) for name in reading.flags if not FLAGS[name].measurable]
    lines = _wrapped(" ".join(["Nothing was measured.", *reasons]), view.shape[1] - 20, 0.8)
    height = 16 + 32 * len(lines)
    view[:height] = view[:height] // 4 + np.array(GREY, np.uint8) // 4 * 3
    for number, line in enumerate(lines):
        _write_edged(view, line, (10, 34 + 32 * number), 0.8)


def _with_strip(view: Pixels, photo: Photo, reading: DayReading, note: str) -> Pixels:
    """Return the picture with the strip below: name and result, the lines, the flags."""
    columns = max(view.shape[1], _LEAST_STRIP_COLUMNS)
    flags = dict.fromkeys((*photo.flags, *reading.flags))
    texts = [photo.name, _result_line(reading), note] + [explain(name) for name in flags]
    lines = [line for text in texts if text for line in _wrapped(text, columns - 20, 0.62)]
    lines = lines[:_MOST_STRIP_LINES]
    strip = np.full((44 + 26 * len(lines), columns, 3), PAPER, np.uint8)
    _draw_legend(strip)
    for number, line in enumerate(lines):
        at = (10, 58 + 26 * number)
        cv2.putText(strip, line, at, _FONT, 0.62, BLACK, 1, cv2.LINE_AA)
    if view.shape[1] < columns:
        margin = np.full((view.shape[0], columns - view.shape[1], 3), GREY, np.uint8)
        view = np.concatenate([view, margin], axis=1)
    return np.concatenate([view, strip])


def _result_line(reading: DayReading) -> str:
    low, high = reading.severity_low_pct, reading.severity_high_pct
    if reading.severity_pct is None or low is None or high is None:
        return ""
    lesions = sum(len(leaf.lesions) for leaf in reading.leaves)
    return (
        f"Diseased: {reading.severity_pct:.1f} % ({_digits(low)}-{_digits(high)}) of the leaf area "
        f"looked at. Leaves: {len(reading.leaves)}. Lesions: {lesions}."
    )


def _draw_legend(strip: Pixels) -> None:
    """Draw a piece of each kind of line with its name along the strip's first row."""
    column, row = 10, 20
    for name in _LEGEND:
        line = [np.array([[column, row], [column + 40, row]], np.int32) << _SHIFT]
        if name.startswith("leaf"):
            _draw_lines(strip, line, 2, BLUE, WHITE)
        elif name.startswith("lesion"):
            _draw_lines(strip, line, 4, VERMILLION, BLACK)
        else:
            for dot in range(column + 4, column + 41, 11):
                cv2.circle(strip, (dot, row), 4, BLACK, -1, cv2.LINE_AA)
                cv2.circle(strip, (dot, row), 3, ORANGE, -1, cv2.LINE_AA)
        cv2.putText(strip, name, (column + 50, row + 6), _FONT, 0.62, BLACK, 1, cv2.LINE_AA)
        column += 50 + _text_size(name, 0.62)[0] + 30


def _wrapped(text: str, columns: int, size: float) -> list[str]:
    """Return the text as lines that fit; a word too long for a line is cut at its end."""
    return list(_lines(" ".join(text.split()), columns, size))


def _lines(text: str, columns: int, size: float) -> Iterator[str]:
    line = ""
    for word in text.split(" "):
        longer = f"{line} {word}".strip()
        if line and _text_size(longer, size)[0] > columns:
            yield line
            longer = word
        line = longer
    most = max(8, int(len(line) * columns / max(1, _text_size(line, size)[0])))
    yield line[:most]
