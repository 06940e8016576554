"""What lesions and halos do to the blade: colour, texture and relief, by kind of disease."""

import numpy as np

from scripts.workshop.rendered.fields import AnyFloats, Floats, smooth_field, smoothstep
from scripts.workshop.rendered.leaves.symptoms import Symptoms
from scripts.workshop.rendered.leaves.tissue import Blade
from scripts.workshop.rendered.scene import Scene

__all__ = ["paint_symptoms"]

_TAN = np.array([0.36, 0.25, 0.14])
_PAPERY = np.array([0.33, 0.225, 0.13])
_BROWN = np.array([0.125, 0.070, 0.036])
_DARK = np.array([0.036, 0.021, 0.014])
_PURPLE_BLACK = np.array([0.045, 0.030, 0.032])
_SOAKED = np.array([0.075, 0.085, 0.040])
_YELLOW = np.array([[0.35, 0.38, 0.06], [0.50, 0.44, 0.05]])  # greenish to full yellow
_PALE_GREEN = np.array([0.30, 0.38, 0.13])


def paint_symptoms(
    rng: np.random.Generator, scene: Scene, blade: Blade, symptoms: Symptoms, px_per_mm: float
) -> Floats:
    """Change the blade in place; return how dry (matt, 0 to 1) each pixel has become."""
    shape = blade.texture.shape
    if not symptoms.radius_px:
        return np.zeros(shape, np.float32)
    _tint_halo(rng, scene, blade, symptoms)
    paint = {"septoria": _septoria, "bacterial": _bacterial, "early": _early, "late": _late}
    colour = paint[scene.kind or "septoria"](rng, symptoms, px_per_mm) * np.float32(
        scene.brightness**0.5
    )
    soft = np.float32(max(1.0, rng.uniform(0.1, 0.35) * px_per_mm))
    cover = np.clip(0.5 - symptoms.depth_px / soft, 0, 1)
    blade.colour[:] += cover[..., None] * (colour - blade.colour)
    crumple = smooth_field(rng, shape, max(1.4 * px_per_mm, 2), 2, 0.7)
    blade.texture[:] *= np.exp(np.float32(0.16) * cover * crumple)
    large = smoothstep(symptoms.of_owner(symptoms.radius_px), 2 * px_per_mm, 7 * px_per_mm)
    blade.height_px[:] += np.float32(0.45 * px_per_mm) * large * cover * crumple
    blade.height_px[:] -= np.float32(0.18 * px_per_mm) * smoothstep(cover, 0, 1)
    greasy = scene.kind == "bacterial"
    return np.asarray(cover * np.float32(0.3 if greasy else 0.85), np.float32)


def _tint_halo(rng: np.random.Generator, scene: Scene, blade: Blade, symptoms: Symptoms) -> None:
    """Tint a graded rim: full tint at the lesion's edge, half of it at the halo's width."""
    width = symptoms.of_owner(symptoms.halo_px)
    if not width.any():
        return
    yellow = _YELLOW[0] + rng.random() * (_YELLOW[1] - _YELLOW[0])
    target = _PALE_GREEN if scene.kind == "late" else yellow
    target = target * np.exp(rng.normal(0, (0.05, 0.04, 0.3))) * scene.brightness**0.6
    full = np.float32(rng.uniform(0.6, 0.95))
    position = symptoms.depth_px / np.maximum(width, np.float32(1e-3))
    strength = (full * (1 - smoothstep(position, 0.25, 1.75)))[..., None]
    blade.colour[:] += strength * (target.astype(np.float32) - blade.colour)


def _septoria(rng: np.random.Generator, symptoms: Symptoms, px_per_mm: float) -> Floats:
    """Tan centre, dark rim, black specks in the centre; the smallest are dark throughout."""
    radius = np.maximum(symptoms.of_owner(symptoms.radius_px), 0.3)
    paleness = rng.beta(2, 1.4, len(symptoms.radius_px))
    centre = symptoms.of_owner(list(paleness)) * smoothstep(
        radius, 0.55 * px_per_mm, 1.3 * px_per_mm
    )
    inside = 1 - smoothstep(1 + symptoms.depth_px / radius, 0.40, 0.85)
    colour = _mix(_DARK * 1.3, _BROWN, np.clip(0.35 + 0.3 * _mottle(rng, radius, px_per_mm), 0, 1))
    colour += (centre * inside)[..., None] * (_TAN.astype(np.float32) - colour)
    specks = smoothstep(smooth_field(rng, radius.shape, max(0.35 * px_per_mm, 1.5)), 1.3, 1.9)
    colour *= 1 - (0.75 * specks * inside)[..., None]
    return colour


def _bacterial(rng: np.random.Generator, symptoms: Symptoms, px_per_mm: float) -> Floats:
    """Dark and greasy throughout, a little browner in the middle."""
    radius = np.maximum(symptoms.of_owner(symptoms.radius_px), 0.3)
    inside = 1 - smoothstep(1 + symptoms.depth_px / radius, 0.2, 0.9)
    amount = 0.5 * inside + 0.15 * _mottle(rng, radius, px_per_mm)
    return _mix(_DARK, _BROWN * 0.7, np.clip(amount, 0, 1))


def _early(rng: np.random.Generator, symptoms: Symptoms, px_per_mm: float) -> Floats:
    """Brown with darker concentric rings, about one to two millimetres apart."""
    period = rng.uniform(0.9, 1.9) * px_per_mm
    wander = 0.25 * _mottle(rng, symptoms.depth_px, 2.5 * px_per_mm)
    rings = 0.5 + 0.5 * np.cos(2 * np.pi * (symptoms.depth_px / period + wander))
    strength = np.float32(rng.uniform(0.35, 0.9))
    amount = 0.25 + 0.6 * strength * rings + 0.15 * _mottle(rng, rings, px_per_mm)
    colour = _mix(_DARK, _BROWN * 1.25, np.clip(amount, 0, 1))
    dry = np.float32(rng.beta(1.2, 1.6)) * smoothstep(-symptoms.depth_px, period, 4 * period)
    colour += (dry * (0.4 + 0.6 * rings))[..., None] * (_PAPERY.astype(np.float32) - colour)
    return colour


def _late(rng: np.random.Generator, symptoms: Symptoms, px_per_mm: float) -> Floats:
    """Water-soaked edge, brown to purple-black body, papery where the tissue has collapsed."""
    body = _mottle(rng, symptoms.depth_px, 5 * px_per_mm) + np.float32(rng.normal(0, 0.7))
    colour = _mix(_PURPLE_BLACK, _BROWN * 1.2, smoothstep(body, -1.0, 0.8))
    papery = smoothstep(
        _mottle(rng, body, 7 * px_per_mm) + np.float32(rng.normal(0, 0.9)), -0.3, 0.9
    )
    papery *= smoothstep(-symptoms.depth_px, 0.8 * px_per_mm, 3.5 * px_per_mm)
    colour += papery[..., None] * (_PAPERY.astype(np.float32) - colour)
    soaked = 0.8 * (1 - smoothstep(-symptoms.depth_px, 0.2 * px_per_mm, 1.6 * px_per_mm))
    colour += soaked[..., None] * (_SOAKED.astype(np.float32) * 0.8 - colour)
    return colour


def _mottle(rng: np.random.Generator, like: AnyFloats, cell_px: float) -> Floats:
    return smooth_field(rng, (like.shape[0], like.shape[1]), max(cell_px, 1.6), 2, 0.6)


def _mix(first: AnyFloats, second: AnyFloats, amount: AnyFloats) -> Floats:
    """Blend two colours pixel by pixel: 0 gives the first."""
    blend = amount[..., None].astype(np.float32)
    return np.asarray(first + blend * (second - first), np.float32)
