"""Learn ``vision/frass.json``: what tells droppings from all other dark things.

    python -m scripts.train_frass --photos ../shared/photos

Droppings are learned from painted scenes, and from real photos onto which droppings were painted,
for no real photos of them are at hand. What is not a dropping is learned from these, from painted
sick leaves, and from real photos of leaves and plants. Only numbers are kept. Everything is seeded.
Takes about half an hour of one core, a third of it for painting.
"""

import argparse
import json
import random
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from sklearn.model_selection import GroupKFold

from scripts.fit_layers import fit
from scripts.fit_picture import fit_picture
from scripts.outline_pictures import read
from vision import frass
from vision.frass_judge import CLOSE, JUDGE_PATH, LOOKED, Judge, judge_of
from vision.frass_measures import COMPANY, Measured, keep_company
from vision.frass_peaks import FRASS_LONG_PX, GLANCE, find_peaks, glanced, views
from vision.frass_picture import picture_net_of
from vision.frass_regions import Region
from vision.layers import layers_of
from vision.raster import shrunk
from vision.rendered import draw_scene, render
from vision.rendered.droppings import draw_dropping_scene, lay_on_photo, render_droppings

Floats = NDArray[np.float32]
Numbers = NDArray[np.intp]
Pixels = NDArray[np.uint8]
Truth = NDArray[np.uint16]

_SEED = 20
_PELLET, _NONE = 0.5, 0.3  # overlap from which, and below which, a patch is (no) dropping
_HIDDEN_GLANCE, _HIDDEN_LOOK, _HIDDEN_CLOSE = (16,), (64, 16), (48, 16)
_ROUNDS, _PICTURE_ROUNDS = 12, 10  # more learn chance
_NEAR, _ALIKE = 0.25, 0.38  # stricter once it is outlined: the best of several is wanted
_GLANCED_SHARE, _LOOKED_SHARE = 0.25, 0.35  # of spots that are no dropping: enough to learn from
_FOLDS, _PART = 3, 2000  # spots of a part that is scored at once, for the memory's sake
_KNOWN = {"tomato": 300, "coffee": 60, "canopy": 12}  # real photos that are learned from
_MORE = {"tomato": 500, "coffee": 80, "canopy": 0}  # and others, without painted droppings
_GLANCE_STEP, _LOOK_STEP = 3, 2  # not all photos are needed for the first two networks
_AIM = 0.95
FITTED_ON = (
    "Painted dropping scenes and painted sick leaves (vision.rendered), and, as photos without "
    "any dropping and with droppings painted onto them: tomato leaves (PlantVillage: Hughes & "
    "Salathé 2015, arXiv:1511.08060, CC BY-SA 3.0), coffee leaves (Esgario, Krohling & Ventura "
    "2020, Computers and Electronics in Agriculture 169:105162, MIT licence), tomato plants (Wu, "
    "Wang, Liu & Sun 2023, doi:10.17632/8h3s6jkyff.1, CC BY 4.0). Only these numbers are kept."
)


@dataclass(frozen=True, eq=False)
class Lesson:
    """A photo whose droppings are known.

    Attributes
    ----------
    kind : str
        Where it comes from.
    jpeg : bytes
        The photo, compressed.
    numbers : bytes
        PNG of one channel, 16 bits: 0, or the number of the dropping at that pixel.
    count : int
        How many droppings it shows.
    """

    kind: str
    jpeg: bytes = field(repr=False)
    numbers: bytes = field(repr=False)
    count: int

    @property
    def pixels(self) -> Pixels:
        """The photo, red first."""
        code = np.frombuffer(self.jpeg, np.uint8)
        decoded = np.asarray(cv2.imdecode(code, cv2.IMREAD_COLOR), np.uint8)
        return np.ascontiguousarray(decoded[..., ::-1])

    @property
    def truth(self) -> Truth:
        """The number of the dropping at each pixel."""
        code = np.frombuffer(self.numbers, np.uint8)
        return np.asarray(cv2.imdecode(code, cv2.IMREAD_UNCHANGED), np.uint16)


@dataclass(frozen=True, eq=False)
class Rows:
    """What was measured of many patches.

    Attributes
    ----------
    inputs : ndarray of float32, shape (patches, measures)
        As a network sees them.
    overlap : ndarray of float32, shape (patches,)
        Of each with the dropping it covers best, shared ÷ joint area.
    dropping : ndarray of intp, shape (patches,)
        The number of that dropping.
    photo : ndarray of intp, shape (patches,)
        Which photo it is from.
    """

    inputs: Floats
    overlap: Floats
    dropping: Numbers
    photo: Numbers

    @property
    def clear(self) -> NDArray[np.bool_]:
        """Patches that are clearly a dropping or clearly none."""
        return (self.overlap > _PELLET) | (self.overlap < _NONE)


def lesson_of(kind: str, pixels: Pixels, truth: Truth, quality: int) -> Lesson:
    """Keep a photo with its droppings, compressed."""
    jpeg = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    numbers = cv2.imencode(".png", truth)[1]
    return Lesson(kind, jpeg.tobytes(), numbers.tobytes(), int(truth.max()))


def dropping_lessons(seed: int, count: int, **fixed: Any) -> Iterator[Lesson]:  # noqa: ANN401
    """Yield painted droppings among litter, as other phones would show them too.

    Fields of the scene may be fixed.
    """
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


def composed_lessons(photos: Path, seed: int, counts: dict[str, int]) -> Iterator[Lesson]:
    """Yield real photos onto which droppings were painted: real grounds, lenses and lesions."""
    rng = np.random.default_rng(seed)
    for kind, count in counts.items():
        paths = sorted(known_paths(photos, kind)[: _KNOWN[kind]])
        for path in random.Random(seed).choices(paths, k=count):
            whole = read(path)
            pixels = shrunk(whole, FRASS_LONG_PX / max(whole.shape))
            scene = draw_dropping_scene(rng, pellets=int(np.exp(rng.uniform(0, 3))))
            largest = min(55, max(pixels.shape) / 9)
            px_per_mm = np.exp(rng.uniform(np.log(7), np.log(largest))) / scene.pellet_mm
            made = lay_on_photo(scene, pixels, px_per_mm, int(rng.integers(1 << 31)))
            seen, truth = _other_phone(rng, made[0], made[1].astype(np.uint16))
            yield lesson_of(f"droppings on {kind} photos", seen, truth, int(rng.integers(75, 98)))


def known_paths(photos: Path, kind: str) -> list[Path]:
    """Return the real photos of a kind that are learned from; the others are kept to check.

    Droppings are painted onto some of the first ``_KNOWN`` of them.
    """
    paths = sorted(
        path
        for path in (photos / kind).rglob("*")
        if path.suffix.lower() in (".jpg", ".jpeg") and "masks" not in path.parts
    )
    first = random.Random(_SEED).sample(paths, min(_KNOWN[kind], len(paths)))
    others = sorted(set(paths) - set(first))
    return first + random.Random(_SEED).sample(others, min(_MORE[kind], len(others)))


def real_lessons(photos: Path) -> Iterator[Lesson]:
    """Yield real photos, which show no droppings."""
    for kind in _KNOWN:
        for path in known_paths(photos, kind):
            pixels = read(path)
            yield lesson_of(kind, pixels, np.zeros(pixels.shape[:2], np.uint16), 95)


def leaf_lessons(seed: int, count: int, **fixed: Any) -> Iterator[Lesson]:  # noqa: ANN401
    """Yield painted leaves, most of them sick, without droppings."""
    rng = np.random.default_rng(seed)
    for _ in range(count):
        wide = int(rng.integers(640, 1281))
        scene = draw_scene(rng, width_px=wide, height_px=round(0.75 * wide), **fixed)
        photo = render(scene, int(rng.integers(1 << 31)))
        none = np.zeros(photo.mask.shape, np.uint16)
        yield lesson_of("painted leaf", photo.pixels, none, int(rng.integers(75, 96)))


def all_lessons(photos: Path) -> Iterator[Lesson]:
    """Yield all that is learned from."""
    yield from dropping_lessons(_SEED, 560)
    yield from dropping_lessons(_SEED + 10, 150, ground="mulch")
    yield from dropping_lessons(_SEED + 11, 60, ground="leaf", litter=("speck", "shade"))
    yield from composed_lessons(photos, _SEED + 2, {"tomato": 150, "coffee": 40, "canopy": 8})
    yield from composed_lessons(photos, _SEED + 12, {"tomato": 60, "coffee": 30, "canopy": 6})
    yield from leaf_lessons(_SEED + 1, 60)
    yield from leaf_lessons(_SEED + 13, 80)
    yield from leaf_lessons(_SEED + 14, 60, pattern="spot", kind="bacterial")
    yield from real_lessons(photos)


def overlap_of(region: Region, truth: Truth, areas: NDArray[np.int64]) -> tuple[float, int]:
    """Return the largest overlap of an outline with a dropping (shared ÷ joint area), and which."""
    factor = region.spot.view.factor
    at = [
        np.rint(region.spot.view.in_photo(np.arange(side) + start)).astype(int)
        for side, start in zip(region.inside.shape, (region.row, region.col), strict=True)
    ]
    inside = region.inside.copy()
    for axis, (places, most) in enumerate(zip(at, truth.shape, strict=True)):
        inside &= np.expand_dims((places >= 0) & (places < most), 1 - axis)
    rows, cols = (np.clip(p, 0, most - 1) for p, most in zip(at, truth.shape, strict=True))
    labels = truth[rows][:, cols][inside]
    shared = np.bincount(labels, minlength=len(areas)) * factor**2
    own = np.count_nonzero(inside) * factor**2
    shared[0] = 0
    share = shared / (areas + own - shared)
    best = int(share.argmax())
    return float(share[best]), best


def spot_overlap(
    places: NDArray[np.float64], truth: Truth, near: float = 0.32, alike: float = 0.55
) -> tuple[Floats, Numbers]:
    """Rate how well spots fit the droppings on which they lie, 0 to 1, and say which.

    A spot fits whose middle and diameter are near enough to the dropping's.

    Parameters
    ----------
    places : ndarray of float64, shape (spots, 3)
        Row, column and diameter in pixels of the photo.
    truth : ndarray of uint16, shape (rows, columns)
        The number of the dropping at each pixel.
    near, alike : float
        How far a fitting spot's middle may be from the dropping's, in diameters, and the
        logarithm of its diameter from that of the dropping's.
    """
    areas = np.bincount(truth.ravel()).astype(np.float64)
    rows, cols = np.nonzero(truth)
    lying = truth[rows, cols]
    middles = [np.bincount(lying, at, len(areas)) / np.maximum(areas, 1) for at in (rows, cols)]
    at_row, at_col = (
        np.clip(np.rint(places[:, axis]).astype(np.intp), 0, truth.shape[axis] - 1)
        for axis in (0, 1)
    )
    which = truth[at_row, at_col].astype(np.intp)
    size = np.sqrt(4 * areas[which] / np.pi)
    away = np.hypot(places[:, 0] - middles[0][which], places[:, 1] - middles[1][which])
    larger = places[:, 2] - size
    ratio = np.abs(np.log(places[:, 2] / size))
    good = (away < near * size + 1) & ((ratio < alike) | ((larger > 0) & (larger < 4.5)))
    fair = (away < 0.45 * size + 1) & (ratio < 0.8)
    rated = np.where(good, 0.6, np.where(fair, 0.4, 0.0))
    return np.where(which > 0, rated, 0.0).astype(np.float32), which


def _areas(lesson: Lesson) -> Numbers:
    return np.bincount(lesson.truth.ravel(), minlength=lesson.count + 1)


def glance_rows(lessons: list[Lesson]) -> Rows:
    """Take a glance at spots of all photos."""
    parts = []
    for number, lesson in enumerate(lessons):
        chance = np.random.default_rng(number)
        for peaks in find_peaks(views(lesson.pixels)):
            overlap, which = spot_overlap(frass.places_of(peaks), lesson.truth)
            kept = (overlap > 0) | (chance.random(len(which)) < _GLANCED_SHARE)
            parts.append((peaks.glance[kept], overlap[kept], which[kept], number))
    return _stacked(parts)


def look_rows(lessons: list[Lesson], judge: Judge) -> Rows:
    """Look at what a glance chooses."""
    parts = []
    for number, lesson in enumerate(lessons):
        chance = np.random.default_rng(number)
        for peaks in glanced(find_peaks(views(lesson.pixels)), judge.glance, frass.LOOKS):
            overlap, which = spot_overlap(frass.places_of(peaks), lesson.truth)
            kept = (overlap > 0) | (chance.random(len(which)) < _LOOKED_SHARE)
            parts.append((frass.look_at(peaks)[kept], overlap[kept], which[kept], number))
    return _stacked(parts)


def close_rows(lessons: list[Lesson], judge: Judge) -> tuple[Rows, list[list[Measured]]]:
    """Outline and measure what a look chooses; return the rows, and the spots photo by photo."""
    parts, patches = [], []
    for number, lesson in enumerate(lessons):
        seen = frass.look_closely(lesson.pixels, judge, frass.LEARNED_LEAST)
        patches.append([_without_picture(one) for one in seen])
        if seen:
            labels = _labels(lesson, seen)
            parts.append((frass.rows_of(seen), *labels, number))
    return _stacked(parts), patches


def _without_picture(one: Measured) -> Measured:
    """Keep where a spot lies but not the photo that it lies on, which would fill the memory."""
    spot, nothing = one.region.spot, np.zeros((0, 0), np.uint8)
    bare = replace(spot.view, pixels=nothing, tone=nothing, finer=None)
    region = replace(one.region, spot=replace(spot, view=bare), scale=nothing.astype(np.float32))
    return replace(one, region=region)


def _labels(lesson: Lesson, seen: list[Measured]) -> tuple[Floats, Numbers]:
    """Rate outlined spots by their outline or by where they lie, whichever fits better."""
    truth, areas = lesson.truth, _areas(lesson)
    found = [overlap_of(one.region, truth, areas) for one in seen]
    overlap, which = (np.array(column) for column in zip(*found, strict=True))
    for places in (frass.outlined_places(seen), frass.spot_places(seen)):
        rated, of = spot_overlap(places, truth, _NEAR, _ALIKE)
        which = np.where(rated > overlap, of, which)
        overlap = np.maximum(rated, overlap)
    return overlap.astype(np.float32), which.astype(np.intp)


def _stacked(parts: list[tuple[Floats, Floats, Numbers, int]]) -> Rows:
    return Rows(
        np.concatenate([part[0] for part in parts]),
        np.concatenate([part[1] for part in parts]),
        np.concatenate([part[2] for part in parts]),
        np.concatenate([np.full(len(part[1]), part[3], np.intp) for part in parts]),
    )


def fit_close(rows: Rows, pictures: Pixels) -> tuple[list[dict[str, Any]], Floats]:
    """Learn networks that weigh the picture and all measures of an outlined spot.

    Each learns from other photos. Returned are all of them, whose mean is taken, and the score of
    every spot by the one that has not seen its photo.
    """
    stored: list[dict[str, Any]] = []
    scores = np.zeros(len(rows.overlap), np.float32)
    for known, unseen in GroupKFold(_FOLDS).split(rows.inputs, groups=rows.photo):
        use, seed = known[rows.clear[known]], _SEED + len(stored)
        what = rows.inputs[use], pictures[use], rows.overlap[use] > _PELLET
        stored.append(fit_picture(*what, _HIDDEN_CLOSE, CLOSE, seed, _PICTURE_ROUNDS))
        network = picture_net_of(stored[-1])
        for part in np.array_split(unseen, max(1, len(unseen) // _PART)):
            scores[part] = network.log_odds(rows.inputs[part], pictures[part])
    return stored, scores


def company_rows(rows: Rows, scores: Floats, patches: list[list[Measured]]) -> Rows:
    """Choose each photo's patches that do not overlap, and see them in each other's company."""
    parts = []
    for number, seen in enumerate(patches):
        own = np.flatnonzero(rows.photo == number)
        if len(own):
            chosen = own[np.array(frass.apart(seen, scores[own]), np.intp)]
            if not len(chosen):
                continue
            inputs = keep_company(rows.inputs[chosen], scores[chosen])
            parts.append((inputs, rows.overlap[chosen], rows.dropping[chosen], number))
    return _stacked(parts)


def missed_share(company: Rows, scores: Floats, lessons: list[Lesson]) -> float:
    """Return droppings that nothing believed in stands for, as a share of those expected."""
    chance = 1 / (1 + np.exp(-scores))
    missed = expected = 0.0
    for number, lesson in enumerate(lessons):
        own = company.photo == number
        stood_for = np.unique(company.dropping[own & (company.overlap > _NONE) & (chance > 0.02)])
        missed += lesson.count - len(stood_for)
        expected += chance[own].sum()
    return missed / max(expected, 1.0)


def doubt_of(judge: Judge, company: Rows, scores: Floats, lessons: list[Lesson]) -> float:
    """Return the least divisor of log-odds, up to 3, with which 95 % of the intervals hold."""
    shown = [n for n, lesson in enumerate(lessons) if lesson.kind.startswith("droppings")]
    for doubt in np.arange(1.0, 3.01, 0.1):
        tried = replace(judge, doubt=float(doubt))
        held = 0
        for number in shown:
            low, high = frass.count_interval(list(scores[company.photo == number]), tried)
            held += low <= lessons[number].count <= high
        if held >= _AIM * len(shown):
            break
    return round(float(doubt), 2)


def learn(lessons: list[Lesson]) -> dict[str, Any]:
    """Learn all three networks and the two figures of the interval."""
    glances = glance_rows(lessons[::_GLANCE_STEP])
    stored: dict[str, Any] = {"glance": _fit_clear(glances, _HIDDEN_GLANCE, GLANCE)}
    first = layers_of(stored["glance"])
    looked = look_rows(lessons[::_LOOK_STEP], Judge(first, first, (), first, 1.0, 0.0))
    stored["look"] = _fit_clear(looked, _HIDDEN_LOOK, LOOKED, _ROUNDS)
    second = layers_of(stored["look"])
    rows, patches = close_rows(lessons, Judge(first, second, (), second, 1.0, 0.0))
    print(
        f"{len(glances.overlap)} glances, {len(looked.overlap)} looks, {len(rows.overlap)} outlines"
    )
    pictures = frass.pictures_of([one for seen in patches for one in seen])
    stored["close"], scores = fit_close(rows, pictures)
    company = company_rows(rows, scores, patches)
    stored["company"] = _fit_clear(company, (), COMPANY)
    final = layers_of(stored["company"]).log_odds(company.inputs)
    _report(lessons, company, final)
    share = round(float(missed_share(company, final, lessons)), 4)
    judge = judge_of(stored | {"doubt": 1.0, "missed_share": share})
    return stored | {"doubt": doubt_of(judge, company, final, lessons), "missed_share": share}


def _fit_clear(
    rows: Rows, hidden: tuple[int, ...], names: tuple[str, ...], rounds: int = 25
) -> dict[str, Any]:
    clear = rows.clear
    return fit(rows.inputs[clear], rows.overlap[clear] > _PELLET, hidden, names, _SEED, rounds)


def _report(lessons: list[Lesson], company: Rows, scores: Floats) -> None:
    """Print precision, recall and false alarms of photos that the second network had not seen."""
    counted = scores > np.log(frass.COUNTED / (1 - frass.COUNTED))
    for kind in sorted({lesson.kind for lesson in lessons}):
        shown = [n for n, lesson in enumerate(lessons) if lesson.kind == kind]
        own = np.isin(company.photo, shown)
        right = own & counted & (company.overlap > _NONE)
        total = sum(lessons[n].count for n in shown)
        wrong = np.count_nonzero(own & counted & ~right)
        alarms = len(np.unique(company.photo[own & counted & ~right]))
        print(
            f"{kind}: {len(shown)} photos, {total} droppings, found {np.count_nonzero(right)}, "
            f"wrong {wrong} in {alarms} photos"
        )


def main() -> None:
    """Learn, and write the file."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=Path, default=Path("../shared/photos"))
    parser.add_argument("--out", type=Path, default=JUDGE_PATH)
    args = parser.parse_args()
    lessons = list(all_lessons(args.photos))
    stored = {"fitted_on": FITTED_ON, **learn(lessons)}
    compact = json.dumps(stored, separators=(",", ":"))
    args.out.write_text(compact + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
