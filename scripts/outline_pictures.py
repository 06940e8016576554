"""Pictures with leaf masks from which the outline is learned (see ``scripts.train_outline``).

Four kinds: painted photos with exact truth; coffee leaves on white with published masks; tomato
leaves on a board, whose masks a plain-background method makes where it is surely right; and such
real leaves cut out and laid on real and painted backgrounds, or on none, beside things that are
not leaves.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import skimage.data
from numpy.typing import NDArray

from vision.colour import LINEAR_LIGHT, log_chromaticity
from vision.outline import OVERVIEW_PX
from vision.rendered import NATURAL_BACKGROUNDS, PLAIN_BACKGROUNDS, draw_scene, render

__all__ = ["Picture", "coffee_pictures", "cut_outs", "laid_pictures", "painted_pictures",
           "read", "tomato_pictures"]  # fmt: skip

Pixels = NDArray[np.uint8]
Floats = NDArray[np.float32]
Chance = np.random.Generator
CutOut = tuple[Pixels, Floats]


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
    return np.asarray(pixels[..., ::-1]).copy()


def shrink(plane: NDArray[np.generic], long_px: int = OVERVIEW_PX) -> NDArray[np.generic]:
    """Reduce to at most ``long_px`` on the long side."""
    factor = long_px / max(plane.shape[:2])
    if factor >= 1:
        return plane
    size = (max(1, round(plane.shape[1] * factor)), max(1, round(plane.shape[0] * factor)))
    return cv2.resize(plane, size, interpolation=cv2.INTER_AREA)


def painted_pictures(rng: Chance, count: int) -> Iterator[Picture]:
    """Yield painted photos, all backgrounds in turn."""
    names = (*PLAIN_BACKGROUNDS, *NATURAL_BACKGROUNDS, *NATURAL_BACKGROUNDS)
    for number in range(count):
        name = names[number % len(names)]
        width, height = rng.permutation([int(rng.integers(400, 801)), int(rng.integers(300, 601))])
        scene = draw_scene(rng, background=name, width_px=int(width), height_px=int(height))
        photo = render(scene, int(rng.integers(1 << 31)))
        leaf = (photo.mask > 0).astype(np.float32)
        yield Picture(f"painted/{name}", shrink(photo.pixels), shrink(leaf))


def coffee_pictures(rng: Chance, photos: list[Path], tinted: bool) -> Iterator[Picture]:
    """Yield coffee leaves on white, as photographed or in other light."""
    for path in photos:
        mask_path = path.parent.parent / "masks" / f"{path.stem}.png"
        mask = cv2.imread(str(mask_path), cv2.IMREAD_UNCHANGED)
        pixels = shrink(read(path))
        if tinted:
            pixels = tint(rng, pixels, 0.12, 0.35)
        yield Picture("coffee", pixels, shrink((mask > 0).astype(np.float32)))


def tomato_pictures(photos: list[Path]) -> Iterator[Picture]:
    """Yield tomato leaves on a board, where two rounds of the plain method agree."""
    for path in photos:
        pixels = shrink(read(path))
        leaf = board_mask(pixels)
        if leaf is not None:
            yield Picture("tomato", pixels, leaf)


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
    out = np.zeros_like(opened)
    if outlines:
        cv2.drawContours(out, [max(outlines, key=cv2.contourArea)], -1, 1, cv2.FILLED)
    return out > 0


def tint(rng: Chance, pixels: Pixels, colour: float, light: float) -> Pixels:
    """Multiply linear light by random gains, the same for all pixels."""
    gains = np.exp(rng.normal(0, colour, 3) + rng.normal(0, light))
    return expose(LINEAR_LIGHT[pixels] * gains.astype(np.float32))


def expose(light: Floats) -> Pixels:
    """Encode linear light as sRGB (IEC 61966-2-1)."""
    light = np.clip(light, 0, 1)
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.rint(coded * 255).astype(np.uint8)


def cut_outs(coffee: list[Path], tomato: list[Path]) -> list[CutOut]:
    """Cut real leaves out, a little inside their masks so that no rim of background is left."""
    bank = []
    for path in coffee:
        mask = cv2.imread(str(path.parent.parent / "masks" / f"{path.stem}.png"), 0) > 0
        inner = cv2.erode(mask.astype(np.uint8), np.ones((9, 9), np.uint8)).astype(np.float32)
        bank.append(_crop(shrink(read(path), 600), shrink(inner, 600)))
    for path in tomato:
        pixels = read(path)
        mask = board_mask(pixels)
        if mask is not None:
            inner = cv2.erode((mask == 1).astype(np.float32), np.ones((3, 3), np.uint8))
            bank.append(_crop(pixels, cv2.GaussianBlur(inner, (0, 0), 0.6)))
    return bank


def _crop(pixels: Pixels, cover: Floats) -> CutOut:
    x, y, width, height = cv2.boundingRect((cover > 0.02).astype(np.uint8))
    window = (slice(y, y + height), slice(x, x + width))
    return pixels[window].copy(), cover[window].copy()


def laid_pictures(
    rng: Chance, count: int, bank: list[CutOut], canopy: list[Path]
) -> Iterator[Picture]:
    """Yield real leaves laid on other backgrounds; about one in seven pictures has no leaf."""
    plants = [shrink(read(path), 1000) for path in canopy]
    textures = _textures()
    makers: dict[str, Callable[[], Pixels]] = {
        "canopy": lambda: _foliage(rng, plants),
        "painted": lambda: _painted_scene(rng),
        "texture": lambda: _coloured_texture(rng, textures),
        "flat": lambda: _flat(rng),
    }
    names = ("canopy", "canopy", "painted", "texture", "flat")
    for number in range(count):
        name = names[number % len(names)]
        light = LINEAR_LIGHT[makers[name]()]
        for _ in range(int(rng.integers(0, 3)) if rng.random() < 0.3 else 0):
            light = _lay(rng, light, _thing(rng))[0]
        leaf = np.zeros(light.shape[:2], np.float32)
        several = int(rng.integers(2, 4)) if rng.random() < 0.15 else 1
        for _ in range(0 if rng.random() < 0.15 else several):
            light, cover = _lay(rng, light, bank[int(rng.integers(len(bank)))], several)
            leaf = np.maximum(leaf, cover)
        yield Picture(f"laid/{name}", _camera(rng, light), leaf)


def _camera(rng: Chance, light: Floats) -> Pixels:
    """Expose with a colour cast, noise, sometimes a little blur, and JPEG."""
    gains = np.exp(rng.normal(0, 0.06, 3) + rng.normal(0, 0.15)).astype(np.float32)
    light = light * gains
    if rng.random() < 0.3:
        light = np.asarray(cv2.GaussianBlur(light, (0, 0), rng.uniform(0.4, 1.2)), np.float32)
    noise = rng.normal(0, rng.uniform(0.0, 0.015), light.shape)
    pixels = expose(light + (noise * np.sqrt(light + 0.02)).astype(np.float32) * 2)
    quality = [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(60, 98))]
    return np.asarray(cv2.imdecode(cv2.imencode(".jpg", pixels, quality)[1], cv2.IMREAD_COLOR))


def _lay(rng: Chance, light: Floats, thing: CutOut, several: int = 1) -> tuple[Floats, Floats]:
    """Lay a thing with its shadow on the picture; also return what it covers."""
    rows, cols = light.shape[:2]
    pixels, cover = thing
    extent = rng.uniform(0.4, 1.0) * min(rows, cols) / (1 if several == 1 else 1.7)
    scale = extent / max(cover.shape) * rng.uniform(0.8, 1.25)
    turn = cv2.getRotationMatrix2D(
        (cover.shape[1] / 2, cover.shape[0] / 2), rng.uniform(0, 360), scale
    )
    where = rng.uniform(0.5, 0.5) + rng.normal(0, 0.12 if several == 1 else 0.25, 2)
    turn[:, 2] += where * (cols, rows) - np.array([cover.shape[1], cover.shape[0]]) / 2
    method = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    gains = np.exp(rng.normal(0, 0.08, 3) + rng.normal(0, 0.25)).astype(np.float32)
    own = cv2.warpAffine(
        LINEAR_LIGHT[pixels] * gains,
        turn,
        (cols, rows),
        flags=method,
        borderMode=cv2.BORDER_REPLICATE,
    )
    alpha = np.clip(cv2.warpAffine(cover, turn, (cols, rows), flags=cv2.INTER_LINEAR), 0, 1)
    light = light * (1 - _shadow(rng, alpha))[..., None]
    return light + alpha[..., None] * (np.maximum(own, 0) - light), alpha


def _shadow(rng: Chance, alpha: Floats) -> Floats:
    """Shade that a thing casts: moved aside and softened; missing in a third of the pictures."""
    if rng.random() < 0.33:
        return np.zeros_like(alpha)
    size = min(alpha.shape)
    move = np.float32([[1, 0, 0], [0, 1, 0]])
    move[:, 2] = rng.normal(0, 0.05 * size, 2)
    shade = cv2.warpAffine(alpha, move, alpha.shape[::-1])
    soft = cv2.GaussianBlur(shade, (0, 0), rng.uniform(0.5, 0.03 * size + 1))
    return np.asarray(soft * rng.uniform(0.2, 0.85), np.float32)


def _thing(rng: Chance) -> CutOut:
    """Make a smooth blob in a colour that no leaf has: red, skin, blue, white, grey or black."""
    colours = (
        (200, 30, 25),
        (224, 172, 140),
        (120, 80, 60),
        (60, 90, 180),
        (235, 235, 230),
        (120, 120, 122),
        (25, 25, 28),
        (230, 120, 30),
    )
    size = 200
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    wobble = sum(rng.normal(0, 0.12 / k) * np.sin(k * angle + rng.uniform(0, 6)) for k in (1, 2, 3))
    points = size / 2 + size * 0.4 * (1 + wobble) * np.stack(
        [np.cos(angle), np.sin(angle) * rng.uniform(0.25, 1)]
    )
    cover = np.zeros((size, size), np.uint8)
    cv2.fillPoly(cover, [points.T.astype(np.int32)], 255, cv2.LINE_AA)
    y, x = np.mgrid[-1 : 1 : size * 1j, -1 : 1 : size * 1j]
    shade = 1 + 0.3 * (x * rng.normal() + y * rng.normal()) / 1.5
    colour = np.array(colours[int(rng.integers(len(colours)))]) * shade[..., None]
    return np.clip(colour, 0, 255).astype(np.uint8), cover.astype(np.float32) / 255


def _size(rng: Chance) -> tuple[int, int]:
    short = int(rng.integers(200, 340))
    return (OVERVIEW_PX, short) if rng.random() < 0.6 else (short, OVERVIEW_PX)


def _window(rng: Chance, pixels: Pixels, least: float) -> Pixels:
    """Cut a random part out and bring it to a random overview size."""
    cols, rows = _size(rng)
    share = rng.uniform(least, 1.0)
    fit = min(pixels.shape[1] / cols, pixels.shape[0] / rows) * share
    width, height = max(8, int(cols * fit)), max(8, int(rows * fit))
    x = int(rng.integers(0, pixels.shape[1] - width + 1))
    y = int(rng.integers(0, pixels.shape[0] - height + 1))
    part = pixels[y : y + height, x : x + width]
    part = part[:, ::-1] if rng.random() < 0.5 else part
    method = cv2.INTER_AREA if fit > 1 else cv2.INTER_CUBIC
    return np.asarray(cv2.resize(np.ascontiguousarray(part), (cols, rows), interpolation=method))


def _foliage(rng: Chance, plants: list[Pixels]) -> Pixels:
    """Real plants, their grow light brought towards daylight green, often out of focus."""
    part = _window(rng, plants[int(rng.integers(len(plants)))], 0.3)
    light = LINEAR_LIGHT[part]
    middle = np.median(light.reshape(-1, 3), axis=0) + 0.01
    green = np.array([0.09, 0.13, 0.045]) * np.exp(rng.normal(0, 0.2, 3))
    strength = rng.uniform(0.3, 1.0)
    gains = (green / middle) ** strength
    light = light * gains.astype(np.float32) * np.float32(np.exp(rng.normal(0, 0.4)))
    if rng.random() < 0.65:
        light = cv2.GaussianBlur(light, (0, 0), np.exp(rng.uniform(0.0, 2.3)))
    return expose(np.asarray(light, np.float32))


def _painted_scene(rng: Chance) -> Pixels:
    cols, rows = _size(rng)
    name = str(rng.choice((*NATURAL_BACKGROUNDS, "bench", "cloth")))
    scene = draw_scene(rng, background=name, leaves=0, width_px=cols, height_px=rows)
    return render(scene, int(rng.integers(1 << 31))).pixels


def _textures() -> list[Pixels]:
    """Photos that come with scikit-image: grass, gravel and brick (grey), a cat, a cup, a page."""
    return [
        getattr(skimage.data, name)()
        for name in ("grass", "gravel", "brick", "chelsea", "coffee", "page")
    ]


def _coloured_texture(rng: Chance, textures: list[Pixels]) -> Pixels:
    """Real texture; the grey ones in a colour of soil, straw, grass or stone."""
    texture = textures[int(rng.integers(len(textures)))]
    if texture.ndim == 3:
        return tint(rng, _window(rng, texture[..., :3], 0.4), 0.15, 0.3)
    part = _window(rng, texture, 0.4)
    colours = (
        (0.12, 0.08, 0.05),
        (0.45, 0.35, 0.18),
        (0.10, 0.15, 0.05),
        (0.3, 0.29, 0.27),
        (0.2, 0.1, 0.06),
    )
    colour = np.array(colours[int(rng.integers(len(colours)))]) * np.exp(rng.normal(0, 0.15, 3))
    light = LINEAR_LIGHT[part] / max(float(LINEAR_LIGHT[part].mean()), 0.02)
    return expose((light[..., None] * colour * np.exp(rng.normal(0, 0.3))).astype(np.float32))


def _flat(rng: Chance) -> Pixels:
    """Paper, card or cloth of any colour, unevenly lit."""
    cols, rows = _size(rng)
    grey = np.exp(rng.uniform(np.log(0.02), np.log(0.9)))
    colour = grey * np.exp(rng.normal(0, rng.choice((0.05, 0.5), p=(0.6, 0.4)), 3))
    y, x = np.mgrid[-1 : 1 : rows * 1j, -1 : 1 : cols * 1j]
    slope = np.exp(rng.normal(0, 0.25) * x + rng.normal(0, 0.25) * y)
    grain = rng.normal(0, rng.uniform(0, 0.12), (rows, cols))
    grain = cv2.GaussianBlur(grain, (0, 0), rng.uniform(0.3, 2)) * 2
    return expose((colour * (slope * np.exp(grain))[..., None]).astype(np.float32))
