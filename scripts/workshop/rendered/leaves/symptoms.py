"""Where lesions lie on a leaflet: signed distances from lesion edges, from which all else follows.

Every pixel of a leaflet's window carries its distance to the nearest lesion edge (negative
inside) and the number of that lesion. Lesion and halo labels, rims, rings and tints are functions
of these two.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.fields import Floats, smooth_field
from scripts.workshop.rendered.scene import Scene
from scripts.workshop.rendered.shape import Points

__all__ = ["Symptoms", "add_young", "draw_blight", "draw_spots", "share_severity", "stamp_spot"]

_FAR = np.float32(1e6)
_SPOT_MEDIAN_MM = {"septoria": 2.5, "bacterial": 1.7}
_SPOT_RANGE_MM = {"septoria": (1.0, 6.4), "bacterial": (0.8, 3.2)}
_MOST_SPOTS = 4000


@dataclass(eq=False)
class Symptoms:
    """Lesions on one leaflet's window, filled lesion by lesion.

    Attributes
    ----------
    depth_px : ndarray of float32, shape (rows, columns)
        Signed distance to the nearest lesion edge, negative inside.
    owner : ndarray of int32, shape (rows, columns)
        Index of that lesion, -1 where none is near.
    radius_px : list of float
        Mean radius of each lesion.
    halo_px : list of float
        Width of each lesion's halo at half tint strength, 0 without halo.
    """

    depth_px: Floats
    owner: NDArray[np.int32]
    radius_px: list[float] = field(default_factory=list)
    halo_px: list[float] = field(default_factory=list)

    @classmethod
    def none(cls, shape: tuple[int, int]) -> "Symptoms":
        """Return a window without lesions."""
        return cls(np.full(shape, _FAR, np.float32), np.full(shape, -1, np.int32))

    @property
    def lesion(self) -> NDArray[np.bool_]:
        """Pixels inside a lesion."""
        return self.depth_px <= 0

    @property
    def halo(self) -> NDArray[np.bool_]:
        """Pixels outside lesions where the halo's tint has at least half its strength."""
        return (self.depth_px > 0) & (self.depth_px <= self.of_owner(self.halo_px))

    def of_owner(self, values: Sequence[float]) -> Floats:
        """Return each pixel's lesion's value; 0 where no lesion is near."""
        return np.asarray([*values, 0.0], np.float32)[self.owner]


def share_severity(
    rng: np.random.Generator, scene: Scene, areas_px: Sequence[int]
) -> NDArray[np.float64]:
    """Return each leaflet's aimed-at share (0 to 0.9); together they give the scene's severity."""
    areas = np.asarray(areas_px, float)
    goal = 0.0 if scene.pattern == "none" else scene.severity_pct / 100
    if goal == 0 or areas.sum() == 0:
        return np.zeros(areas.size)
    spread = scene.leaf_spread * (0.5 if scene.pattern == "spot" else 1.1)
    weights = np.exp(rng.normal(0, spread, areas.size))
    shares = np.zeros(areas.size)
    for _ in range(8):  # what is cut off at 0.9 goes to the other leaflets
        missing = goal * areas.sum() - (shares * areas).sum()
        free = weights * (shares < 0.9)
        if missing <= 0 or free.sum() == 0:
            break
        shares = np.minimum(shares + free * missing / (free * areas).sum(), 0.9)
    return shares


def draw_spots(
    rng: np.random.Generator,
    scene: Scene,
    visible: NDArray[np.bool_],
    outline: Points,
    px_per_mm: float,
    share: float,
) -> Symptoms:
    """Scatter small lesions over a leaflet until ``share`` of its visible pixels is symptomatic."""
    found = Symptoms.none(visible.shape)
    goal, reached = share * np.count_nonzero(visible), 0
    places = _spot_places(rng, visible)
    if scene.crowded:
        places = _crowd(rng, scene.crowded, places, outline, px_per_mm, visible)
    halo_mm = rng.uniform(0.4, 1.3) if scene.halo else 0.0
    for row, col in places:
        if reached >= goal:
            break
        radius = _spot_radius_mm(rng, scene) * px_per_mm
        halo = halo_mm * rng.uniform(0.5, 1.4) * px_per_mm
        room = (goal - reached) / np.pi
        if (radius + halo) ** 2 > 1.5 * room:  # the last one is cut to size
            shrink = float(np.sqrt(room) / (radius + halo))
            radius, halo = max(radius * shrink, 0.7), halo * shrink
        ragged = rng.uniform(0.02, 0.12) if scene.kind == "septoria" else rng.uniform(0.12, 0.3)
        reached += stamp_spot(found, visible, (row, col), radius, halo, ragged, rng)
    return found


def _spot_places(rng: np.random.Generator, visible: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Candidate centres, denser in some parts of the leaflet than in others."""
    cell = max(8.0, 0.3 * min(visible.shape))
    dense = np.exp(0.9 * smooth_field(rng, visible.shape, cell)) * visible
    total = np.cumsum(dense.ravel(), dtype=np.float64)
    if total[-1] == 0:
        return np.zeros((0, 2), np.intp)
    chosen = np.searchsorted(total, rng.uniform(0, total[-1], _MOST_SPOTS))
    return np.stack(np.unravel_index(np.minimum(chosen, visible.size - 1), visible.shape), axis=1)


def _crowd(
    rng: np.random.Generator,
    share: float,
    places: NDArray[np.intp],
    outline: Points,
    px_per_mm: float,
    visible: NDArray[np.bool_],
) -> NDArray[np.intp]:
    """Move a share of the spots to one place of the margin, where they merge."""
    x, y = outline[rng.integers(len(outline))]
    spread = rng.uniform(2.5, 7) * px_per_mm
    near = np.rint(rng.normal((y, x), spread, (len(places), 2))).astype(np.intp)
    inside = np.all((near >= 0) & (near < visible.shape), axis=1)
    inside[inside] = visible[tuple(near[inside].T)]
    moved = inside & (rng.random(len(places)) < share)
    return np.where(moved[:, None], near, places)


def _spot_radius_mm(rng: np.random.Generator, scene: Scene) -> float:
    low, high = _SPOT_RANGE_MM[scene.kind]
    drawn = _SPOT_MEDIAN_MM[scene.kind] * np.exp(rng.normal(0, scene.spot_spread))
    return float(np.clip(drawn, low, high)) / 2


def stamp_spot(
    symptoms: Symptoms,
    visible: NDArray[np.bool_],
    centre: tuple[float, float],
    radius_px: float,
    halo_px: float,
    ragged: float,
    rng: np.random.Generator,
) -> int:
    """Add one near-round lesion; return how many visible pixels became symptomatic.

    Parameters
    ----------
    symptoms : Symptoms
        Changed in place.
    visible : ndarray of bool
        The leaflet's visible pixels.
    centre : tuple of float
        Row and column of the centre.
    radius_px, halo_px : float
        Radius of the lesion and width of its halo at half strength.
    ragged : float
        Departure from a disc as a share of the radius; 0 paints an exact disc.
    rng : numpy.random.Generator
        Source of chance.
    """
    window = _around(centre, radius_px * (1 + 3 * ragged) + 2.2 * halo_px + 3, visible.shape)
    distance, angle = _polar(centre, window)
    edge = radius_px * (1 + ragged * _wobble(rng, angle))
    depth = (distance - edge).astype(np.float32)
    before, seen = _symptomatic(symptoms, window), visible[window]
    nearer = depth < symptoms.depth_px[window]
    symptoms.owner[window][nearer] = len(symptoms.radius_px)
    symptoms.depth_px[window][nearer] = depth[nearer]
    symptoms.radius_px.append(radius_px)
    symptoms.halo_px.append(halo_px)
    after = _symptomatic(symptoms, window)
    return int(np.count_nonzero(after & seen) - np.count_nonzero(before & seen))


def _around(
    centre: tuple[float, float], reach: float, shape: tuple[int, ...]
) -> tuple[slice, slice]:
    first = [max(0, int(c - reach)) for c in centre]
    last = [min(side, int(c + reach) + 2) for c, side in zip(centre, shape, strict=True)]
    return slice(first[0], last[0]), slice(first[1], last[1])


def _polar(centre: tuple[float, float], window: tuple[slice, slice]) -> tuple[Floats, Floats]:
    dy = (np.arange(window[0].start, window[0].stop) - centre[0]).astype(np.float32)[:, None]
    dx = (np.arange(window[1].start, window[1].stop) - centre[1]).astype(np.float32)[None, :]
    return np.hypot(dx, dy), np.arctan2(dy, dx)


def _wobble(rng: np.random.Generator, angle: Floats) -> Floats:
    """Return a closed wavy line around a circle, standard deviation near 1."""
    total = np.zeros_like(angle)
    for waves, strength in ((2, 0.9), (3, 0.6), (5, 0.3), (7, 0.2)):
        total += np.float32(rng.normal(0, strength)) * np.cos(
            waves * angle + np.float32(rng.uniform(0, 6.3))
        )
    return total


def _symptomatic(symptoms: Symptoms, window: tuple[slice, slice]) -> NDArray[np.bool_]:
    reach = np.asarray([*symptoms.halo_px, 0.0], np.float32)[symptoms.owner[window]]
    return np.asarray(symptoms.depth_px[window] <= reach)


def draw_blight(
    rng: np.random.Generator,
    scene: Scene,
    visible: NDArray[np.bool_],
    outline: Points,
    px_per_mm: float,
    share: float,
) -> Symptoms:
    """Grow a few large lesions until ``share`` of the visible pixels is symptomatic.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    scene : Scene
        Gives the kind and whether there is a halo.
    visible : ndarray of bool
        The leaflet's visible pixels.
    outline : ndarray of float64, shape (points, 2)
        The leaflet's outline (x, y) in the window's pixels.
    px_per_mm : float
        Scale.
    share : float
        Aimed-at symptomatic share, 0 to 1.
    """
    goal = share * np.count_nonzero(visible)
    if goal < 8:
        return Symptoms.none(visible.shape)
    seeds = _blight_seeds(rng, scene.kind, visible, outline, goal / px_per_mm**2)
    size = float(np.sqrt(goal / len(seeds) / np.pi))
    reach, owner = _growth(rng, seeds, visible.shape, size, px_per_mm)
    halo = rng.uniform(0.8, 2.5) * px_per_mm if scene.halo else 0.0
    halo = min(halo, 0.28 * size)
    edge = float(np.quantile(reach[visible], share)) - halo
    found = Symptoms((reach - np.float32(edge)).astype(np.float32), owner)
    found.radius_px = [size] * len(seeds)
    found.halo_px = [halo] * len(seeds)
    return found


def add_young(
    rng: np.random.Generator,
    scene: Scene,
    symptoms: Symptoms,
    visible: NDArray[np.bool_],
    px_per_mm: float,
) -> None:
    """Add the small new lesions of blight, from a pinpoint to 6 mm, in place."""
    if not scene.young or not visible.any():
        return
    halo_mm = rng.uniform(0.3, 1.2) if scene.halo else 0.0
    for row, col in _spot_places(rng, visible)[: scene.young]:
        across_mm = float(np.clip(2.6 * np.exp(rng.normal(0, 0.55)), 0.7, 6))
        radius, halo = across_mm / 2 * px_per_mm, halo_mm * rng.uniform(0.4, 1.4) * px_per_mm
        stamp_spot(symptoms, visible, (row, col), radius, halo, rng.uniform(0.08, 0.25), rng)


def _blight_seeds(
    rng: np.random.Generator,
    kind: str,
    visible: NDArray[np.bool_],
    outline: Points,
    goal_mm2: float,
) -> list[tuple[float, float]]:
    """Row and column where lesions start: late blight at tip and margin, early blight anywhere."""
    usual_mm2 = {"early": 60.0, "late": 260.0}[kind]
    count = int(np.clip(round(goal_mm2 / usual_mm2 * rng.uniform(0.6, 1.4)), 1, 7))
    inside = np.argwhere(visible)
    seeds = []
    for _ in range(count):
        if rng.random() < (0.3 if kind == "early" else 0.85):
            at_tip = rng.random() < 0.45
            x, y = outline[len(outline) // 2 if at_tip else rng.integers(len(outline))]
        else:
            y, x = inside[rng.integers(len(inside))]
        seeds.append((float(y), float(x)))
    return seeds


def _growth(
    rng: np.random.Generator,
    seeds: list[tuple[float, float]],
    shape: tuple[int, int],
    size_px: float,
    px_per_mm: float,
) -> tuple[Floats, NDArray[np.int32]]:
    """Warped distance from the nearest seed, and that seed's number."""
    rough = np.float32(0.32 * size_px) * smooth_field(rng, shape, max(size_px * 0.8, 4), 3, 0.55)
    rough += np.float32(0.12 * px_per_mm) * smooth_field(rng, shape, max(0.8 * px_per_mm, 2))
    whole = (slice(0, shape[0]), slice(0, shape[1]))
    reach = np.full(shape, _FAR, np.float32)
    owner = np.zeros(shape, np.int32)
    for number, seed in enumerate(seeds):
        distance = _polar(seed, whole)[0] + rough - np.float32(size_px * rng.uniform(-0.3, 0.5))
        nearer = distance < reach
        owner[nearer] = number
        reach = np.where(nearer, distance, reach)
    return reach, owner
