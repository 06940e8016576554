"""Caterpillar bodies as geometry: bent axes and width profiles, one kind for each painter."""

from dataclasses import dataclass, field, replace

import numpy as np

from scripts.workshop.rendered.night.scene import NightScene
from scripts.workshop.rendered.ribbon import Ribbon
from scripts.workshop.rendered.shape import Points, turned

__all__ = ["Body", "draw_body", "moved"]

_POINTS = 160


@dataclass(frozen=True, eq=False)
class Body:
    """One caterpillar's form, head first.

    Attributes
    ----------
    ribbon : Ribbon
        Axis from head to tail and half-widths.
    hue : float
        0 yellow-green to 1 cyan.
    glow : float
        Strength, 1 = usual.
    pose : str
        One of ``POSES``.
    """

    ribbon: Ribbon = field(repr=False)
    hue: float
    glow: float
    pose: str

    @property
    def width_px(self) -> float:
        """Greatest width."""
        return float(2 * self.ribbon.half_width.max())

    @property
    def middle(self) -> Points:
        """Middle of the axis, x and y."""
        return np.asarray(self.ribbon.axis[len(self.ribbon.axis) // 2])


def draw_body(rng: np.random.Generator, scene: NightScene, number: int) -> Body:
    """Draw the form of a caterpillar, its middle at the origin, in a random direction.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    scene : NightScene
        Gives length, slenderness, poses and hue.
    number : int
        0 for the first, which has the scene's full length.
    """
    shrink = 1.0 if number == 0 else float(rng.uniform(0.45, 1.0))
    length = max(scene.px_per_mm * scene.length_mm * shrink, 12)
    slender = float(np.clip(scene.slenderness * np.exp(rng.normal(0, 0.08)), 3.5, 11))
    pose = scene.poses[number % len(scene.poses)]
    unit = _spline_axis(rng, pose) if scene.style == "spline" else _chain_axis(rng, pose)
    axis = turned(unit * length, rng.uniform(0, 2 * np.pi))
    axis -= axis[len(axis) // 2]
    profile = _spline_profile(rng) if scene.style == "spline" else _chain_profile(rng)
    half = max(0.5 * length / slender, 1.5) * profile
    hue = float(np.clip(scene.larva_hue + rng.normal(0, scene.hue_spread), 0, 1))
    glow = float(scene.larva_glow * np.exp(rng.normal(0, 0.15)))
    return Body(Ribbon(axis, half), hue, glow, pose)


def moved(body: Body, angle_rad: float, to: Points) -> Body:
    """Return the body turned about the origin, then moved."""
    ribbon = Ribbon(turned(body.ribbon.axis, angle_rad) + to, body.ribbon.half_width)
    return replace(body, ribbon=ribbon)


def _spline_axis(rng: np.random.Generator, pose: str) -> Points:
    """Integrate a curvature along the body: length 1, even steps."""
    t = np.linspace(0, 1, _POINTS)
    side = rng.choice((-1.0, 1.0))
    turn = (
        side
        * {
            "straight": rng.normal(0, 0.12) * np.ones_like(t),
            "bent": rng.uniform(0.4, 1.5) * (0.6 + 0.8 * np.sin(np.pi * t)),
            "s": rng.uniform(1.2, 2.6) * np.sin(2 * np.pi * t + rng.uniform(-0.6, 0.6)),
            "hooked": rng.uniform(1.0, 2.2) * _bump(t, 0.22, 0.11) / 0.27 + 0.2,
        }[pose]
    )
    turn = turn + rng.normal(0, 0.25) * np.sin(3 * np.pi * t + rng.uniform(0, 6))
    heading = np.cumsum(turn) / _POINTS
    steps = np.stack([np.cos(heading), np.sin(heading)], axis=1) / (_POINTS - 1)
    return np.asarray(np.cumsum(steps, axis=0) - steps[0])


def _bump(t: Points, at: float, width: float) -> Points:
    return np.asarray(np.exp(-(((t - at) / width) ** 2)))


def _chain_axis(rng: np.random.Generator, pose: str) -> Points:
    """Follow a cubic Bézier curve: length 1, even steps."""
    lift, side = rng.uniform(0.12, 0.4), rng.choice((-1.0, 1.0))
    corners = {
        "straight": ((0, 0), (0.33, rng.normal(0, 0.03)), (0.67, rng.normal(0, 0.03)), (1, 0)),
        "bent": ((0, 0), (0.25, lift), (0.75, lift), (1, rng.normal(0, 0.1))),
        "s": ((0, 0), (0.35, 1.6 * lift), (0.65, -1.6 * lift), (1, 0)),
        "hooked": ((0, 0), (-0.28, 0.45 + 0.5 * lift), (0.5, 0.35), (1.15, 0.2)),
    }[pose]
    p = np.array(corners, float) * (1, side)
    u = np.linspace(0, 1, 4 * _POINTS)[:, None]
    curve = (
        (1 - u) ** 3 * p[0] + 3 * u * (1 - u) ** 2 * p[1] + 3 * u**2 * (1 - u) * p[2] + u**3 * p[3]
    )
    way = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(curve, axis=0).T))])
    even = np.linspace(0, way[-1], _POINTS)
    even_curve = np.stack([np.interp(even, way, curve[:, i]) for i in (0, 1)], axis=1)
    return np.asarray(even_curve / way[-1])


def _spline_profile(rng: np.random.Generator) -> Points:
    """Blunt at both ends, a little narrower to the head, swollen between the folds."""
    t = np.linspace(0, 1, _POINTS)
    blunt = (1 - np.abs(2 * t - 1) ** rng.uniform(5, 12)) ** 0.55
    taper = 1 - rng.uniform(0, 0.35) * (1 - t) ** 2 - rng.uniform(0, 0.25) * t**4
    folds = 1 + rng.uniform(0.01, 0.05) * np.cos(2 * np.pi * rng.integers(11, 14) * t)
    profile = np.maximum(blunt * taper * folds, 0.02)
    return np.asarray(profile / profile.max())


def _chain_profile(rng: np.random.Generator) -> Points:
    """Widest at a place that varies, rounded off by circles at both ends."""
    t = np.linspace(0, 1, _POINTS)
    widest = rng.uniform(0.3, 0.75)
    profile = 1 - rng.uniform(0.1, 0.4) * np.abs(t - widest) ** rng.uniform(1.2, 2.2) / 0.4
    end = rng.uniform(0.05, 0.09)
    edge = np.minimum(t, 1 - t) / end
    round_off = np.sqrt(np.clip(1 - (1 - np.minimum(edge, 1)) ** 2, 0, 1))
    return np.asarray(np.maximum(profile * round_off, 0.02) / profile.max())
