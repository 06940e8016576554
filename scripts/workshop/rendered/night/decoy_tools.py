"""What the painters of decoys share: a place, coloured surfaces, outlines, threads."""

from dataclasses import dataclass

import numpy as np

from scripts.workshop.rendered.fields import AnyFloats, Floats
from scripts.workshop.rendered.night.foliage import LeafMaterial, cover_of
from scripts.workshop.rendered.night.scene import NightScene
from scripts.workshop.rendered.night.sheet import Painted, Surface
from scripts.workshop.rendered.ribbon import Window, frame_window
from scripts.workshop.rendered.shape import Points, turned

__all__ = ["BRIGHTENER", "CREAM", "Pieces", "Place", "blob", "brightener", "distances", "glowing",
           "outlined", "turned", "wander"]  # fmt: skip

Pieces = list[Painted]

# Linear light of glows. Brighteners in paper, cloth and plastic glow at 420 to 470 nm: blue-white.
BRIGHTENER = np.array([0.42, 0.62, 1.0], np.float32)
_PALE = np.array([0.6, 0.6, 0.55], np.float32)  # in daylight
CREAM = np.array([0.85, 0.85, 0.70], np.float32)


@dataclass(frozen=True, eq=False)
class Place:
    """Where and in which surroundings a decoy is painted.

    Attributes
    ----------
    rng : numpy.random.Generator
        Source of chance.
    scene : NightScene
        Gives the scale.
    material : LeafMaterial
        Of the foliage.
    at : ndarray of float64, shape (2,)
        x and y in pixels.
    shape : tuple of int
        Rows and columns of the photo.
    """

    rng: np.random.Generator
    scene: NightScene
    material: LeafMaterial
    at: Points
    shape: tuple[int, int]


def glowing(
    window: Window, cover: Floats, shade: AnyFloats, colour: AnyFloats, violet: float
) -> Painted:
    """Return a surface of one colour under a shade."""
    glow = shade[..., None] * np.asarray(colour, np.float32)
    return Painted(window, cover, Surface(glow, violet * shade, np.clip(shade, 0, 1), _PALE))


def outlined(
    points: Points, shape: tuple[int, int], margin: float = 2
) -> tuple[Window, Floats] | None:
    """Return the window and cover of what an outline encloses; None if outside the photo."""
    window = frame_window(points, margin, shape)
    return None if window is None else (window, cover_of(points, window))


def brightener(rng: np.random.Generator) -> AnyFloats:
    """Return blue-white of some strength, now and then nearly white."""
    colour = BRIGHTENER * np.exp(rng.normal(0, 0.12, 3))
    return np.asarray(colour * rng.uniform(0.35, 1.6))


def wander(rng: np.random.Generator, at: Points, length: float, turn: float) -> Points:
    """Return a line of 80 points through ``at`` that changes direction smoothly."""
    t = np.linspace(0, 1, 80)
    heading = rng.uniform(0, 2 * np.pi) + turn * np.interp(
        t, np.linspace(0, 1, 6), rng.normal(0, 0.7, 6)
    )
    steps = np.stack([np.cos(heading), np.sin(heading)], axis=1) * length / 80
    line = np.cumsum(steps, axis=0)
    return np.asarray(line - line[40] + at)


def distances(window: Window, at: AnyFloats) -> tuple[Floats, Floats]:
    """Return how far each pixel of a window lies from a place, in x and y."""
    x = (np.arange(window[1].start, window[1].stop) - at[0])[None, :].astype(np.float32)
    y = (np.arange(window[0].start, window[0].stop) - at[1])[:, None].astype(np.float32)
    return x, y


def blob(
    rng: np.random.Generator,
    at: AnyFloats,
    radius: float,
    ragged: float,
    squash: float,
    shape: tuple[int, int],
    margin: float = 2,
) -> tuple[Window, Floats] | None:
    """Return a roundish outline's window and cover."""
    angle = np.linspace(0, 2 * np.pi, 120)
    edge = 1 + sum(
        rng.normal(0, ragged / n) * np.cos(n * angle + rng.uniform(0, 6)) for n in (2, 3, 5, 8)
    )
    ring = np.stack([np.cos(angle), squash * np.sin(angle)], axis=1)
    ring *= np.asarray(np.maximum(edge, 0.3) * radius)[:, None]
    return outlined(turned(ring, rng.uniform(0, 6)) + at, shape, margin)
