"""Learn ``vision/chewed/chewed.json``: what tells a bite from a sinus, and how much was eaten.

    python -m scripts.workshop learn chewed --photos ../shared/photos

Outlines are those of painted leaflets and of real leaves as they are found on photos. Each is
looked at whole, and again after feeding was painted into it. How much bites took in all is learned
from these and from painted photos of leaves, as their leaves are found. Only numbers are kept.
Takes about two and a half minutes of one core.
"""

import json
import random
import warnings
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from sklearn.exceptions import ConvergenceWarning
from sklearn.neural_network import MLPRegressor

from scripts.workshop.learn.kit import as_stored, fit, standardised
from scripts.workshop.learn.options import options_of, share_of
from scripts.workshop.learn.photos import read
from scripts.workshop.rendered import PLAIN_BACKGROUNDS, Scene, draw_scene, render
from scripts.workshop.rendered.leaves.feeding import cut_gaps, draw_feeding
from scripts.workshop.rendered.leaves.layout import lay_out
from vision.chewed.bays import BAY_LENGTH_PX, BAY_MEASURES, Bay
from vision.chewed.measure import (
    CHEWED_PATH,
    LITTLE,
    SHAPE,
    BiteJudge,
    SeenMargin,
    chewed_pct,
    is_compound,
    margin_bays,
    read_outline,
    without_stalk,
)
from vision.day.leaf import find_leaves
from vision.day.lesion import classify
from vision.day.surface import load_surface
from vision.day.tissue import healthy_colour, leaf_lab
from vision.learned import layers_of
from vision.raster import largest_part, shrunk, window_around
from vision.records import LEAF

Bools = NDArray[np.bool_]
Floats = NDArray[np.float32]
Numbers = NDArray[np.float64]

_SEED = 30
_HIDDEN, _ROUNDS, _HIDDEN_SHAPE = (32, 16), 200, (10,)
_FOLDS = 4
_REAL = {"tomato/healthy": 150, "tomato/septoria_leaf_spot": 60, "coffee": 60}
_PAINTED, _PAINTED_PHOTOS = 140, 260
_AIM = 0.95
_GAINS = (-2.0, 2.5)  # logarithms: outside, it is chance
_LEAST_MISS = 0.3  # percentage points: less is chance
_BITE, _NONE = 0.5, 0.2  # eaten share of a bay from which, and below which, it is (no) bite
FITTED_ON = (
    "Outlines of painted leaflets and of real leaves: tomato (PlantVillage: "
    "Hughes & Salathé 2015, arXiv:1511.08060, CC BY-SA 3.0) and coffee (Esgario, Krohling & "
    "Ventura 2020, Computers and Electronics in Agriculture 169:105162, MIT licence), whole and "
    "with bites painted into them. Only these numbers are kept."
)


@dataclass(frozen=True, eq=False)
class Case:
    """One leaf that is known whole.

    Attributes
    ----------
    kind : str
        Source, and whether it was eaten.
    outline : int
        Number of the whole outline it comes from.
    eaten : float
        Truth in percent of the whole.
    leaf : ndarray of bool, shape (rows, columns)
        What is left, as it is found.
    classes : ndarray of uint8, shape (rows, columns)
        Its mask values.
    bays : list of Bay
        Bays of the outline; none of photos.
    bitten : ndarray of float32, shape (bays,)
        Eaten share of each bay.
    """

    kind: str
    outline: int
    eaten: float
    leaf: Bools = field(repr=False)
    classes: NDArray[np.uint8] = field(repr=False)
    bays: list[Bay] = field(repr=False)
    bitten: Floats = field(repr=False)


def painted_outlines(seed: int, count: int) -> Iterator[tuple[str, Bools]]:
    """Yield painted leaflets."""
    rng = np.random.default_rng(seed)
    for _ in range(count):
        scene = draw_scene(rng, shape="leaflet", leaves=1, leaf_size=0.9)
        outline = lay_out(rng, scene)[0].leaflets[0].outline
        low = outline.min(axis=0)
        points = np.rint(outline - low + 4).astype(np.int32)
        canvas = np.zeros((int(points[:, 1].max()) + 5, int(points[:, 0].max()) + 5), np.uint8)
        cv2.fillPoly(canvas, [points], 1)
        yield "painted", _ready(canvas > 0)


def real_outlines(photos: Path, seed: int, counts: dict[str, int]) -> Iterator[tuple[str, Bools]]:
    """Yield leaves as they are found on real photos."""
    for kind, count in counts.items():
        paths = sorted(
            path
            for path in (photos / kind).rglob("*")
            if path.suffix.lower() in (".jpg", ".jpeg") and "masks" not in path.parts
        )
        for path in random.Random(seed).sample(paths, min(count, len(paths))):
            found = find_leaves(read(path))
            if found.count and not (found.touching[0] or found.cut_off[0]):
                yield kind.partition("/")[0], _ready(found.numbers == 1)


def _ready(leaf: Bools) -> Bools:
    """Bring a leaf's largest part to the usual length, without holes."""
    left, top, width, height = cv2.boundingRect(leaf.view(np.uint8))
    cut = leaf[top : top + height, left : left + width].astype(np.uint8) * 255
    small = np.pad(shrunk(cut, BAY_LENGTH_PX / max(width, height)) > 127, 4).view(np.uint8)
    outlines, _ = cv2.findContours(small, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    filled = np.zeros(small.shape, np.uint8)
    cv2.drawContours(filled, [max(outlines, key=cv2.contourArea)], -1, 1, cv2.FILLED)
    return filled.view(np.bool_)


def bitten(rng: np.random.Generator, leaf: Bools, pct: float) -> Bools:
    """Return what feeding leaves of a leaf; only the margin is eaten."""
    outlines, _ = cv2.findContours(leaf.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = outlines[0][:, 0].astype(np.float64)
    outline = np.roll(outline, -int(rng.integers(len(outline))), axis=0)
    scene = Scene(bite_share=1.0)
    scale = max(leaf.shape) / float(rng.uniform(45, 95))
    gaps = cut_gaps(rng, scene, outline, leaf.astype(np.float32), scale, (pct / 100, 0))
    return leaf & (gaps.left > 0.5)


def cases(outlines: Iterator[tuple[str, Bools]], seed: int) -> Iterator[Case]:
    """Look at each outline whole, and thrice bitten."""
    rng = np.random.default_rng(seed)
    for number, (kind, leaf) in enumerate(outlines):
        blade = without_stalk(leaf)
        if is_compound(leaf) or np.count_nonzero(blade) < 0.95 * np.count_nonzero(leaf):
            continue
        yield _case(f"{kind}, whole", number, leaf, leaf)
        for least, most in ((0.5, 10), (0.5, 30), (15, 50)):
            rest = largest_part(bitten(rng, leaf, float(rng.uniform(least, most))))
            yield _case(f"{kind}, bitten", number, leaf, rest)


def _case(kind: str, number: int, whole: Bools, rest: Bools) -> Case:
    gone = whole & ~rest
    bays = margin_bays(rest, without_stalk(rest))
    shares = [np.count_nonzero(bay.inside & gone) / np.count_nonzero(bay.inside) for bay in bays]
    eaten = 100 * np.count_nonzero(gone) / np.count_nonzero(whole)
    classes = np.where(rest, LEAF, 0).astype(np.uint8)
    return Case(kind, number, eaten, rest, classes, bays, np.array(shares, np.float32))


def photo_cases(seed: int, count: int, first: int) -> Iterator[Case]:
    """Yield leaves as they are found on painted photos, with all that goes wrong there."""
    rng = np.random.default_rng(seed)
    for number in range(count):
        scene = draw_scene(
            rng, background=str(rng.choice(PLAIN_BACKGROUNDS)), shape="leaflet", leaves=1, holes=0,
            leaf_size=float(rng.uniform(0.6, 0.9)), width_px=720, height_px=560,
        )  # fmt: skip
        feeding: dict[str, Any] = dict(draw_feeding(rng)) if rng.random() < 0.75 else {}
        photo = render(replace(scene, **feeding), int(rng.integers(1 << 31)))
        found = find_leaves(photo.pixels)
        if not found.count or found.cut_off[0] or found.touching[0] or not found.plain:
            continue
        window, length = window_around(found.numbers == 1, 2, 0.02)
        lab, leaf = leaf_lab(photo.pixels[window]), found.numbers[window] == 1
        sick = classify(lab, leaf, healthy_colour(lab, leaf), length, load_surface())
        eaten = photo.chewed_pct or 0.0
        kind = "photo, eaten" if eaten else "photo, whole"
        yield Case(kind, first + number, eaten, leaf, sick.classes, [], np.zeros(0, np.float32))


def learn(shown: list[Case]) -> dict[str, Any]:
    """Learn the three networks and the interval's figures.

    The second and third see what the first makes of outlines that it has not learned from.
    """
    inputs = np.stack([bay.values for case in shown for bay in case.bays])
    share = np.concatenate([case.bitten for case in shown])
    outline = np.array([case.outline for case in shown])
    of_bay = np.concatenate([np.full(len(c.bays), c.outline, np.intp) for c in shown])
    fold = outline % _FOLDS
    apart: list[SeenMargin | None] = [None] * len(shown)
    for number in range(_FOLDS):
        bite = layers_of(_fit_bays(inputs, share, of_bay % _FOLDS != number))
        for own in np.flatnonzero(fold == number):
            apart[own] = read_outline(shown[own].leaf, shown[own].classes, bite)
    read_ = [(case, seen) for case, seen in zip(shown, apart, strict=True) if seen is not None]
    stored = {"bays": _fit_bays(inputs, share, np.ones(len(share), bool))}
    return stored | _learn_shapes(read_)


def _fit_bays(inputs: Floats, share: Floats, use: Bools) -> dict[str, Any]:
    use = use & ((share > _BITE) | (share < _NONE))
    return fit(inputs[use], share[use] > _BITE, _HIDDEN, BAY_MEASURES, _SEED, _ROUNDS)


def _learn_shapes(read_: list[tuple[Case, SeenMargin]]) -> dict[str, Any]:
    """Learn what bites took, how far that misses usually, and how far at most."""
    shapes = np.stack([seen.shape for _, seen in read_])
    true = np.array([case.eaten for case, _ in read_])
    took = np.maximum(true / (100 - true) - shapes[:, SHAPE.index("holes")], 0)
    fold = np.array([case.outline for case, _ in read_]) % _FOLDS
    believed = np.array([seen.believed for _, seen in read_])
    wanted, bitten = np.log((took + LITTLE) / (believed + LITTLE)), believed > 0
    wanted = np.clip(wanted, *_GAINS)
    pct = np.zeros(len(true))
    for number in range(_FOLDS):
        one = _judge(_fit_value(shapes, wanted, bitten & (fold != number)))
        for own in np.flatnonzero(fold == number):
            pct[own] = chewed_pct(read_[own][1], one)
    miss = np.log(np.maximum(np.abs(true - pct), _LEAST_MISS))
    usual = np.zeros(len(true))
    for number in range(_FOLDS):
        spread = layers_of(_fit_value(shapes, miss, fold != number))
        usual[fold == number] = np.exp(spread.log_odds(shapes[fold == number]))
    eaten = true > 0  # of whole leaves more would hold, and hide how many of these do
    low, high = (
        float(np.quantile((side / usual)[eaten], 1 - (1 - _AIM) / 2))
        for side in (pct - true, true - pct)
    )
    every = np.ones(len(true), bool)
    figures = {"times_low": round(max(low, 1.0), 2), "times_high": round(max(high, 1.0), 2)}
    ends = pct - figures["times_low"] * usual, pct + figures["times_high"] * usual
    _report([case.kind for case, _ in read_], true, pct, ends)
    return {
        "gain": _fit_value(shapes, wanted, bitten),
        "spread": _fit_value(shapes, miss, every),
    } | figures


def _judge(gain: dict[str, Any]) -> BiteJudge:
    nothing = layers_of({"mean": [0.0], "spread": [1.0], "layers": []})
    return BiteJudge(nothing, layers_of(gain), nothing, 1.0, 1.0)


def _fit_value(shapes: Floats, wanted: Numbers, use: Bools) -> dict[str, Any]:
    """Fit a network that returns a value instead of log-odds."""
    rows, mean, spread = standardised(shapes[use])
    network = MLPRegressor(
        hidden_layer_sizes=_HIDDEN_SHAPE, alpha=0.3, solver="lbfgs", max_iter=400,
        random_state=_SEED,
    )  # fmt: skip
    with warnings.catch_warnings():  # stopping early is meant: it keeps the weights small
        warnings.simplefilter("ignore", ConvergenceWarning)
        network.fit(rows, wanted[use])
    layers = list(zip(network.coefs_, network.intercepts_, strict=True))
    return as_stored(SHAPE, mean, spread, layers)


def _report(kinds: list[str], true: Numbers, pct: Numbers, ends: tuple[Numbers, Numbers]) -> None:
    for kind in sorted(set(kinds)):
        own = np.array([one == kind for one in kinds])
        low, high = (end[own] for end in ends)
        value, eaten = pct[own], true[own]
        print(
            f"{kind}: {len(value)}, eaten {eaten.mean():.1f} %, "
            f"bias {np.mean(value - eaten):+.2f}, "
            f"mean miss {np.abs(value - eaten).mean():.2f}, above 1 %: {np.mean(value > 1):.2f}, "
            f"interval holds {np.mean((low <= eaten) & (eaten <= high)):.2f}, "
            f"width {np.mean(np.minimum(high, 95) - np.maximum(low, 0)):.1f}"
        )


def main() -> None:
    """Learn, and write the file."""
    args = options_of(__doc__, CHEWED_PATH).parse_args()
    counts = {kind: share_of(count, args.share) for kind, count in _REAL.items()}
    painted = share_of(_PAINTED, args.share, 2 * _FOLDS)
    outlines = (*painted_outlines(_SEED, painted), *real_outlines(args.photos, _SEED, counts))
    shown = list(cases(iter(outlines), _SEED))
    shown += photo_cases(_SEED + 1, share_of(_PAINTED_PHOTOS, args.share, _FOLDS), len(outlines))
    stored = {"fitted_on": FITTED_ON, **learn(shown)}
    args.out.write_text(json.dumps(stored, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
