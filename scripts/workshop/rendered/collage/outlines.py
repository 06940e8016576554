"""Outlines of flat and solid bits, from straw to crumbs."""

from collections.abc import Callable

import numpy as np

from scripts.workshop.rendered.shape import Points, turned

__all__ = ["OUTLINES", "outline"]


def _polygon(rng: np.random.Generator) -> Points:
    """Few corners, far from even."""
    corners = int(rng.integers(4, 10))
    angle = np.sort(rng.uniform(0, 2 * np.pi, corners))
    return _around(angle, rng.uniform(0.45, 1, corners), rng.uniform(0.4, 1))


def _rod(rng: np.random.Generator) -> Points:
    """Long and narrow, now and then bent."""
    points = _strip(rng, rng.uniform(0.05, 0.25), 0.01)
    if rng.random() < 0.4:
        points[:, 1] += rng.normal(0, 0.3) * points[:, 0] ** 2
    return points


def _chip(rng: np.random.Generator) -> Points:
    """Broad, with two nearly straight sides."""
    return _strip(rng, rng.uniform(0.2, 0.7), 0.04)


def _blob(rng: np.random.Generator) -> Points:
    """Smooth and irregular."""
    angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    return _around(angle, np.clip(_waves(rng, angle, 0.22, 7), 0.3, 2), rng.uniform(0.4, 1))


def _crumb(rng: np.random.Generator) -> Points:
    """Roundish with a ragged edge."""
    corners = int(rng.integers(9, 22))
    angle = np.linspace(0, 2 * np.pi, corners, endpoint=False) + rng.normal(0, 0.12, corners)
    ragged = np.exp(rng.normal(0, rng.uniform(0.08, 0.28), corners))
    return _around(angle, _waves(rng, angle, 0.2, 4) * ragged, rng.uniform(0.55, 1))


def _crust(rng: np.random.Generator) -> Points:
    """Roundish with many small teeth."""
    corners = int(rng.integers(18, 46))
    angle = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    teeth = np.exp(rng.normal(0, rng.uniform(0.04, 0.16), corners))
    return _around(angle, _waves(rng, angle, 0.12, 5) * teeth, rng.uniform(0.5, 1))


def _drop(rng: np.random.Generator) -> Points:
    """Draw a seed with one point."""
    angle = np.linspace(0, 2 * np.pi, 50)
    wide = rng.uniform(0.35, 0.75) * np.abs(np.sin(angle / 2)) ** rng.uniform(0.6, 1.5)
    return np.stack([np.cos(angle), wide * np.sin(angle)], axis=1) / 2


def _lens(rng: np.random.Generator) -> Points:
    """Draw a seed with two points."""
    angle = np.linspace(0, 2 * np.pi, 50)
    along, across = np.cos(angle), np.sin(angle)
    long = np.sign(along) * np.abs(along) ** 0.7
    wide = rng.uniform(0.3, 0.7) * np.sign(across) * np.abs(across) ** 1.6
    return np.stack([long, wide], axis=1) / 2


def _disc(rng: np.random.Generator) -> Points:
    angle = np.linspace(0, 2 * np.pi, 40)
    return _around(angle, np.ones(40), rng.uniform(0.6, 1))


def _around(angle: Points, reach: Points, flat: float) -> Points:
    return np.stack([np.cos(angle) * reach, np.sin(angle) * reach * flat], axis=1) / 2


def _waves(rng: np.random.Generator, angle: Points, strength: float, end: int) -> Points:
    waves = (
        rng.normal(0, strength / k) * np.cos(k * angle + rng.uniform(0, 6)) for k in range(2, end)
    )
    return np.asarray(1 + sum(waves))


def _strip(rng: np.random.Generator, wide: float, uneven: float) -> Points:
    corners = int(rng.integers(2, 5))
    x = np.linspace(-0.5, 0.5, corners)
    upper = np.stack([x, 0.5 * wide * rng.uniform(0.6, 1.1, corners)], axis=1)
    lower = np.stack([x[::-1], -0.5 * wide * rng.uniform(0.6, 1.1, corners)], axis=1)
    points = np.concatenate([upper, lower])
    return np.asarray(points + rng.normal(0, uneven, points.shape))


OUTLINES: dict[str, Callable[[np.random.Generator], Points]] = {
    "polygon": _polygon,
    "rod": _rod,
    "chip": _chip,
    "blob": _blob,
    "crumb": _crumb,
    "crust": _crust,
    "drop": _drop,
    "lens": _lens,
    "disc": _disc,
}
"""Each draws an outline about 1 long around the origin."""


def outline(rng: np.random.Generator, kind: str, length_px: float, at: Points) -> Points:
    """Draw an outline of a kind and length, lying anyhow around a place."""
    return turned(OUTLINES[kind](rng), rng.uniform(0, 2 * np.pi)) * length_px + at
