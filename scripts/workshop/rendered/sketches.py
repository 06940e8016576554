"""Rough, quick UV night scenes with their truth: a second painter to learn the night judge from.

It shares nothing with ``scripts.workshop.rendered.night``: bodies are strings of discs, foliage is
blots, and every colour, strength and blur is drawn from a range wider than life. What two painters
that know nothing of each other have in common is more likely to hold for a third, and for a garden.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.jpeg import jpeg_loss

__all__ = ["Sketch", "sketch_scene"]

Floats = NDArray[np.float32]
Bytes = NDArray[np.uint8]
Rng = np.random.Generator

_FINE = 3  # bits of a pixel in which shapes are drawn
_ON_PAPER = 0.12  # of the caterpillars


@dataclass(eq=False)
class Sketch:
    """A scene while it is painted, and its truth.

    Attributes
    ----------
    light : ndarray of float32, shape (rows, columns, 3)
        Linear light.
    numbers : ndarray of uint8, shape (rows, columns)
        0, or the number of the caterpillar.
    pixels : ndarray of uint8, shape (rows, columns, 3)
        The photo; set at the end.
    """

    light: Floats = field(repr=False)
    numbers: NDArray[np.uint8] = field(repr=False)
    pixels: NDArray[np.uint8] = field(repr=False)
    count: int = 0

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        rows, columns = self.numbers.shape
        return rows, columns


def sketch_scene(seed: int) -> Sketch:
    """Paint a scene at random.

    Parameters
    ----------
    seed : int
        The same seed gives the same scene.
    """
    rng = np.random.default_rng((7, seed))
    long = int(rng.integers(600, 1100))
    short = int(long * rng.uniform(0.56, 0.8))
    shape = (short, long) if rng.random() < 0.6 else (long, short)
    scene = Sketch(
        np.zeros((*shape, 3), np.float32), np.zeros(shape, np.uint8), np.zeros((1, 1, 3), np.uint8)
    )
    foliage = _foliage_colour(rng)
    size = float(np.exp(rng.uniform(np.log(0.02), np.log(0.45)))) * long
    _paint_foliage(rng, scene, foliage, size)
    for _ in range(int(rng.integers(0, 7))):
        _DECOYS[int(rng.integers(len(_DECOYS)))](rng, scene, foliage, size)
    _add_caterpillars(rng, scene, size)
    if rng.random() < 0.4:
        for _ in range(int(rng.integers(1, 3))):
            _cover_some(rng, scene, foliage)
    _expose(rng, scene)
    return scene


def _foliage_colour(rng: Rng) -> Floats:
    red, blue = np.exp(rng.normal(0, 0.8, 2))
    green = np.exp(rng.normal(-1.6, 0.6)) * (red + blue) / 2
    colour = np.array([red, green, blue])
    return np.asarray(colour / colour.sum() * 0.12 * np.exp(rng.normal(0, 0.7)), np.float32)


def _smooth(rng: Rng, shape: tuple[int, int], reach: float) -> Floats:
    rows, columns = (max(2, round(side / reach)) for side in shape)
    coarse = rng.standard_normal((rows, columns)).astype(np.float32)
    fine = cv2.resize(coarse, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(fine, np.float32)


def _lay(scene: Sketch, cover: Bytes, colour: Floats, number: int = 0) -> None:
    """Lay matter of a colour (one for all, or one a pixel) over the scene, where it covers."""
    left, top, width, height = cv2.boundingRect(cover)
    window = (slice(top, top + height), slice(left, left + width))
    own = cover[window].astype(np.float32)[..., None] / 255
    seen = colour[window] if colour.ndim == 3 else colour
    scene.light[window] += own * (seen - scene.light[window])
    scene.numbers[window][cover[window] > 127] = number


def _polygon(scene: Sketch, points: NDArray[np.float64]) -> Bytes:
    cover = np.zeros(scene.shape, np.uint8)
    fine = np.round(points * (1 << _FINE)).astype(np.int32)
    cv2.fillPoly(cover, [fine], 255, cv2.LINE_AA, _FINE)
    return cover


def _somewhere(rng: Rng, scene: Sketch, margin: float = 0.05) -> NDArray[np.float64]:
    return np.asarray(rng.uniform(margin, 1 - margin, 2) * np.array(scene.shape[::-1]))


def _blot(rng: Rng, at: NDArray[np.float64], length: float, width: float,
          lobes: float = 0.25) -> NDArray[np.float64]:  # fmt: skip
    """Return an outline that is longer than wide, more or less lobed, in a random direction."""
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    rough = sum(
        rng.normal(0, lobes / k) * np.cos(k * angle + rng.uniform(0, 6)) for k in range(2, 9)
    )
    radius = 1 + 0.5 * np.tanh(rough)
    points = np.stack([length / 2 * np.cos(angle), width / 2 * np.sin(angle)], axis=1)
    return np.asarray(_turned(points * radius[:, None], rng.uniform(0, 2 * np.pi)) + at)


def _turned(points: NDArray[np.float64], angle: float) -> NDArray[np.float64]:
    cos, sin = np.cos(angle), np.sin(angle)
    return np.asarray(points @ np.array([[cos, sin], [-sin, cos]]))


def _paint_foliage(rng: Rng, scene: Sketch, colour: Floats, size: float) -> None:
    """Scatter blots of foliage on the dark, with grain and paler veins."""
    ground = _smooth(rng, scene.shape, 0.1 * max(scene.shape))
    scene.light += (0.08 * rng.random()) * np.exp(0.5 * ground)[..., None] * colour
    leaf = float(np.clip(size * np.exp(rng.normal(0.5, 0.6)), 20, 0.9 * max(scene.shape)))
    room = 2.5 * scene.shape[0] * scene.shape[1] / leaf**2
    for _ in range(int(np.clip(rng.uniform(0.1, 1.2) * room, 3, 160))):
        at = _somewhere(rng, scene, -0.1)
        outline = _blot(rng, at, leaf * rng.uniform(0.6, 1.3), leaf * rng.uniform(0.3, 0.7))
        cover = _polygon(scene, outline)
        tint = colour * np.exp(rng.normal(0, 0.4)) * np.exp(rng.normal(0, 0.1, 3))
        _lay(scene, cover, tint.astype(np.float32))
        vein = np.stack([outline[0], outline[30]])
        _stroke(scene, vein, 0.02 * leaf, (tint * rng.uniform(0.6, 2.5)).astype(np.float32), cover)
    grain = rng.uniform(0, 0.35) * _smooth(rng, scene.shape, rng.uniform(2, 12))
    scene.light *= np.exp(grain)[..., None]


def _stroke(scene: Sketch, points: NDArray[np.float64], width: float, colour: Floats,
            within: Bytes | None = None) -> None:  # fmt: skip
    cover = np.zeros(scene.shape, np.uint8)
    fine = [np.round(points * (1 << _FINE)).astype(np.int32)]
    cv2.polylines(cover, fine, False, 255, max(1, round(width)), cv2.LINE_AA, _FINE)
    _lay(scene, cover if within is None else np.minimum(cover, within), colour)


def _course(rng: Rng, length: float, bend: float, knots: int = 5) -> NDArray[np.float64]:
    """Return a bent line that begins at the origin: 120 points a small step apart."""
    turn = np.interp(np.linspace(0, knots - 1, 120), np.arange(knots), rng.normal(0, bend, knots))
    heading = rng.uniform(0, 2 * np.pi) + np.cumsum(turn) / 120
    steps = np.stack([np.cos(heading), np.sin(heading)], axis=1) * length / 119
    return np.asarray(np.cumsum(steps, axis=0) - steps[0])


def _body_colour(rng: Rng) -> Floats:
    """Return green to cyan, now and then pale."""
    colour = np.array([rng.uniform(0.02, 0.5), 1.0, rng.uniform(0.03, 0.95)])
    return np.asarray(colour + rng.choice((rng.uniform(0, 0.12), rng.uniform(0, 0.35))), np.float32)


def _add_caterpillars(rng: Rng, scene: Sketch, size: float) -> None:
    number = int(rng.choice(6, p=(0.15, 0.35, 0.22, 0.14, 0.08, 0.06)))
    colour, strength = _body_colour(rng), float(np.exp(rng.normal(-0.9, 0.7)))
    last = None
    for _ in range(number):
        length = max(size * rng.uniform(0.5, 1.0), 12)
        line = _course(rng, length, rng.choice((0.3, 1.0, 2.2)))
        line = line - line[60] + _somewhere(rng, scene, 0.08)
        if last is not None and rng.random() < 0.25:  # across another one
            line = line - line[60] + last[int(rng.integers(20, 100))] + rng.normal(0, 2, 2)
        own = colour * np.exp(rng.normal(0, 0.12, 3)) * strength * np.exp(rng.normal(0, 0.3))
        if rng.random() < _ON_PAPER:
            _sheet(rng, scene, line[int(rng.integers(120))], length)
        last = line if _lay_caterpillar(rng, scene, line, length, own.astype(np.float32)) else last


def _lay_caterpillar(
    rng: Rng, scene: Sketch, line: NDArray[np.float64], length: float, colour: Floats
) -> bool:
    """Draw a string of discs with bands, unless it would hide another one or lie outside."""
    inside = ((line >= 0) & (line < np.array(scene.shape[::-1]))).all(axis=1)
    if inside.mean() < 0.9 or scene.count >= 250:
        return False
    half = 0.5 * length / rng.uniform(4.0, 9.0) * _girth(rng)
    cover, shade = np.zeros(scene.shape, np.uint8), np.zeros(scene.shape, np.uint8)
    bands = _bands(rng)
    for point, radius, band in zip(line, half, bands, strict=True):
        at = tuple(int(v) for v in np.round(point * (1 << _FINE)))
        grown = round(radius * (1 << _FINE))
        cv2.circle(cover, at, grown, 255, -1, cv2.LINE_AA, _FINE)
        cv2.circle(shade, at, grown, int(band), -1, cv2.LINE_8, _FINE)
    own = (cover > 127).astype(np.uint8)
    under = np.bincount(scene.numbers[own > 0], minlength=2)
    if np.any(under[1:] > 0.45 * under.sum()):
        return False
    depth = cv2.distanceTransform(own, cv2.DIST_L2, 5)
    round_off = 1 - rng.uniform(0, 0.7) * (1 - np.clip(depth / max(half.max(), 1), 0, 1)) ** 2
    texture = np.exp(rng.uniform(0, 0.25) * _smooth(rng, scene.shape, max(half.max() / 2, 1.5)))
    light = np.asarray(shade, np.float32) / 160 * round_off * texture
    scene.count += 1
    _lay(scene, cover, light[..., None] * colour, scene.count)
    return True


def _girth(rng: Rng) -> NDArray[np.float64]:
    """Return the half-width along the body, greatest 1, small enough at the ends to be round."""
    t = np.linspace(-1, 1, 120)
    blunt = np.clip(1 - np.abs(t) ** rng.uniform(3, 14), 0, 1) ** 0.5
    lean = 1 + rng.uniform(-0.3, 0.3) * t
    folds = 1 + rng.uniform(0, 0.06) * np.sin(rng.uniform(16, 40) * t)
    girth = blunt * lean * folds
    return np.asarray(np.maximum(girth / girth.max(), 0.15))


def _bands(rng: Rng) -> NDArray[np.float64]:
    t = np.linspace(0, 1, 120)
    wave = np.sin(2 * np.pi * rng.uniform(5, 14) * t + rng.uniform(0, 6))
    slow = np.interp(t, np.linspace(0, 1, 4), np.exp(rng.normal(0, 0.2, 4)))
    return np.asarray(np.clip(160 * slow * (1 + rng.uniform(0, 0.5) * wave), 20, 255))


def _brightener(rng: Rng) -> Floats:
    colour = np.array([rng.uniform(0.25, 0.85), rng.uniform(0.4, 0.85), 1.0])
    return np.asarray(colour * np.exp(rng.normal(-0.6, 0.7)), np.float32)


def _tag(rng: Rng, scene: Sketch, foliage: Floats, size: float) -> None:
    long, wide = size * np.exp(rng.normal(0.2, 0.5)), size * np.exp(rng.normal(-0.9, 0.6))
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * (long / 2, wide / 2)
    corners = _turned(corners * (1 + rng.normal(0, 0.06, (4, 2))), rng.uniform(0, 6.3))
    colour = _brightener(rng)
    if rng.random() < 0.12:  # green plastic
        colour = (_body_colour(rng) * np.exp(rng.normal(-1, 0.5))).astype(np.float32)
    _lay(scene, _polygon(scene, corners + _somewhere(rng, scene)), colour)


def _sheet(rng: Rng, scene: Sketch, at: NDArray[np.float64], length: float) -> None:
    """Lay printed paper, a tag or cloth, for a caterpillar to lie on, unless it hides another."""
    sides = length * np.exp(rng.normal(0, 0.5, 2)) * (0.7, 0.3)
    corners = _turned(np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * sides, rng.uniform(0, 6.3))
    cover = _polygon(scene, corners + at)
    if scene.numbers[cover > 0].any():
        return
    print_ = np.exp(-rng.uniform(0, 1.5) * (_smooth(rng, scene.shape, length / 20 + 2) > 0.8))
    _lay(scene, cover, (_brightener(rng) * print_[..., None]).astype(np.float32))


def _twine(rng: Rng, scene: Sketch, foliage: Floats, size: float) -> None:
    line = _course(rng, rng.uniform(0.3, 1.5) * max(scene.shape), rng.uniform(0.3, 3), 7)
    colour = _brightener(rng)
    if rng.random() < 0.4:
        colour = _body_colour(rng) * np.float32(np.exp(rng.normal(-1, 0.6)))
    thick = max(1, size * rng.uniform(0.01, 0.08))
    if rng.random() < 0.5:
        thick = max(1, size * rng.uniform(0.05, 0.2))
        colour = colour * _strands(rng, scene, line, thick)
    _stroke(scene, line + _somewhere(rng, scene), thick, colour)


def _strands(rng: Rng, scene: Sketch, line: NDArray[np.float64], thick: float) -> Floats:
    """Return the stripes of a twisted cord, which run aslant of it."""
    angle = np.arctan2(*(line[-1] - line[0])[::-1]) + rng.choice((-1, 1)) * rng.uniform(0.3, 1)
    row, col = np.mgrid[0 : scene.shape[0], 0 : scene.shape[1]]
    way = (col * np.cos(angle) + row * np.sin(angle)) / max(thick * rng.uniform(0.4, 1), 2)
    wave = np.exp(rng.uniform(0.2, 1) * np.cos(2 * np.pi * way))
    return np.asarray(wave[..., None], np.float32)


def _lint(rng: Rng, scene: Sketch, foliage: Floats, size: float) -> None:
    for _ in range(int(rng.integers(1, 9))):
        line = _course(rng, size * rng.uniform(0.1, 0.9), 3.0)
        _stroke(scene, line + _somewhere(rng, scene), rng.uniform(1, 2.4), _brightener(rng))


def _cloth(rng: Rng, scene: Sketch, foliage: Floats, size: float) -> None:
    outline = _blot(rng, _somewhere(rng, scene), size * rng.uniform(0.4, 2), size, 0.6)
    weave = np.exp(0.3 * _smooth(rng, scene.shape, rng.uniform(2, 9)))[..., None]
    _lay(scene, _polygon(scene, outline), (_brightener(rng) * weave).astype(np.float32))


def _worm_of_cloth(rng: Rng, scene: Sketch, foliage: Floats, size: float) -> None:
    """Draw a body's very shape in the blue-white of a brightener: only the hue tells it apart."""
    line = _course(rng, size, 1.0)
    line = line - line[60] + _somewhere(rng, scene, 0.15)
    cover = np.zeros(scene.shape, np.uint8)
    fine = [np.round(line * (1 << _FINE)).astype(np.int32)]
    thick = max(2, round(size / rng.uniform(4, 9)))
    cv2.polylines(cover, fine, False, 255, thick, cv2.LINE_AA, _FINE)
    _lay(scene, cover, _brightener(rng))


def _glare(rng: Rng, scene: Sketch, foliage: Floats, size: float) -> None:
    violet = np.array([rng.uniform(0.2, 0.7), rng.uniform(0.02, 0.25), 1.0], np.float32)
    for _ in range(int(rng.integers(1, 6))):
        outline = _blot(rng, _somewhere(rng, scene), size * rng.uniform(0.1, 0.7), size * 0.2, 0.5)
        cover = cv2.GaussianBlur(_polygon(scene, outline), (0, 0), 0.5 + 0.03 * size)
        strength = np.float32(np.exp(rng.normal(-0.8, 0.6)) / 255)
        scene.light += np.asarray(cover, np.float32)[..., None] * violet * strength


def _stem(rng: Rng, scene: Sketch, foliage: Floats, size: float) -> None:
    line = _course(rng, rng.uniform(0.4, 1.6) * max(scene.shape), rng.uniform(0.1, 0.8), 3)
    if rng.random() < 0.35:  # a stub, both ends of which are seen
        line = _course(rng, size * rng.uniform(0.5, 2.5), rng.uniform(0.1, 0.8), 3)
    pale = foliage * np.float32(rng.uniform(1, 4))
    pale = pale * np.array([1, rng.uniform(1, 4), 1], np.float32)
    if rng.random() < 0.3:  # straw to grey, whatever the foliage sends back
        straw = np.array([rng.uniform(0.5, 1), rng.uniform(0.6, 1), rng.uniform(0.3, 1)])
        pale = np.asarray(straw * np.exp(rng.normal(-2.2, 0.7)), np.float32)
    _stroke(scene, line + _somewhere(rng, scene), max(2, size * rng.uniform(0.03, 0.35)), pale)


def _flower(rng: Rng, scene: Sketch, foliage: Floats, size: float) -> None:
    """Draw flowers of one kind, with rounded petals or as a star of pointed ones."""
    colour = np.array([rng.uniform(0.3, 1), 1.0, rng.uniform(0.02, 0.4)])
    tint = colour * np.exp(rng.normal(-1.3, 0.6))
    middle, petals, pointed = _somewhere(rng, scene), int(rng.integers(4, 8)), rng.random() < 0.6
    for _ in range(int(rng.integers(1, 5))):
        reach = size * rng.uniform(0.1, 0.5)
        outline = _star(rng, petals) if pointed else _rounded(rng, petals)
        seen = _turned(outline * reach * (1, rng.uniform(0.4, 1)), rng.uniform(0, 6.3))
        at = middle + rng.normal(0, 1.5, 2) * reach
        own = tint * np.exp(rng.normal(0, 0.3))
        _lay(scene, _polygon(scene, seen + at), own.astype(np.float32))
        if rng.random() < 0.5:  # the cone of the anthers
            cone = _polygon(scene, _blot(rng, at, 0.5 * reach, 0.4 * reach, 0.05))
            _lay(scene, cone, (own * np.exp(rng.normal(0.3, 0.5))).astype(np.float32))


def _rounded(rng: Rng, petals: int) -> NDArray[np.float64]:
    angle = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    radius = 0.35 + 0.65 * np.abs(np.cos(petals * angle / 2)) ** rng.uniform(0.5, 2)
    return np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)


def _star(rng: Rng, petals: int) -> NDArray[np.float64]:
    """Return a star of narrow pointed petals, widest near the middle of each."""
    step, narrow, belly = 2 * np.pi / petals, rng.uniform(0.15, 0.45), rng.uniform(0.3, 0.7)
    turn = np.array([-0.5, -0.28, 0.0, 0.28]) * step
    radius = np.array([narrow, max(belly, narrow), 1.0, max(belly, narrow)])
    angle = (np.arange(petals)[:, None] * step + turn).ravel()
    length = np.tile(radius, petals) * np.exp(rng.normal(0, 0.08, 4 * petals))
    return np.stack([length * np.cos(angle), length * np.sin(angle)], axis=1)


def _drops(rng: Rng, scene: Sketch, foliage: Floats, size: float) -> None:
    """Draw pollen, dew or eggs: many dots of one kind, round or nearly so."""
    radius = max(0.6, size * rng.uniform(0.005, 0.08))
    greenish = rng.random() < 0.5
    colour = _body_colour(rng) if greenish else _brightener(rng)
    colour = colour * np.float32(np.exp(rng.normal(-0.9, 0.7)))
    middle, spread = _somewhere(rng, scene), rng.uniform(0.03, 0.4) * max(scene.shape)
    for _ in range(int(rng.integers(1, 50))):
        at, own = middle + rng.normal(0, spread, 2), radius * np.exp(rng.normal(0, 0.2))
        _lay(scene, _polygon(scene, _blot(rng, at, 2 * own * rng.uniform(1, 1.5), 2 * own, 0.05)),
             colour)  # fmt: skip


def _dead_leaf(rng: Rng, scene: Sketch, foliage: Floats, size: float) -> None:
    """Draw a withered, tapering blade that glows a dull yellow or green."""
    long, wide = size * rng.uniform(0.4, 1.6), size * rng.uniform(0.06, 0.5)
    t = np.linspace(0, np.pi, 40)
    side = np.stack([-long / 2 * np.cos(t), wide / 2 * np.sin(t) ** rng.uniform(1, 2)], axis=1)
    outline = np.concatenate([side, side[::-1] * (1, -rng.uniform(0, 1))])
    outline[:, 1] += rng.normal(0, 0.2) * wide * (outline[:, 0] / long * 2) ** 2
    colour = np.array([rng.uniform(0.3, 1.1), 1.0, rng.uniform(0.2, 0.9)])
    tint = (colour * np.exp(rng.normal(-2, 0.6))).astype(np.float32)
    turned = _turned(outline, rng.uniform(0, 6.3)) + _somewhere(rng, scene)
    grain = np.exp(0.25 * _smooth(rng, scene.shape, 5))[..., None]
    _lay(scene, _polygon(scene, turned), np.asarray(tint * grain, np.float32))


def _fruit(rng: Rng, scene: Sketch, foliage: Floats, size: float) -> None:
    outline = _blot(rng, _somewhere(rng, scene), size, size * rng.uniform(0.8, 1), 0.03)
    cover = _polygon(scene, outline)
    depth = cv2.distanceTransform((cover > 127).astype(np.uint8), cv2.DIST_L2, 5)
    tint = foliage * np.float32(rng.uniform(0.5, 3)) * np.array([1, rng.uniform(0.8, 4), 1])
    _lay(scene, cover, (tint * (0.3 + depth / max(depth.max(), 1))[..., None]).astype(np.float32))


Decoy = Callable[[Rng, Sketch, Floats, float], None]
_DECOYS: tuple[Decoy, ...] = (
    _tag, _twine, _lint, _cloth, _worm_of_cloth, _glare, _stem, _flower, _flower, _drops,
    _dead_leaf, _fruit,
)  # fmt: skip


def _cover_some(rng: Rng, scene: Sketch, foliage: Floats) -> None:
    """Lay a leaf or a stem over part of a caterpillar."""
    if not scene.count:
        return
    rows, columns = np.nonzero(scene.numbers == int(rng.integers(1, scene.count + 1)))
    if not len(rows):
        return
    pick = int(rng.integers(len(rows)))
    at = np.array([columns[pick], rows[pick]], float)
    girth = 2 * len(rows) / (np.ptp(rows) + np.ptp(columns) + 1)
    tint = (foliage * rng.uniform(0.6, 2)).astype(np.float32)
    if rng.random() < 0.5:
        line = _course(rng, 12 * girth + 40, 0.3, 3)
        _stroke(scene, line - line[60] + at, max(1.5, girth * rng.uniform(0.2, 0.9)), tint)
    else:
        outline = _blot(rng, at, girth * rng.uniform(2, 5), girth * rng.uniform(0.7, 1.3))
        _lay(scene, _polygon(scene, outline), tint)


def _expose(rng: Rng, scene: Sketch) -> None:
    """Torch, lens, sensor, phone and file."""
    rows, columns = scene.shape
    row, col = np.mgrid[0:rows, 0:columns].astype(np.float32)
    at, reach = _somewhere(rng, scene, 0.2), rng.uniform(0.25, 1.2) * max(rows, columns)
    away = ((col - at[0]) ** 2 + (row - at[1]) ** 2) / np.float32(reach**2)
    floor = np.float32(rng.uniform(0.02, 0.4))
    light = scene.light * (floor + (1 - floor) / (1 + away) ** 2)[..., None]
    light += (rng.random() ** 3) * 0.004
    light = cv2.GaussianBlur(light, (0, 0), float(rng.choice((0.5, 0.8, 1.4, 2.2))))
    wide = cv2.GaussianBlur(light, (0, 0), 0.01 * max(rows, columns))
    light = light + np.float32(rng.uniform(0, 0.12)) * wide
    if rng.random() < 0.2:
        light = cv2.filter2D(light, -1, _streak(rng, rng.uniform(2, 9)))
    gains = np.exp(rng.normal(0, (0.3, 0.1, 0.3))) * np.exp(rng.normal(0.4, 0.5))
    light = light * gains.astype(np.float32)
    noise = np.float32(rng.uniform(0.002, 0.03))
    light += (
        noise
        * np.sqrt(np.maximum(light, 0) + 0.003)
        * rng.standard_normal(light.shape, dtype=np.float32)
    )
    curve = np.clip(light, 0, 1) ** np.float32(1 / rng.uniform(1.9, 2.5))
    grey = curve.mean(axis=2, keepdims=True)
    vivid = np.clip(grey + np.float32(rng.uniform(0.8, 1.3)) * (curve - grey), 0, 1)
    pixels = np.asarray(np.rint(255 * vivid), np.uint8)
    quality = int(rng.integers(50, 98))
    scene.pixels = jpeg_loss(pixels, quality) if rng.random() < 0.8 else pixels


def _streak(rng: Rng, length: float) -> Floats:
    side = int(length) | 1
    kernel = np.zeros((side, side), np.float32)
    step = np.array([np.cos(angle := rng.uniform(0, np.pi)), np.sin(angle)]) * side / 2
    middle = np.array([side // 2, side // 2])
    ends = [tuple(int(v) for v in np.round(middle + sign * step)) for sign in (-1, 1)]
    cv2.line(kernel, ends[0], ends[1], 1.0, 1, cv2.LINE_AA)
    return np.asarray(kernel / kernel.sum(), np.float32)
