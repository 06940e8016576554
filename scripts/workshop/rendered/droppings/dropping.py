"""One dropping: a dark barrel with ridges, seen from the side or from an end."""

from dataclasses import dataclass

import numpy as np

from scripts.workshop.rendered.droppings.scene import DroppingScene
from scripts.workshop.rendered.fields import Floats, smooth_field
from scripts.workshop.rendered.ribbon import Window, frame_window

__all__ = ["Dropping", "draw_dropping", "dropping_form", "dropping_reflectance"]

_BLACK = np.array([0.014, 0.012, 0.010], np.float32)
_GREEN = np.array([0.034, 0.044, 0.014], np.float32)
_BROWN = np.array([0.034, 0.026, 0.014], np.float32)
_BLEACHED = np.array([0.046, 0.042, 0.035], np.float32)  # added where it has dried out in the sun


@dataclass(frozen=True)
class Dropping:
    """A dropping in the photo.

    Attributes
    ----------
    x, y : float
        Middle in pixels.
    half_length, half_width : float
        In pixels; nearly equal when seen from an end.
    angle_rad : float
        Direction of its axis.
    on_end : bool
        Whether it is seen from an end.
    """

    x: float
    y: float
    half_length: float
    half_width: float
    angle_rad: float
    on_end: bool


def draw_dropping(rng: np.random.Generator, scene: DroppingScene, px_per_mm: float) -> Dropping:
    """Draw a dropping's size and view, its middle at the origin."""
    length = scene.dropping_mm * np.exp(rng.normal(0, scene.spread))
    half = max(0.5 * float(np.clip(length, 0.4, 7)) * px_per_mm, 3.0)
    slender = rng.uniform(1.05, 1.85)
    on_end = bool(rng.random() < 0.2)
    half_length = half / slender * rng.uniform(1.0, 1.12) if on_end else half
    return Dropping(0, 0, float(half_length), float(half / slender), rng.uniform(0, np.pi), on_end)


def dropping_form(
    rng: np.random.Generator, scene: DroppingScene, dropping: Dropping, shape: tuple[int, ...]
) -> tuple[Window, Floats, Floats]:
    """Return the window, cover and relief (height in pixels) of a dropping.

    Raises
    ------
    ValueError
        If it lies outside the photo.
    """
    window = frame_window(np.array([[dropping.x, dropping.y]]), dropping.half_length + 3, shape)
    if window is None:
        raise ValueError("The dropping lies outside the photo.")
    u, v = _own_axes(dropping, window)
    if dropping.on_end:
        return (window, *_seen_on_end(rng, scene, dropping, u, v))
    return (window, *_seen_from_side(rng, scene, dropping, u, v))


def _own_axes(dropping: Dropping, window: Window) -> tuple[Floats, Floats]:
    """Return places along and across the dropping, 1 at its ends and sides."""
    dy = (np.arange(window[0].start, window[0].stop, dtype=np.float32) - np.float32(dropping.y))[
        :, None
    ]
    dx = (np.arange(window[1].start, window[1].stop, dtype=np.float32) - np.float32(dropping.x))[
        None
    ]
    cos, sin = np.float32(np.cos(dropping.angle_rad)), np.float32(np.sin(dropping.angle_rad))
    u = (dx * cos + dy * sin) / np.float32(dropping.half_length)
    v = (dy * cos - dx * sin) / np.float32(dropping.half_width)
    return u.astype(np.float32), v.astype(np.float32)


def _seen_from_side(
    rng: np.random.Generator, scene: DroppingScene, dropping: Dropping, u: Floats, v: Floats
) -> tuple[Floats, Floats]:
    """Return a barrel with six ridges along it, of which three or four show, and two waists."""
    barrel = 1 - np.float32(rng.uniform(0.04, 0.3)) * u * u - np.float32(rng.normal(0, 0.06)) * u
    blunt = np.float32(rng.uniform(2.2, 4.2))  # 2 would be an ellipse, more is nearer to a box
    uneven = 1 + 0.06 * smooth_field(rng, u.shape, max(0.6 * dropping.half_width, 2))
    across = v / barrel * uneven
    reach = (np.abs(u) ** blunt + np.abs(across) ** blunt) ** (1 / blunt)
    cover = np.clip(0.5 + (1 - reach) * np.float32(dropping.half_width), 0, 1)
    round_off = np.sqrt(np.clip(1 - np.clip(across, -1, 1) ** 2, 0, 1))
    ends = np.clip(1 - np.abs(u) ** 6, 0, 1) ** np.float32(0.5)
    around = np.arcsin(np.clip(across, -1, 1))
    ridge = np.cos(6 * around + np.float32(rng.uniform(0, 6)))
    waist = np.cos(np.float32(np.pi) * (np.float32(rng.uniform(2.4, 3.4)) * u))
    deep = np.float32(scene.ridges)
    height = round_off * ends * (1 + 0.16 * deep * ridge - 0.08 * deep * (waist < -0.4))
    return cover.astype(np.float32), np.asarray(
        height * np.float32(dropping.half_width), np.float32
    )


def _seen_on_end(
    rng: np.random.Generator, scene: DroppingScene, dropping: Dropping, u: Floats, v: Floats
) -> tuple[Floats, Floats]:
    """Return a rounded star of six ridges around a flat middle."""
    angle = np.arctan2(v, u) + np.float32(rng.uniform(0, 6))
    star = 1 + np.float32(0.09 * scene.ridges) * np.cos(6 * angle)
    reach = np.hypot(u, v) / star
    cover = np.clip(0.5 + (1 - reach) * np.float32(dropping.half_width), 0, 1)
    dome = np.clip(1 - reach**4, 0, 1) ** np.float32(0.5)
    grooves = np.float32(0.12 * scene.ridges) * np.cos(6 * angle) * np.clip(reach, 0, 1)
    height = dome * (1 + grooves) * np.float32(1.2 * dropping.half_width)
    return cover.astype(np.float32), np.asarray(height, np.float32)


def dropping_reflectance(
    rng: np.random.Generator, scene: DroppingScene, shape: tuple[int, ...], px: float
) -> Floats:
    """Return a dropping's colour, a little uneven, with bits of leaf.

    It is black to dark green or dark brown, greyer and lighter where it has dried out.
    """
    green, brown, dried = (
        np.float32(np.clip(share + rng.normal(0, 0.1) * (share > 0), 0, 1))
        for share in (scene.green, scene.brown, scene.dried)
    )
    colour = _BLACK + green * (_GREEN - _BLACK)
    lighter = np.float32(np.exp(scene.tone + rng.normal(0.1, 0.25)))
    colour = (colour + brown * (_BROWN - colour)) * lighter
    colour = colour + dried * _BLEACHED
    grain = np.exp(0.25 * smooth_field(rng, (shape[0], shape[1]), max(0.25 * px, 1.2), 2))
    return np.asarray(colour * grain[..., None], np.float32)
