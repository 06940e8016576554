"""What is no dropping though it may look like one: crumbs, seeds, spots, gaps, shade, aphids."""

from collections.abc import Callable

import cv2
import numpy as np

from scripts.workshop.rendered.collage.outlines import outline
from scripts.workshop.rendered.collage.palette import FAMILIES, colour_of, draw_palette
from scripts.workshop.rendered.collage.sheet import Sheet, cover_of, dome_of, mottled
from scripts.workshop.rendered.fields import AnyFloats, Floats, blur, smooth_field
from scripts.workshop.rendered.shape import Points, turned

__all__ = ["DARK", "SHELLS", "lay_bit", "lay_gap", "lay_seed", "lay_shell", "lay_spot", "scatter"]

Rng = np.random.Generator
Lay = Callable[[Rng, Sheet, Points, float, Floats], None]

DARK = np.array([0.02, 0.016, 0.013])
"""Linear reflectance of the darkest litter."""

_SEEDS = np.array([[0.5, 0.38, 0.2], [0.3, 0.2, 0.1], [0.1, 0.07, 0.04], [0.02, 0.016, 0.013]])
_APHIDS = np.array([[0.2, 0.3, 0.08], [0.02, 0.016, 0.013], [0.35, 0.18, 0.14]])
SHELLS = np.array(
    [[0.02, 0.018, 0.016], [0.06, 0.055, 0.05], [0.05, 0.03, 0.015], [0.05, 0.08, 0.03],
     [0.16, 0.15, 0.14], [0.2, 0.06, 0.03]]
)  # fmt: skip
"""Linear reflectance of insects and eggs with smooth shells."""

_HALO = np.array([0.34, 0.36, 0.07])
_DEAD = np.array([[0.12, 0.07, 0.04], [0.06, 0.04, 0.045], [0.1, 0.075, 0.09], [0.2, 0.13, 0.08]])
_PALE = np.array([0.3, 0.24, 0.17])
_GROUNDS = ("soil", "mulch", "straw", "gravel", "paper")


def lay_bit(
    rng: Rng,
    sheet: Sheet,
    kind: str,
    at: Points,
    length_px: float,
    colour: AnyFloats,
    height: float,
    *,
    gloss: float = 0.0,
    mottle: float = 0.2,
) -> None:
    """Lay one solid bit; ``height`` is relative to its half width."""
    points = outline(rng, kind, length_px, at)
    window = sheet.window(points, 2)
    if window is None:
        return
    cover = cover_of(points, window)
    size = (cover.shape[0], cover.shape[1])
    relief = dome_of(cover, height)
    cell = max(float(relief.max()) / max(height, 0.1) * 0.5, 1.5)
    relief *= 1 + np.float32(0.35 * rng.random()) * smooth_field(rng, size, cell, 2)
    face = mottled(rng, colour, size, length_px * rng.uniform(0.1, 0.5), mottle)
    sheet.cast(window, cover, max(float(relief.max()), 0.3))
    light = sheet.lit(face, relief)
    if gloss:
        light += gloss * sheet.glint(relief, rng.uniform(6, 40))[..., None]
    sheet.cover(window, cover, light)
    sheet.hide(window, cover)


def _stain(
    rng: Rng, sheet: Sheet, at: Points, length_px: float, colour: AnyFloats, share: float,
    soft: float,
) -> None:  # fmt: skip
    """Colour the ground itself, with an edge from sharp (0) to soft (1)."""
    kind = str(rng.choice(["blob", "disc", "polygon", "crumb", "crust"]))
    points = outline(rng, kind, length_px, at)
    window = sheet.window(points, 0.3 * length_px + 4)
    if window is not None:
        cover = share * blur(cover_of(points, window), 0.4 + 0.12 * soft * length_px)
        size = (cover.shape[0], cover.shape[1])
        face = mottled(rng, colour, size, length_px * rng.uniform(0.1, 0.5), 0.15)
        sheet.cover(window, cover.astype(np.float32), face)


def _crumb(rng: Rng, sheet: Sheet, at: Points, length_px: float, palette: Floats) -> None:
    kind = str(rng.choice(["crumb", "crust", "polygon", "blob"], p=[0.5, 0.25, 0.15, 0.1]))
    lay_bit(rng, sheet, kind, at, length_px, _earth_or_dark(rng, palette, 1.0),
            rng.uniform(0.3, 0.95), mottle=rng.uniform(0.1, 0.4))  # fmt: skip


def _stone(rng: Rng, sheet: Sheet, at: Points, length_px: float, palette: Floats) -> None:
    colour = colour_of(rng, palette) * rng.uniform(1, 3)
    lay_bit(rng, sheet, "blob", at, length_px, colour, rng.uniform(0.3, 0.9), mottle=0.15)


def lay_seed(rng: Rng, sheet: Sheet, at: Points, length_px: float) -> None:
    """Lay a smooth seed, dark or pale, oval or pointed, shiny or matt, often paler at its rim."""
    gloss = float(rng.uniform(0, 0.25) * (rng.random() < 0.5))
    colour = _SEEDS[rng.integers(len(_SEEDS))] * np.exp(rng.normal(0, 0.3))
    kind = str(rng.choice(["drop", "lens", "disc"], p=[0.35, 0.25, 0.4]))
    lay_bit(rng, sheet, kind, at, length_px, colour, rng.uniform(0.1, 0.9), gloss=gloss,
            mottle=rng.uniform(0.02, 0.12))  # fmt: skip
    if rng.random() < 0.3:
        _stain(rng, sheet, at, 0.6 * length_px, colour * rng.uniform(0.4, 1.8), 0.6, 0.7)


def lay_spot(rng: Rng, sheet: Sheet, at: Points, length_px: float) -> None:
    """Paint a lesion: flat, often with a yellow halo, now and then with a pale middle."""
    if rng.random() < 0.7:
        halo = _HALO * np.exp(rng.normal(0, 0.3))
        _stain(rng, sheet, at, length_px * rng.uniform(1, 2), halo, rng.uniform(0.3, 0.9), 0.5)
    _blot(rng, sheet, at, length_px)
    if rng.random() < 0.3:
        _stain(rng, sheet, at, 0.5 * length_px, _PALE, 0.8, 0.5)


def _blot(rng: Rng, sheet: Sheet, at: Points, length_px: float) -> None:
    dark = DARK * np.exp(rng.normal(0, 0.6)) * rng.uniform(1, 6)
    colour = dark if rng.random() < 0.7 else _DEAD[rng.integers(len(_DEAD))]
    _stain(rng, sheet, at, length_px, colour, rng.uniform(0.7, 1), rng.uniform(0, 0.7))


def lay_gap(rng: Rng, sheet: Sheet, at: Points, length_px: float) -> None:
    """Darken a gap between things."""
    points = outline(rng, str(rng.choice(["polygon", "rod", "chip"])), 1.3 * length_px, at)
    _darken(sheet, points, rng.uniform(0.4, 1.5), rng.uniform(0.7, 0.97))


def _shade(rng: Rng, sheet: Sheet, at: Points, length_px: float) -> None:
    points = outline(rng, "blob", length_px * rng.uniform(1, 5), at)
    _darken(sheet, points, rng.uniform(1, 0.15 * length_px + 1.2), rng.uniform(0.3, 0.8))


def _darken(sheet: Sheet, points: Points, soft_px: float, share: float) -> None:
    window = sheet.window(points, 3 * soft_px)
    if window is not None:
        dark = np.float32(share) * blur(cover_of(points, window), soft_px)
        sheet.light[window] *= 1 - dark[..., None]


def _aphid(rng: Rng, sheet: Sheet, at: Points, length_px: float) -> None:
    colour = _APHIDS[rng.integers(len(_APHIDS))]
    tone = tuple(float(part) for part in 1.3 * colour)
    for _ in range(6):
        reach = length_px * rng.uniform(0.4, 0.6)
        foot = at + turned(np.array([[reach, 0.0]]), rng.uniform(0, 2 * np.pi))[0]
        ends = np.rint(np.stack([at, foot])).astype(np.int32)
        thick = max(1, int(0.04 * length_px))
        cv2.polylines(sheet.light, [ends], False, tone, thick, cv2.LINE_AA)
    body = "drop" if rng.random() < 0.6 else "disc"
    lay_bit(rng, sheet, body, at, 0.7 * length_px, colour, 0.8,
            gloss=rng.uniform(0, 0.4), mottle=0.05)  # fmt: skip


def lay_shell(rng: Rng, sheet: Sheet, at: Points, length_px: float) -> None:
    """Lay a smooth, shiny insect or egg, oval or pear-shaped."""
    colour = SHELLS[rng.integers(len(SHELLS))] * np.exp(rng.normal(0, 0.3))
    lay_bit(rng, sheet, "disc" if rng.random() < 0.75 else "drop", at, length_px, colour,
            rng.uniform(0.6, 1.0), gloss=rng.uniform(0.08, 0.7),
            mottle=rng.uniform(0.0, 0.08))  # fmt: skip


def _stalk(rng: Rng, sheet: Sheet, at: Points, length_px: float, palette: Floats) -> None:
    lay_bit(rng, sheet, "rod", at, length_px * rng.uniform(1.5, 4),
            _earth_or_dark(rng, palette, 2.0), rng.uniform(0.2, 0.7))  # fmt: skip


def _flake(rng: Rng, sheet: Sheet, at: Points, length_px: float, palette: Floats) -> None:
    lay_bit(rng, sheet, str(rng.choice(["chip", "polygon"])), at, length_px * rng.uniform(0.8, 2),
            _earth_or_dark(rng, palette, 2.0), rng.uniform(0.05, 0.3), mottle=0.25)  # fmt: skip


def _hole(rng: Rng, sheet: Sheet, at: Points, length_px: float) -> None:
    """Paint a hole through which another ground shows."""
    below = draw_palette(rng, str(rng.choice(_GROUNDS)))[0] * rng.uniform(0.05, 1)
    _stain(rng, sheet, at, length_px * rng.uniform(0.8, 1.6), below, 1.0, 0.0)


def _earth_or_dark(rng: Rng, palette: Floats, lighter: float) -> AnyFloats:
    if rng.random() < 0.6:
        return colour_of(rng, palette)
    return np.asarray(DARK * np.exp(rng.normal(0, 0.6)) * lighter)


def _own(lay: Callable[[Rng, Sheet, Points, float], None]) -> Lay:
    """Let what has colours of its own be given a palette too."""
    return lambda rng, sheet, at, length_px, _palette: lay(rng, sheet, at, length_px)


_BITS: dict[str, Lay] = {
    "crumb": _crumb, "stone": _stone, "seed": _own(lay_seed), "spot": _own(lay_spot),
    "blot": _own(_blot), "gap": _own(lay_gap), "shade": _own(_shade), "aphid": _own(_aphid),
    "stalk": _stalk, "flake": _flake, "hole": _own(_hole), "shell": _own(lay_shell),
}  # fmt: skip


def scatter(rng: Rng, sheet: Sheet, dropping_px: float) -> None:
    """Lay up to three kinds of bits anywhere, about as large as droppings."""
    families = [name for name in FAMILIES if name not in ("paper", "straw")]
    for kind in rng.permutation(list(_BITS))[: rng.integers(0, 4)]:
        palette = draw_palette(rng, str(rng.choice(families))) * np.float32(rng.uniform(0.2, 1.2))
        usual = dropping_px * np.exp(rng.normal(0, 0.35))
        few = rng.random() < 0.8
        for _ in range(int(rng.integers(2, 22) if few else rng.integers(20, 60))):
            at = rng.uniform((0, 0), sheet.shape[::-1])
            length = max(float(usual * np.exp(rng.normal(0, 0.35))), 4.0)
            _BITS[str(kind)](rng, sheet, at, length, palette)
