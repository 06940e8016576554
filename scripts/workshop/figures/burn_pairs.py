"""Painted photos before and after a spray test, with the truth, to judge the burn check on."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered import Scene, draw_scene, render

__all__ = ["KINDS", "Case", "paint_case"]

KINDS = ("burn", "disease growth", "dew", "other light", "other leaf")
"""What has changed on the tested plant between the two visits."""

_SIZE = {"width_px": 800, "height_px": 600}
_LEAST_BURN_PCT, _MOST_BURN_PCT = 1.0, 12.0
_MOST_SEVERITY_PCT = 25.0


@dataclass(frozen=True, eq=False)
class Case:
    """A spray test: the tested plant and an unsprayed one, before and after.

    Attributes
    ----------
    kind : str
        One of ``KINDS``.
    before, after, other_before, other_after : ndarray of uint8, shape (rows, columns, 3)
        sRGB photos of the tested and the unsprayed plant.
    burnt_pct : float
        Share of the tested leaf that was painted burnt, percent; 0 without burn.
    background : str
        Behind the leaves.
    """

    kind: str
    before: NDArray[np.uint8]
    after: NDArray[np.uint8]
    other_before: NDArray[np.uint8]
    other_after: NDArray[np.uint8]
    burnt_pct: float
    background: str


def paint_case(kind: str, seed: int) -> Case:
    """Paint the four photos of a spray test.

    Between the visits the leaf is laid down anew and the light is never quite the same. Half of
    the burnt leaves also show what the other kinds show.
    """
    rng = np.random.default_rng((seed, KINDS.index(kind)))
    scene = _scene(rng)
    burnt = kind == "burn"
    besides = str(rng.choice(KINDS[1:])) if burnt and rng.random() < 0.5 else kind
    after = _changed(rng, _next_visit(rng, scene), besides)
    if burnt:
        share = np.exp(rng.uniform(np.log(_LEAST_BURN_PCT), np.log(_MOST_BURN_PCT)))
        after = replace(after, burn_pct=float(share))
    leaf, other = (int(n) for n in rng.integers(1 << 30, size=2))
    second = other + 1 if besides == "other leaf" else leaf
    unsprayed = _scene(rng, background=scene.background)
    later = _changed(rng, _next_visit(rng, unsprayed), str(rng.choice(("", "dew", KINDS[1]))))
    photos = [render(scene, leaf), render(after, second), render(unsprayed, other)]
    photos.append(render(later, other))
    truth = photos[1]
    burnt_pct = 100 * truth.burnt_px / truth.leaf_area_px
    pixels = [photo.pixels for photo in photos]
    return Case(kind, pixels[0], pixels[1], pixels[2], pixels[3], burnt_pct, scene.background)


def _scene(rng: np.random.Generator, **fixed: str) -> Scene:
    """Draw a leaf as a grower who looks for burn would photograph it: one leaf, in focus."""
    scene = draw_scene(rng, leaves=1, shape="leaflet", blur_px=0.0, motion_px=0.0, **_SIZE, **fixed)
    return replace(scene, severity_pct=min(scene.severity_pct, _MOST_SEVERITY_PCT))


def _next_visit(rng: np.random.Generator, scene: Scene) -> Scene:
    warm = float(rng.normal(0, 0.02))
    red, green, blue = scene.cast
    return replace(
        scene,
        exposure=scene.exposure * float(np.exp(rng.normal(0, 0.08))),
        cast=(red * (1 + warm), green, blue * (1 - warm)),
        light_azimuth_deg=scene.light_azimuth_deg + float(rng.normal(0, 25)),
        rotation_deg=scene.rotation_deg + float(rng.normal(0, 15)),
        leaf_size=float(np.clip(scene.leaf_size + rng.normal(0, 0.04), 0.55, 0.95)),
    )


def _changed(rng: np.random.Generator, scene: Scene, kind: str) -> Scene:
    """Return the scene after what its kind says has happened."""
    if kind == "disease growth":
        more = float(rng.uniform(1.5, 3.0))
        pattern = scene.pattern if scene.pattern != "none" else "spot"
        severity = min(60.0, max(2.0, scene.severity_pct * more))
        return replace(scene, pattern=pattern, severity_pct=severity)
    if kind == "dew":
        return replace(scene, dew=float(rng.uniform(0.3, 1.0)), gloss=max(scene.gloss, 0.5))
    if kind == "other light":
        other = draw_scene(rng)
        names = ("exposure", "cast", "light_azimuth_deg", "light_elevation_deg", "direct", "shadow")
        return replace(scene, **{name: getattr(other, name) for name in (*names, "gloss")})
    return scene
