"""What is missing from leaves: bites from the margin, eaten holes, and dead tissue fallen out.

A caterpillar's jaws leave a clean edge of small scallops. Where diseased tissue has dried and
fallen out, a rim of dead tissue is left round the hole.
"""

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.fields import Floats
from scripts.workshop.rendered.leaves.symptoms import Symptoms, stamp_spot
from scripts.workshop.rendered.scene import Scene
from scripts.workshop.rendered.shape import Points

__all__ = ["EATEN", "FALLEN", "Gaps", "cut_gaps", "draw_feeding", "stamp_rims"]

EATEN, FALLEN = 1, 2
"""Values of ``RenderedPhoto.missing``: eaten, and fallen out of a lesion."""

_MOST_BITES = 80


@dataclass(eq=False)
class Gaps:
    """What is cut out of one leaflet's window.

    Attributes
    ----------
    left : ndarray of float32, shape of the window
        Factor on the cover: 1 where the blade is left, 0 where it is gone.
    fallen : ndarray of bool, shape of the window
        Pixels from which dead tissue has fallen.
    rims : list of tuple
        Row, column and outer radius in pixels of the rims of dead tissue.
    """

    left: Floats
    fallen: NDArray[np.bool_]
    rims: list[tuple[float, float, float]] = field(default_factory=list)


def draw_feeding(rng: np.random.Generator) -> dict[str, float | int]:
    """Draw how much a leaf has been eaten and how many holes disease has left.

    Returns
    -------
    dict
        Values for the scene's ``chewed_pct``, ``bite_share`` and ``shot_holes``.
    """
    chewed = float(rng.uniform(2, 45)) if rng.random() < 0.75 else 0.0
    holes = int(rng.integers(1, 12)) if rng.random() < 0.35 else 0
    return {"chewed_pct": chewed, "bite_share": float(rng.beta(2, 1)), "shot_holes": holes}


def cut_gaps(
    rng: np.random.Generator,
    scene: Scene,
    outline: Points,
    cover: Floats,
    px_per_mm: float,
    share: tuple[float, int],
) -> Gaps:
    """Cut bites and holes out of a leaflet.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    scene : Scene
        Gives the share of bites among what is eaten.
    outline : ndarray of float64, shape (points, 2)
        The leaflet's outline (x, y) in the window's pixels.
    cover : ndarray of float32, shape of the window
        Share of each pixel that the whole leaflet covers.
    px_per_mm : float
        Scale.
    share : tuple of float and int
        Aimed-at eaten share of the leaflet, 0 to 0.9, and its number of holes by disease.
    """
    blade = cover >= 0.5
    gone = np.zeros(cover.shape, np.uint8)
    if share[0] > 0 and blade.any():
        _eat(rng, scene, outline, blade, gone, px_per_mm, share[0])
    left = 1 - gone.astype(np.float32) / np.float32(255)
    gaps = Gaps(left, np.zeros(cover.shape, bool))
    _drop_out(rng, gaps, blade & (gone < 128), px_per_mm, share[1])
    return gaps


def _eat(
    rng: np.random.Generator,
    scene: Scene,
    outline: Points,
    blade: NDArray[np.bool_],
    gone: NDArray[np.uint8],
    px_per_mm: float,
    share: float,
) -> None:
    """Take bites and holes until the share is eaten; parts that are cut off are gone too."""
    whole = int(np.count_nonzero(blade))
    for _ in range(_MOST_BITES):
        room = share * whole - np.count_nonzero(blade & (gone > 127))
        if room < 0.004 * whole or room < 6:
            break
        if rng.random() < scene.bite_share:
            _bite(rng, outline, gone, px_per_mm, room)
        else:
            _eat_hole(rng, blade & (gone < 128), gone, px_per_mm, room)
        _lose_loose_parts(blade, gone)


def _bite(
    rng: np.random.Generator,
    outline: Points,
    gone: NDArray[np.uint8],
    px_per_mm: float,
    room_px: float,
) -> None:
    """Eat inward from the margin: an arc of scallops as wide as the jaws sweep."""
    depth = px_per_mm * float(np.clip(6 * np.exp(rng.normal(0, 0.5)), 1.5, 25))
    reach = depth * rng.uniform(0.7, 2.2)
    shrink = min(1.0, float(np.sqrt(room_px / (1.5 * depth * reach))))
    depth, reach = max(depth * shrink, 2.0), max(reach * shrink, 2.0)
    sweep = float(np.clip(px_per_mm * rng.uniform(0.8, 2.2), 1.2, 0.6 * depth))
    edge, inward = _margin_around(rng, outline, reach, sweep)
    along = np.linspace(-1, 1, len(edge))
    deep = depth * np.sqrt(np.maximum(1 - along**2, 0)) * (1 + rng.normal(0, 0.07, len(edge)))
    front = edge + inward * (deep - sweep)[:, None]
    outside = edge - inward * 6 * px_per_mm
    points = np.concatenate([outside, front[::-1]])
    cv2.fillPoly(gone, [_fixed(points)], 255, cv2.LINE_AA, shift=4)
    for centre in front:
        _disc(gone, centre, sweep)


def _margin_around(
    rng: np.random.Generator, outline: Points, reach: float, step: float
) -> tuple[Points, Points]:
    """Return places along part of the margin, and the direction into the blade at each."""
    closed = np.concatenate([outline, outline[:1]])
    way = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    count = max(5, int(2 * reach / (1.3 * step)))
    middle = rng.uniform(0.1, 0.9) * way[-1]  # the outline starts at the stalk, which is left
    at = middle + np.linspace(-reach, reach, count)
    edge = _along(closed, way, at)
    broad = max(0.6 * reach, 3 * step)  # teeth must not turn the jaws
    tangent = _along(closed, way, at + broad) - _along(closed, way, at - broad)
    tangent /= np.maximum(np.hypot(*tangent.T), 1e-9)[:, None]
    x, y = closed.T
    clockwise = np.sign(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))
    return edge, clockwise * np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)


def _along(closed: Points, way: Points, at: Points) -> Points:
    at = np.mod(at, way[-1])
    return np.stack([np.interp(at, way, closed[:, i]) for i in (0, 1)], axis=1)


def _eat_hole(
    rng: np.random.Generator,
    blade: NDArray[np.bool_],
    gone: NDArray[np.uint8],
    px_per_mm: float,
    room_px: float,
) -> None:
    """Eat a hole inside the blade: a few sweeps that overlap."""
    inside = np.argwhere(blade)
    if not len(inside):
        return
    radius = px_per_mm * float(np.clip(2.0 * np.exp(rng.normal(0, 0.5)), 0.6, 7))
    sweeps = int(rng.integers(2, 7))
    radius = max(1.2, min(radius, float(np.sqrt(room_px / (0.6 * np.pi * sweeps)))))
    row, col = inside[rng.integers(len(inside))]
    centre, heading = np.array([col, row], float), rng.uniform(0, 2 * np.pi)
    for _ in range(sweeps):
        _disc(gone, centre, radius * rng.uniform(0.8, 1.1))
        heading += rng.normal(0, 0.9)
        centre = centre + 0.9 * radius * np.array([np.cos(heading), np.sin(heading)])


def _lose_loose_parts(blade: NDArray[np.bool_], gone: NDArray[np.uint8]) -> None:
    """Count what hangs on nothing any more as eaten, in place."""
    left = (blade & (gone < 128)).astype(np.uint8)
    count, parts, stats, _ = cv2.connectedComponentsWithStats(left, connectivity=4)
    if count > 2:
        largest = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
        loose = ((parts > 0) & (parts != largest)).astype(np.uint8)
        gone[cv2.dilate(loose, np.ones((3, 3), np.uint8)) > 0] = 255


def _drop_out(
    rng: np.random.Generator,
    gaps: Gaps,
    blade: NDArray[np.bool_],
    px_per_mm: float,
    count: int,
) -> None:
    """Let dead tissue fall out of round lesions, each with its rim left, in place."""
    inside = np.argwhere(blade)
    if not count or not len(inside):
        return
    holes = Symptoms.none(blade.shape)
    for row, col in inside[rng.integers(len(inside), size=count)]:
        outer = max(px_per_mm * float(rng.uniform(1.3, 3.6)), 4.0)
        inner = max(outer * rng.uniform(0.45, 0.8), 1.5)
        stamp_spot(holes, blade, (float(row), float(col)), inner, 0.0, 0.06, rng)
        gaps.rims.append((float(row), float(col), outer))
    factor = np.clip(holes.depth_px + np.float32(0.5), 0, 1)
    gaps.left *= factor
    gaps.fallen |= blade & (factor < 0.5)


def stamp_rims(
    rng: np.random.Generator,
    symptoms: Symptoms,
    visible: NDArray[np.bool_],
    rims: list[tuple[float, float, float]],
    halo_px: float,
) -> None:
    """Add the rims of holes by disease to a leaflet's lesions, in place."""
    for row, col, radius in rims:
        stamp_spot(symptoms, visible, (row, col), radius, halo_px, 0.05, rng)


def _disc(gone: NDArray[np.uint8], centre: Points, radius: float) -> None:
    x, y = (round(float(value) * 16) for value in centre)
    cv2.circle(gone, (x, y), max(1, round(radius * 16)), 255, -1, cv2.LINE_AA, shift=4)


def _fixed(points: Points) -> NDArray[np.int32]:
    return np.rint(points * 16).astype(np.int32)
