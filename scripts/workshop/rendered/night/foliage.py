"""Tomato foliage under UV: compound leaves in layers, stems, and the dark behind them."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.fields import Floats, blisters, blur, smooth_field
from scripts.workshop.rendered.night.scene import NightScene
from scripts.workshop.rendered.night.sheet import Painted, Sheet, Surface
from scripts.workshop.rendered.ribbon import Ribbon, Window, follow, frame_window
from scripts.workshop.rendered.scene import Scene
from scripts.workshop.rendered.shape import Leaflet, Points, draw_leaflet, place

__all__ = ["LeafMaterial", "cover_of", "foliage_material", "lay_foliage", "leaf_surface",
           "leaflet_piece", "stem_piece"]  # fmt: skip

_PATTERNS = 6  # outlines drawn; each is used many times, turned and scaled
_DAY_SOIL = np.array([0.10, 0.07, 0.05], np.float32)
_CHLOROPHYLL = np.array([1.0, 0.04, 0.08], np.float32)  # 690 nm, as a phone sees it
_WALL = np.array([0.25, 0.8, 1.0], np.float32)  # 450 and 530 nm
_DAY_GREEN = np.array([0.06, 0.14, 0.05], np.float32)


@dataclass(frozen=True, eq=False)
class LeafMaterial:
    """What foliage sends back under the torch.

    Attributes
    ----------
    red : float
        Chlorophyll's red glow, most of it behind the camera's infrared filter.
    wall : float
        Blue-green glow of cell walls, strongest in veins and stems.
    violet : float
        Reflectance in violet.
    texture, relief : ndarray of float32, shape of the photo
        Factors with mean near 1 that leaves take over.
    outlines : tuple of Leaflet
        Of length 1.
    """

    red: float
    wall: float
    violet: float
    texture: Floats
    relief: Floats
    outlines: tuple[Leaflet, ...]


def foliage_material(rng: np.random.Generator, scene: NightScene) -> LeafMaterial:
    """Draw the material for a scene's tone.

    Chlorophyll glows at 690 and 735 nm, cell walls near 450 and 530 nm (Lichtenthaler and others);
    how much of it a phone shows differs widely.
    """
    red, wall, violet = {
        "purple": (0.016, 0.005, 0.075),
        "red": (0.050, 0.004, 0.030),
        "black": (0.006, 0.003, 0.018),
        "blue": (0.006, 0.012, 0.065),
        "teal": (0.008, 0.030, 0.020),
    }[scene.tone]
    each = np.exp(rng.normal(0, (0.25, 0.6, 0.25))) * scene.foliage_glow
    shape = (scene.height_px, scene.width_px)
    cell = scene.px_per_mm * rng.uniform(1.8, 3.5)
    texture = np.exp(0.22 * smooth_field(rng, shape, max(cell, 1.5), 2))
    relief = 1 + 0.15 * smooth_field(rng, shape, max(9 * scene.px_per_mm, 4), 2)
    if cell > 4:
        domes, net = blisters(rng, shape, cell)
        relief = relief * (0.8 + 0.4 * domes) * (1 - 0.2 * net)
    plain = Scene(lobing=float(rng.uniform(0.2, 0.9)))
    outlines = tuple(draw_leaflet(rng, plain) for _ in range(_PATTERNS))
    fields = texture.astype(np.float32), relief.astype(np.float32)
    return LeafMaterial(red * each[0], wall * each[1], violet * each[2], *fields, outlines)


def lay_foliage(
    rng: np.random.Generator, scene: NightScene, sheet: Sheet, material: LeafMaterial
) -> None:
    """Lay everything that grows behind the caterpillars, from the farthest on."""
    _lay_ground(rng, scene, sheet, material)
    length = scene.leaf_length_mm * scene.px_per_mm
    area = sheet.shape[0] * sheet.shape[1]
    for layer, near in enumerate((0.18, 0.45, 0.9)):
        whole = area / (1.6 * length**2)  # leaves that would cover the photo about once
        count = int(np.clip(scene.density * whole * rng.uniform(0.8, 1.3), 0, 90))
        for _ in range(max(count, 1 if scene.density > 0.1 else 0)):
            at = rng.uniform((-0.1, -0.1), (1.1, 1.1)) * sheet.shape[::-1]
            bright = near * np.exp(rng.normal(0, 0.2))
            _lay_compound_leaf(rng, sheet, material, at, length * rng.uniform(0.7, 1.3), bright)
        for _ in range(int(rng.integers(0, 3))):
            _lay_some_stem(rng, scene, sheet, material, near)
        if layer == 0:
            soft = rng.uniform(0.5, 3) * max(1.0, 0.002 * max(sheet.shape))
            sheet.glow, sheet.violet = blur(sheet.glow, soft), blur(sheet.violet, soft)


def _lay_ground(
    rng: np.random.Generator, scene: NightScene, sheet: Sheet, material: LeafMaterial
) -> None:
    """Lay soil far below, nearly dark."""
    rough = np.exp(0.5 * smooth_field(rng, sheet.shape, max(5 * scene.px_per_mm, 3), 4))
    rough *= np.float32(rng.uniform(0.1, 0.5))
    everywhere = (slice(0, sheet.shape[0]), slice(0, sheet.shape[1]))
    glow = rough[..., None] * np.array([0.006, 0.004, 0.004], np.float32)
    surface = Surface(glow, 0.4 * material.violet * rough, rough, _DAY_SOIL)
    sheet.lay(Painted(everywhere, np.ones(sheet.shape, np.float32), surface))


def _lay_compound_leaf(
    rng: np.random.Generator,
    sheet: Sheet,
    material: LeafMaterial,
    at: Points,
    length: float,
    bright: float,
) -> None:
    """Lay a leaf of three to seven leaflets on a stalk; ``at`` is where the end leaflet starts."""
    angle = rng.uniform(0, 2 * np.pi)
    way = np.array([np.cos(angle), np.sin(angle)])
    pairs, spacing = int(rng.integers(1, 4)), length * rng.uniform(0.4, 0.6)
    back = np.linspace(0, spacing * (pairs + 0.5), 20)[:, None]
    stalk = np.asarray(at) - back * way
    _lay_stem(sheet, material, Ribbon(stalk, np.full(20, 0.018 * length)), bright)
    for pair in range(pairs, 0, -1):
        for side in (-1, 1):
            turn = angle + side * rng.uniform(0.8, 1.4)
            base = at - spacing * (pair - 0.4 + rng.normal(0, 0.06)) * way
            size = length * rng.uniform(0.6, 0.95)
            _lay_leaflet(rng, sheet, material, (base, turn, size), bright)
    _lay_leaflet(rng, sheet, material, (np.asarray(at), angle, length), bright)


def _lay_leaflet(
    rng: np.random.Generator,
    sheet: Sheet,
    material: LeafMaterial,
    where: tuple[Points, float, float],
    bright: float,
) -> None:
    leaf = leaflet_piece(rng, material, where, bright, sheet.shape)
    if leaf is not None:
        sheet.lay(leaf, 0.6, max(0.03 * where[2], 1.0))


def leaflet_piece(
    rng: np.random.Generator,
    material: LeafMaterial,
    where: tuple[Points, float, float],
    bright: float,
    shape: tuple[int, int],
) -> Painted | None:
    """Paint a leaflet: base, direction of the tip and length in ``where``; None if outside."""
    base, angle, size = where
    unit = material.outlines[int(rng.integers(len(material.outlines)))]
    leaflet = place(unit, angle, size, (float(base[0]), float(base[1])))
    window = frame_window(leaflet.outline, 2, shape)
    tilt, lit = rng.normal(0, 0.35, 2), bright * np.exp(rng.normal(0, 0.22))
    pale = float(np.exp(rng.normal(0, 0.3)))
    if window is None:
        return None
    shade = material.texture[window] * material.relief[window] * np.float32(lit)
    shade = shade * _gradient(window, base, size, tilt)
    vein = _veins(leaflet, window, size)
    return Painted(
        window, cover_of(leaflet.outline, window), leaf_surface(material, shade, vein, pale)
    )


def leaf_surface(material: LeafMaterial, shade: Floats, vein: Floats, pale: float) -> Surface:
    """Return a leaf's material; veins hold less chlorophyll and more cell wall."""
    red = shade * (1 - 0.5 * vein) * np.float32(material.red)
    wall = shade * (1 + 2.5 * vein * np.float32(pale)) * np.float32(material.wall)
    glow = red[..., None] * _CHLOROPHYLL + wall[..., None] * _WALL
    violet = shade * (1 + 0.8 * vein * np.float32(pale)) * np.float32(material.violet)
    return Surface(glow, violet, shade, _DAY_GREEN)


def cover_of(outline: Points, window: Window) -> Floats:
    """Return the anti-aliased share of each pixel of a window inside an outline."""
    canvas = np.zeros(
        (window[0].stop - window[0].start, window[1].stop - window[1].start), np.uint8
    )
    points = np.rint((outline - (window[1].start, window[0].start)) * 16).astype(np.int32)
    cv2.fillPoly(canvas, [points], 255, cv2.LINE_AA, shift=4)
    return np.asarray(canvas.astype(np.float32) / np.float32(255), np.float32)


def _gradient(window: Window, base: Points, size: float, tilt: NDArray[np.float64]) -> Floats:
    """Return a leaflet's brightness from its tilt to the torch, mean near 1."""
    y = (np.arange(window[0].start, window[0].stop) - base[1])[:, None] / size
    x = (np.arange(window[1].start, window[1].stop) - base[0])[None, :] / size
    return np.asarray(np.clip(1 + tilt[0] * x + tilt[1] * y, 0.35, 1.8), np.float32)


def _veins(leaflet: Leaflet, window: Window, size: float) -> Floats:
    """Return 1 on the veins of a placed leaflet, 0 off them."""
    canvas = np.zeros(
        (window[0].stop - window[0].start, window[1].stop - window[1].start), np.uint8
    )
    half = len(leaflet.outline) // 2
    corner = np.array([window[1].start, window[0].start])
    base, tip = np.asarray(leaflet.base), leaflet.outline[half]
    thick = max(1, round(0.012 * size))
    _line(canvas, base - corner, tip - corner, 255, thick)
    for at in leaflet.veins[0][1:-1]:
        start = base + at * (tip - base)
        for side in (leaflet.outline[:half], leaflet.outline[half:][::-1]):
            end = start + 0.85 * (side[int(len(side) * min(at + 0.1, 0.95))] - start)
            _line(canvas, start - corner, end - corner, 150, max(1, thick // 2))
    faint = np.float32(1 / 255) if size > 60 else np.float32(size / 60 / 255)
    return np.asarray(canvas.astype(np.float32) * faint, np.float32)


def _line(canvas: NDArray[np.uint8], start: Points, end: Points, tone: int, thick: int) -> None:
    ends = [(round(float(x) * 16), round(float(y) * 16)) for x, y in (start, end)]
    cv2.line(canvas, ends[0], ends[1], tone, thick, cv2.LINE_AA, shift=4)


def _lay_stem(sheet: Sheet, material: LeafMaterial, ribbon: Ribbon, bright: float) -> None:
    stem = stem_piece(material, ribbon, bright, 1.0, sheet.shape)
    if stem is not None:
        sheet.lay(stem, 0.5)


def stem_piece(
    material: LeafMaterial,
    ribbon: Ribbon,
    bright: float,
    pale: float,
    shape: tuple[int, int],
) -> Painted | None:
    """Paint a round, hairy stem; ``pale`` above 1 for dry or pale ones; None if outside."""
    swath = follow(ribbon, shape)
    if swath is None:
        return None
    round_off = np.sqrt(np.clip(1 - 0.9 * swath.across**2, 0.05, 1))
    grain = material.texture[swath.window]
    shade = (round_off * grain * np.float32(bright)).astype(np.float32)
    surface = leaf_surface(material, shade, np.full_like(shade, 0.8), pale)
    return Painted(swath.window, swath.cover, surface)


def _lay_some_stem(
    rng: np.random.Generator,
    scene: NightScene,
    sheet: Sheet,
    material: LeafMaterial,
    near: float,
) -> None:
    """Lay a main stem or side shoot right through the photo."""
    rows, cols = sheet.shape
    middle = rng.uniform((0.1, 0.1), (0.9, 0.9)) * (cols, rows)
    angle, reach = rng.normal(np.pi / 2, 0.6), 0.75 * np.hypot(rows, cols)
    u = np.linspace(-1, 1, 120)[:, None]
    way = np.array([np.cos(angle), np.sin(angle)])
    across = np.array([-way[1], way[0]])
    line = middle + reach * u * way + rng.normal(0, 0.1) * reach * u**2 * across
    half = scene.px_per_mm * rng.uniform(1.5, 5.5)
    _lay_stem(sheet, material, Ribbon(line, np.full(120, half)), near)
