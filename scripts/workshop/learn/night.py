"""Fit ``vision/night/judge.json``: what is a caterpillar, which pieces are one, how many meet.

    python -m scripts.workshop learn night [--share SHARE] [--jobs N] [--out FILE]

Learns from painted scenes of two painters that share nothing: ``scripts.workshop.rendered.night``
and ``scripts.workshop.rendered.sketches``. Half of the scenes is left out in turn for the printed
figures, and one painter after the other. Seeded; the same scenes give the same file on the same
machine. Costs one to two seconds a scene, of which there are some 1,280.
"""

import json
import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
from joblib import Parallel, delayed
from numpy.typing import NDArray
from sklearn.neural_network import MLPClassifier

from scripts.common.files import write_whole
from scripts.workshop.learn.night_labels import (
    Hit,
    hits_of,
    joined_label,
    labels_of,
    lying_in,
    pair_label,
    reading_label,
)
from scripts.workshop.learn.options import options_of, share_of
from scripts.workshop.rendered.night import NightScene, draw_night_scene, render_night
from scripts.workshop.rendered.sketches import sketch_scene
from vision import learned
from vision.colour import LINEAR_LIGHT
from vision.night import judge as night_judge
from vision.night.candidates import Candidates, find_candidates
from vision.night.features import described_among, sample
from vision.night.join import PAIR_FEATURES, joined
from vision.night.judge import ALL_FEATURES, JUDGE_VERSION, Net, chances_of
from vision.night.light import read_night_light
from vision.night.partings import PARTING_FEATURES, Ways, parting_features, partings_of
from vision.raster import shrunk

__all__ = ["Examples", "examples_from", "fit_net", "stored_net"]

# The seeds of _SETS are far from those of tests and figures.
_MOST_PAIRS, _MOST_STRANGE_PAIRS = 20, 10  # of one photo, so that none outweighs many others
_FOLDS = 2
_CLIP_PERCENT = 0.5
_BODY_LAYERS, _BODY_DECAY = (40,), 0.2
_PAIR_LAYERS, _PAIR_DECAY = (16,), 0.5
_READING_LAYERS, _READING_DECAY = (24,), 0.5
_BATCH, _STEP, _ROUNDS = 500, 0.003, 120
_MEMBERS = 4  # of one net each; their layers are stacked side by side

Floats = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Examples:
    """Measured bodies and pairs of one scene with their labels.

    Attributes
    ----------
    painter : str
        Who painted it.
    rows, pair_rows : ndarray of float32
        Measurements.
    labels, pair_labels : ndarray of int
        1 or 0; what could not be labelled is left out.
    features : ndarray of float32
        Measurements of all bodies, those too that could not be labelled.
    hits : tuple of Hit
        Where each of them lies.
    regions : tuple of (Ways, frozenset of int)
        Regions that can be parted, and which caterpillars lie in each.
    """

    painter: str
    rows: Floats = field(repr=False)
    labels: NDArray[np.int64] = field(repr=False)
    pair_rows: Floats = field(repr=False)
    pair_labels: NDArray[np.int64] = field(repr=False)
    features: Floats = field(repr=False)
    hits: tuple[Hit, ...] = field(repr=False)
    regions: tuple[tuple[Ways, frozenset[int]], ...] = field(repr=False)


def altered(pixels: NDArray[np.uint8], seed: int) -> NDArray[np.uint8]:
    """Return a photo as another phone might have taken it: white balance, exposure, size, noise."""
    rng = np.random.default_rng((9, seed))
    gains = np.exp(rng.normal(0, (0.3, 0.12, 0.3)) + rng.normal(0, 0.3))
    table = np.clip(LINEAR_LIGHT[np.arange(256)][:, None] * gains, 0, 1)
    coded = np.where(table <= 0.0031308, 12.92 * table, 1.055 * table ** (1 / 2.4) - 0.055)
    seen = cv2.LUT(pixels, np.rint(255 * coded).astype(np.uint8)[None])
    small = shrunk(np.asarray(seen, np.uint8), float(rng.uniform(0.5, 1)))
    noise = rng.uniform(0, 4) * rng.standard_normal(small.shape, dtype=np.float32)
    return np.asarray(np.clip(np.rint(small + noise), 0, 255), np.uint8)


def examples_from(pixels: NDArray[np.uint8], numbers: NDArray[np.uint8], painter: str) -> Examples:
    """Measure and label everything that glows on a painted photo, joined pieces too."""
    night = read_night_light(pixels)
    found = find_candidates(night)
    shape = (night.glow.shape[0], night.glow.shape[1])
    hits = hits_of([one.body for one in found.seen], numbers, shape)
    kinds = [pair_label(hits[i], hits[j]) for i, j in found.pairs]
    at = [n for n, kind in enumerate(kinds) if kind is not None][:_MOST_PAIRS]
    strange = [n for n, kind in enumerate(kinds) if kind is None][:_MOST_STRANGE_PAIRS]
    pairs = [[found.seen[n].body for n in found.pairs[one]] for one in at + strange]
    whole = [sample(joined(one, other), night) for one, other in pairs]
    lie = hits_of([one.body for one in whole], numbers, shape)
    labels = labels_of(hits, found.ways_of)
    known = [kinds[n] for n in at]
    labels += map(joined_label, known + [None] * len(strange), lie)
    rows = np.concatenate([found.features, described_among(whole, found.seen, night)])
    return Examples(
        painter,
        rows[_known(labels)],
        np.array([one for one in labels if one is not None], np.int64),
        found.pair_features[at],
        np.array(known, np.int64),
        found.features,
        tuple(hits),
        tuple(_parted(found, numbers, shape)),
    )


def _parted(
    found: Candidates, numbers: NDArray[np.uint8], shape: tuple[int, int]
) -> Iterator[tuple[Ways, frozenset[int]]]:
    """Yield the regions that can be parted, and the caterpillars that lie in each."""
    for ways in found.ways_of:
        if ways.parts:
            yield ways, lying_in(found.seen[ways.whole].body, numbers, shape)


def _known(labels: Sequence[int | None]) -> NDArray[np.bool_]:
    return np.array([label is not None for label in labels], bool)


def crowded(seed: int) -> NightScene:
    """Draw a scene in which bodies meet and a leaf or stem lies over one: the hard part."""
    rng = np.random.default_rng(seed)
    meeting = ("crossing", "touching")[seed % 2]
    hiding = ("leaf", "stem", "")[seed % 3]
    share = float(np.exp(rng.uniform(np.log(0.08), np.log(0.4))))
    return draw_night_scene(rng, width_px=800, height_px=600, caterpillars=2 + seed % 2,
                            arrangement=meeting, hiding=hiding, length_share=share)  # fmt: skip


def usual(seed: int) -> NightScene:
    """Draw a scene of any kind in the usual size."""
    return draw_night_scene(np.random.default_rng(seed))


def small(seed: int) -> NightScene:
    """Draw a scene of any kind in a smaller size, which costs less to paint."""
    return draw_night_scene(np.random.default_rng(seed), width_px=800, height_px=600)


_SETS: tuple[tuple[Callable[[int], NightScene] | None, int, int], ...] = (
    # How a scene is drawn (None: a sketch), first seed, how many.
    (crowded, 460_000, 250),
    (None, 400_000, 500),
    (small, 450_000, 200),
    (usual, 400_000, 330),
)


def _both(draw: Callable[[int], NightScene] | None, seed: int) -> list[Examples]:
    """Paint a scene or sketch, and measure it as it is and as another phone might have taken it."""
    cv2.setNumThreads(1)
    if draw is None:
        sketched = sketch_scene(seed)
        pixels, numbers, painter = sketched.pixels, sketched.numbers, "sketch"
    else:
        scene = draw(seed)
        painted = render_night(scene, seed)
        pixels, numbers, painter = painted.pixels, painted.numbers, scene.style
    return [examples_from(seen, numbers, painter) for seen in (pixels, altered(pixels, seed))]


def fit_net(
    rows: Floats, labels: NDArray[np.int64], layers: tuple[int, ...], decay: float
) -> dict[str, list[object]]:
    """Fit a small perceptron and return it as ``judge.json`` holds it.

    Several are fitted from other starts and averaged before the last step, by stacking their
    layers: what one of them learned by chance weighs less.
    """
    low, high = np.percentile(rows, [_CLIP_PERCENT, 100 - _CLIP_PERCENT], axis=0)
    clipped = np.clip(rows, low, high)
    middle, spread = clipped.mean(axis=0), clipped.std(axis=0) + 1e-3
    ready = (clipped - middle) / spread
    nets = [_fitted(ready, labels, layers, decay, seed) for seed in range(_MEMBERS)]
    first = np.concatenate([net.coefs_[0] for net in nets], axis=1)
    last = np.concatenate([net.coefs_[1] for net in nets]) / _MEMBERS
    offsets = [
        np.concatenate([net.intercepts_[0] for net in nets]),
        np.mean([net.intercepts_[1] for net in nets], axis=0),
    ]
    return {
        "low": low.round(5).tolist(),
        "high": high.round(5).tolist(),
        "middle": middle.round(5).tolist(),
        "spread": spread.round(5).tolist(),
        "weights": [first.round(4).tolist(), last.round(4).tolist()],
        "offsets": [one.round(4).tolist() for one in offsets],
    }


def _fitted(
    rows: Floats, labels: NDArray[np.int64], layers: tuple[int, ...], decay: float, seed: int
) -> MLPClassifier:
    net = MLPClassifier(
        layers,
        alpha=decay,
        batch_size=_BATCH,
        learning_rate_init=_STEP,
        max_iter=_ROUNDS,
        random_state=seed,
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it says when it stops before the last step of fitting
        return net.fit(rows, labels)


def stored_net(stored: dict[str, list[object]]) -> Net:
    """Return the net as it will be read from the file."""
    return night_judge.net_from(json.loads(json.dumps(stored)))


def _stacked(examples: Sequence[Examples]) -> tuple[Floats, NDArray[np.int64]]:
    return (
        np.concatenate([one.rows for one in examples]),
        np.concatenate([one.labels for one in examples]),
    )


def _fit_body(examples: Sequence[Examples]) -> dict[str, list[object]]:
    return fit_net(*_stacked(examples), _BODY_LAYERS, _BODY_DECAY)


def _fit_pair(examples: Sequence[Examples]) -> dict[str, list[object]]:
    rows = np.concatenate([one.pair_rows for one in examples])
    labels = np.concatenate([one.pair_labels for one in examples])
    return fit_net(rows, labels, _PAIR_LAYERS, _PAIR_DECAY)


@dataclass(frozen=True, eq=False)
class _Half:
    """Examples of some scenes, and a judge of bodies that was fitted on all others."""

    name: str
    out: list[Examples]
    body: Net


def _halves(examples: Sequence[Examples]) -> list[_Half]:
    """Part the scenes by chance; both photos of a scene stay together."""
    scene = np.arange(len(examples)) // 2  # each is there twice
    return [_half(f"fold {k}", examples, scene // 2 % _FOLDS == k) for k in range(_FOLDS)]


def _half(name: str, examples: Sequence[Examples], out: NDArray[np.bool_]) -> _Half:
    kept = [one for one, left in zip(examples, out, strict=True) if not left]
    rest = [one for one, left in zip(examples, out, strict=True) if left]
    return _Half(name, rest, stored_net(_fit_body(kept)))


def _readings(half: _Half) -> Iterator[tuple[Floats, list[int]]]:
    """Yield measurements and labels of the readings of regions that the judge did not learn on."""
    for one in half.out:
        chances = chances_of(half.body, one.features).tolist()
        for ways, within in one.regions:
            readings = partings_of(ways, chances)
            if readings:
                labels = [reading_label(reading, one.hits, within) for reading in readings]
                yield parting_features(readings, one.features, chances), labels


def _fit_parting(halves: Sequence[_Half]) -> dict[str, list[object]]:
    found = [one for half in halves for one in _readings(half)]
    rows = np.concatenate([rows for rows, _ in found])
    labels = np.concatenate([labels for _, labels in found])
    return fit_net(rows, labels, _READING_LAYERS, _READING_DECAY)


def _figures(examples: Sequence[Examples], halves: Sequence[_Half]) -> Iterator[str]:
    """Yield lines on bodies of scenes that were left out, by chance and by painter."""
    by = np.array([one.painter for one in examples])
    painters = [_half(str(name), examples, by == name) for name in np.unique(by)]
    for part in (*halves, *painters):
        name, (rows, labels) = part.name, _stacked(part.out)
        called = part.body.probability(rows) >= 0.5
        wrong = int((called & (labels == 0)).sum())
        missed = int((~called & (labels == 1)).sum())
        yield (
            f"{name:8} left out: {labels.sum():5d} bodies, missed {missed:4d};"
            f" {(labels == 0).sum():6d} other things, taken for one {wrong:4d}"
        )


def main() -> None:
    """Paint, measure, print figures, fit, and write the file."""
    parser = options_of(__doc__, learned.NIGHT_JUDGE, photos=False)
    parser.add_argument("--jobs", type=int, default=-1)
    args = parser.parse_args()
    work = [
        delayed(_both)(draw, seed)
        for draw, first, number in _SETS
        for seed in range(first, first + share_of(number, args.share))
    ]
    examples = [one for both in Parallel(n_jobs=args.jobs)(work) for one in both]
    halves = _halves(examples)
    write_judge(examples, halves, args.out)
    for line in _figures(examples, halves):
        print(line)


def write_judge(examples: Sequence[Examples], halves: Sequence[_Half], path: Path) -> None:
    """Fit on all examples and write the file."""
    stored = {
        "version": JUDGE_VERSION,
        "body_features": list(ALL_FEATURES),
        "pair_features": list(PAIR_FEATURES),
        "parting_features": list(PARTING_FEATURES),
        "fitted_on": {
            "photos_of_scenes": sum(one.painter != "sketch" for one in examples),
            "photos_of_sketches": sum(one.painter == "sketch" for one in examples),
            "bodies": int(sum(one.labels.sum() for one in examples)),
            "other_things": int(sum((one.labels == 0).sum() for one in examples)),
        },
        "body": _fit_body(examples),
        "pair": _fit_pair(examples),
        "parting": _fit_parting(halves),
    }
    write_whole({path: (json.dumps(stored, indent=None) + "\n").encode()})


if __name__ == "__main__":
    main()
