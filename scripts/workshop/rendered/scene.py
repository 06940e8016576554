"""What stands before the camera: every condition of a painted photo, as one frozen record."""

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

__all__ = [
    "BLIGHT_KINDS",
    "NATURAL_BACKGROUNDS",
    "PLAIN_BACKGROUNDS",
    "SPOT_KINDS",
    "PaintedTag",
    "Scene",
    "draw_scene",
]

PLAIN_BACKGROUNDS = ("paper", "grey_board", "violet_board", "bench", "cloth")
"""Backgrounds on which a grower lays a picked leaf."""

NATURAL_BACKGROUNDS = ("soil", "straw", "foliage_far", "foliage_near", "sky", "hand")
"""Backgrounds of leaves photographed where they grow."""

SPOT_KINDS = ("septoria", "bacterial")
BLIGHT_KINDS = ("early", "late")

Shape = Literal["leaflet", "compound"]
Pattern = Literal["none", "spot", "blight"]


@dataclass(frozen=True)
class PaintedTag:
    """A stake tag in a scene.

    Attributes
    ----------
    number : int
        Of the marker, 1 to 586.
    name : str
        Plant's name on the card.
    span_px : float or None
        Side of the black square at its centre, untilted; None: true to the leaf's scale.
    place : tuple of float or None
        Centre of the card across and down the frame, 0 to 1; None: where leaves hide least of it.
    turn_deg : float
        Turned in the picture, clockwise.
    tilt_deg, tilt_towards_deg : float
        Tilt away from the camera, 0 to 80, and the direction of the far side (0 right, 90 down).
    distance_mm : float
        From the camera, which decides how much smaller the far side looks.
    torn : float
        Share of the card's height that is torn off at its upper right corner, 0 to 1.
    dirt : float
        Share of the card covered by soil, 0 to 1.
    shaded : float
        Share of the card on which a hard shadow lies, 0 to 1.
    tint : tuple of float
        Reflectance of the printer's grey relative to neutral, red to blue.
    """

    number: int
    name: str = "A1"
    span_px: float | None = None
    place: tuple[float, float] | None = None
    turn_deg: float = 0.0
    tilt_deg: float = 0.0
    tilt_towards_deg: float = 0.0
    distance_mm: float = 400.0
    torn: float = 0.0
    dirt: float = 0.0
    shaded: float = 0.0
    tint: tuple[float, float, float] = (1.0, 1.0, 1.0)


@dataclass(frozen=True)
class Scene:
    """Everything that decides how a photo is painted, but for the seed.

    Attributes
    ----------
    width_px, height_px : int
        Size of the photo, at least 32 each.
    background : str
        One of ``PLAIN_BACKGROUNDS`` or ``NATURAL_BACKGROUNDS``.
    leaves : int
        Leaves lying apart, 0 to 12. A compound leaf is one leaf with several leaflets.
    shape : {"leaflet", "compound"}
        Single leaflets, or whole leaves of five to nine leaflets on one stalk.
    pattern : {"none", "spot", "blight"}
        Many small lesions, few large ones, or none.
    kind : str
        ``septoria`` or ``bacterial`` for spots, ``early`` or ``late`` for blight; empty = drawn.
    severity_pct : float
        Aimed-at (lesion + halo) share of the leaf area, 0 to 60; what was painted is the truth.
    leaf_spread : float
        How unlike in severity the leaves are, 0 = alike, 1 = as leaves taken anywhere.
    halo : bool
        Whether lesions have a yellow (late blight: pale-green) rim.
    young : int
        Small new lesions beside the large ones of blight, on each leaflet.
    crowded : float
        Share of spots that crowd at one place of the margin until they merge, 0 to 1.
    spot_spread : float
        How unlike in size the spots of a leaf are: standard deviation of the logarithm of their
        diameters, 0 to 1.
    exposure : float
        Brightness, 1 = as metered.
    cast : tuple of float
        Gains of red, green and blue, 1 = neutral.
    light_azimuth_deg : float
        Where the light comes from, 0 = from the right, 90 = from below.
    light_elevation_deg : float
        Height of the light above the leaf's plane, 15 to 85.
    direct : float
        Share of direct light, 0 = overcast, 1 = hard sun.
    gloss : float
        Strength of specular reflection, 0 = matt.
    shadow : float
        Strength of the shadow that the leaf casts, 0 to 1.
    lift_mm : float
        Height of the leaf above the background; longer shadows from a larger lift.
    unevenness : float
        How unevenly the background is lit, 0 to 1.
    blur_px, motion_px : float
        Defocus (standard deviation) and length of a motion blur in pixels.
    noise : float
        Sensor noise, 0 = none, 1 = a phone at dusk.
    vignette : float
        Loss of light in the corners, 0 to 1.
    sharpen : float
        The phone's own sharpening, 0 to 1.
    holes : int
        Holes and bites through each leaf.
    chewed_pct : float
        Aimed-at share of the whole leaf area that has been eaten, 0 to 80, besides ``holes``.
    bite_share : float
        How much of it is bitten from the margin rather than eaten as holes, 0 to 1.
    shot_holes : int
        Holes through each leaf where diseased tissue has fallen out; a dead rim is left.
    soil_specks : int
        Crumbs of soil on each leaf (they are not lesions).
    yellowing : float
        Yellowing of whole leaves, 0 to 1, mild; it is not halo.
    burn_pct : float
        Aimed-at share of the leaf area that a spray has bleached, 0 to 60; no symptom of disease.
    dew : float
        Drops of dew on the leaves, 0 to 1.
    leaf_size : float
        Share of its part of the frame that a leaf fills, 0.2 to 1.2 (above 1 it is cut off).
    leaf_length_mm : float
        Length of the longest leaflet of the first leaf; fixes the scale.
    frame_mm : float
        Short side of what the photo shows where there is no leaf; fixes the scale then.
    hue : float
        0 blue-green, 0.5 green, 1 yellow-green.
    brightness : float
        Lightness of the tissue relative to the usual, 0.6 to 1.5.
    roughness : float
        Blistering and grain of the blade, 0 to 1.
    lobing : float
        Depth of lobes and teeth, 0 = nearly entire, 1 = deeply cut.
    curl : float
        Curling and folding of the blade, 0 to 1.
    rotation_deg : float
        Direction of the first leaf's tip, 0 = right, 90 = down.
    tag : PaintedTag or None
        A stake tag that lies behind the leaves.
    """

    width_px: int = 640
    height_px: int = 480
    background: str = "paper"
    leaves: int = 1
    shape: Shape = "leaflet"
    pattern: Pattern = "none"
    kind: str = ""
    severity_pct: float = 10.0
    leaf_spread: float = 1.0
    halo: bool = True
    young: int = 0
    crowded: float = 0.0
    spot_spread: float = 0.35
    exposure: float = 1.0
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0)
    light_azimuth_deg: float = 230.0
    light_elevation_deg: float = 50.0
    direct: float = 0.5
    gloss: float = 0.4
    shadow: float = 0.6
    lift_mm: float = 3.0
    unevenness: float = 0.3
    blur_px: float = 0.0
    motion_px: float = 0.0
    noise: float = 0.2
    vignette: float = 0.15
    sharpen: float = 0.2
    holes: int = 0
    chewed_pct: float = 0.0
    bite_share: float = 0.7
    shot_holes: int = 0
    soil_specks: int = 0
    yellowing: float = 0.0
    burn_pct: float = 0.0
    dew: float = 0.0
    leaf_size: float = 0.85
    leaf_length_mm: float = 75.0
    frame_mm: float = 120.0
    hue: float = 0.45
    brightness: float = 1.0
    roughness: float = 0.5
    lobing: float = 0.5
    curl: float = 0.4
    rotation_deg: float = 270.0
    tag: PaintedTag | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be painted.

        Raises
        ------
        ValueError
            With one sentence that names the field and its range.
        """
        _one_of("background", self.background, PLAIN_BACKGROUNDS + NATURAL_BACKGROUNDS)
        _one_of("shape", self.shape, ("leaflet", "compound"))
        _one_of("pattern", self.pattern, ("none", "spot", "blight"))
        _one_of("kind", self.kind, ("", *_kinds_of(self.pattern)))
        _within("severity_pct", self.severity_pct, 0, 60)
        _within("leaf_spread", self.leaf_spread, 0, 1)
        _within("burn_pct", self.burn_pct, 0, 60)
        _within("chewed_pct", self.chewed_pct, 0, 80)
        _within("bite_share", self.bite_share, 0, 1)
        _within("shot_holes", self.shot_holes, 0, 200)
        _within("width_px", self.width_px, 32, 20_000)
        _within("height_px", self.height_px, 32, 20_000)
        _within("leaves", self.leaves, 0, 12)
        _within("young", self.young, 0, 200)
        _within("crowded", self.crowded, 0, 1)
        _within("spot_spread", self.spot_spread, 0, 1)
        _within("leaf_size", self.leaf_size, 0.2, 1.2)
        _within("leaf_length_mm", self.leaf_length_mm, 10, 300)
        _within("frame_mm", self.frame_mm, 5, 5000)
        _within("light_elevation_deg", self.light_elevation_deg, 15, 85)


def _kinds_of(pattern: str) -> tuple[str, ...]:
    return {"spot": SPOT_KINDS, "blight": BLIGHT_KINDS}.get(pattern, ())


def _one_of(name: str, value: str, allowed: tuple[str, ...]) -> None:
    if value not in allowed:
        raise ValueError(f"{name} is {value!r}; it must be one of {', '.join(map(repr, allowed))}.")


def _within(name: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise ValueError(f"{name} is {value}; it must be from {low} to {high}.")


def draw_scene(rng: np.random.Generator, **fixed: Any) -> Scene:  # noqa: ANN401
    """Draw a scene at random over all conditions.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance. The same number of draws is made whatever is fixed, so that pinning one
        field leaves the others as they were.
    **fixed
        Fields of ``Scene`` that are not to be drawn.

    Returns
    -------
    Scene
        A scene in the default size; pass ``width_px`` and ``height_px`` for another.
    """
    drawn = _draw_subject(rng) | _draw_symptoms(rng) | _draw_light(rng) | _draw_camera(rng)
    merged = drawn | fixed
    if "kind" not in fixed and merged["kind"] not in _kinds_of(merged["pattern"]):
        merged["kind"] = ""
    return Scene(**merged)


def _draw_subject(rng: np.random.Generator) -> dict[str, Any]:
    plain = rng.random() < 0.65
    names = PLAIN_BACKGROUNDS if plain else NATURAL_BACKGROUNDS
    several = rng.random() < 0.25
    return {
        "background": str(rng.choice(names)),
        "shape": str(rng.choice(("leaflet", "compound"), p=(0.75, 0.25))),
        "leaves": int(rng.integers(2, 5)) if several else 1,
        "leaf_size": float(rng.uniform(0.6, 0.95)),
        "leaf_length_mm": float(rng.uniform(45, 95)),
        "hue": float(rng.beta(1.6, 1.6)),
        "brightness": float(rng.uniform(0.75, 1.35)),
        "roughness": float(rng.beta(2, 1.6)),
        "lobing": float(rng.beta(1.6, 1.6)),
        "curl": float(rng.beta(1.4, 2.2)),
        "rotation_deg": float(rng.uniform(0, 360)),
        "holes": int(rng.integers(1, 4)) if rng.random() < 0.2 else 0,
        "soil_specks": int(rng.integers(2, 25)) if rng.random() < 0.3 else 0,
    }


def _draw_symptoms(rng: np.random.Generator) -> dict[str, Any]:
    pattern = str(rng.choice(("none", "spot", "blight"), p=(0.2, 0.45, 0.35)))
    chosen = {kind: str(rng.choice(_kinds_of(kind))) for kind in ("spot", "blight")}
    severity = 60 * rng.beta(0.9, 2.6) + 0.5
    halo, yellowing = rng.random() < 0.75, rng.beta(1, 2) if rng.random() < 0.35 else 0.0
    return {
        "pattern": pattern,
        "kind": chosen.get(pattern, ""),
        "severity_pct": float(min(severity, 60)),
        "halo": bool(halo),
        "yellowing": float(yellowing),
    }


def _draw_light(rng: np.random.Generator) -> dict[str, Any]:
    warm, tint = rng.normal(0, 0.05), rng.normal(0, 0.02)
    return {
        "exposure": float(np.exp(rng.normal(0, 0.16))),
        "cast": (float(1 + warm), float(1 + tint), float(1 - warm)),
        "light_azimuth_deg": float(rng.uniform(0, 360)),
        "light_elevation_deg": float(rng.uniform(25, 72)),
        "direct": float(rng.beta(1.3, 1.2)),
        "gloss": float(rng.beta(1.4, 2.0)),
        "shadow": float(rng.beta(2, 1.5)),
        "lift_mm": float(0.5 + 14 * rng.beta(1.2, 2)),
        "unevenness": float(rng.beta(1.5, 2.5)),
    }


def _draw_camera(rng: np.random.Generator) -> dict[str, Any]:
    blur, motion = rng.uniform(0.4, 1.4), rng.uniform(2, 5)
    blurred, moved = rng.random(2) < (0.35, 0.1)
    return {
        "blur_px": float(blur) if blurred else 0.0,
        "motion_px": float(motion) if moved else 0.0,
        "noise": float(rng.beta(1.3, 3)),
        "vignette": float(rng.uniform(0, 0.35)),
        "sharpen": float(rng.beta(1.2, 2)),
    }
