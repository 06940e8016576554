"""Where leaves lie in the frame: slots for leaves apart, leaflets along a compound leaf's stalk."""

from dataclasses import dataclass, field

import numpy as np

from scripts.workshop.rendered.scene import Scene
from scripts.workshop.rendered.shape import Leaflet, Points, draw_leaflet, place

__all__ = ["LeafPlan", "lay_out"]


@dataclass(frozen=True, eq=False)
class LeafPlan:
    """A leaf in the frame.

    Attributes
    ----------
    leaflets : tuple of Leaflet
        In painting order: later ones lie on top.
    stalks : tuple of ndarray
        Centre lines (x, y) of stalks beyond the blades, with the width in pixels in a third
        column.
    """

    leaflets: tuple[Leaflet, ...]
    stalks: tuple[Points, ...] = field(repr=False)


def lay_out(rng: np.random.Generator, scene: Scene) -> tuple[LeafPlan, ...]:
    """Return the scene's leaves, each inside its own part of the frame."""
    plans = []
    for number, slot in enumerate(_slots(scene)):
        turn = scene.rotation_deg if number == 0 else rng.uniform(0, 360)
        leaf = _single(rng, scene) if scene.shape == "leaflet" else _compound(rng, scene)
        plans.append(_fit(rng, leaf, np.deg2rad(turn), slot, scene.leaf_size))
    return tuple(plans)


def _slots(scene: Scene) -> list[tuple[float, float, float, float]]:
    """Equal parts of the frame (x, y, width, height), as near to square as can be."""
    if scene.leaves == 0:
        return []
    aspect = scene.width_px / scene.height_px
    columns = max(1, round(np.sqrt(scene.leaves * aspect)))
    rows = -(-scene.leaves // columns)
    columns = -(-scene.leaves // rows)
    width, height = scene.width_px / columns, scene.height_px / rows
    return [
        (width * (i % columns), height * (i // columns), width, height) for i in range(scene.leaves)
    ]


def _single(rng: np.random.Generator, scene: Scene) -> LeafPlan:
    leaflet = draw_leaflet(rng, scene)
    reach = rng.uniform(0.03, 0.28)
    droop = rng.normal(0, 0.25)
    stalk = _stalk((0.02, 0), np.pi + droop, reach, rng.uniform(0.016, 0.026), rng.normal(0, 0.2))
    return LeafPlan((leaflet,), (stalk,))


def _stalk(
    start: tuple[float, float], angle_rad: float, length: float, width: float, bend: float
) -> Points:
    """Return a slightly bent stalk from ``start``, a little thicker at its far end."""
    t = np.linspace(0, 1, 12)
    heading = angle_rad + bend * t
    x = start[0] + length * t * np.cos(heading)
    y = start[1] + length * t * np.sin(heading)
    return np.stack([x, y, width * (1 + 0.4 * t)], axis=1)


def _compound(rng: np.random.Generator, scene: Scene) -> LeafPlan:
    """Draw five to nine leaflets on a stalk along +x, the end leaflet from x = 0 on."""
    pairs = int(rng.integers(2, 5))
    spacing = rng.uniform(0.42, 0.6)
    leaflets, stalks = [], [_stalk((0.03, 0), np.pi, spacing * (pairs + 0.6), 0.03, 0.0)]
    for pair in range(pairs, 0, -1):
        for side in (-1, 1):
            at = -spacing * (pair - 0.45 + rng.normal(0, 0.07))
            size = rng.uniform(0.62, 0.95) * (1 - 0.08 * (pair - 1))
            angle = side * np.deg2rad(rng.uniform(48, 80))
            reach = rng.uniform(0.05, 0.14)
            stalks.append(_stalk((at, 0), angle, reach, 0.02, 0.0))
            tip = (at + reach * np.cos(angle), reach * np.sin(angle))
            leaflets.append(place(draw_leaflet(rng, scene, 0.9), angle, size, tip))
        if rng.random() < 0.6:
            leaflets.insert(0, _between(rng, scene, -spacing * (pair - 0.9)))
    leaflets.append(draw_leaflet(rng, scene, 1.05))
    return LeafPlan(tuple(leaflets), tuple(stalks))


def _between(rng: np.random.Generator, scene: Scene, at: float) -> Leaflet:
    """Draw a small leaflet between two pairs."""
    angle = float(rng.choice((-1, 1))) * np.deg2rad(rng.uniform(60, 100))
    small = draw_leaflet(rng, scene, 1.1, lobing=0.15)
    return place(small, angle, rng.uniform(0.15, 0.3), (at, 0.0))


def _fit(
    rng: np.random.Generator,
    leaf: LeafPlan,
    angle_rad: float,
    slot: tuple[float, float, float, float],
    size: float,
) -> LeafPlan:
    """Turn the leaf, scale it to fill ``size`` of its slot and put it near the slot's middle."""
    turned = [place(one, angle_rad, 1.0, (0, 0)) for one in leaf.leaflets]
    points = np.concatenate([one.outline for one in turned])
    low, high = points.min(axis=0), points.max(axis=0)
    room = np.array(slot[2:])
    scale = size * float(np.min(room / (high - low)))
    slack = np.maximum(room - scale * (high - low), 0) * rng.uniform(-0.4, 0.4, 2)
    shift = np.array(slot[:2]) + room / 2 + slack - scale * (low + high) / 2
    where = (float(shift[0]), float(shift[1]))
    leaflets = tuple(place(one, angle_rad, scale, where) for one in leaf.leaflets)
    return LeafPlan(leaflets, tuple(_place_stalk(s, angle_rad, scale, shift) for s in leaf.stalks))


def _place_stalk(stalk: Points, angle_rad: float, scale: float, shift: Points) -> Points:
    cos, sin = np.cos(angle_rad) * scale, np.sin(angle_rad) * scale
    where = stalk[:, :2] @ np.array([[cos, sin], [-sin, cos]]) + shift
    return np.column_stack([where, stalk[:, 2] * scale])
