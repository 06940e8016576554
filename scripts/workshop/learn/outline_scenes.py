"""Real leaves cut out and laid on other backgrounds, to learn the outline from.

Backgrounds are real plants, beds of such leaves below a sky or not, painted natural scenes, real
textures, and flat card or cloth; beside the leaves lie things that are not leaves, and some
pictures have no leaf.
"""

from collections.abc import Callable, Iterator
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from scripts.workshop.learn.photos import (
    Picture,
    board_mask,
    expose,
    linear,
    read,
    read_mask,
    shrink,
    shrink_share,
    squeeze,
    texture_photos,
    tint,
)
from scripts.workshop.rendered import NATURAL_BACKGROUNDS, draw_scene, render
from vision.day.outline import OVERVIEW_PX

__all__ = ["cut_outs", "laid_pictures"]

Pixels = NDArray[np.uint8]
Floats = NDArray[np.float32]
Chance = np.random.Generator
CutOut = tuple[Pixels, Floats]


def cut_outs(coffee: list[Path], tomato: list[Path]) -> list[CutOut]:
    """Cut real leaves out, a little inside their masks so that no rim of background is left."""
    bank = []
    for path in coffee:
        inner = np.asarray(cv2.erode(read_mask(path), np.ones((9, 9), np.uint8)), np.float32)
        bank.append(_crop(shrink(read(path), 600), shrink_share(inner, 600)))
    for path in tomato:
        pixels = read(path)
        mask = board_mask(pixels)
        if mask is not None:
            sure = cv2.erode(np.asarray(mask == 1, np.float32), np.ones((3, 3), np.uint8))
            bank.append(_crop(pixels, np.asarray(cv2.GaussianBlur(sure, (0, 0), 0.6), np.float32)))
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
    textures = texture_photos()
    beds = [_bed(rng, bank) for _ in range(max(2, min(24, count // 12)))]
    makers: dict[str, Callable[[], Pixels]] = {
        "canopy": lambda: _foliage(rng, plants),
        "bed": lambda: _among_leaves(rng, beds),
        "painted": lambda: _painted_scene(rng),
        "texture": lambda: _coloured_texture(rng, textures),
        "flat": lambda: _flat(rng),
    }
    names = ("canopy", "bed", "painted", "bed", "texture", "flat")
    for number in range(count):
        name = names[number % len(names)]
        light = linear(makers[name]())
        for _ in range(int(rng.integers(1, 4)) if rng.random() < 0.4 else 0):
            light, _ = _lay(rng, light, _thing(rng))
        bare = rng.random() < 0.25 and name not in ("canopy", "bed")  # these show leaves anyway
        light, leaf = (light, np.zeros_like(light[..., 0])) if bare else _leaves(rng, light, bank)
        yield Picture(f"laid/{name}", _camera(rng, light), leaf)


def _leaves(rng: Chance, light: Floats, bank: list[CutOut]) -> tuple[Floats, Floats]:
    """Lay one leaf or a few on the picture; also return what they cover."""
    leaf = np.zeros(light.shape[:2], np.float32)
    several = int(rng.integers(2, 5)) if rng.random() < 0.15 else 1
    for _ in range(several):
        cut_out = _aged(rng, bank[int(rng.integers(len(bank)))])
        light, cover = _lay(rng, light, cut_out, several)
        leaf = np.maximum(leaf, cover)
    return light, leaf


def _camera(rng: Chance, light: Floats) -> Pixels:
    """Expose with a colour cast, noise, sometimes a little blur, and JPEG."""
    gains = np.exp(rng.normal(0, 0.06, 3) + rng.normal(0, 0.15)).astype(np.float32)
    light = light * gains
    if rng.random() < 0.3:
        light = np.asarray(cv2.GaussianBlur(light, (0, 0), rng.uniform(0.4, 1.2)), np.float32)
    noise = rng.normal(0, rng.uniform(0.0, 0.015), light.shape)
    pixels = expose(light + (noise * np.sqrt(light + 0.02)).astype(np.float32) * 2)
    return squeeze(pixels, int(rng.integers(60, 98)))


def _lay(rng: Chance, light: Floats, thing: CutOut, several: int = 1) -> tuple[Floats, Floats]:
    """Lay a thing with its shadow on the picture; also return what it covers."""
    rows, cols = light.shape[:2]
    pixels, cover = thing
    turn = _placing(rng, (rows, cols), (cover.shape[0], cover.shape[1]), several)
    method = cv2.INTER_AREA if np.hypot(turn[0, 0], turn[0, 1]) < 1 else cv2.INTER_CUBIC
    gains = np.exp(rng.normal(0, 0.08, 3) + rng.normal(0, 0.25)).astype(np.float32)
    tinted = np.asarray(linear(pixels) * gains, np.float32)
    edge = cv2.BORDER_REPLICATE
    own = cv2.warpAffine(tinted, turn, (cols, rows), flags=method, borderMode=edge)
    turned = cv2.warpAffine(cover, turn, (cols, rows), flags=cv2.INTER_LINEAR)
    alpha = np.asarray(np.clip(turned, 0, 1), np.float32)
    light = np.asarray(light * (1 - _shadow(rng, alpha))[..., None], np.float32)
    laid = light + alpha[..., None] * (np.maximum(own, 0) - light)
    return np.asarray(laid, np.float32), alpha


def _placing(
    rng: Chance, frame: tuple[int, int], size: tuple[int, int], several: int
) -> NDArray[np.float64]:
    """Draw the size, turn and place of a thing in the frame, as an affine map."""
    extent = rng.uniform(0.4, 1.0) * min(frame) / (1 if several == 1 else 1.7)
    if several == 1 and rng.random() < 0.12:
        extent *= rng.uniform(1.3, 2.5)  # a close-up that the frame cuts off
    scale = extent / max(size) * rng.uniform(0.8, 1.25)
    middle = (size[1] / 2, size[0] / 2)
    turn = np.array(cv2.getRotationMatrix2D(middle, rng.uniform(0, 360), scale), np.float64)
    where = 0.5 + rng.normal(0, 0.12 if several == 1 else 0.25, 2)
    turn[:, 2] += where * (frame[1], frame[0]) - np.array(middle)
    return turn


def _aged(rng: Chance, thing: CutOut) -> CutOut:
    """Let part of a leaf turn yellow and part of that die, often from its margin."""
    if rng.random() < 0.5:
        return thing
    pixels, cover = thing
    field = _susceptible(rng, cover)
    rim, sick = rng.uniform(0.0, 0.5), rng.uniform(0.5, 0.97)
    reach = float(np.quantile(field[cover > 0.5], sick)) if (cover > 0.5).any() else 9.0
    light = linear(pixels)
    grain = _grain(rng, light)
    for edge, colours in ((reach - rim, _YELLOWS), (reach, _DEAD)):
        share = np.clip((field - edge) / rng.uniform(0.03, 0.3), 0, 1)[..., None]
        colour = np.array(colours[int(rng.integers(len(colours)))]) * np.exp(rng.normal(0, 0.2, 3))
        light = np.asarray(light + share * (colour * grain - light), np.float32)
    return expose(light), cover


def _susceptible(rng: Chance, cover: Floats) -> Floats:
    """Smooth field, mean 0 and spread 1, lowered inside by how deep it lies."""
    size = max(cover.shape)
    field = _smooth(rng, cover.shape, rng.uniform(0.03, 0.12) * size)
    depth = cv2.distanceTransform((cover > 0.5).astype(np.uint8), cv2.DIST_L2, 3) / size
    return np.asarray(field - rng.uniform(0, 12) * depth, np.float32)


def _grain(rng: Chance, light: Floats) -> Floats:
    """Return the leaf's own relief with more roughness, about 1; last axis kept."""
    grey = np.asarray(cv2.GaussianBlur(light.mean(axis=2), (0, 0), 0.6), np.float32)
    around = cv2.GaussianBlur(grey, (0, 0), 0.05 * max(grey.shape)) + np.float32(0.005)
    roughness = rng.uniform(0, 0.25) * _smooth(rng, grey.shape, rng.uniform(0.8, 3))
    return np.asarray(np.clip(grey / around, 0.3, 3) * np.exp(roughness), np.float32)[..., None]


def _smooth(rng: Chance, shape: tuple[int, ...], sigma_px: float) -> Floats:
    field = np.asarray(cv2.GaussianBlur(rng.normal(0, 1, shape), (0, 0), sigma_px), np.float32)
    return np.asarray(field / (field.std() + 1e-6), np.float32)


_YELLOWS = ((0.45, 0.40, 0.06), (0.30, 0.32, 0.08), (0.35, 0.30, 0.05), (0.25, 0.33, 0.12))
_DEAD = (
    (0.16, 0.09, 0.05),
    (0.05, 0.035, 0.025),
    (0.35, 0.25, 0.15),
    (0.22, 0.12, 0.05),
    (0.1, 0.09, 0.07),
    (0.02, 0.018, 0.015),
    (0.12, 0.12, 0.07),
)


def _shadow(rng: Chance, alpha: Floats) -> Floats:
    """Shade that a thing casts: moved aside and softened; missing in a third of the pictures."""
    if rng.random() < 0.33:
        return np.zeros_like(alpha)
    size = min(alpha.shape)
    right, down = rng.normal(0, 0.05 * size, 2)
    move = np.array([[1, 0, right], [0, 1, down]], np.float32)
    shade = cv2.warpAffine(alpha, move, (alpha.shape[1], alpha.shape[0]))
    soft = cv2.GaussianBlur(shade, (0, 0), rng.uniform(0.5, 0.03 * size + 1))
    return np.asarray(soft * rng.uniform(0.2, 0.85), np.float32)


_NO_LEAF = (
    *((200, 30, 25), (224, 172, 140), (120, 80, 60), (60, 90, 180), (235, 235, 230)),
    *((120, 120, 122), (25, 25, 28), (230, 120, 30)),
)  # red, light and dark skin, blue, white, grey, black, orange (sRGB)


def _thing(rng: Chance) -> CutOut:
    """Make a smooth, shaded blob in a colour that no leaf has."""
    size = 200
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    waves = [rng.normal(0, 0.12 / k) * np.sin(k * angle + rng.uniform(0, 6)) for k in (1, 2, 3)]
    way = np.stack([np.cos(angle), np.sin(angle) * rng.uniform(0.25, 1)])
    points = size / 2 + size * 0.4 * (1 + np.sum(waves, axis=0)) * way
    cover = np.zeros((size, size), np.uint8)
    cv2.fillPoly(cover, [points.T.astype(np.int32)], 255, cv2.LINE_AA)
    y, x = np.mgrid[-1 : 1 : size * 1j, -1 : 1 : size * 1j]
    shade = 1 + 0.3 * (x * rng.normal() + y * rng.normal()) / 1.5
    colour = np.array(_NO_LEAF[int(rng.integers(len(_NO_LEAF)))]) * shade[..., None]
    return np.asarray(np.clip(colour, 0, 255), np.uint8), np.asarray(cover / 255, np.float32)


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
    light = linear(part)
    middle = np.median(light.reshape(-1, 3), axis=0) + 0.01
    green = np.array([0.09, 0.13, 0.045]) * np.exp(rng.normal(0, 0.2, 3))
    strength = rng.uniform(0.3, 1.0)
    gains = (green / middle) ** strength
    light = light * gains.astype(np.float32) * np.float32(np.exp(rng.normal(0, 0.4)))
    if rng.random() < 0.65:
        light = cv2.GaussianBlur(light, (0, 0), np.exp(rng.uniform(0.0, 2.3)))
    return expose(np.asarray(light, np.float32))


def _bed(rng: Chance, bank: list[CutOut], size_px: int = 640) -> Floats:
    """Cover a dark or bright ground with many real leaves, later ones on top."""
    ground = np.exp(rng.uniform(np.log(0.01), np.log(0.5))) * np.exp(rng.normal(0, 0.2, 3))
    light = np.broadcast_to(ground, (size_px, size_px, 3)).astype(np.float32)
    kinds = [bank[int(rng.integers(len(bank)))] for _ in range(6)]
    for _ in range(int(rng.integers(18, 60))):
        leaf = kinds[int(rng.integers(len(kinds)))]
        leaf = _aged(rng, leaf) if rng.random() < 0.2 else leaf
        light, _ = _lay(rng, light, leaf, several=4)
    return light


def _among_leaves(rng: Chance, beds: list[Floats]) -> Pixels:
    """Part of a bed of leaves, shaded or not, in or out of focus, sometimes below a bright sky."""
    bed = expose(beds[int(rng.integers(len(beds)))] * np.float32(np.exp(rng.normal(-0.7, 0.5))))
    light = linear(_window(rng, bed, 0.5))
    if rng.random() < 0.25:
        light = _below_sky(rng, light)
    if rng.random() < 0.75:
        light = np.asarray(cv2.GaussianBlur(light, (0, 0), np.exp(rng.uniform(0, 2.7))), np.float32)
    return expose(light)


def _below_sky(rng: Chance, light: Floats) -> Floats:
    """Put a bright, unclouded or clouded sky above a ragged edge."""
    rows, cols = light.shape[:2]
    blue = np.array([0.35, 0.5, 0.8]) * rng.uniform(0.6, 1.1)
    cloud = np.clip(0.5 + 0.5 * _smooth(rng, (rows, cols), 0.1 * cols) + rng.normal(0, 0.7), 0, 1)
    sky = blue + cloud[..., None] * (rng.uniform(0.7, 1.0) - blue)
    height = np.linspace(0, 1, rows)[:, None] + 0.1 * _smooth(rng, (rows, cols), 0.04 * cols)
    above = (height < rng.uniform(0.2, 0.9))[..., None]
    return np.asarray(np.where(above, sky, light), np.float32)


def _painted_scene(rng: Chance) -> Pixels:
    cols, rows = _size(rng)
    name = str(rng.choice((*NATURAL_BACKGROUNDS, "bench", "cloth")))
    scene = draw_scene(rng, background=name, leaves=0, width_px=cols, height_px=rows)
    return render(scene, int(rng.integers(1 << 31))).pixels


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
    light = linear(part) / max(float(linear(part).mean()), 0.02)
    return expose((light[..., None] * colour * np.exp(rng.normal(0, 0.3))).astype(np.float32))


def _flat(rng: Chance) -> Pixels:
    """Paper, card or cloth of any colour, unevenly lit."""
    cols, rows = _size(rng)
    grey = np.exp(rng.uniform(np.log(0.02), np.log(0.9)))
    colour = grey * np.exp(rng.normal(0, rng.choice((0.05, 0.5), p=(0.6, 0.4)), 3))
    y, x = np.mgrid[-1 : 1 : rows * 1j, -1 : 1 : cols * 1j]
    slope = np.exp(rng.normal(0, 0.25) * x + rng.normal(0, 0.25) * y)
    noise = rng.normal(0, rng.uniform(0, 0.12), (rows, cols))
    grain = 2 * np.asarray(cv2.GaussianBlur(noise, (0, 0), rng.uniform(0.3, 2)))
    if rng.random() < 0.1:  # strong coloured noise, as of a dusky photo
        colour = colour * np.exp(rng.normal(0, rng.uniform(0.1, 0.9), (rows, cols, 3)))
    return expose(np.asarray(colour * (slope * np.exp(grain))[..., None], np.float32))
