"""The picture that shows what was counted on a UV night photo, and what was not.

A caterpillar has an orange outline with a black edge, its number and its probability; a bright
thing that was not counted has a white dashed box and the reason in a few words. No words stand on
others. A photo too dark to see the leaves in is shown brighter.
"""

import cv2
import numpy as np

from vision.drawing import (
    BLACK,
    BRIGHTER,
    FONT,
    ORANGE,
    SHIFT,
    WHITE,
    Box,
    Pixels,
    brightened,
    draw_lines,
    free_place,
    lay_banner,
    outlines_of,
    resized,
    text_size,
    viewing_scale,
    with_strip,
    write_edged,
)
from vision.flags import FLAGS, explain
from vision.night.rejected import SHORT
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
    view, brighter = brightened(resized(photo.pixels, scale))
    unit = max(view.shape[0], view.shape[1]) / 1000
    reading = measurement.reading
    to_view = scale / photo.reduction
    boxes = [_box_of(glow, to_view, unit) for glow in reading.rejected[:_MOST_REJECTED]]
    for box in boxes:
        _draw_dashed_box(view, box, unit)
    outlines = outlines_of((measurement.classes == CATERPILLAR).astype(np.uint8), scale)
    draw_lines(view, outlines, max(2, round(1.3 * unit)), ORANGE, BLACK)
    _write_labels(view, reading, boxes, to_view, unit)
    if reading.caterpillar_count is None:
        reasons = [explain(name) for name in reading.flags if not FLAGS[name].measurable]
        lay_banner(view, " ".join(["Nothing was counted.", *reasons]))
    return with_strip(view, _texts(photo, reading, brighter), _draw_legend)


def _box_of(glow: RejectedGlow, to_view: float, unit: float) -> Box:
    """Return where a bright thing is in the view, with a margin."""
    margin = round(4 * unit)
    left, top, right, bottom = (round(edge * to_view) for edge in glow.box_px)
    return left - margin, top - margin, right + margin, bottom + margin


def _body_box(one: Caterpillar, to_view: float) -> Box:
    rows, cols = np.array(one.midline_px or [(one.row_px, one.col_px)]).T * to_view
    half = 0.5 * one.width_px * to_view + 4
    return (
        int(cols.min() - half),
        int(rows.min() - half),
        int(cols.max() + half),
        int(rows.max() + half),
    )


def _write_labels(
    view: Pixels, reading: NightReading, boxes: list[Box], to_view: float, unit: float
) -> None:
    """Write number and probability of each caterpillar, then the reasons, each in a free place."""
    bodies = [_body_box(one, to_view) for one in reading.caterpillars]
    hides = np.zeros(view.shape[:2], np.uint8)
    for left, top, right, bottom in (*bodies, *boxes):
        hides[max(0, top) : max(0, bottom), max(0, left) : max(0, right)] = 1
    sure = [f"{n}: {100 * c.confidence:.0f} %" for n, c in enumerate(reading.caterpillars, start=1)]
    why = [SHORT[glow.reason] for glow in reading.rejected[:_MOST_REJECTED]]
    labels = [(text, box, 0.5 * unit + 0.15) for text, box in zip(sure, bodies, strict=True)]
    labels += [(text, box, 0.36 * unit + 0.12) for text, box in zip(why, boxes, strict=True)]
    taken: list[Box] = []
    for text, box, size in labels:
        room = text_size(text, size, thickness=2)
        if spot := free_place(room, box, taken, hides):
            taken.append(spot)
            _draw_leader(view, box, spot)
            write_edged(view, text, (spot[0], spot[3] - room[1] // 4), size)


def _draw_leader(view: Pixels, box: Box, spot: Box) -> None:
    """Draw a line from a thing to words that stand away from it."""
    middle = ((spot[0] + spot[2]) // 2, (spot[1] + spot[3]) // 2)
    edge = tuple(int(np.clip(middle[side], box[side], box[side + 2])) for side in (0, 1))
    if np.hypot(middle[0] - edge[0], middle[1] - edge[1]) > 1.6 * (spot[3] - spot[1]):
        line = np.array([edge, middle], np.int32) << SHIFT
        draw_lines(view, [line], 1, WHITE, BLACK)


def _draw_dashed_box(view: Pixels, box: Box, unit: float) -> None:
    start, end = np.array(box[:2], float), np.array(box[2:], float)
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


def _texts(photo: Photo, reading: NightReading, brighter: bool) -> list[str]:
    flags = dict.fromkeys((*photo.flags, *reading.flags))
    shown = BRIGHTER if brighter else ""
    return [photo.name, _result_line(reading), shown, *(explain(name) for name in flags)]


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
    _draw_dashed_box(strip, (left, 11, left + 30, 29), 1.0)
    cv2.putText(strip, "not counted, and why", (left + 40, 26), FONT, 0.62, BLACK, 1, cv2.LINE_AA)
