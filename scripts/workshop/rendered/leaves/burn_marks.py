"""What a spray may leave on a leaf: bleached burn marks, and drops that only look like them.

Burn: tissue bleached white to tan where drops dried, at the tip and margin too, without halo and
without rings (common practice). Dew: clear drops with a glint and a bright far side, and a fine
grey film between them.
"""

import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.fields import Floats, smooth_field
from scripts.workshop.rendered.leaves.symptoms import Symptoms, stamp_spot
from scripts.workshop.rendered.leaves.tissue import Blade
from scripts.workshop.rendered.scene import Scene
from scripts.workshop.rendered.shape import Points

__all__ = ["draw_burn", "paint_burn", "paint_dew"]

_WHITE = np.array([0.66, 0.63, 0.53])
_PALE_TAN = np.array([0.50, 0.41, 0.265])
_EDGE = np.array([0.30, 0.20, 0.11], np.float32)
_FINEST_MM, _COARSEST_MM = 0.4, 1.6  # usual radius of a mark: from a fine mist to coarse drops
_MOST_MARKS = 600
_MARGIN_ALONE = 0.2
_DROPS_PER_MM2 = 0.15
_SPECULAR = np.array([1.04, 1.0, 0.93], np.float32)


def draw_burn(
    rng: np.random.Generator,
    scene: Scene,
    visible: NDArray[np.bool_],
    outline: Points,
    px_per_mm: float,
) -> Symptoms:
    """Place burn marks until ``scene.burn_pct`` of the visible pixels is burnt.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    scene : Scene
        Gives the aimed-at share.
    visible : ndarray of bool
        The leaflet's visible pixels.
    outline : ndarray of float64, shape (points, 2)
        The leaflet's outline (x, y) in the window's pixels.
    px_per_mm : float
        Scale.
    """
    marks = Symptoms.none(visible.shape)
    inside = np.argwhere(visible)
    goal = scene.burn_pct / 100 * len(inside)
    # Drops gather at the tip and margin, on some leaves there alone.
    at_margin = 1.0 if rng.random() < _MARGIN_ALONE else rng.uniform(0, 0.5)
    usual_mm = np.exp(rng.uniform(np.log(_FINEST_MM), np.log(_COARSEST_MM)))
    reached = 0
    while reached < goal and len(marks.radius_px) < _MOST_MARKS:
        size_mm = float(np.clip(usual_mm * np.exp(rng.normal(0, 0.45)), 0.25, 4))
        row, col = inside[rng.integers(len(inside))]
        if rng.random() < at_margin:
            tip = rng.random() < 0.3
            col, row = outline[len(outline) // 2 if tip else rng.integers(len(outline))]
            size_mm *= rng.uniform(1, 2.5)
        room = max(0.5, float(np.sqrt(1.5 * (goal - reached) / np.pi)))
        radius = max(0.5, min(size_mm * px_per_mm, room))
        ragged = rng.uniform(0.05, 0.25)
        reached += stamp_spot(marks, visible, (float(row), float(col)), radius, 0.0, ragged, rng)
    return marks


def paint_burn(
    rng: np.random.Generator, scene: Scene, blade: Blade, marks: Symptoms, px_per_mm: float
) -> Floats:
    """Bleach the blade under the marks, in place; return how dry (0 to 1) each pixel has become."""
    shape = blade.texture.shape
    if not marks.radius_px:
        return np.zeros(shape, np.float32)
    mottle = smooth_field(rng, shape, max(0.8 * px_per_mm, 1.6), 2, 0.6)
    tan = np.clip(rng.uniform(0, 1) + 0.15 * mottle, 0, 1)[..., None]
    colour = (_WHITE + tan * (_PALE_TAN - _WHITE)).astype(np.float32)
    if rng.random() < 0.3:  # some dry with a thin tan edge
        edge = np.clip(1 + marks.depth_px / np.float32(0.3 * px_per_mm), 0, 1)[..., None]
        colour += 0.7 * edge * (_EDGE - colour)
    colour *= np.float32(scene.brightness**0.4)
    whole = marks.of_owner(list(rng.uniform(0.75, 1, len(marks.radius_px))))
    soft = np.float32(max(1.0, rng.uniform(0.1, 0.3) * px_per_mm))
    cover = np.clip(0.5 - marks.depth_px / soft, 0, 1) * whole
    blade.colour[:] += cover[..., None] * (colour - blade.colour)
    blade.height_px[:] -= np.float32(0.12 * px_per_mm) * cover
    return np.asarray(cover, np.float32)


def paint_dew(
    rng: np.random.Generator,
    scene: Scene,
    light: Floats,
    visible: NDArray[np.bool_],
    px_per_mm: float,
) -> None:
    """Lay drops of dew on a leaflet's light, in place."""
    inside = np.argwhere(visible)
    film = smooth_field(rng, visible.shape, max(6 * px_per_mm, 4), 2, 0.6)
    veil = np.float32(0.05 * scene.dew) * np.clip(0.6 + 0.5 * film, 0, 2)
    light += (veil * visible)[..., None]
    count = rng.poisson(scene.dew * _DROPS_PER_MM2 * len(inside) / px_per_mm**2)
    around = np.deg2rad(scene.light_azimuth_deg)
    toward = (float(np.sin(around)), float(np.cos(around)))
    for row, col in inside[rng.integers(max(1, len(inside)), size=count)]:
        radius = px_per_mm * float(np.clip(0.35 * np.exp(rng.normal(0, 0.5)), 0.12, 1.6))
        glint = scene.gloss * rng.uniform(0.3, 2.5) * (0.3 + scene.direct)
        _drop(light, (int(row), int(col)), radius, toward, np.float32(glint))


def _drop(
    light: Floats,
    centre: tuple[int, int],
    radius_px: float,
    toward: tuple[float, float],
    glint: np.float32,
) -> None:
    """Draw a lens of water: dark on the side of the light, bright on the far side, one glint."""
    reach = int(radius_px) + 2
    top, left = (max(0, at - reach) for at in centre)
    part = light[top : centre[0] + reach + 1, left : centre[1] + reach + 1]
    rows, cols = np.ogrid[: part.shape[0], : part.shape[1]]
    dy, dx = (rows + top - centre[0]) / radius_px, (cols + left - centre[1]) / radius_px
    inside = np.clip((1 - np.hypot(dy, dx)) * radius_px + 0.5, 0, 1)
    along = dy * toward[0] + dx * toward[1]
    part *= (1 + inside * np.clip(-0.45 * along, -0.4, 0.45))[..., None].astype(np.float32)
    off = np.hypot(dy - 0.5 * toward[0], dx - 0.5 * toward[1]) / max(0.22, 0.6 / radius_px)
    spot = glint * np.exp(-(off**2)) * inside
    part += spot[..., None].astype(np.float32) * _SPECULAR
