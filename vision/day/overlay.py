"""The picture that shows what was counted: the photo with leaves, lesions and halos outlined.

Colours are from the Okabe–Ito palette, which people with colour-blindness tell apart. Every kind
of line has a second cue: a leaf's outline has a white edge, a lesion's a black edge, a halo's is
a row of dots, a dropping stands in a diamond. A light tint says which side of a line is sick. No
line lies on a lesion: the smallest is to be seen inside its own.
"""

from collections.abc import Sequence

import cv2
import numpy as np

from vision.drawing import (
    BLACK,
    BLUE,
    BRIGHTER,
    FONT,
    ORANGE,
    PURPLE,
    SHIFT,
    VERMILLION,
    WHITE,
    Box,
    Pixels,
    brightened,
    draw_around,
    draw_lines,
    free_place,
    lay_banner,
    outlines_of,
    resized,
    shown_scaled,
    text_size,
    tint,
    viewing_scale,
    with_strip,
    write_edged,
)
from vision.flags import FLAGS, explain
from vision.records import HALO, LESION, DayMeasurement, DayReading, Dropping, LeafReading, Photo

__all__ = ["draw_overlay"]

_PATTERN_NOTE = "Words such as spot-like say what lesions look like. They are not a diagnosis."
_NOWHERE: Box = (0, 0, 0, 0)
_LEGEND = ("leaf", "halo: yellow rim", "lesion: dead", "dropping")
_ENLARGED = 1.5  # on photos shown larger than this lines are as thin as can be
_LESION_TINT, _HALO_TINT = 0.22, 0.18  # shares that leave the tissue's own looks to be judged


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
    view, brighter = brightened(resized(photo.pixels, scale))
    unit = max(view.shape[0], view.shape[1]) / 1000
    boxes = _boxes(measurement.leaf_numbers)
    lesions = shown_scaled((measurement.classes == LESION).astype(np.uint8), view)
    tint(
        view, shown_scaled((measurement.classes == HALO).astype(np.uint8), view), ORANGE, _HALO_TINT
    )
    tint(view, lesions, VERMILLION, _LESION_TINT)
    inside = view[lesions > 0]
    line = 1 if scale > _ENLARGED else max(2, round(1.3 * unit))
    _draw_leaves(view, measurement.leaf_numbers, boxes, scale, line)
    _draw_halos(view, measurement.classes, scale, unit)
    view[lesions > 0] = inside
    draw_around(view, lesions, line, VERMILLION, BLACK)
    _draw_droppings(view, measurement.reading.droppings, scale / photo.reduction, unit)
    _label_leaves(view, measurement.reading.leaves, patterns, boxes, lesions, (scale, unit))
    if measurement.reading.severity_pct is None:
        _draw_banner(view, measurement.reading)
    notes = [_PATTERN_NOTE if patterns else "", BRIGHTER if brighter else ""]
    return with_strip(view, _texts(photo, measurement.reading, notes), _draw_legend)


def _boxes(leaf_numbers: Pixels) -> dict[int, Box]:
    """Return each leaf's box as left, top, width and height at the measured scale."""
    found = {}
    for number in range(1, int(leaf_numbers.max(initial=0)) + 1):
        left, top, width, height = cv2.boundingRect((leaf_numbers == number).view(np.uint8))
        if width:
            found[number] = (left, top, width, height)
    return found


def _draw_leaves(
    view: Pixels, leaf_numbers: Pixels, boxes: dict[int, Box], scale: float, width: int
) -> None:
    for number, (left, top, across, down) in boxes.items():
        window = leaf_numbers[top : top + down, left : left + across]
        outlines = outlines_of((window == number).astype(np.uint8), scale, (left, top))
        draw_lines(view, outlines, width, BLUE, WHITE)


def _draw_halos(view: Pixels, classes: Pixels, scale: float, unit: float) -> None:
    """Dot the outer rim of sick tissue where it is a halo."""
    sick = ((classes == HALO) | (classes == LESION)).astype(np.uint8)
    contours, _ = cv2.findContours(sick, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    step = max(2, round(7 * unit / scale))
    radius = max(1, round(1.2 * unit))
    for contour in contours:
        for column, row in contour[::step, 0]:
            if classes[row, column] == HALO:
                at = (int((column + 0.5) * scale), int((row + 0.5) * scale))
                cv2.circle(view, at, radius + 1, BLACK, -1, cv2.LINE_AA)
                cv2.circle(view, at, radius, ORANGE, -1, cv2.LINE_AA)


def _draw_droppings(view: Pixels, droppings: Sequence[Dropping], scale: float, unit: float) -> None:
    """Draw a diamond around each dropping; ``scale`` is from the full-size photo to the view."""
    for dropping in droppings:
        reach = 0.75 * dropping.length_px * scale + 3 * unit
        middle = np.array([dropping.col_px, dropping.row_px]) * scale
        corners = middle + reach * np.array([[1, 0], [0, 1], [-1, 0], [0, -1]])
        outline = np.round(corners * (1 << SHIFT)).astype(np.int32)
        draw_lines(view, [outline], max(2, round(1.4 * unit)), PURPLE, BLACK)


def _labels(leaf: LeafReading, pattern: str) -> list[str]:
    """Return number, severity and pattern of a leaf, the longest text first."""
    interval = f"{_digits(leaf.severity_low_pct)}-{_digits(leaf.severity_high_pct)}"
    long = f"leaf {leaf.leaf}: {leaf.severity_pct:.1f} % ({interval})"
    short = f"{leaf.leaf}: {leaf.severity_pct:.0f} %"
    if not pattern:
        return [long, short]
    return [f"{long}, {pattern}", f"{short}, {pattern}", short]


def _label_leaves(
    view: Pixels,
    leaves: Sequence[LeafReading],
    patterns: Sequence[str],
    boxes: dict[int, Box],
    lesions: Pixels,
    scale_and_unit: tuple[float, float],
) -> None:
    """Write each leaf's label near it, none over another; without any room a leaf has none."""
    scale, unit = scale_and_unit
    taken: list[Box] = []
    size = 0.55 * unit + 0.15
    for place, leaf in enumerate(leaves):
        left, top, width, height = (round(side * scale) for side in boxes.get(leaf.leaf, _NOWHERE))
        texts = _labels(leaf, patterns[place] if patterns else "")
        sizes = [text_size(text, size, thickness=2) for text in texts]
        fitting = [
            (text, room) for text, room in zip(texts, sizes, strict=True) if room[0] <= width
        ]
        for text, room in fitting or [(texts[-1], sizes[-1])]:
            about = (left, top, left + width, top + height)
            if spot := free_place(room, about, taken, lesions):
                taken.append(spot)
                write_edged(view, text, (spot[0], spot[3] - room[1] // 4), size)
                break


def _digits(percent: float) -> str:
    return f"{percent:.1f}" if percent < 10 else f"{percent:.0f}"


def _draw_banner(view: Pixels, reading: DayReading) -> None:
    """Say over the top why nothing was measured."""
    reasons = [explain(name) for name in reading.flags if not FLAGS[name].measurable]
    what = "No leaf was measured." if reading.frass_count else "Nothing was measured."
    lay_banner(view, " ".join([what, *reasons]))


def _texts(photo: Photo, reading: DayReading, notes: Sequence[str]) -> list[str]:
    """Return the words below the picture: name, result, notes, flags."""
    flags = dict.fromkeys((*photo.flags, *reading.flags))
    found = [_result_line(reading), _dropping_line(reading)]
    return [photo.name, *found, *notes, *(explain(name) for name in flags)]


def _result_line(reading: DayReading) -> str:
    low, high = reading.severity_low_pct, reading.severity_high_pct
    if reading.severity_pct is None or low is None or high is None:
        return ""
    lesions = sum(len(leaf.lesions) for leaf in reading.leaves)
    return (
        f"Diseased: {reading.severity_pct:.1f} % ({_digits(low)}-{_digits(high)}) of the leaf area "
        f"looked at. Leaves: {len(reading.leaves)}. Lesions: {lesions}."
    )


def _dropping_line(reading: DayReading) -> str:
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
            tint(strip, _swatch(strip, column, row), VERMILLION, _LESION_TINT)
            draw_lines(strip, line, 3, VERMILLION, BLACK)
        elif name.startswith("halo"):
            tint(strip, _swatch(strip, column, row), ORANGE, _HALO_TINT)
            for dot in range(column + 4, column + 41, 11):
                cv2.circle(strip, (dot, row), 4, BLACK, -1, cv2.LINE_AA)
                cv2.circle(strip, (dot, row), 3, ORANGE, -1, cv2.LINE_AA)
        else:
            middle = np.array([column + 30, row], np.int32)
            corners = middle + np.array([[10, 0], [0, 10], [-10, 0], [0, -10]], np.int32)
            draw_lines(strip, [corners << SHIFT], 2, PURPLE, BLACK)
        cv2.putText(strip, name, (column + 50, row + 6), FONT, 0.62, BLACK, 1, cv2.LINE_AA)
        column += 50 + text_size(name, 0.62)[0] + 22


def _swatch(strip: Pixels, column: int, row: int) -> Pixels:
    """Return a mask of the ground just below a piece of line in the legend."""
    mask = np.zeros(strip.shape[:2], np.uint8)
    mask[row : row + 14, column : column + 41] = 1
    return mask
