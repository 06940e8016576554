"""Photos from which droppings are learned: painted ones, real ones, and real ones painted onto.

No real photo of droppings is at hand. So that what is learned does not lean on one painter's
habits, two paint them: one with care on few grounds, the other roughly on grounds of any make.
"""

import csv
import random
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from scripts.workshop.learn.options import share_of, some
from scripts.workshop.learn.photos import read
from scripts.workshop.rendered import draw_scene, render
from scripts.workshop.rendered.collage import paint_collage
from scripts.workshop.rendered.droppings import (
    FAINT_STEP,
    colour_step,
    draw_dropping_scene,
    lay_on_photo,
    render_droppings,
)
from vision.droppings.network import LOOKED_AT_LONG_PX
from vision.raster import shrunk

__all__ = [
    "Lesson",
    "all_lessons",
    "checking_lessons",
    "judging_paths",
    "keep",
    "kept",
    "known_paths",
    "lesson_of",
]

Pixels = NDArray[np.uint8]
Truth = NDArray[np.uint16]

_SEED = 7000
_PATHS_SEED = 20
_CHECKED = 500_000  # seeds from which photos are painted that check, and fit the interval
_KNOWN = {"tomato": 300, "coffee": 60, "canopy": 12}  # real photos that are painted onto
_MORE = {"tomato": 500, "coffee": 80, "canopy": 0}  # and others, without painted droppings
_SUFFIXES, _LIST = (".jpg", ".png", "-unclear.png"), "lessons.csv"
_JUDGED = {"tomato": 500, "coffee": 20}  # further ones, to learn how sure to be
_LEAST_CHECKED = 2  # painted photos of droppings, whose halves check each other
_GROUND_LONG_PX = 1024
_OFTEN = {"tomato": 1, "coffee": 1, "canopy": 6}  # as a ground, for few show whole plants


@dataclass(frozen=True, eq=False)
class Lesson:
    """A photo whose droppings are known.

    Attributes
    ----------
    kind : str
        Where it comes from: begins with "droppings", "collage" or "none".
    jpeg : bytes
        The photo, compressed.
    numbers : bytes
        PNG of one channel, 16 bits: 0, or the number of the dropping at that pixel.
    unclear : bytes
        PNG of one channel: 1 where it is no matter whether a dropping is seen.
    count : int
        How many droppings it shows.
    """

    kind: str
    jpeg: bytes = field(repr=False)
    numbers: bytes = field(repr=False)
    unclear: bytes = field(repr=False)
    count: int

    @property
    def pixels(self) -> Pixels:
        """The photo, red first."""
        return np.ascontiguousarray(_decoded(self.jpeg, cv2.IMREAD_COLOR)[..., ::-1], np.uint8)

    @property
    def truth(self) -> Truth:
        """The number of the dropping at each pixel."""
        return np.asarray(_decoded(self.numbers, cv2.IMREAD_UNCHANGED), np.uint16)

    @property
    def no_matter(self) -> Pixels:
        """Where it is no matter whether a dropping is seen."""
        return np.asarray(_decoded(self.unclear, cv2.IMREAD_UNCHANGED), np.uint8)


def keep(lessons: Iterable[Lesson], folder: Path) -> None:
    """Write lessons into a folder, from which ``kept`` reads them: painting takes an hour."""
    folder.mkdir(parents=True, exist_ok=True)
    rows = []
    for number, one in enumerate(lessons):
        for suffix, code in zip(_SUFFIXES, (one.jpeg, one.numbers, one.unclear), strict=True):
            (folder / f"{number:05d}{suffix}").write_bytes(code)
        rows.append((one.kind, one.count))
    with (folder / _LIST).open("w", newline="", encoding="utf-8") as file:  # last: all are there
        csv.writer(file).writerows(rows)


def kept(folder: Path) -> list[Lesson]:
    """Return the lessons of a folder; none where it is not complete."""
    if not (folder / _LIST).exists():
        return []
    with (folder / _LIST).open(newline="", encoding="utf-8") as file:
        rows = list(csv.reader(file))
    return [
        _read_lesson(folder, number, kind, int(count)) for number, (kind, count) in enumerate(rows)
    ]


def _read_lesson(folder: Path, number: int, kind: str, count: int) -> Lesson:
    jpeg, numbers, unclear = (
        (folder / f"{number:05d}{suffix}").read_bytes() for suffix in _SUFFIXES
    )
    return Lesson(kind, jpeg, numbers, unclear, count)


def _decoded(code: bytes, how: int) -> NDArray[Any]:
    return np.asarray(cv2.imdecode(np.frombuffer(code, np.uint8), how))


def lesson_of(
    kind: str, pixels: Pixels, truth: Truth, quality: int, unclear: NDArray[np.bool_] | None = None
) -> Lesson:
    """Keep a photo with its droppings, compressed; faint ones are no matter."""
    jpeg = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    seen = _faint(pixels, truth) if unclear is None else unclear
    numbers, no_matter = (
        cv2.imencode(".png", one)[1].tobytes() for one in (truth, seen.astype(np.uint8))
    )
    return Lesson(kind, jpeg.tobytes(), numbers, no_matter, int(truth.max()))


def _faint(pixels: Pixels, truth: Truth) -> NDArray[np.bool_]:
    """Return the pixels of droppings that can hardly be told from their ground."""
    faint = np.zeros(truth.shape, np.bool_)
    for number in range(1, int(truth.max()) + 1):
        rows, cols = np.nonzero(truth == number)
        if not len(rows):
            continue
        length = float(max(np.ptp(rows), np.ptp(cols))) + 1
        reach = int(length / 2 + 4)
        window = tuple(slice(max(0, at.min() - reach), at.max() + reach) for at in (rows, cols))
        own = truth[window] == number
        if colour_step(pixels[window], own, truth[window] > 0, length) < FAINT_STEP:
            faint[window] |= own
    return faint


def _dropping_lessons(seed: int, count: int, **fixed: Any) -> Iterator[Lesson]:  # noqa: ANN401
    """Yield painted droppings among litter, as other phones would show them too."""
    rng = np.random.default_rng(seed)
    for _ in range(count):
        scene = draw_dropping_scene(rng, **fixed)
        photo = render_droppings(scene, int(rng.integers(1 << 31)))
        pixels, truth = _other_phone(rng, photo.pixels, photo.numbers.astype(np.uint16))
        yield lesson_of(f"droppings on {scene.ground}", pixels, truth, 97)


def _other_phone(rng: np.random.Generator, pixels: Pixels, truth: Truth) -> tuple[Pixels, Truth]:
    """Change size, tint, exposure and black level of a photo a little."""
    factor = float(rng.uniform(0.75, 1.28))
    size = (round(pixels.shape[1] * factor), round(pixels.shape[0] * factor))
    how = cv2.INTER_AREA if factor < 1 else cv2.INTER_LINEAR
    seen = cv2.resize(pixels, size, interpolation=how).astype(np.float32) / 255
    gains = np.exp(rng.normal(0, 0.08) + rng.normal(0, 0.04, 3)).astype(np.float32)
    seen = np.clip(seen * gains, 0, 1) ** np.float32(np.exp(rng.normal(0, 0.12)))
    seen = seen * np.float32(1 - 0.08 * rng.random()) + np.float32(0.04 * rng.random())
    sharper = np.float32(rng.uniform(-0.8, 0.8))  # below 0, softer
    seen = seen + sharper * (seen - cv2.GaussianBlur(seen, (0, 0), 1.0))
    numbers = cv2.resize(truth, size, interpolation=cv2.INTER_NEAREST)
    kept = np.unique(numbers)  # a tiny one may be gone: numbers must stay without gaps
    return (
        np.clip(np.rint(255 * seen), 0, 255).astype(np.uint8),
        np.searchsorted(kept, numbers).astype(np.uint16),
    )


def _composed_lessons(photos: Path, seed: int, counts: dict[str, int]) -> Iterator[Lesson]:
    """Yield real photos onto which droppings were painted: real grounds, lenses and lesions."""
    rng = np.random.default_rng(seed)
    for kind, count in counts.items():
        paths = sorted(known_paths(photos, kind)[: _KNOWN[kind]])
        for path in random.Random(seed).choices(paths, k=count):
            whole = read(path)
            pixels = shrunk(whole, LOOKED_AT_LONG_PX / max(whole.shape))
            scene = draw_dropping_scene(rng, droppings=int(np.exp(rng.uniform(0, 3))))
            largest = min(55, max(pixels.shape) / 9)
            px_per_mm = np.exp(rng.uniform(np.log(7), np.log(largest))) / scene.dropping_mm
            made = lay_on_photo(scene, pixels, px_per_mm, int(rng.integers(1 << 31)))
            seen, truth = _other_phone(rng, made[0], made[1].astype(np.uint16))
            yield lesson_of(f"droppings on {kind} photos", seen, truth, int(rng.integers(75, 98)))


def _collage_lessons(photos: Path | None, first: int, count: int) -> Iterator[Lesson]:
    """Yield droppings on grounds of any make, real ones among them where photos are given."""
    grounds = [] if photos is None else list(_grounds(photos))
    for seed in range(first, first + count):
        made = paint_collage(seed, grounds)
        quality = int(np.random.default_rng(seed).integers(70, 99))
        yield lesson_of(f"collage, {made.ground}", made.pixels, made.numbers, quality, made.unclear)


def _grounds(photos: Path) -> Iterator[Pixels]:
    for kind, often in _OFTEN.items():
        for path in known_paths(photos, kind)[: _KNOWN[kind]]:
            whole = read(path)
            ground = shrunk(whole, min(1.0, _GROUND_LONG_PX / max(whole.shape)))
            yield from [ground] * often


def _paths(photos: Path, kind: str) -> list[Path]:
    return sorted(
        path
        for path in (photos / kind).rglob("*")
        if path.suffix.lower() in (".jpg", ".jpeg") and "masks" not in path.parts
    )


def known_paths(photos: Path, kind: str) -> list[Path]:
    """Return the real photos of a kind that are learned from; the others are kept to check.

    Droppings are painted onto some of the first ``_KNOWN`` of them.
    """
    paths = _paths(photos, kind)
    first = random.Random(_PATHS_SEED).sample(paths, min(_KNOWN[kind], len(paths)))
    others = sorted(set(paths) - set(first))
    return first + random.Random(_PATHS_SEED).sample(others, min(_MORE[kind], len(others)))


def judging_paths(photos: Path, kind: str) -> list[Path]:
    """Return real photos that the networks did not learn from, to learn how sure to be."""
    others = sorted(set(_paths(photos, kind)) - set(known_paths(photos, kind)))
    return random.Random(_PATHS_SEED).sample(others, min(_JUDGED[kind], len(others)))


def _real_lessons(kind: str, paths: Iterable[Path]) -> Iterator[Lesson]:
    """Yield real photos, which show no droppings."""
    for path in paths:
        pixels = read(path)
        yield lesson_of(f"none, {kind}", pixels, np.zeros(pixels.shape[:2], np.uint16), 95)


def _leaf_lessons(seed: int, count: int, **fixed: Any) -> Iterator[Lesson]:  # noqa: ANN401
    """Yield painted leaves, most of them sick, without droppings."""
    rng = np.random.default_rng(seed)
    for _ in range(count):
        wide = int(rng.integers(640, 1281))
        scene = draw_scene(rng, width_px=wide, height_px=round(0.75 * wide), **fixed)
        photo = render(scene, int(rng.integers(1 << 31)))
        none = np.zeros(photo.mask.shape, np.uint16)
        yield lesson_of("none, painted leaf", photo.pixels, none, int(rng.integers(75, 96)))


def all_lessons(photos: Path, share: float = 1.0) -> Iterator[Lesson]:
    """Yield all that is learned from, or a share of it."""

    def of(count: int) -> int:
        return share_of(count, share)

    yield from _dropping_lessons(_SEED + 1, of(900))
    yield from _dropping_lessons(_SEED + 2, of(300), ground="mulch")
    yield from _dropping_lessons(_SEED + 3, of(200), ground="soil")
    composed = {"tomato": of(200), "coffee": of(70), "canopy": of(14)}
    yield from _composed_lessons(photos, _SEED + 4, composed)
    yield from _leaf_lessons(_SEED + 5, of(240))
    yield from _leaf_lessons(_SEED + 6, of(120), pattern="spot")
    yield from _leaf_lessons(_SEED + 7, of(120), pattern="spot", kind="bacterial")
    for kind in _KNOWN:
        yield from _real_lessons(kind, some(known_paths(photos, kind), share))
    yield from _collage_lessons(photos, 0, of(6000))


def checking_lessons(photos: Path, share: float = 1.0) -> Iterator[Lesson]:
    """Yield photos that the networks have not seen: how sure to be is learned from these."""
    yield from _dropping_lessons(_CHECKED, share_of(600, share, _LEAST_CHECKED))
    yield from _collage_lessons(None, _CHECKED, share_of(480, share, _LEAST_CHECKED))
    yield from _leaf_lessons(_CHECKED, share_of(180, share))
    for kind in _JUDGED:
        yield from _real_lessons(kind, some(judging_paths(photos, kind), share))
