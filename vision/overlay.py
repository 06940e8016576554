"""The picture that shows what was counted: the photo with leaves, lesions and halos outlined.

Colours are from the Okabe–Ito palette, which people with colour-blindness tell apart. Every kind
of line has a second cue: a leaf's outline is thin with a white edge, a lesion's thick with a
black edge, a halo's is a row of dots, a dropping stands in a diamond.
"""

from collections.abc import Sequence

import cv2
import numpy as np

from vision.drawing import (
    BLACK,
    BLUE,
    FONT,
    ORANGE,
    SHIFT,
    SKY_BLUE,
    VERMILLION,
    WHITE,
    Pixels,
    draw_lines,
    lay_banner,
    outlines_of,
    resized,
    text_size,
    viewing_scale,
    with_strip,
    write_edged,
)
from vision.flags import FLAGS, explain
from vision.records import HALO, LESION, DayMeasurement, DayReading, LeafReading, Pellet, Photo

__all__ = ["draw_overlay"]

Box = tuple[int, int, int, int]

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
    scale = viewing_scale(photo.pixels)
    view = resized(photo.pixels, scale)
    unit = max(view.shape[0], view.shape[1]) / 1000
    boxes = _boxes(measurement.leaf_numbers)
    _draw_leaves(view, measurement.leaf_numbers, boxes, scale, unit)
    _draw_halos(view, measurement.classes, scale, unit)
    _draw_lesions(view, measurement.classes, scale, unit)
    _draw_pellets(view, measurement.reading.pellets, scale / photo.reduction, unit)
    for place, leaf in enumerate(measurement.reading.leaves):
        texts = _labels(leaf, patterns[place] if patterns else "")
        _label_leaf(view, texts, boxes.get(leaf.leaf, (0, 0, 0, 0)), scale, unit)
    if measurement.reading.severity_pct is None:
        _draw_banner(view, measurement.reading)
    texts = _texts(photo, measurement.reading, _PATTERN_NOTE if patterns else "")
    return with_strip(view, texts, _draw_legend)


def _boxes(leaf_numbers: Pixels) -> dict[int, Box]:
    """Return each leaf's box as left, top, width and height at the measured scale."""
    found = {}
    for number in range(1, int(leaf_numbers.max(initial=0)) + 1):
        left, top, width, height = cv2.boundingRect((leaf_numbers == number).view(np.uint8))
        if width:
            found[number] = (left, top, width, height)
    return found


def _draw_leaves(
    view: Pixels, leaf_numbers: Pixels, boxes: dict[int, Box], scale: float, unit: float
) -> None:
    for number, (left, top, width, height) in boxes.items():
        window = leaf_numbers[top : top + height, left : left + width]
        outlines = outlines_of((window == number).astype(np.uint8), scale, (left, top))
        draw_lines(view, outlines, max(2, round(1.2 * unit)), BLUE, WHITE)


def _draw_lesions(view: Pixels, classes: Pixels, scale: float, unit: float) -> None:
    lesions = (classes == LESION).astype(np.uint8)
    # The line runs just outside, so that the smallest spots stay visible inside it.
    around = cv2.dilate(lesions, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (3, 3)))
    outlines = outlines_of(around.astype(np.uint8), scale)
    draw_lines(view, outlines, max(2, round(1.5 * unit)), VERMILLION, BLACK)


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


def _draw_pellets(view: Pixels, pellets: Sequence[Pellet], scale: float, unit: float) -> None:
    """Draw a diamond around each dropping; ``scale`` is from the full-size photo to the view."""
    for pellet in pellets:
        reach = 0.75 * pellet.length_px * scale + 3 * unit
        middle = np.array([pellet.col_px, pellet.row_px]) * scale
        corners = middle + reach * np.array([[1, 0], [0, 1], [-1, 0], [0, -1]])
        outline = np.round(corners * (1 << SHIFT)).astype(np.int32)
        draw_lines(view, [outline], max(2, round(1.4 * unit)), SKY_BLUE, BLACK)


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
    fitting = (text for text in texts if text_size(text, size, thickness=2)[0] <= room)
    text = next(fitting, texts[-1])
    columns, rows = text_size(text, size, thickness=2)
    col = int((left + width / 2) * scale - columns / 2)
    col = max(4, min(col, view.shape[1] - columns - 4))
    row = int(top * scale - 0.4 * rows)
    if row < 1.2 * rows:
        row = int(top * scale + 1.3 * rows)
    write_edged(view, text, (col, min(row, view.shape[0] - 6)), size)


def _digits(percent: float) -> str:
    return f"{percent:.1f}" if percent < 10 else f"{percent:.0f}"


def _draw_banner(view: Pixels, reading: DayReading) -> None:
    """Say over the top why nothing was measured."""
    reasons = [explain(name) for name in reading.flags if not FLAGS[name].measurable]
    what = "No leaf was measured." if reading.frass_count else "Nothing was measured."
    lay_banner(view, " ".join([what, *reasons]))


def _texts(photo: Photo, reading: DayReading, note: str) -> list[str]:
    """Return the words below the picture: name, result, note, flags."""
    flags = dict.fromkeys((*photo.flags, *reading.flags))
    found = [_result_line(reading), _pellet_line(reading)]
    return [photo.name, *found, note, *(explain(name) for name in flags)]


def _result_line(reading: DayReading) -> str:
    low, high = reading.severity_low_pct, reading.severity_high_pct
    if reading.severity_pct is None or low is None or high is None:
        return ""
    lesions = sum(len(leaf.lesions) for leaf in reading.leaves)
    return (
        f"Diseased: {reading.severity_pct:.1f} % ({_digits(low)}-{_digits(high)}) of the leaf area "
        f"looked at. Leaves: {len(reading.leaves)}. Lesions: {lesions}."
    )


def _pellet_line(reading: DayReading) -> str:
    if not reading.frass_high:
        return ""
    low, high = reading.frass_low, reading.frass_high
    return f"Droppings, in diamonds: {reading.frass_count} ({low}-{high})."


def _draw_legend(strip: Pixels) -> None:
    """Draw a piece of each kind of line with its name along the strip's first row."""
    column, row = 10, 20
    for name in _LEGEND:
        line = [np.array([[column, row], [column + 40, row]], np.int32) << SHIFT]
        if name.startswith("leaf"):
            draw_lines(strip, line, 2, BLUE, WHITE)
        elif name.startswith("lesion"):
            draw_lines(strip, line, 4, VERMILLION, BLACK)
        else:
            for dot in range(column + 4, column + 41, 11):
                cv2.circle(strip, (dot, row), 4, BLACK, -1, cv2.LINE_AA)
                cv2.circle(strip, (dot, row), 3, ORANGE, -1, cv2.LINE_AA)
        cv2.putText(strip, name, (column + 50, row + 6), FONT, 0.62, BLACK, 1, cv2.LINE_AA)
        column += 50 + text_size(name, 0.62)[0] + 30
