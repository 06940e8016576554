"""A stake tag painted into a photo, as large, tilted, torn, dirty or shaded as wanted."""

import cv2
import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.fields import Floats, smooth_field, smoothstep
from scripts.workshop.rendered.light import cast_shadow, shade
from scripts.workshop.rendered.scene import PaintedTag, Scene
from vision.tag.card import (
    CARD_MM,
    CELL_MM,
    GREY_MM,
    NAME_MM,
    SIDE_MM,
    WHITE_MM,
    Box,
    marker_cells,
)

__all__ = ["Corners", "card_corners", "lay_tag", "paint_card", "to_photo"]

Corners = tuple[tuple[float, float], ...]
Matrix = NDArray[np.float64]
Ints = NDArray[np.intp]

_PX_PER_MM = 10  # of the drawn card, before it is seen by the camera
_FINER = 4  # the card is painted so much finer than the photo, then averaged
_PAPER, _INK, _GREY = 0.86, 0.045, 0.21  # reflectance, linear
_LIFT_MM = 0.4  # of the card above what it lies on
_SOIL = np.array([0.10, 0.065, 0.04], np.float32)


def draw_card(rng: np.random.Generator, tag: PaintedTag) -> tuple[Floats, Floats]:
    """Return the card's reflectance (with any shadow on it), and 1 where there is card.

    Returns
    -------
    reflectance : ndarray of float32, shape (rows, columns, 3)
        Linear, at 10 px/mm.
    card : ndarray of float32, shape (rows, columns)
        0 where it is torn off.
    """
    left, top, right, bottom = CARD_MM
    rows, columns = round((bottom - top) * _PX_PER_MM), round((right - left) * _PX_PER_MM)
    ink = np.full((rows, columns), _PAPER, np.float32)
    cells = marker_cells(tag.number)
    for (row, col), white in np.ndenumerate(cells):
        if not white:
            x, y = col * CELL_MM, row * CELL_MM
            ink[_part((x, y, x + CELL_MM, y + CELL_MM))] = _INK
    _write(ink, tag.name)
    ink[_part((WHITE_MM[0] - 0.3, WHITE_MM[1] - 0.3, WHITE_MM[2] + 0.3, WHITE_MM[3] + 0.3))] = _GREY
    ink[_part(WHITE_MM)] = _PAPER
    out = np.repeat(ink[..., None], 3, axis=2)
    out[_part(GREY_MM)] = _GREY * np.asarray(tag.tint, np.float32)
    _soil(rng, tag, out)
    _shade(tag, out)
    return out, _left_over(rng, tag, (rows, columns))


def _part(box: Box) -> tuple[slice, slice]:
    """Return rows and columns of the drawn card that a box in mm covers."""
    left, top, right, bottom = (
        round((value - CARD_MM[n % 2]) * _PX_PER_MM) for n, value in enumerate(box)
    )
    return slice(top, bottom), slice(left, right)


def _write(ink: Floats, name: str) -> None:
    letters = np.zeros(ink.shape, np.uint8)
    place = _part(NAME_MM)
    height = (place[0].stop - place[0].start) / 45
    start = (place[1].start, place[0].stop - round(12 * height))
    cv2.putText(letters, name, start, cv2.FONT_HERSHEY_SIMPLEX, 1.6 * height, 255, 8)
    ink[letters > 127] = _INK


def _soil(rng: np.random.Generator, tag: PaintedTag, out: Floats) -> None:
    if tag.dirt <= 0:
        return
    field = smooth_field(rng, out.shape[:2], 1.5 * _PX_PER_MM, 3)
    level = np.quantile(field, 1 - tag.dirt)
    cover = smoothstep(field, float(level) - 0.05, float(level) + 0.05)[..., None]
    out += cover * (_SOIL - out)


def _shade(tag: PaintedTag, out: Floats) -> None:
    """Lay a hard shadow over the lower left."""
    if tag.shaded <= 0:
        return
    rows, columns = out.shape[:2]
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32)
    depth = (y / rows + 1 - x / columns) / 2 - (1 - tag.shaded)
    out *= (1 - 0.72 * smoothstep(depth, -0.01, 0.01))[..., None]


def _left_over(rng: np.random.Generator, tag: PaintedTag, shape: tuple[int, int]) -> Floats:
    """Return 0 beyond a ragged tear across the upper right corner, 1 elsewhere."""
    if tag.torn <= 0:
        return np.ones(shape, np.float32)
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
    ragged = 0.8 * _PX_PER_MM * smooth_field(rng, shape, 2.0 * _PX_PER_MM, 3)
    depth = tag.torn * shape[0] - (y + shape[1] - x) + ragged
    return 1 - smoothstep(depth, -1, 1)


def to_photo(tag: PaintedTag, span_px: float, centre_px: tuple[float, float]) -> Matrix:
    """Return the 3 × 3 homography from mm on the card to (x, y) pixels of the photo.

    Parameters
    ----------
    tag : PaintedTag
        Gives turn, tilt and distance.
    span_px : float
        Side of the untilted black square.
    centre_px : tuple of float
        Where the card's centre goes, (x, y); whole numbers are pixel centres.
    """
    middle = ((CARD_MM[0] + CARD_MM[2]) / 2, (CARD_MM[1] + CARD_MM[3]) / 2)
    turn, towards = np.deg2rad([tag.turn_deg, tag.tilt_towards_deg])
    cos, sin = np.cos(turn), np.sin(turn)
    far = np.array([np.cos(towards), np.sin(towards)])
    steep = np.deg2rad(tag.tilt_deg)
    flat = np.array([[cos, -sin], [sin, cos]])
    # Foreshortened along the direction of the tilt; the depth along it lengthens the distance.
    seen = (np.eye(2) - (1 - np.cos(steep)) * np.outer(far, far)) @ flat
    depth = np.sin(steep) * far @ flat / tag.distance_mm
    tilted = np.array([[*seen[0], 0.0], [*seen[1], 0.0], [*depth, 1.0]])
    scale = span_px / SIDE_MM
    place = np.array([[scale, 0, centre_px[0]], [0, scale, centre_px[1]], [0, 0, 1]])
    origin = np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, 1]])
    return np.asarray(place @ tilted @ origin, np.float64)


def card_corners(mm_to_px: Matrix, box: Box) -> Floats:
    """Return where a box's corners lie in the photo: 4 × (x, y), clockwise from the upper left."""
    left, top, right, bottom = box
    corners = np.array([[[left, top], [right, top], [right, bottom], [left, bottom]]], np.float64)
    return np.asarray(cv2.perspectiveTransform(corners, mm_to_px)[0], np.float32)


def _free_place(hidden: Floats, tag: PaintedTag, span_px: float) -> tuple[float, float]:
    """Return the card's centre (x, y) in px where leaves hide least of it."""
    corners = card_corners(to_photo(tag, span_px, (0.0, 0.0)), CARD_MM)
    width, height = (1.1 * (corners.max(axis=0) - corners.min(axis=0))).tolist()
    rows, columns = hidden.shape
    window = (min(columns, round(width) | 1), min(rows, round(height) | 1))
    busy = cv2.blur(hidden, window, borderType=cv2.BORDER_REPLICATE)
    up, aside = min((rows - 1) // 2, window[1] // 2), min((columns - 1) // 2, window[0] // 2)
    inner = busy[up : rows - up, aside : columns - aside]
    row, col = np.unravel_index(int(np.argmin(inner)), inner.shape)
    return float(col + aside), float(row + up)


def paint_card(
    rng: np.random.Generator, tag: PaintedTag, mm_to_px: Matrix, shape: tuple[int, int]
) -> tuple[Floats, Floats]:
    """Return the card as the camera sees it: reflectance and cover, the size of the photo."""
    seen, cover = np.zeros((*shape, 3), np.float32), np.zeros(shape, np.float32)
    corners = card_corners(mm_to_px, CARD_MM)
    low = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 1, 0)
    high = np.minimum(np.ceil(corners.max(axis=0)).astype(int) + 2, (shape[1], shape[0]))
    if np.any(high <= low):
        return seen, cover
    window = slice(low[1], high[1]), slice(low[0], high[0])
    part = _seen_finely(rng, tag, mm_to_px, low, high - low)
    cover[window] = part[..., 3]
    seen[window] = part[..., :3] / np.maximum(part[..., 3:], 1e-6)
    return seen, cover


def _seen_finely(
    rng: np.random.Generator, tag: PaintedTag, mm_to_px: Matrix, low: Ints, size: Ints
) -> Floats:
    """Return colour × cover, and cover, of a window of the photo."""
    reflectance, card = draw_card(rng, tag)
    both = np.dstack([reflectance * card[..., None], card])
    offset = (_FINER - 1) / 2
    finer = np.array([[_FINER, 0, offset], [0, _FINER, offset], [0, 0, 1]])
    window = np.array([[1, 0, -low[0]], [0, 1, -low[1]], [0, 0, 1]])
    drawn = 1 / _PX_PER_MM
    to_mm = [[drawn, 0, CARD_MM[0] + drawn / 2], [0, drawn, CARD_MM[1] + drawn / 2], [0, 0, 1]]
    warp = finer @ window @ mm_to_px @ np.array(to_mm)
    step = 1 / np.sqrt(abs(np.linalg.det(warp / warp[2, 2])))  # drawn px for one fine px
    if step > 1:
        both = cv2.GaussianBlur(both, (0, 0), step / 2)
    large = cv2.warpPerspective(both, warp, (int(size[0]) * _FINER, int(size[1]) * _FINER))
    small = cv2.resize(large, (int(size[0]), int(size[1])), interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.float32)


def lay_tag(
    rng: np.random.Generator,
    tag: PaintedTag,
    scene: Scene,
    canvas: Floats,
    hidden: Floats,
    px_per_mm: float,
) -> Corners:
    """Paint the tag over what is there, in place; return the black square's corners.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance for tears and dirt.
    tag : PaintedTag
        The tag.
    scene : Scene
        Gives the light.
    canvas : ndarray of float32, shape (rows, columns, 3)
        Light painted so far.
    hidden : ndarray of float32, shape (rows, columns)
        1 where leaves will cover.
    px_per_mm : float
        Scale of the leaves.

    Returns
    -------
    tuple of (float, float)
        (x, y) in px, clockwise from the marker's own upper left.
    """
    span_px = tag.span_px or SIDE_MM * px_per_mm
    rows, columns = hidden.shape
    if tag.place is None:
        centre = _free_place(hidden, tag, span_px)
    else:
        centre = tag.place[0] * columns, tag.place[1] * rows
    mm_to_px = to_photo(tag, span_px, centre)
    reflectance, cover = paint_card(rng, tag, mm_to_px, (rows, columns))
    light = shade(rng, scene, reflectance, np.zeros_like(cover), 0.0)
    cast_shadow(canvas, cover, scene, _LIFT_MM * px_per_mm)
    canvas += cover[..., None] * (light - canvas)
    corners = card_corners(mm_to_px, (0.0, 0.0, SIDE_MM, SIDE_MM))
    return tuple((float(x), float(y)) for x, y in corners)
