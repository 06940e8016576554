"""Learn ``vision/frass.json``: what tells droppings from all other dark things.

    python -m scripts.train_frass --photos ../shared/photos

Droppings are learned from painted scenes alone, for no real photos of them are at hand. What is
not a dropping is learned from these, from painted sick leaves, and from real photos of leaves and
plants. Only numbers are kept. Everything is seeded.
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
from joblib import Parallel, delayed
from numpy.typing import NDArray
from sklearn.model_selection import GroupKFold

from scripts.fit_layers import fit
from scripts.outline_pictures import read
from vision import frass
from vision.frass_judge import JUDGE_PATH, Judge, judge_of
from vision.frass_measures import COMPANY, MEASURES, Measured, keep_company, with_photo
from vision.frass_regions import GLANCE, Region, propose, views
from vision.layers import layers_of
from vision.rendered import draw_scene, render
from vision.rendered.droppings import draw_dropping_scene, render_droppings

Floats = NDArray[np.float32]
Numbers = NDArray[np.intp]
Pixels = NDArray[np.uint8]
Truth = NDArray[np.uint16]

_SEED = 20
_PELLET, _NONE = 0.5, 0.3  # overlap from which, and below which, a patch is (no) dropping
_HIDDEN_GLANCE, _HIDDEN_CLOSE = (10,), (32,)
_FOLDS = 3
_GLANCE_STEP = 3  # every third photo is enough for the first network
_AIM = 0.95
FITTED_ON = (
    "Painted dropping scenes and painted sick leaves (vision.rendered), and, as photos without "
    "any dropping: tomato leaves (PlantVillage: Hughes & Salathé 2015, arXiv:1511.08060, "
    "CC BY-SA 3.0), coffee leaves (Esgario, Krohling & Ventura 2020, Computers and Electronics in "
    "Agriculture 169:105162, MIT licence), tomato plants (Wu, Wang, Liu & Sun 2023, "
    "doi:10.17632/8h3s6jkyff.1, CC BY 4.0). Only these numbers are kept."
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


def dropping_lessons(seed: int, count: int) -> Iterator[Lesson]:
    """Yield painted droppings among litter, as other phones would show them too."""
    rng = np.random.default_rng(seed)
    for _ in range(count):
        scene = draw_dropping_scene(rng)
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
    numbers = cv2.resize(truth, size, interpolation=cv2.INTER_NEAREST)
    kept = np.unique(numbers)  # a tiny one may be gone: numbers must stay without gaps
    return (
        np.clip(np.rint(255 * seen), 0, 255).astype(np.uint8),
        np.searchsorted(kept, numbers).astype(np.uint16),
    )


def real_lessons(photos: Path, seed: int, counts: dict[str, int]) -> Iterator[Lesson]:
    """Yield real photos, which show no droppings."""
    for kind, count in counts.items():
        paths = sorted(
            path
            for path in (photos / kind).rglob("*")
            if path.suffix.lower() in (".jpg", ".jpeg") and "masks" not in path.parts
        )
        for path in random.Random(seed).sample(paths, min(count, len(paths))):
            pixels = read(path)
            yield lesson_of(kind, pixels, np.zeros(pixels.shape[:2], np.uint16), 95)


def leaf_lessons(seed: int, count: int) -> Iterator[Lesson]:
    """Yield painted leaves, most of them sick, without droppings."""
    rng = np.random.default_rng(seed)
    for _ in range(count):
        wide = int(rng.integers(640, 1281))
        scene = draw_scene(rng, width_px=wide, height_px=round(0.75 * wide))
        photo = render(scene, int(rng.integers(1 << 31)))
        none = np.zeros(photo.mask.shape, np.uint16)
        yield lesson_of("painted leaf", photo.pixels, none, int(rng.integers(75, 96)))


def overlap_of(region: Region, truth: Truth, areas: NDArray[np.int64]) -> tuple[float, int]:
    """Return the largest overlap of a patch with a dropping (shared ÷ joint area), and which."""
    factor, (height, width) = region.view.factor, region.inside.shape
    rows, cols = (
        np.clip(np.rint((np.arange(side) + start + 0.5) * factor - 0.5).astype(int), 0, most - 1)
        for side, start, most in zip(
            (height, width), (region.row, region.col), truth.shape, strict=True
        )
    )
    labels = truth[rows][:, cols][region.inside]
    shared = np.bincount(labels, minlength=len(areas)) * factor**2
    own = np.count_nonzero(region.inside) * factor**2
    shared[0] = 0
    share = shared / (areas + own - shared)
    best = int(share.argmax())
    return float(share[best]), best


def _areas(lesson: Lesson) -> Numbers:
    return np.bincount(lesson.truth.ravel(), minlength=lesson.count + 1)


def glance_rows(lessons: list[Lesson]) -> Rows:
    """Take a glance at every patch of all photos."""
    parts = Parallel(n_jobs=-1)(delayed(_glances)(lesson) for lesson in lessons)
    return _stacked([(*part, number) for number, part in enumerate(parts)])


def _glances(lesson: Lesson) -> tuple[Floats, Floats, Numbers]:
    regions = [region for view in views(lesson.pixels) for region in propose(view)]
    glances = np.array([region.glance for region in regions], np.float32)
    return (glances.reshape(-1, len(GLANCE)), *_labels(lesson, regions))


def close_rows(lessons: list[Lesson], judge: Judge) -> tuple[Rows, list[list[Measured]]]:
    """Measure what a glance chooses; return the rows, and the patches photo by photo."""
    looks = Parallel(n_jobs=-1)(delayed(_close_look)(lesson, judge) for lesson in lessons)
    parts = [(*look[:3], number) for number, look in enumerate(looks)]
    return _stacked(parts), [look[3] for look in looks]


def _close_look(lesson: Lesson, judge: Judge) -> tuple[Floats, Floats, Numbers, list[Measured]]:
    pixels = lesson.pixels
    seen = frass.look_closely(pixels, judge)
    if not seen:
        return np.zeros((0, len(MEASURES)), np.float32), *_labels(lesson, []), []
    rows = with_photo(seen)
    labels = _labels(lesson, [one.region for one in seen])
    return rows, *labels, _without_pictures(seen)


def _without_pictures(seen: list[Measured]) -> list[Measured]:
    """Keep where patches lie but not the photos that they lie on, which would fill the memory."""
    nothing = np.zeros((0, 0), np.uint8)
    bare = {
        id(one.region.view): replace(
            one.region.view, pixels=nothing, grey=nothing, ground=nothing, slope=nothing
        )
        for one in seen
    }
    return [
        replace(one, region=replace(one.region, view=bare[id(one.region.view)])) for one in seen
    ]


def _labels(lesson: Lesson, regions: list[Region]) -> tuple[Floats, Numbers]:
    truth, areas = lesson.truth, _areas(lesson)
    found = [overlap_of(region, truth, areas) for region in regions]
    return np.array([f[0] for f in found], np.float32), np.array([f[1] for f in found], np.intp)


def _stacked(parts: list[tuple[Floats, Floats, Numbers, int]]) -> Rows:
    return Rows(
        np.concatenate([part[0] for part in parts]),
        np.concatenate([part[1] for part in parts]),
        np.concatenate([part[2] for part in parts]),
        np.concatenate([np.full(len(part[1]), part[3], np.intp) for part in parts]),
    )


def unseen_scores(rows: Rows) -> Floats:
    """Score every patch by a network that has not seen its photo."""
    scores = np.zeros(len(rows.overlap), np.float32)
    pellet = rows.overlap > _PELLET
    for known, unseen in GroupKFold(_FOLDS).split(rows.inputs, groups=rows.photo):
        use = known[rows.clear[known]]
        stored = fit(rows.inputs[use], pellet[use], _HIDDEN_CLOSE, MEASURES, _SEED)
        scores[unseen] = layers_of(stored).log_odds(rows.inputs[unseen])
    return scores


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
    """Return the least divisor of log-odds, up to 2, with which 95 % of the intervals hold."""
    shown = [n for n, lesson in enumerate(lessons) if lesson.kind.startswith("droppings")]
    for doubt in np.arange(1.0, 2.01, 0.1):
        tried = Judge(judge.glance, judge.close, judge.company, float(doubt), judge.missed_share)
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
    stored = {"glance": _fit_clear(glances, _HIDDEN_GLANCE, GLANCE)}
    first = layers_of(stored["glance"])
    rows, patches = close_rows(lessons, Judge(first, first, first, 1.0, 0.0))
    print(f"{len(glances.overlap)} patches, {len(rows.overlap)} looked at closely")
    stored["close"] = _fit_clear(rows, _HIDDEN_CLOSE, MEASURES)
    scores = unseen_scores(rows)
    company = company_rows(rows, scores, patches)
    stored["company"] = _fit_clear(company, (), COMPANY)
    final = layers_of(stored["company"]).log_odds(company.inputs)
    _report(lessons, company, final)
    share = round(float(missed_share(company, final, lessons)), 4)
    judge = judge_of(stored | {"doubt": 1.0, "missed_share": share})
    return stored | {"doubt": doubt_of(judge, company, final, lessons), "missed_share": share}


def _fit_clear(rows: Rows, hidden: tuple[int, ...], names: tuple[str, ...]) -> dict[str, Any]:
    clear = rows.clear
    return fit(rows.inputs[clear], rows.overlap[clear] > _PELLET, hidden, names, _SEED)


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
    lessons = [
        *dropping_lessons(_SEED, 240),
        *leaf_lessons(_SEED + 1, 60),
        *real_lessons(args.photos, _SEED, {"tomato": 300, "coffee": 60, "canopy": 12}),
    ]
    stored = {"fitted_on": FITTED_ON, **learn(lessons)}
    args.out.write_text(json.dumps(stored, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
