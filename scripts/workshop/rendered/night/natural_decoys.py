"""Decoys that grow, fall or settle in a garden, and the torch mirrored in what is wet."""

import cv2
import numpy as np

from scripts.workshop.rendered.fields import smooth_field
from scripts.workshop.rendered.night.decoy_tools import (
    BRIGHTENER,
    Pieces,
    Place,
    blob,
    distances,
    glowing,
    outlined,
    wander,
)
from scripts.workshop.rendered.night.foliage import LeafMaterial, leaflet_piece, stem_piece
from scripts.workshop.rendered.night.sheet import Painted, Surface
from scripts.workshop.rendered.ribbon import Ribbon
from scripts.workshop.rendered.scene import Scene
from scripts.workshop.rendered.shape import draw_leaflet, place, turned

__all__ = ["paint_bird_dropping", "paint_dead_leaf", "paint_dew", "paint_egg", "paint_flower",
           "paint_fruit", "paint_glare", "paint_pollen", "paint_stem", "paint_vein"]  # fmt: skip

_WATER = np.array([0.03, 0.03, 0.03], np.float32)
_DAY_FRUIT = np.array([0.2, 0.3, 0.1], np.float32)
_POLLEN = np.array([0.85, 1.0, 0.12], np.float32)


def paint_stem(here: Place) -> Pieces:
    """Paint a pale, dry stem: much cell wall, little chlorophyll."""
    rng, scene, material, at, shape = here.rng, here.scene, here.material, here.at, here.shape
    line = wander(rng, at, rng.uniform(1.0, 2.0) * max(shape), 0.3)
    half = rng.uniform(1.2, 5) * scene.px_per_mm
    pale = LeafMaterial(0.3 * material.red, rng.uniform(0.01, 0.06), 1.5 * material.violet,
                        material.texture, material.relief, material.outlines)  # fmt: skip
    stem = stem_piece(pale, Ribbon(line, np.full(80, half)), 1.0, 1.3, shape)
    return [] if stem is None else [stem]


def paint_vein(here: Place) -> Pieces:
    """Paint a leaflet whose veins stand out pale."""
    rng, scene, material, at, shape = here.rng, here.scene, here.material, here.at, here.shape
    strong = LeafMaterial(material.red, rng.uniform(0.006, 0.03), material.violet,
                          material.texture, material.relief, material.outlines)  # fmt: skip
    size = scene.leaf_length_mm * scene.px_per_mm * float(rng.uniform(0.9, 1.4))
    where = (at, float(rng.uniform(0, 2 * np.pi)), size)
    leaf = leaflet_piece(rng, strong, where, 1.0, shape)
    return [] if leaf is None else [leaf]


def paint_flower(here: Place) -> Pieces:
    """Paint one to five tomato flowers: pointed petals, yellow-green, with a cone."""
    rng, scene, at, shape = here.rng, here.scene, here.at, here.shape
    pieces: Pieces = []
    colour = np.array([rng.uniform(0.6, 1.0), 1.0, rng.uniform(0.03, 0.25)])
    colour *= rng.uniform(0.12, 0.5)
    for _ in range(int(rng.integers(1, 6))):
        where = at + rng.normal(0, 14 * scene.px_per_mm, 2)
        reach = rng.uniform(6, 13) * scene.px_per_mm
        petals = int(rng.integers(5, 7))
        angle = np.linspace(0, 2 * np.pi, 240)
        wave = np.abs(np.cos(petals * (angle + rng.uniform(0, 6)) / 2)) ** rng.uniform(0.8, 2)
        squash = np.array([1, rng.uniform(0.45, 1)])
        ring = np.stack([np.cos(angle), np.sin(angle)], axis=1) * (0.25 + 0.75 * wave)[:, None]
        made = outlined(turned(ring * squash * reach, rng.uniform(0, 6)) + where, shape)
        if made is None:
            continue
        window, cover = made
        away = np.hypot(*distances(window, where)) / reach
        shade = (0.55 + 0.45 * away) * np.exp(0.15 * smooth_field(rng, cover.shape, 2.5, 2))
        shade = np.where(away < 0.22, 1.4, shade)
        pieces.append(glowing(window, cover, shade.astype(np.float32), colour, 0.1))
    return pieces


def paint_glare(here: Place) -> Pieces:
    """Paint the torch mirrored in wet or waxy leaves: violet, with soft edges."""
    rng, scene, at, shape = here.rng, here.scene, here.at, here.shape
    pieces: Pieces = []
    for _ in range(int(rng.integers(1, 7))):
        where = at + rng.normal(0, 0.08 * max(shape), 2)
        radius = rng.uniform(2, 14) * scene.px_per_mm
        soft_px = max(rng.uniform(0.1, 0.35) * radius, 1.0)
        made = blob(rng, where, radius, 0.2, rng.uniform(0.15, 0.8), shape, 3 * soft_px)
        if made is None:
            continue
        window, cover = made
        soft = cv2.GaussianBlur(cover, (0, 0), soft_px)
        shade = np.exp(0.3 * smooth_field(rng, cover.shape, max(0.3 * radius, 2)))
        violet = shade * np.float32(rng.uniform(0.5, 2.5))
        glow = np.zeros((*cover.shape, 3), np.float32) + np.float32(0.01)
        pieces.append(
            Painted(window, np.asarray(soft, np.float32), Surface(glow, violet, violet, _WATER))
        )
    return pieces


def paint_pollen(here: Place) -> Pieces:
    """Paint yellow-green dust: many specks of about a pixel."""
    rng, scene, at, shape = here.rng, here.scene, here.at, here.shape
    pieces: Pieces = []
    for _ in range(int(rng.integers(20, 70))):
        where = at + rng.normal(0, 12 * scene.px_per_mm, 2)
        radius = max(rng.uniform(0.08, 0.3) * scene.px_per_mm, 0.6)
        made = blob(rng, where, radius, 0.1, 0.9, shape)
        if made is not None:
            pieces.append(glowing(*made, np.ones(made[1].shape, np.float32),
                                   _POLLEN * rng.uniform(0.15, 0.8), 0.1))  # fmt: skip
    return pieces


def paint_dew(here: Place) -> Pieces:
    """Paint drops that mirror the torch as a point and show a lit rim."""
    rng, scene, material, at, shape = here.rng, here.scene, here.material, here.at, here.shape
    pieces: Pieces = []
    for _ in range(int(rng.integers(8, 40))):
        where = at + rng.normal(0, 30 * scene.px_per_mm, 2)
        radius = max(rng.uniform(0.4, 2.2) * scene.px_per_mm, 1.0)
        made = blob(rng, where, radius, 0.05, rng.uniform(0.75, 1), shape)
        if made is None:
            continue
        window, cover = made
        x, y = (part / radius for part in distances(window, where))
        rim = np.exp(-(((np.hypot(x, y) - 0.85) / 0.15) ** 2))
        point = np.exp(-(((x + 0.3) ** 2 + (y + 0.3) ** 2) / 0.04))
        violet = (0.3 * material.violet + 0.25 * rim + rng.uniform(1, 4) * point).astype(np.float32)
        glow = np.asarray(0.08 * point[..., None] * BRIGHTENER + 0.001, np.float32)
        clear = np.asarray(cover * (0.35 + 0.65 * np.maximum(rim, point)), np.float32)
        pieces.append(Painted(window, clear, Surface(glow, violet, violet, _WATER)))
    return pieces


def paint_egg(here: Place) -> Pieces:
    """Paint single round eggs of 1.5 mm, pale green to white, with hardly any glow."""
    rng, scene, at, shape = here.rng, here.scene, here.at, here.shape
    pieces: Pieces = []
    for _ in range(int(rng.integers(1, 6))):
        where = at + rng.normal(0, 35 * scene.px_per_mm, 2)
        radius = max(0.75 * scene.px_per_mm * rng.uniform(0.85, 1.15), 0.7)
        made = blob(rng, where, radius, 0.02, rng.uniform(0.85, 1), shape)
        if made is None:
            continue
        away = np.hypot(*distances(made[0], where)) / radius
        shade = np.sqrt(np.clip(1.1 - away**2, 0.1, 1))
        colour = np.array([0.6, 0.9, 0.75]) * rng.uniform(0.03, 0.25)
        pieces.append(glowing(*made, shade, colour, 0.35))
    return pieces


def paint_dead_leaf(here: Place) -> Pieces:
    """Paint a dry leaflet, crumpled: dull whitish-yellow, without chlorophyll."""
    rng, scene, at, shape = here.rng, here.scene, here.at, here.shape
    size = scene.leaf_length_mm * scene.px_per_mm * rng.uniform(0.5, 1.0)
    leaf = draw_leaflet(rng, Scene(), rng.uniform(0.4, 0.9))
    placed = place(leaf, rng.uniform(0, 6), size, (float(at[0]), float(at[1])))
    made = outlined(placed.outline, shape)
    if made is None:
        return []
    window, cover = made
    crumple = 1 + 0.4 * smooth_field(rng, cover.shape, max(0.15 * size, 2), 3)
    colour = np.array([0.9, 0.85, rng.uniform(0.4, 0.9)]) * rng.uniform(0.04, 0.25)
    return [glowing(window, cover, np.clip(crumple, 0.1, 2), colour, 0.3)]


def paint_bird_dropping(here: Place) -> Pieces:
    """Paint a white splash with a dark middle and splashes beside it."""
    rng, scene, at, shape = here.rng, here.scene, here.at, here.shape
    pieces: Pieces = []
    for number in range(int(rng.integers(1, 5))):
        radius = (rng.uniform(4, 10) if number == 0 else rng.uniform(0.6, 2)) * scene.px_per_mm
        where = at + (number > 0) * rng.normal(0, 12 * scene.px_per_mm, 2)
        made = blob(rng, where, max(radius, 0.8), 0.25, rng.uniform(0.5, 1), shape)
        if made is None:
            continue
        away = np.hypot(*distances(made[0], where)) / radius
        shade = np.where(away < 0.35, 0.15, 1.0) * np.exp(0.2 * smooth_field(rng, away.shape, 2.5))
        colour = np.array([0.7, 0.8, 0.9]) * rng.uniform(0.08, 0.6)
        pieces.append(glowing(*made, shade.astype(np.float32), colour, 0.5))
    return pieces


def paint_fruit(here: Place) -> Pieces:
    """Paint one to three green fruits: dull, with the torch mirrored in the skin."""
    rng, scene, at, shape = here.rng, here.scene, here.at, here.shape
    pieces: Pieces = []
    for _ in range(int(rng.integers(1, 4))):
        radius = rng.uniform(10, 32) * scene.px_per_mm
        where = at + rng.normal(0, 35 * scene.px_per_mm, 2)
        made = blob(rng, where, radius, 0.03, rng.uniform(0.85, 1), shape)
        if made is None:
            continue
        x, y = (part / radius for part in distances(made[0], where))
        dome = np.sqrt(np.clip(1.05 - x * x - y * y, 0.03, 1))
        mirror = np.exp(-(((x + 0.2) ** 2 + (y + 0.25) ** 2) / 0.012))
        glow = dome[..., None] * np.array([0.05, 0.035, 0.02]) * rng.uniform(0.4, 1.6)
        violet = (0.10 * dome + 1.5 * mirror).astype(np.float32)
        pieces.append(
            Painted(made[0], made[1], Surface(glow.astype(np.float32), violet, dome, _DAY_FRUIT))
        )
    return pieces
