"""Grounds of any make: sheets, leaves, rough soil, and heaps of bits over each other."""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.collage.outlines import outline
from scripts.workshop.rendered.collage.palette import FAMILIES, colour_of, draw_palette
from scripts.workshop.rendered.collage.sheet import Sheet, cover_of
from scripts.workshop.rendered.fields import Floats, blur, smooth_field
from scripts.workshop.rendered.shape import Points

__all__ = ["GROUNDS", "lay_ground"]

Rng = np.random.Generator

GROUNDS = {"paper": 0.16, "soil": 0.18, "mulch": 0.2, "leaf": 0.14, "straw": 0.08, "gravel": 0.06,
           "photo": 0.12, "any": 0.06}  # fmt: skip
"""How often each is drawn."""

_STRAWS = (("rod",), ("rod", "chip"), ("rod", "blob"))
_CHIPS = (("chip",), ("chip", "polygon"), ("chip", "rod"), ("blob", "chip"),
          ("polygon", "rod", "crumb"))  # fmt: skip
_EARTHS = (("crumb", "blob"), ("polygon", "crumb"), ("blob",), ("crumb", "rod"))
_MOST_BITS = 1800


def lay_ground(
    rng: Rng, sheet: Sheet, kind: str, dropping_px: float, photos: Sequence[NDArray[np.uint8]]
) -> None:
    """Paint the ground that droppings of a size lie on."""
    if kind == "paper":
        _paper(rng, sheet)
    elif kind == "leaf":
        _leaf(rng, sheet)
    elif kind == "photo" and photos:
        _photo(rng, sheet, photos[int(rng.integers(len(photos)))])
    elif kind in ("mulch", "straw"):
        _litter(rng, sheet, kind, dropping_px)
    else:
        _earth(
            rng, sheet, kind if kind in FAMILIES else str(rng.choice(list(FAMILIES))), dropping_px
        )


def _earth(rng: Rng, sheet: Sheet, family: str, dropping_px: float) -> None:
    """Rough soil, crumbs over each other, or these on that."""
    chance = rng.random()
    if chance < 0.5:
        _rough(rng, sheet, family, dropping_px * np.exp(rng.uniform(-2, 0.7)) + 1.5)
    if chance >= 0.35:
        usual = dropping_px * np.exp(rng.normal(-0.3, 0.6))
        share, kinds = rng.uniform(0.3, 5), _EARTHS[int(rng.integers(len(_EARTHS)))]
        _heap(rng, sheet, family, usual, share, kinds)


def _litter(rng: Rng, sheet: Sheet, kind: str, dropping_px: float) -> None:
    """Chips or straw, now and then with crumbs between."""
    shapes = _STRAWS if kind == "straw" else _CHIPS
    usual = dropping_px * np.exp(rng.normal(1.6 if kind == "straw" else 1.1, 0.5))
    kinds = shapes[int(rng.integers(len(shapes)))]
    _heap(rng, sheet, kind, usual, rng.uniform(3, 14), kinds)
    if rng.random() < 0.4:
        family = "soil" if rng.random() < 0.5 else kind
        share = rng.integers(5, 60) * (0.6 * dropping_px) ** 2 / np.prod(sheet.shape)
        _heap(rng, sheet, family, 0.6 * dropping_px, float(share), ("crumb", "chip", "polygon"))


def _heap(
    rng: Rng, sheet: Sheet, family: str, usual_px: float, share: float, kinds: Sequence[str]
) -> None:
    """Lay bits over each other, the lowest darkest; ``share`` is how often they fill the sheet."""
    palette, (rows, cols) = draw_palette(rng, family), sheet.shape
    count = int(np.clip(share * rows * cols / usual_px**2, 5, _MOST_BITS))
    for number in range(count):
        length = float(usual_px * np.exp(rng.normal(0, 0.5)))
        at = rng.uniform((-0.05 * cols, -0.05 * rows), (1.05 * cols, 1.05 * rows))
        kind = kinds[int(rng.integers(len(kinds)))]
        near = 0.35 + 0.65 * number / count if rng.random() < 0.8 else 1.0
        points = outline(rng, kind, length, at)
        window = sheet.window(points, 1)
        if window is None:
            continue
        cover = cover_of(points, window)
        if rng.random() < 0.8:
            sheet.cast(window, cover, max(0.5, 0.06 * length * rng.random()))
        sheet.cover(window, cover, colour_of(rng, palette) * near)
        if kind in ("rod", "chip") and length > 14:
            _fibres(rng, sheet, points, length)
    grain = smooth_field(rng, sheet.shape, rng.uniform(1.5, 4), 2)
    sheet.light *= np.exp(np.float32(0.15 * rng.random()) * grain)[..., None]


def _fibres(rng: Rng, sheet: Sheet, points: Points, length_px: float) -> None:
    """Draw a few lighter or darker lines along a strip whose first side is given first."""
    along = points[len(points) // 2 - 1] - points[0]
    across = np.array([-along[1], along[0]]) / (np.hypot(*along) + 1e-6)
    window = sheet.window(points, 1)
    if window is None:
        return
    corner = (window[1].start, window[0].start)
    inside = cover_of(points, window)
    for _ in range(int(rng.integers(0, 5))):
        start = points[0] + 0.1 * along + rng.normal(0, 0.1) * length_px * across
        ends = np.rint((np.stack([start, start + 0.75 * along]) - corner) * 16).astype(np.int32)
        line = np.zeros(inside.shape, np.uint8)
        thick = max(1, int(0.02 * length_px))
        cv2.polylines(line, [ends], False, 255, thick, cv2.LINE_AA, shift=4)
        share = np.float32(rng.uniform(0.3, 0.9) * (rng.uniform(0.4, 1.5) - 1) / 255)
        sheet.light[window] *= 1 + (line * inside * share)[..., None]


def _rough(rng: Rng, sheet: Sheet, family: str, cell_px: float) -> None:
    """Unbroken ground with relief, of two colours, now and then with dark hollows."""
    palette, shape = draw_palette(rng, family), sheet.shape
    relief = smooth_field(rng, shape, cell_px, 4, rng.uniform(0.5, 0.9))
    patches = smooth_field(rng, shape, cell_px * rng.uniform(1, 6), 3)
    share = (1 / (1 + np.exp(-2 * patches)))[..., None]
    sheet.light[:] = palette[0] * (1 - share) + palette[-1] * share
    _emboss(sheet, relief * np.float32(cell_px * rng.uniform(0.1, 0.5)), rng.uniform(0.2, 1))
    if rng.random() < 0.5:
        deep = smooth_field(rng, shape, 1.5 * cell_px, 3) - rng.uniform(0.6, 1.6)
        sheet.light *= np.clip(1 - 0.8 * np.clip(deep, 0, 1), 0.08, 1)[..., None]


def _emboss(sheet: Sheet, relief_px: Floats, much: float) -> None:
    down, right = np.gradient(relief_px)
    slope = right * sheet.away[0] + down * sheet.away[1]
    sheet.light *= np.clip(1 + np.float32(much) * slope, 0.15, 2.2)[..., None].astype(np.float32)


def _paper(rng: Rng, sheet: Sheet) -> None:
    """Paint a sheet in uneven light, now and then ruled or creased."""
    colour = np.clip(draw_palette(rng, "paper")[0], 0, 0.95)
    sheet.light[:] = colour
    (rows, cols), tilt = sheet.shape, rng.normal(0, 0.25, 2)
    down, right = np.mgrid[0:rows, 0:cols].astype(np.float32) / max(rows, cols)
    sheet.light *= np.clip(1 + tilt[0] * right + tilt[1] * down, 0.3, 1.6)[..., None]
    if rng.random() < 0.3:
        tone = tuple(float(part) for part in colour * rng.uniform(0.4, 0.9, 3))
        fall = int(rng.uniform(-0.3, 0.3) * cols)
        for at in np.arange(-rows, 2 * rows, rng.uniform(15, 60)):
            cv2.line(sheet.light, (0, int(at)), (cols, int(at) + fall), tone, 1, cv2.LINE_AA)
    if rng.random() < 0.3:
        for _ in range(int(rng.integers(1, 5))):
            crease = np.abs(smooth_field(rng, sheet.shape, cols / 2, 2)) < 0.05
            sheet.light *= 1 - np.float32(0.25 * rng.random()) * crease[..., None]
    fibre = np.float32(0.03 * rng.random()) * smooth_field(rng, sheet.shape, 1.5)
    sheet.light *= 1 + fibre[..., None]


def _leaf(rng: Rng, sheet: Sheet) -> None:
    """Part of a leaf with its veins; in some photos it ends, and other ground lies beyond."""
    palette, shape = draw_palette(rng, "leaf"), sheet.shape
    patches = smooth_field(rng, shape, rng.uniform(40, 200), 3)
    sheet.light[:] = palette[0] * np.exp(np.float32(0.15) * patches)[..., None]
    apart = rng.uniform(30, 140)
    veins = blur(_veins(rng, shape, apart), rng.uniform(0.6, 2))
    sheet.cover((slice(0, shape[0]), slice(0, shape[1])), veins * np.float32(rng.uniform(0.2, 0.8)),
                palette[-1] * rng.uniform(0.7, 2))  # fmt: skip
    bulges = smooth_field(rng, shape, 0.3 * apart, 3) * np.float32(0.02 * apart * rng.random())
    _emboss(sheet, bulges - veins * np.float32(0.1 * apart), rng.uniform(0.2, 1))
    if rng.random() < 0.4:
        beyond = smooth_field(rng, shape, shape[1] / 2, 3) + rng.uniform(-0.5, 1.2) < -0.4
        family = [name for name in FAMILIES if name != "leaf"][int(rng.integers(5))]
        grain = np.exp(np.float32(0.3) * smooth_field(rng, shape, 6, 3))[..., None]
        sheet.light[:] = np.where(
            beyond[..., None], draw_palette(rng, family)[0] * grain, sheet.light
        )


def _veins(rng: Rng, shape: tuple[int, int], apart_px: float) -> Floats:
    """Draw a midrib, side veins that leave it at a slant, and twigs of these, 0 to 1."""
    drawn, reach = np.zeros(shape, np.uint8), float(np.hypot(*shape))
    angle, middle = rng.uniform(0, np.pi), np.array(shape[::-1]) * rng.uniform(0.2, 0.8, 2)
    along = np.array([np.cos(angle), np.sin(angle)])
    across = np.array([-along[1], along[0]])
    _line(drawn, [middle - reach * along, middle + reach * along], 255, 0.06 * apart_px)
    for place in np.arange(-reach, reach, apart_px):
        for side in (-1, 1):
            start = middle + (place + rng.normal(0, 0.1) * apart_px) * along
            end = start + 0.8 * reach * (side * across * np.sin(0.9) + along * np.cos(0.9))
            bend = (start + end) / 2 + rng.normal(0, 12, 2)
            t = np.linspace(0, 1, 20)[:, None]
            curve = (1 - t) ** 2 * start + 2 * t * (1 - t) * bend + t**2 * end
            _line(drawn, curve, 200, 0.025 * apart_px)
            for part in np.arange(0.05, 0.8, 0.08 * rng.uniform(0.7, 1.6)):
                foot, turn = start + (end - start) * part, rng.uniform(0, 2 * np.pi)
                away = 0.6 * apart_px * np.array([np.cos(turn), np.sin(turn)])
                _line(drawn, [foot, foot + away], 120, 1)
    return drawn.astype(np.float32) / np.float32(255)


def _line(
    canvas: NDArray[np.uint8], points: Sequence[Points] | Points, tone: int, thick: float
) -> None:
    fixed = np.rint(np.asarray(points) * 16).astype(np.int32)
    cv2.polylines(canvas, [fixed], False, tone, max(1, int(thick)), cv2.LINE_AA, shift=4)


def _photo(rng: Rng, sheet: Sheet, photo: NDArray[np.uint8]) -> None:
    """Part of a real photo, in every other case with its colours mixed anew."""
    rows, cols = sheet.shape
    factor = max(rows / photo.shape[0], cols / photo.shape[1]) * rng.uniform(1, 1.6)
    size = (int(np.ceil(photo.shape[1] * factor)), int(np.ceil(photo.shape[0] * factor)))
    shown = cv2.resize(photo, size, interpolation=cv2.INTER_LINEAR).astype(np.float32) / 255
    top, left = (
        int(rng.integers(0, most - side + 1))
        for most, side in zip(shown.shape[:2], sheet.shape, strict=True)
    )
    shown = shown[top : top + rows, left : left + cols]
    if rng.random() < 0.5:
        mix = np.abs(np.eye(3) + rng.normal(0, 0.35, (3, 3)))
        shown = np.clip(shown @ (mix / mix.sum(axis=1, keepdims=True)).T, 0, 1)
        shown = shown ** np.exp(rng.normal(0, 0.3, 3)) * np.exp(rng.normal(0, 0.3))
    sheet.light[:] = np.clip(shown, 0, 1) ** 2.2
