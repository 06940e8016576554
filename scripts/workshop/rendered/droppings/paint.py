"""The story of a painted photo of droppings: the ground, litter, droppings, the camera."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.camera import photograph
from scripts.workshop.rendered.droppings.bark import paint_bark
from scripts.workshop.rendered.droppings.dropping import (
    Dropping,
    draw_dropping,
    dropping_form,
    dropping_reflectance,
)
from scripts.workshop.rendered.droppings.litter import PAINTERS, Bit, shade_patch
from scripts.workshop.rendered.droppings.scene import DroppingScene
from scripts.workshop.rendered.droppings.truth import DroppingTruth, LitterTruth, RenderedDroppings
from scripts.workshop.rendered.fields import blur
from scripts.workshop.rendered.jpeg import jpeg_loss
from scripts.workshop.rendered.leaves.paint import Painting, paint_light, settle_kind
from scripts.workshop.rendered.light import cast_shadow, shade
from scripts.workshop.rendered.ribbon import frame_window
from vision.colour import LINEAR_LIGHT
from vision.records import BACKGROUND, HALO, LEAF, LESION

__all__ = ["colour_step", "lay_on_photo", "render_droppings"]

_TRIES = 60


@dataclass(eq=False)
class _Ground:
    """The photo so far: its light, who owns each pixel, and what is taken."""

    painting: Painting
    numbers: NDArray[np.uint8]
    litter: NDArray[np.uint8]
    taken: NDArray[np.uint8]
    droppings: list[Dropping] = field(default_factory=list)

    @property
    def shape(self) -> tuple[int, int]:
        return self.numbers.shape[0], self.numbers.shape[1]


def render_droppings(scene: DroppingScene, seed: int) -> RenderedDroppings:
    """Paint a scene of droppings.

    Parameters
    ----------
    scene : DroppingScene
        What is painted.
    seed : int
        Fixes everything that the scene leaves to chance.

    Returns
    -------
    RenderedDroppings
        The photo with its exact truth. The same scene and seed give the same photo.
    """
    rng = np.random.default_rng(seed)
    day = settle_kind(rng, scene.day)
    painting = paint_light(rng, day, seed)
    if scene.ground == "mulch" and scene.bark:
        painting.canvas[:] = paint_bark(rng, day, painting.px_per_mm, scene.pale)
    if scene.ground in ("soil", "mulch"):
        painting.canvas[:] *= np.asarray(scene.tint, np.float32)
    ground = _open_ground(scene, painting)
    for number, kind in enumerate(scene.litter, start=1):
        _lay_litter(rng, scene, ground, kind, number)
    for _ in range(scene.droppings):
        _lay_dropping(rng, scene, ground)
    pixels = photograph(rng, day, painting.canvas)
    if scene.jpeg_quality < 100:
        pixels = jpeg_loss(pixels, scene.jpeg_quality)
    leaf = painting.mask != BACKGROUND
    for array in (pixels, ground.numbers, ground.litter, leaf):
        array.flags.writeable = False
    scale = painting.px_per_mm
    return RenderedDroppings(pixels, ground.numbers, ground.litter, leaf,
                             tuple(_dropping_truths(ground, pixels)),
                             tuple(_litter_truths(scene, ground)), scene, seed, scale)  # fmt: skip


def lay_on_photo(
    scene: DroppingScene, photo: NDArray[np.uint8], px_per_mm: float, seed: int
) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """Paint a scene's droppings and litter onto a photo, as they would look through its lens.

    Parameters
    ----------
    scene : DroppingScene
        Droppings, litter, light, blur and noise; its ground is not painted.
    photo : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first. Not changed.
    px_per_mm : float
        Scale of the photo.
    seed : int
        Fixes everything that the scene leaves to chance.

    Returns
    -------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        The photo with droppings on it.
    numbers : ndarray of uint8, shape (rows, columns)
        0, or the number of the dropping seen at this pixel.
    """
    rng = np.random.default_rng(seed)
    shape = photo.shape[:2]
    canvas = LINEAR_LIGHT[photo]
    before = canvas.copy()
    mask, none = np.full(shape, LEAF, np.uint8), np.zeros(shape, np.uint8)
    painting = Painting(canvas, mask, none, none, (), px_per_mm, 0)
    ground = _open_ground(replace(scene, litter=()), painting)
    for number, kind in enumerate(scene.litter, start=1):
        _lay_litter(rng, scene, ground, kind, number)
    for _ in range(scene.droppings):
        _lay_dropping(rng, scene, ground)
    # The lens blurs what is new alone: the photo has been through one already.
    change = canvas / np.maximum(before, np.float32(1e-3))
    touched = blur(np.any(np.abs(change - 1) > 0.01, axis=-1).astype(np.float32), 1.0)[..., None]
    seen = photograph(rng, replace(scene.day, vignette=0.0, height_px=shape[0], width_px=shape[1],
                                   exposure=1.0, cast=(1.0, 1.0, 1.0)), canvas)  # fmt: skip
    mixed = photo + np.clip(touched, 0, 1) * (seen.astype(np.float32) - photo)
    return np.asarray(np.rint(mixed), np.uint8), ground.numbers


def _open_ground(scene: DroppingScene, painting: Painting) -> _Ground:
    """Return the ground; on a leaf, nothing may lie outside it or across its edge."""
    shape = painting.mask.shape
    taken = np.zeros(shape, np.uint8)
    if scene.ground == "leaf":
        taken[painting.mask == BACKGROUND] = 1
    taken[:2], taken[-2:], taken[:, :2], taken[:, -2:] = 1, 1, 1, 1
    litter = np.zeros(shape, np.uint8)
    if "lesion" in scene.litter:
        sick = np.isin(painting.mask, (LESION, HALO))
        litter[sick] = scene.litter.index("lesion") + 1
    return _Ground(painting, np.zeros(shape, np.uint8), litter, taken)


def _lay_litter(
    rng: np.random.Generator, scene: DroppingScene, ground: _Ground, kind: str, number: int
) -> None:
    """Lay some bits of a kind, apart from each other and from what lies there already."""
    px = ground.painting.px_per_mm
    for _ in range(int(rng.poisson(scene.litter_count))):
        at = rng.uniform((0, 0), ground.shape[::-1])
        if kind == "shade":
            size = scene.dropping_mm * px * rng.uniform(0.6, 5)
            window, dark = shade_patch(rng, at, size, ground.shape)
            ground.painting.canvas[window] *= (1 - dark)[..., None]
            ground.litter[window][dark > 0.25] = number
        elif kind in PAINTERS:
            bit = PAINTERS[kind](rng, scene, at, px, ground.shape)
            if bit is not None and _is_free(ground, bit.window, bit.cover):
                _lay(rng, scene, ground, bit)
                ground.litter[bit.window][bit.cover >= 0.5] = number


def _is_free(ground: _Ground, window: tuple[slice, slice], cover: NDArray[np.float32]) -> bool:
    return not np.any(ground.taken[window][cover > 0.02])


def _lay(rng: np.random.Generator, scene: DroppingScene, ground: _Ground, bit: Bit) -> None:
    """Lay a bit with its shadow and take its place."""
    px = ground.painting.px_per_mm
    day = replace(scene.day, roughness=0.2)
    high = float(bit.height_px.max())
    pad = int(2 * high) + 4
    rows, cols = bit.window
    wide = (
        slice(max(0, rows.start - pad), min(ground.shape[0], rows.stop + pad)),
        slice(max(0, cols.start - pad), min(ground.shape[1], cols.stop + pad)),
    )
    cover = np.zeros((wide[0].stop - wide[0].start, wide[1].stop - wide[1].start), np.float32)
    top, left = rows.start - wide[0].start, cols.start - wide[1].start
    cover[top : top + bit.cover.shape[0], left : left + bit.cover.shape[1]] = bit.cover
    cast_shadow(ground.painting.canvas[wide], cover, scene.day, 0.7 * high)
    light = shade(rng, day, bit.reflectance, bit.height_px, bit.gloss)
    below = ground.painting.canvas[bit.window]
    below += bit.cover[..., None] * (light - below)
    gap = max(2, round(0.25 * px))
    around = cv2.dilate((cover > 0.02).astype(np.uint8), np.ones((2 * gap + 1,) * 2, np.uint8))
    ground.taken[wide] |= np.asarray(around, np.uint8)


def _lay_dropping(rng: np.random.Generator, scene: DroppingScene, ground: _Ground) -> None:
    """Lay one dropping where there is room; touching an earlier one if drawn so."""
    for _ in range(_TRIES):
        dropping = draw_dropping(rng, scene, ground.painting.px_per_mm)
        touching = bool(ground.droppings) and rng.random() < scene.clumped
        if touching:
            dropping = _beside(rng, ground, dropping)
        else:
            at = rng.uniform((0, 0), ground.shape[::-1])
            dropping = replace(dropping, x=float(at[0]), y=float(at[1]))
        if not _inside(dropping, ground.shape):
            continue
        window, cover, height = dropping_form(rng, scene, dropping, ground.shape)
        if touching:
            own = cover >= 0.5
            free = not np.any(ground.numbers[window][own] | ground.litter[window][own])
            free &= scene.ground != "leaf" or not np.any(
                ground.painting.mask[window][own] == BACKGROUND
            )
        else:
            free = _is_free(ground, window, cover)
        if free:
            colour = dropping_reflectance(rng, scene, cover.shape, dropping.half_width)
            _lay(rng, scene, ground, Bit(window, cover, height, colour, 0.5 * scene.moist))
            ground.droppings.append(dropping)
            ground.numbers[window][cover >= 0.5] = len(ground.droppings)
            ground.litter[window][cover >= 0.5] = 0
            return


def _inside(dropping: Dropping, shape: tuple[int, int]) -> bool:
    edge = dropping.half_length + 3
    return edge < dropping.x < shape[1] - edge and edge < dropping.y < shape[0] - edge


def _beside(rng: np.random.Generator, ground: _Ground, dropping: Dropping) -> Dropping:
    """Put a dropping against an earlier one, at the distance at which their outlines touch."""
    other = ground.droppings[int(rng.integers(len(ground.droppings)))]
    angle = rng.uniform(0, 2 * np.pi)
    reach = _radius(other, angle) + _radius(dropping, angle) + rng.uniform(0.3, 1.5)
    x, y = other.x + reach * np.cos(angle), other.y + reach * np.sin(angle)
    return replace(dropping, x=float(x), y=float(y))


def _radius(dropping: Dropping, angle: float) -> float:
    u, v = np.cos(angle - dropping.angle_rad), np.sin(angle - dropping.angle_rad)
    return float(1 / np.hypot(u / dropping.half_length, v / dropping.half_width))


def _dropping_truths(ground: _Ground, pixels: NDArray[np.uint8]) -> Iterator[DroppingTruth]:
    px_per_mm = ground.painting.px_per_mm
    for number, dropping in enumerate(ground.droppings, start=1):
        length, width = 2 * dropping.half_length, 2 * dropping.half_width
        middle = np.array([[dropping.x, dropping.y]])
        window = frame_window(middle, 1.6 * dropping.half_length + 5, ground.shape)
        if window is None:
            continue
        own = ground.numbers[window] == number
        rows, cols = np.nonzero(own)
        yield DroppingTruth(
            number,
            float(rows.mean() + window[0].start),
            float(cols.mean() + window[1].start),
            length,
            width,
            length / px_per_mm,
            width / px_per_mm,
            len(rows),
            dropping.on_end,
            colour_step(pixels[window], own, ground.numbers[window] > 0, length),
        )


def colour_step(
    pixels: NDArray[np.uint8], own: NDArray[np.bool_], any_one: NDArray[np.bool_], length: float
) -> float:
    """Return how far a dropping's mean colour is from its ground's, in CIELAB units.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first: the dropping and at least half its length around it.
    own, any_one : ndarray of bool, shape (rows, columns)
        Pixels of this dropping, and of any.
    length : float
        Its length in pixels.
    """
    lab = cv2.cvtColor(pixels.astype(np.float32) / np.float32(255), cv2.COLOR_RGB2LAB)
    away = cv2.distanceTransform((~own).astype(np.uint8), cv2.DIST_L2, 3)
    around = (away > 1.5) & (away < length / 2 + 2) & ~any_one
    if not around.any():
        return 0.0
    return float(np.linalg.norm(lab[own].mean(axis=0) - lab[around].mean(axis=0)))


def _litter_truths(scene: DroppingScene, ground: _Ground) -> list[LitterTruth]:
    areas = np.bincount(ground.litter.ravel(), minlength=len(scene.litter) + 1)
    return [
        LitterTruth(number, kind, int(areas[number]))
        for number, kind in enumerate(scene.litter, start=1)
        if areas[number]
    ]
