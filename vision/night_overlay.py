"""The picture that shows what was counted on a UV night photo, and what was not.

A caterpillar has an orange outline with a black edge, its number and its probability; a bright
thing that was not counted has a white dashed box and the reason in a word.
"""

import cv2
import numpy as np

from vision.drawing import (
    BLACK,
    FONT,
    ORANGE,
    SHIFT,
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
from vision.records import (
    CATERPILLAR,
    Caterpillar,
    NightMeasurement,
    NightReading,
    Photo,
    RejectedGlow,
)

__all__ = ["draw_night_overlay"]

_MOST_REJECTED = 25  # marked in the picture; the table holds them all
_DASH_PX = 6


def draw_night_overlay(photo: Photo, measurement: NightMeasurement) -> Pixels:
    """Return the photo at viewing size with caterpillars and rejected things marked.

    Parameters
    ----------
    photo : Photo
        The measured photo.
    measurement : NightMeasurement
        Its mask (the size of ``photo.pixels``) and numbers.

    Returns
    -------
    ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first; the photo above, a strip of explanation below.
    """
    scale = viewing_scale(photo.pixels)
    view = resized(photo.pixels, scale)
    unit = max(view.shape[0], view.shape[1]) / 1000
    reading = measurement.reading
    to_view = scale / photo.reduction
    for glow in reading.rejected[:_MOST_REJECTED]:
        _mark_rejected(view, glow, to_view, unit)
    outlines = outlines_of((measurement.classes == CATERPILLAR).astype(np.uint8), scale)
    draw_lines(view, outlines, max(2, round(1.3 * unit)), ORANGE, BLACK)
    for number, one in enumerate(reading.caterpillars, start=1):
        _label(view, number, one, to_view, unit)
    if reading.caterpillar_count is None:
        reasons = [explain(name) for name in reading.flags if not FLAGS[name].measurable]
        lay_banner(view, " ".join(["Nothing was counted.", *reasons]))
    return with_strip(view, _texts(photo, reading), _draw_legend)


def _label(view: Pixels, number: int, one: Caterpillar, to_view: float, unit: float) -> None:
    """Write number and probability above the body, inside the picture."""
    text = f"{number}: {100 * one.confidence:.0f} %"
    size = 0.5 * unit + 0.15
    columns, rows = text_size(text, size, thickness=2)
    above = (0.6 * one.width_px + 0.15 * one.length_px) * to_view
    col = int(one.col_px * to_view - columns / 2)
    row = int(one.row_px * to_view - above - 0.4 * rows)
    if row < 1.2 * rows:
        row = int(one.row_px * to_view + above + 1.3 * rows)
    col = max(4, min(col, view.shape[1] - columns - 4))
    write_edged(view, text, (col, max(rows + 4, min(row, view.shape[0] - 8))), size)


def _mark_rejected(view: Pixels, glow: RejectedGlow, to_view: float, unit: float) -> None:
    half = max(6.0, 0.55 * max(glow.width_px, 0.7 * glow.length_px) * to_view)
    middle = np.array([glow.col_px, glow.row_px]) * to_view
    _draw_dashed_box(view, middle - half, middle + half, unit)
    size = 0.36 * unit + 0.12
    columns, rows = text_size(glow.reason, size, thickness=2)
    col = int(max(4, min(middle[0] - half, view.shape[1] - columns - 4)))
    row = int(min(middle[1] + half + rows, view.shape[0] - 8))
    write_edged(view, glow.reason, (col, max(rows + 4, row)), size)


def _draw_dashed_box(
    view: Pixels,
    start: np.ndarray[tuple[int], np.dtype[np.float64]],
    end: np.ndarray[tuple[int], np.dtype[np.float64]],
    unit: float,
) -> None:
    dash = max(3, round(_DASH_PX * unit))
    corners = [(start[0], start[1]), (end[0], start[1]), (end[0], end[1]), (start[0], end[1])]
    for first, second in zip(corners, corners[1:] + corners[:1], strict=True):
        along = np.hypot(second[0] - first[0], second[1] - first[1])
        steps = np.arange(0, max(along, 1), 2 * dash) / max(along, 1)
        for at in steps:
            points = np.array([first, second], float)
            until = min(1.0, at + dash / max(along, 1))
            line = np.array([points[0] + t * (points[1] - points[0]) for t in (at, until)])
            drawn = np.round(line * (1 << SHIFT)).astype(np.int32)
            draw_lines(view, [drawn], max(1, round(0.8 * unit)), WHITE, BLACK)


def _texts(photo: Photo, reading: NightReading) -> list[str]:
    flags = dict.fromkeys((*photo.flags, *reading.flags))
    return [photo.name, _result_line(reading), *(explain(name) for name in flags)]


def _result_line(reading: NightReading) -> str:
    if reading.caterpillar_count is None:
        return ""
    others = f"Other bright things, not counted: {len(reading.rejected)}."
    interval = f"({reading.caterpillar_low} to {reading.caterpillar_high})"
    if reading.caterpillar_count == 0:
        return f"Caterpillars: none seen {interval}. {others} No glow does not mean no larva."
    return f"Caterpillars: {reading.caterpillar_count} {interval}. {others}"


def _draw_legend(strip: Pixels) -> None:
    line = [np.array([[10, 20], [50, 20]], np.int32) << SHIFT]
    draw_lines(strip, line, 3, ORANGE, BLACK)
    name = "caterpillar, with its probability"
    cv2.putText(strip, name, (60, 26), FONT, 0.62, BLACK, 1, cv2.LINE_AA)
    left = 60 + text_size(name, 0.62)[0] + 30
    _draw_dashed_box(strip, np.array([left, 11.0]), np.array([left + 30, 29.0]), 1.0)
    cv2.putText(strip, "not counted", (left + 40, 26), FONT, 0.62, BLACK, 1, cv2.LINE_AA)
