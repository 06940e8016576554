"""Pictures with leaf masks from which the outline is learned (see ``outline.py``).

Painted photos with exact truth; coffee leaves on white with published masks; tomato leaves on a
board, whose masks a plain-background method makes where it is surely right; and close parts of
both. ``scripts.workshop.learn.outline_scenes`` lays such real leaves on other backgrounds.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
import skimage.data
from numpy.typing import NDArray

from scripts.workshop.rendered import NATURAL_BACKGROUNDS, PLAIN_BACKGROUNDS, draw_scene, render
from vision.colour import LINEAR_LIGHT, log_chromaticity
from vision.day.outline import OVERVIEW_PX

__all__ = [
    "Picture",
    "board_mask",
    "close_ups",
    "coffee_pictures",
    "expose",
    "linear",
    "painted_pictures",
    "read",
    "read_mask",
    "shrink",
    "shrink_share",
    "squeeze",
    "texture_photos",
    "tint",
    "tomato_pictures",
]

Pixels = NDArray[np.uint8]
Floats = NDArray[np.float32]
Chance = np.random.Generator


@dataclass(frozen=True, eq=False)
class Picture:
    """An overview with its truth.

    Attributes
    ----------
    kind : str
        Source and background, such as ``painted/soil``.
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first, at overview size.
    leaf : ndarray of float32, shape (rows, columns)
        Share of each pixel that is leaf, 0 to 1; 0.5 where it is not known.
    """

    kind: str
    pixels: Pixels
    leaf: Floats


def read(path: Path) -> Pixels:
    """Read a photo of the training set, red first."""
    pixels = cv2.imread(str(path))
    if pixels is None:
        raise FileNotFoundError(f"{path} is not a photo.")
    return np.ascontiguousarray(pixels[..., ::-1], np.uint8)


def read_mask(photo: Path) -> Floats:
    """Read the published mask of a coffee photo: 1 leaf, 0 background."""
    path = photo.parent.parent / "masks" / f"{photo.stem}.png"
    mask = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
    if mask is None:
        raise FileNotFoundError(f"{path} is not a mask.")
    return np.asarray(mask > 0, np.float32)


def shrink(pixels: Pixels, long_px: int = OVERVIEW_PX) -> Pixels:
    """Reduce to at most ``long_px`` on the long side."""
    return np.asarray(_shrunk(pixels, long_px), np.uint8)


def shrink_share(share: Floats, long_px: int = OVERVIEW_PX) -> Floats:
    """Reduce a share of leaf as ``shrink`` reduces pixels."""
    return np.asarray(_shrunk(share, long_px), np.float32)


def _shrunk(plane: Pixels | Floats, long_px: int) -> cv2.typing.MatLike:
    factor = long_px / max(plane.shape[:2])
    if factor >= 1:
        return plane
    size = (max(1, round(plane.shape[1] * factor)), max(1, round(plane.shape[0] * factor)))
    return cv2.resize(plane, size, interpolation=cv2.INTER_AREA)


def squeeze(pixels: Pixels, quality: int) -> Pixels:
    """Send pixels through JPEG of the given quality, 0 to 100."""
    _, code = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, quality])
    return np.asarray(cv2.imdecode(code, cv2.IMREAD_COLOR), np.uint8)


def texture_photos() -> list[Pixels]:
    """Photos that come with scikit-image: grass, gravel and brick (grey), a cat, a cup, a page."""
    names = ("grass", "gravel", "brick", "chelsea", "coffee", "page")
    return [np.asarray(getattr(skimage.data, name)(), np.uint8) for name in names]


def painted_pictures(rng: Chance, count: int) -> Iterator[Picture]:
    """Yield painted photos, all backgrounds in turn."""
    names = (*PLAIN_BACKGROUNDS, *NATURAL_BACKGROUNDS, *NATURAL_BACKGROUNDS)
    for number in range(count):
        name = names[number % len(names)]
        width, height = rng.permutation([int(rng.integers(400, 801)), int(rng.integers(300, 601))])
        scene = draw_scene(rng, background=name, width_px=int(width), height_px=int(height))
        if rng.random() < 0.35:  # much dead tissue, which is the hardest to keep
            severity_pct = float(rng.uniform(15, 60))
            scene = replace(scene, pattern="blight", kind="", severity_pct=severity_pct)
        if rng.random() < 0.1:
            scene = replace(scene, leaf_size=1.2, leaves=1)
        photo = render(scene, int(rng.integers(1 << 31)))
        pixels = shrink(photo.pixels)
        if rng.random() < 0.3:
            pixels = tint(rng, pixels, 0.15, 0.3)
        leaf = np.asarray(photo.mask > 0, np.float32)
        yield Picture(f"painted/{name}", pixels, shrink_share(leaf))


def coffee_pictures(rng: Chance, photos: list[Path], tinted: bool) -> Iterator[Picture]:
    """Yield coffee leaves on white, as photographed or in other light."""
    for path in photos:
        pixels = shrink(read(path))
        if tinted:
            pixels = tint(rng, pixels, 0.12, 0.35)
        yield Picture("coffee", pixels, shrink_share(read_mask(path)))


def tomato_pictures(rng: Chance, photos: list[Path]) -> Iterator[Picture]:
    """Yield tomato leaves on a board where the plain method is sure, some in other light."""
    for path in photos:
        pixels = shrink(read(path))
        leaf = board_mask(pixels)
        if leaf is not None:
            other = rng.random() < 0.4
            yield Picture("tomato", tint(rng, pixels, 0.12, 0.3) if other else pixels, leaf)


def close_ups(rng: Chance, coffee: list[Path], tomato: list[Path]) -> Iterator[Picture]:
    """Yield parts of such photos that a leaf fills wholly or nearly, in this or other light."""
    for path in coffee:
        yield _close_up(rng, shrink(read(path), 1200), shrink_share(read_mask(path), 1200))
    for path in tomato:
        leaf = board_mask(read(path))
        if leaf is not None:
            yield _close_up(rng, read(path), leaf)


def _close_up(rng: Chance, pixels: Pixels, leaf: Floats) -> Picture:
    x, y, width, height = cv2.boundingRect((leaf > 0.9).astype(np.uint8))
    share = rng.uniform(0.3, 0.9)
    wide, high = max(int(width * share), 40), max(int(height * share), 40)
    left = int(
        np.clip(x + width / 2 - wide / 2 + rng.normal(0, 0.1) * width, 0, leaf.shape[1] - 40)
    )
    top = int(
        np.clip(y + height / 2 - high / 2 + rng.normal(0, 0.1) * height, 0, leaf.shape[0] - 40)
    )
    window = (slice(top, top + high), slice(left, left + wide))
    part = shrink(np.ascontiguousarray(pixels[window]))
    if rng.random() < 0.6:
        part = tint(rng, part, 0.1, 0.3)
    return Picture("close", part, shrink_share(np.ascontiguousarray(leaf[window])))


def board_mask(pixels: Pixels) -> Floats | None:
    """Mask of a leaf on a plain, greyish board by chromaticity against the border (Otsu 1979).

    Returns
    -------
    ndarray of float32 or None
        1 leaf, 0 board, 0.5 where thresholds a little stricter or laxer disagree; None when
        they disagree over more than a twentieth of the leaf, or the leaf is cut off.
    """
    smooth = cv2.GaussianBlur(pixels, (0, 0), 1.0)
    yellowness, greenness = log_chromaticity(np.asarray(smooth, np.uint8))
    ring = np.ones(yellowness.shape, bool)
    ring[8:-8, 8:-8] = False
    off = [np.maximum(p - np.median(p[ring]), 0) for p in (yellowness, 1.5 * greenness)]
    coded = np.clip(np.hypot(*off) * 128, 0, 255).astype(np.uint8)
    level, _ = cv2.threshold(coded, 0, 255, cv2.THRESH_OTSU)
    lax, strict = (_whole(coded > factor * level) for factor in (0.7, 1.25))
    sure = (
        strict.sum() > 0.93 * lax.sum()
        and lax.mean() > 0.08
        and (lax & ring).sum() < 0.04 * ring.sum()
    )
    return np.where(lax == strict, lax, 0.5).astype(np.float32) if sure else None


def _whole(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Largest piece, its holes filled."""
    opened = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    outlines, _ = cv2.findContours(opened, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    out = np.zeros_like(mask, np.uint8)
    if outlines:
        cv2.drawContours(out, [max(outlines, key=cv2.contourArea)], -1, 1, cv2.FILLED)
    return np.asarray(out > 0, np.bool_)


def tint(rng: Chance, pixels: Pixels, colour: float, light: float) -> Pixels:
    """Multiply linear light by random gains, the same for all pixels."""
    gains = np.exp(rng.normal(0, colour, 3) + rng.normal(0, light))
    return expose(linear(pixels) * gains.astype(np.float32))


def linear(pixels: Pixels) -> Floats:
    """Decode sRGB to linear light, 0 to 1."""
    return np.asarray(LINEAR_LIGHT[pixels], np.float32)


def expose(light: Floats) -> Pixels:
    """Encode linear light as sRGB (IEC 61966-2-1)."""
    light = np.clip(light, 0, 1)
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(coded * 255), np.uint8)
