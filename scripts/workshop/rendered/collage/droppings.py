"""Droppings of any build: barrels with more or fewer ridges, dark, dull, green, brown or dried."""

from dataclasses import dataclass

import numpy as np

from scripts.workshop.rendered.collage.sheet import Sheet, mottled
from scripts.workshop.rendered.fields import AnyFloats, Floats, smooth_field
from scripts.workshop.rendered.ribbon import Window
from scripts.workshop.rendered.shape import Points, turned

__all__ = ["Build", "draw_build", "lay_dropping"]

_COLOURS = np.array(
    [[0.014, 0.012, 0.010], [0.03, 0.042, 0.014], [0.045, 0.035, 0.018], [0.03, 0.022, 0.014],
     [0.05, 0.055, 0.025], [0.075, 0.06, 0.04]]
)  # fmt: skip
_DRIED = np.array([1, 0.9, 0.72])


@dataclass(frozen=True, eq=False)
class Build:
    """What the droppings of one photo have in common.

    Attributes
    ----------
    colour : ndarray of float64, shape (3,)
        Linear reflectance.
    slender : float
        Length ÷ width.
    blunt : float
        2 = ellipse, more is nearer to a box.
    ridges, waists, grain : float
        How deep ridges and waists are and how rough it is, 0 to about 1.
    about : float
        Ridges around it.
    mottle, streaks : float
        How uneven the colour is, anyhow and along the ridges.
    gloss : float
        Specular strength.
    sit : float
        Height of what throws the shadow, in half widths.
    """

    colour: AnyFloats
    slender: float
    blunt: float
    ridges: float
    waists: float
    grain: float
    about: float
    mottle: float
    streaks: float
    gloss: float
    sit: float


def draw_build(rng: np.random.Generator) -> Build:
    """Draw what the droppings of a photo have in common."""
    colour = _COLOURS[rng.integers(len(_COLOURS))] * np.exp(rng.normal(0.1, 0.4))
    if rng.random() < 0.12:
        colour = colour + rng.uniform(0.02, 0.09) * _DRIED
    return Build(
        colour=colour,
        slender=float(rng.uniform(1.05, 2.0)),
        blunt=float(rng.uniform(2, 4.5)),
        ridges=float(rng.uniform(0.1, 1.2)),
        waists=float(rng.uniform(0, 1)),
        grain=float(rng.uniform(0, 1.2)),
        about=float(rng.uniform(4, 8)),
        mottle=float(rng.uniform(0.05, 0.35)),
        streaks=float(rng.random() * (rng.random() < 0.5)),
        gloss=float(rng.uniform(0, 0.12) * (rng.random() < 0.5)),
        sit=float(rng.uniform(0.3, 1.1)),
    )


def lay_dropping(
    rng: np.random.Generator, sheet: Sheet, build: Build, at: Points, length_px: float, number: int
) -> bool:
    """Lay a dropping where there is room for it, and tell whether there was."""
    half = length_px / 2
    wide = half / float(np.clip(build.slender * np.exp(rng.normal(0, 0.12)), 1.0, 2.4))
    on_end = bool(rng.random() < 0.18)
    if on_end:
        half = wide * rng.uniform(1, 1.15)
    if np.any(at < half) or np.any(at > np.array(sheet.shape[::-1]) - half):
        return False
    angle = rng.uniform(0, np.pi)
    corners = turned(np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * (half, wide), angle)
    window = sheet.window(1.15 * corners + at, 3)
    if window is None:
        return False
    u, v = _own_axes(window, at, angle, half, wide)
    if np.mean(sheet.numbers[window][np.hypot(u, v) < 1] > 0) > 0.02:
        return False
    form = _on_end if on_end else _from_side
    reach, height, ridge = form(rng, build, u, v)
    _paint(rng, sheet, build, window, reach, height * np.float32(wide), ridge, wide, number)
    return True


def _paint(
    rng: np.random.Generator,
    sheet: Sheet,
    build: Build,
    window: Window,
    reach: Floats,
    height_px: Floats,
    ridge: Floats,
    wide: float,
    number: int,
) -> None:
    cover = np.clip(0.5 + (1 - reach) * np.float32(wide), 0, 1).astype(np.float32)
    rough = smooth_field(rng, (cover.shape[0], cover.shape[1]), max(0.22 * wide, 1.2), 2)
    height_px = height_px * (1 + np.float32(0.06 * build.grain) * rough)
    own = build.colour * np.exp(rng.normal(0, 0.12) + rng.normal(0, 0.04, 3))
    size = (cover.shape[0], cover.shape[1])
    colour = mottled(rng, own, size, 2 * wide * rng.uniform(0.1, 0.5), build.mottle)
    colour *= 1 + np.float32(0.35 * build.streaks) * ridge[..., None]
    sheet.cast(window, cover, max(build.sit * wide, 0.5))
    light = sheet.lit(colour, height_px)
    light += build.gloss * sheet.glint(height_px, rng.uniform(6, 40))[..., None]
    sheet.cover(window, cover, light)
    sheet.hide(window, cover, number)


def _own_axes(
    window: Window, at: Points, angle: float, half: float, wide: float
) -> tuple[Floats, Floats]:
    """Return places along and across a dropping, 1 at its ends and sides."""
    middle = at[::-1].astype(np.float32)[:, None, None]
    down, right = np.mgrid[window].astype(np.float32) - middle
    cos, sin = np.float32(np.cos(angle)), np.float32(np.sin(angle))
    along, across = right * cos + down * sin, down * cos - right * sin
    return along / np.float32(half), across / np.float32(wide)


def _from_side(
    rng: np.random.Generator, build: Build, u: Floats, v: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return reach (1 at the outline), relief in half widths, and the wave of the ridges."""
    bent = v + np.float32(rng.normal(0, 0.06)) * (u * u - np.float32(0.4))
    barrel = 1 - np.float32(rng.uniform(0, 0.35)) * u * u - np.float32(rng.normal(0, 0.1)) * u
    uneven = 1 + np.float32(0.05) * smooth_field(rng, (u.shape[0], u.shape[1]), 6, 2)
    across = bent / np.maximum(barrel, np.float32(0.2)) * uneven
    blunt = np.float32(build.blunt * np.exp(rng.normal(0, 0.12)))
    reach = (np.abs(u) ** blunt + np.abs(across) ** blunt) ** (1 / blunt)
    inside = np.clip(across, -1, 1)
    ends = (1 - np.clip(np.abs(u), 0, 1) ** np.float32(rng.uniform(4, 9))) ** np.float32(0.5)
    ridge = np.cos(np.float32(build.about) * np.arcsin(inside) + np.float32(rng.uniform(0, 6)))
    phase = np.float32(np.pi * rng.uniform(1.8, 3.6)) * u + np.float32(rng.normal(0, 0.4))
    waist = np.clip(-np.cos(phase), 0, 1) ** 2
    relief = 1 + np.float32(0.2 * build.ridges) * ridge - np.float32(0.15 * build.waists) * waist
    return _floats(reach, np.sqrt(1 - inside**2) * ends * relief, ridge)


def _on_end(
    rng: np.random.Generator, build: Build, u: Floats, v: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return the same for a dropping that stands: a rounded star."""
    angle = np.arctan2(v, u) + np.float32(rng.uniform(0, 6))
    star = np.cos(int(rng.integers(5, 8)) * angle)
    reach = np.hypot(u, v) / (1 + np.float32(0.1 * build.ridges) * star)
    inside = np.clip(reach, 0, 1)
    dome = (1 - inside ** np.float32(rng.uniform(2.5, 5))) ** np.float32(0.5)
    grooves = 1 + np.float32(0.12 * build.ridges) * star * inside
    high = np.float32(rng.uniform(0.7, 1.3))
    return _floats(reach, dome * grooves * high, star * inside)


def _floats(*values: AnyFloats) -> tuple[Floats, Floats, Floats]:
    reach, relief, ridge = (np.asarray(one, np.float32) for one in values)
    return reach, relief, ridge
