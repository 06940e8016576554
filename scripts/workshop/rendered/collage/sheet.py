"""The picture so far: its light, the way the sun comes, and which dropping each pixel shows."""

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.fields import AnyFloats, Floats, smooth_field
from scripts.workshop.rendered.ribbon import Window, frame_window, window_size
from scripts.workshop.rendered.shape import Points

__all__ = ["Sheet", "cover_of", "dome_of", "mottled", "open_sheet"]

_GAP = (0.004, 0.003, 0.003)  # what shows between bits


@dataclass(eq=False)
class Sheet:
    """A picture in the making.

    Attributes
    ----------
    light : ndarray of float32, shape (rows, columns, 3)
        Linear, 1 = white in the sun.
    numbers : ndarray of uint16, shape (rows, columns)
        0, or the number of the dropping at the pixel.
    away : ndarray of float64, shape (2,)
        Direction in which shadows fall, right and down.
    hard : float
        0 = overcast, 1 = clear sky.
    low : float
        Length of a shadow ÷ height of what throws it.
    whole : dict of int to int
        Pixels of each dropping before anything lay on it.
    """

    light: Floats
    numbers: NDArray[np.uint16]
    away: NDArray[np.float64]
    hard: float
    low: float
    whole: dict[int, int] = field(default_factory=dict)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.numbers.shape[0], self.numbers.shape[1]

    def window(self, points: Points, margin: float) -> Window | None:
        """Return the part of the picture around points; None where it lies outside."""
        return frame_window(points, margin, self.shape)

    def cast(self, window: Window, cover: Floats, height_px: float) -> None:
        """Darken what lies beside a thing of this height."""
        moved = self.away * height_px * self.low
        soft = 0.4 + 0.5 * height_px * (1 - self.hard)
        reach = int(np.abs(moved).max() + 3 * soft) + 2
        rows, cols = (
            slice(max(0, part.start - reach), min(side, part.stop + reach))
            for part, side in zip(window, self.shape, strict=True)
        )
        shade = np.zeros((rows.stop - rows.start, cols.stop - cols.start), np.float32)
        top, left = window[0].start - rows.start, window[1].start - cols.start
        shade[top : top + cover.shape[0], left : left + cover.shape[1]] = cover
        shift = np.array([[1, 0, moved[0]], [0, 1, moved[1]]])
        shade = cv2.warpAffine(shade, shift, (shade.shape[1], shade.shape[0]))
        shade = cv2.GaussianBlur(shade, (0, 0), soft)
        self.light[rows, cols] *= 1 - np.float32(0.25 + 0.6 * self.hard) * shade[..., None]

    def cover(self, window: Window, cover: Floats, colour: AnyFloats) -> None:
        """Lay colour over what lies there."""
        below = self.light[window]
        below += cover[..., None] * (np.asarray(colour, np.float32) - below)

    def hide(self, window: Window, cover: Floats, number: int = 0) -> None:
        """Note whose the covered pixels are now."""
        own = cover > 0.5
        self.numbers[window][own] = number
        if number:
            self.whole[number] = int(own.sum())

    def lit(self, colour: AnyFloats, height_px: Floats) -> Floats:
        """Return the light from a solid thing: matt, brighter on the side of the sun."""
        facing, upright = self._towards_sun(height_px)
        matt = (1 - 0.6 * self.hard) * (0.55 + 0.45 * upright)
        sun = 0.6 * self.hard * facing / max(self._height_of_sun, 0.2)
        return np.asarray(colour * (matt + sun)[..., None], np.float32)

    def glint(self, height_px: Floats, sharpness: float) -> Floats:
        """Return where a smooth thing mirrors the sun, 0 to 1."""
        facing, _ = self._towards_sun(height_px)
        return np.asarray((0.3 + 0.7 * facing) ** sharpness, np.float32)

    @property
    def _height_of_sun(self) -> float:
        """Sine of its angle above the ground."""
        return float(1 / np.hypot(1, self.low))

    def _towards_sun(self, height_px: Floats) -> tuple[Floats, Floats]:
        """Return how far a surface faces the sun, and how far it faces up, both 0 to 1."""
        down, right = np.gradient(height_px)
        upright = 1 / np.sqrt(1 + right**2 + down**2)
        high = self._height_of_sun
        flat = (right * self.away[0] + down * self.away[1]) * np.sqrt(1 - high**2)
        return np.clip((flat + high) * upright, 0, 1), upright


def open_sheet(rng: np.random.Generator, shape: tuple[int, int]) -> Sheet:
    """Return an empty, dark sheet in light from anywhere."""
    angle = rng.uniform(0, 2 * np.pi)
    light = np.empty((*shape, 3), np.float32)
    light[:] = _GAP
    away = np.array([np.cos(angle), np.sin(angle)])
    numbers = np.zeros(shape, np.uint16)
    return Sheet(light, numbers, away, float(rng.uniform(0, 1)), float(rng.uniform(0.35, 1.6)))


def cover_of(points: Points, window: Window) -> Floats:
    """Return the share of each pixel of a window that an outline covers."""
    canvas = np.zeros(window_size(window), np.uint8)
    placed = np.rint((points - (window[1].start, window[0].start)) * 16).astype(np.int32)
    cv2.fillPoly(canvas, [placed], 255, cv2.LINE_AA, shift=4)
    return canvas.astype(np.float32) / np.float32(255)


def dome_of(cover: Floats, height: float) -> Floats:
    """Return the relief of a rounded thing; ``height`` is relative to its half width."""
    inner = cv2.distanceTransform((cover > 0.5).astype(np.uint8), cv2.DIST_L2, 3)
    half = max(float(inner.max()), 1.0)
    edge = 1 - np.clip(inner / half, 0, 1)
    return np.asarray(height * half * np.sqrt(1 - edge**2), np.float32)


def mottled(
    rng: np.random.Generator, colour: AnyFloats, shape: tuple[int, int], cell_px: float, much: float
) -> Floats:
    """Return a colour that is a little uneven, shape (rows, columns, 3)."""
    tone = np.exp(much * smooth_field(rng, shape, max(cell_px, 1.3), 3))
    return np.asarray(tone[..., None] * colour, np.float32)
