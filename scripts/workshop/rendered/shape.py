"""Tomato leaflets as geometry: outline, vein positions, and coordinates that follow the blade.

A leaflet has coordinates along its midrib (``u``, 0 at the base, 1 at the tip) and across it
(``v``, in the same unit, negative to one side). Its secondary veins leave the midrib at ``s`` and
sweep towards the tip: ``u = s + (sweep_base + sweep_gain·s)·|v|``. Lobes are drawn around the
veins in these swept coordinates, so each lobe carries its own vein, as in the plant.
"""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.fields import AnyFloats, Floats
from scripts.workshop.rendered.scene import Scene

__all__ = ["Leaflet", "Points", "blade_coordinates", "draw_leaflet", "place", "swept", "turned"]

Points = NDArray[np.float64]
_SAMPLES = 260  # outline points a side; teeth need a dozen points each


@dataclass(frozen=True, eq=False)
class Leaflet:
    """One leaflet's geometry; ``place`` turns it from its own unit into pixels of the photo.

    Attributes
    ----------
    base : tuple of float
        Where the midrib starts, x and y.
    angle_rad : float
        Direction of the tip, 0 = towards +x, π/2 = towards +y (down).
    length : float
        Midrib length.
    half_width : float
        Widest half-width of the envelope as a share of the length.
    bend : float
        Sideways bend of the midrib, as a share of the length.
    sweep_base, sweep_gain : float
        How far secondary veins lean towards the tip.
    veins : tuple of ndarray
        Midrib positions (0 to 1) of the secondary veins on either side.
    outline : ndarray of float64, shape (points, 2)
        Closed outline, x and y.
    """

    base: tuple[float, float]
    angle_rad: float
    length: float
    half_width: float
    bend: float
    sweep_base: float
    sweep_gain: float
    veins: tuple[Points, Points]
    outline: Points = field(repr=False)


def draw_leaflet(
    rng: np.random.Generator, scene: Scene, slender: float = 1.0, lobing: float | None = None
) -> Leaflet:
    """Draw a leaflet of length 1 with its base at the origin and its tip towards +x.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    scene : Scene
        Gives the depth of lobes and the curl.
    slender : float
        Factor on the width.
    lobing : float, optional
        Depth of lobes instead of the scene's.
    """
    depth = scene.lobing if lobing is None else lobing
    half_width = slender * rng.uniform(0.25, 0.40) * (1 + 0.15 * depth)
    sweep = (rng.uniform(-0.05, 0.25), rng.uniform(0.5, 0.95))
    bend = rng.normal(0, 0.05 + 0.08 * scene.curl)
    veins = (_vein_positions(rng), _vein_positions(rng))
    power = (rng.uniform(0.28, 0.55), rng.uniform(0.9, 1.5))
    sides = [
        _margin(rng, side, half_width * rng.uniform(0.9, 1.1), power, sweep, depth)
        for side in veins
    ]
    left = sides[0] * (1, -1)
    outline = np.concatenate([left, sides[1][::-1]])
    outline[:, 1] += bend * outline[:, 0] ** 2
    return Leaflet((0, 0), 0.0, 1.0, half_width, bend, *sweep, veins, outline)


def _vein_positions(rng: np.random.Generator) -> Points:
    """Four to seven veins, closer together towards the tip."""
    count = int(rng.integers(4, 8))
    even = (np.arange(count) + 0.35) / (count + 0.2)
    return np.asarray(even**1.05 * 0.92 + rng.normal(0, 0.012, count))


def _margin(
    rng: np.random.Generator,
    veins: Points,
    half_width: float,
    power: tuple[float, float],
    sweep: tuple[float, float],
    lobing: float,
) -> Points:
    """One side's edge from base to tip, with positive v."""
    s = np.linspace(0, 1, _SAMPLES) ** 1.1
    peak = (power[0] / sum(power)) ** power[0] * (power[1] / sum(power)) ** power[1]
    width = half_width * s ** power[0] * (1 - s) ** power[1] / peak
    width *= 1 - _sinuses(rng, s, veins, lobing)
    width += half_width * _teeth(rng, s, lobing) * np.minimum(1, 3 * width / half_width)
    wander = np.interp(s, np.linspace(0, 1, 12), rng.normal(0, 0.025, 12))
    width *= 1 + wander * (1 - s)
    along = s + (sweep[0] + sweep[1] * s) * width
    return np.stack([along, width], axis=1)


def _sinuses(rng: np.random.Generator, s: Points, veins: Points, lobing: float) -> Points:
    """How much of the width the sinuses between lobes take away, 0 to about 0.6."""
    between = (veins[1:] + veins[:-1]) / 2
    depth = lobing * np.clip(rng.normal(0.55, 0.22, between.size), 0.03, 0.85)
    depth *= np.clip(1.2 - 1.05 * between, 0.15, 1)
    cut = np.zeros_like(s)
    for at, deep, gap in zip(between, depth, np.diff(veins), strict=True):
        # A sinus is steep on the tip's side of a lobe and slopes on the base's side.
        x = (s - at) / gap
        cut = np.maximum(cut, deep * np.exp(-(np.abs(np.where(x < 0, x / 0.16, x / 0.38)) ** 1.4)))
    return cut


def _teeth(rng: np.random.Generator, s: Points, lobing: float) -> Points:
    """Fine forward teeth, as a share of the half-width."""
    count = rng.integers(9, 20)
    phase = (s * count + 0.3 * np.sin(s * rng.uniform(9, 25) + rng.uniform(0, 6))) % 1
    size = (0.02 + 0.10 * lobing) * rng.uniform(0.3, 1.0)
    uneven = np.interp(s, np.linspace(0, 1, 9), rng.uniform(0.1, 1.0, 9))
    return np.asarray(size * uneven * (np.minimum(phase / 0.75, (1 - phase) / 0.25) - 0.4))


def turned(points: AnyFloats, angle_rad: float) -> Points:
    """Return points turned about the origin by an angle."""
    cos, sin = np.cos(angle_rad), np.sin(angle_rad)
    return np.asarray(points @ np.array([[cos, sin], [-sin, cos]]))


def place(leaflet: Leaflet, angle_rad: float, scale: float, shift: tuple[float, float]) -> Leaflet:
    """Return the leaflet turned, enlarged and moved, in this order."""
    cos, sin = np.cos(angle_rad) * scale, np.sin(angle_rad) * scale
    turn = np.array([[cos, sin], [-sin, cos]])
    base = np.asarray(leaflet.base) @ turn + shift
    return replace(
        leaflet,
        base=(float(base[0]), float(base[1])),
        angle_rad=leaflet.angle_rad + angle_rad,
        length=leaflet.length * scale,
        outline=leaflet.outline @ turn + shift,
    )


def blade_coordinates(
    leaflet: Leaflet, corner: tuple[int, int], shape: tuple[int, int]
) -> tuple[Floats, Floats]:
    """Return ``u`` and ``v`` (in midrib lengths) of every pixel of a window of the photo.

    Parameters
    ----------
    leaflet : Leaflet
        A placed leaflet.
    corner : tuple of int
        Row and column of the window's first pixel.
    shape : tuple of int
        Rows and columns of the window.
    """
    y = (np.arange(shape[0], dtype=np.float32) + corner[0] - leaflet.base[1])[:, None]
    x = (np.arange(shape[1], dtype=np.float32) + corner[1] - leaflet.base[0])[None, :]
    cos = np.float32(np.cos(leaflet.angle_rad) / leaflet.length)
    sin = np.float32(np.sin(leaflet.angle_rad) / leaflet.length)
    u = x * cos + y * sin
    v = y * cos - x * sin - np.float32(leaflet.bend) * u * u
    return u, v


def swept(leaflet: Leaflet, u: Floats, v: Floats) -> Floats:
    """Return the midrib position ``s`` of the secondary vein that would pass each pixel."""
    across = np.abs(v)
    bow = np.float32(0.35)  # veins turn towards the tip as they near the edge
    base, gain = np.float32(leaflet.sweep_base), np.float32(leaflet.sweep_gain)
    return np.asarray((u - base * across - bow * v * v) / (1 + gain * across), np.float32)
