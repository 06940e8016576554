"""Decoys that people leave in a garden: paper, plastic, cloth, threads, canes."""

import numpy as np

from scripts.workshop.rendered.fields import AnyFloats, smooth_field, smoothstep
from scripts.workshop.rendered.night.decoy_tools import (
    CREAM,
    Pieces,
    Place,
    brightener,
    glowing,
    outlined,
    wander,
)
from scripts.workshop.rendered.ribbon import Ribbon, follow
from scripts.workshop.rendered.shape import Points, turned

__all__ = ["paint_cane", "paint_fabric", "paint_lint", "paint_paper", "paint_tag", "paint_twine"]


def paint_paper(here: Place) -> Pieces:
    """Paint a label or a scrap, one edge perhaps torn."""
    rng = here.rng
    long, wide = rng.uniform(12, 60), rng.uniform(0.3, 0.9)
    corners = np.array([[-1, -wide], [1, -wide], [1, wide], [-1, wide]]) * long / 2
    corners += rng.normal(0, 0.02 * long, corners.shape)
    if rng.random() < 0.4:
        u = np.linspace(0, 1, 30)[:, None]
        torn = corners[1] + u * (corners[2] - corners[1]) + rng.normal(0, 0.03 * long, (30, 2))
        corners = np.concatenate([corners[:2], torn, corners[2:]])
    return _flat(here, corners)


def paint_tag(here: Place) -> Pieces:
    """Paint a plastic plant tag with a pointed end."""
    rng = here.rng
    long, wide = rng.uniform(50, 130), rng.uniform(8, 20)
    x, y, tip = long / 2, wide / 2, rng.uniform(0.6, 1.6) * wide
    corners = np.array([[-x, -y], [x - tip, -y], [x, 0], [x - tip, y], [-x, y]])
    return _flat(here, corners)


def _flat(here: Place, outline_mm: AnyFloats) -> Pieces:
    """Return flat, straight-edged matter with brightener, its outline given in millimetres."""
    rng, shape = here.rng, here.shape
    points = turned(outline_mm * here.scene.px_per_mm, rng.uniform(0, 2 * np.pi)) + here.at
    made = outlined(points, shape)
    if made is None:
        return []
    window, cover = made
    size = max(cover.shape)
    shade = 1 + 0.12 * smooth_field(rng, cover.shape, max(0.4 * size, 2), 2)
    shade *= 1 + rng.normal(0, 0.15) * np.linspace(-1, 1, cover.shape[1], dtype=np.float32)
    marks = smooth_field(rng, cover.shape, max(0.05 * size, 1.5))
    shade *= 1 - np.float32(rng.choice((0.0, 0.7))) * smoothstep(marks, 1.4, 1.6)
    return [glowing(window, cover, np.clip(shade, 0.1, 2), brightener(rng), 0.6)]


def paint_fabric(here: Place) -> Pieces:
    """Paint a strip of cloth: soft edges, folds and a weave."""
    rng, scene, at, shape = here.rng, here.scene, here.at, here.shape
    long, wide = rng.uniform(50, 200), rng.uniform(15, 50)
    line = wander(rng, at, long * scene.px_per_mm, 0.8)
    sway = np.interp(np.linspace(0, 1, len(line)), np.linspace(0, 1, 7), rng.normal(0, 0.12, 7))
    half = wide / 2 * scene.px_per_mm * np.clip(1 + sway, 0.5, 1.5)
    swath = follow(Ribbon(line, half), shape)
    if swath is None:
        return []
    along = swath.across + 0.3 * smooth_field(rng, swath.cover.shape, max(float(half[0]), 2))
    folds = 1 + 0.3 * np.cos(np.float32(rng.uniform(3, 12)) * along)
    weave = 1 + 0.1 * smooth_field(rng, swath.cover.shape, 1.5)
    ends = smoothstep(swath.along, 0.0, 0.01) * smoothstep(-swath.along, -1.0, -0.99)
    colour = brightener(rng) * np.exp(rng.normal(0, 0.3, 3))
    shade = np.clip(folds * weave, 0.15, 2)
    return [glowing(swath.window, np.asarray(swath.cover * ends, np.float32), shade, colour, 0.5)]


def paint_twine(here: Place) -> Pieces:
    """Paint garden twine, of plant fibre (cream) or of plastic (blue-white)."""
    rng, scene, at, shape = here.rng, here.scene, here.at, here.shape
    line = wander(rng, at, rng.uniform(100, 400) * scene.px_per_mm, 1.2)
    half = rng.uniform(0.7, 1.7) * scene.px_per_mm
    colour = brightener(rng) if rng.random() < 0.5 else CREAM * rng.uniform(0.15, 0.5)
    return _strand(line, half, 4 * half, colour, shape)


def paint_lint(here: Place) -> Pieces:
    """Paint some curly fibres of bright cloth."""
    rng, scene, at, shape = here.rng, here.scene, here.at, here.shape
    pieces: Pieces = []
    for _ in range(int(rng.integers(3, 14))):
        where = at + rng.normal(0, 25 * scene.px_per_mm, 2)
        line = wander(rng, where, rng.uniform(2, 14) * scene.px_per_mm, 3.0)
        half = rng.uniform(0.05, 0.2) * scene.px_per_mm
        pieces += _strand(line, half, 0, brightener(rng), shape)
    return pieces


def _strand(
    line: Points,
    half_px: float,
    twist_px: float,
    colour: AnyFloats,
    shape: tuple[int, int],
) -> Pieces:
    """Return a thread, twisted where ``twist_px`` is above 0."""
    swath = follow(Ribbon(line, np.full(len(line), max(half_px, 0.5))), shape)
    if swath is None:
        return []
    shade = 0.5 + 0.5 * np.sqrt(np.clip(1 - swath.across**2 * 0.9, 0, 1))
    if twist_px > 0:
        length = np.hypot(*np.diff(line, axis=0).T).sum()
        phase = swath.along * np.float32(length / twist_px) + 0.35 * swath.across
        shade = shade * (0.7 + 0.3 * np.cos(2 * np.pi * phase))
    return [glowing(swath.window, swath.cover, shade, colour, 0.3)]


def paint_cane(here: Place) -> Pieces:
    """Paint a dry stick or bamboo with knots, right through the photo."""
    rng, scene, at, shape = here.rng, here.scene, here.at, here.shape
    angle = rng.normal(np.pi / 2, 0.25)
    way = np.array([np.cos(angle), np.sin(angle)])
    line = at + np.linspace(-1, 1, 80)[:, None] * 1.5 * max(shape) * way
    half = rng.uniform(3, 9) * scene.px_per_mm
    swath = follow(Ribbon(line, np.full(80, half)), shape)
    if swath is None:
        return []
    knots = swath.along * np.float32(3 * max(shape) / (rng.uniform(80, 250) * scene.px_per_mm))
    shade = np.sqrt(np.clip(1 - 0.9 * swath.across**2, 0.05, 1))
    shade *= 1 - 0.5 * np.exp(-(((knots - np.rint(knots)) / 0.02) ** 2))
    shade *= np.exp(0.12 * smooth_field(rng, shade.shape, 2.5, 2))
    return [glowing(swath.window, swath.cover, shade, CREAM * rng.uniform(0.08, 0.35), 0.35)]
