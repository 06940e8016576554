"""Fit ``vision/night_judge.json``: which glowing body is a caterpillar, which pieces are one.

    python -m scripts.train_night [--share SHARE] [--jobs N] [--out FILE]

Learns from painted scenes of two painters that share nothing: ``vision.rendered.night`` and
``scripts.night_sketches``. Half of the scenes is left out in turn for the printed figures, and
one painter after the other. Seeded; the same scenes give the same file on the same machine. Costs
about two seconds a scene, of which there are some 980.
"""

import argparse
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

from scripts.night_labels import hits_of, joined_label, labels_of, pair_label
from scripts.night_sketches import sketch_scene
from scripts.tables import write_whole
from vision import night_judge
from vision.colour import LINEAR_LIGHT
from vision.night_candidates import find_candidates
from vision.night_features import described_among, sample
from vision.night_join import PAIR_FEATURES, joined
from vision.night_judge import ALL_FEATURES, JUDGE_VERSION, Net
from vision.night_light import read_night_light
from vision.raster import shrunk
from vision.rendered.night import NightScene, draw_night_scene, render_night

__all__ = ["Examples", "examples_from", "fit_net", "stored_net"]

# The seeds of _SETS are far from those of tests and figures.
_MOST_PAIRS = 20  # of one photo, so that none outweighs many others
_FOLDS = 2
_CLIP_PERCENT = 0.5
_BODY_LAYERS, _BODY_DECAY = (40,), 0.2
_PAIR_LAYERS, _PAIR_DECAY = (16,), 0.5
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
    """

    painter: str
    rows: Floats = field(repr=False)
    labels: NDArray[np.int64] = field(repr=False)
    pair_rows: Floats = field(repr=False)
    pair_labels: NDArray[np.int64] = field(repr=False)


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
    named = [(at, pair_label(hits[i], hits[j])) for at, (i, j) in enumerate(found.pairs)]
    kept = [(at, label) for at, label in named if label is not None][:_MOST_PAIRS]
    at, kinds = [at for at, _ in kept], [label for _, label in kept]
    pairs = [[found.seen[n].body for n in found.pairs[one]] for one in at]
    whole = [sample(joined(one, other), night) for one, other in pairs]
    lie = hits_of([one.body for one in whole], numbers, shape)
    labels = labels_of(hits, found.ways_of)
    labels += [joined_label(kind, hit) for kind, hit in zip(kinds, lie, strict=True)]
    rows = np.concatenate([found.features, described_among(whole, found.seen, night)])
    return Examples(
        painter,
        rows[_known(labels)],
        np.array([one for one in labels if one is not None], np.int64),
        found.pair_features[at],
        np.array(kinds, np.int64),
    )


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
    (None, 400_000, 200),
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
    """Fit a small perceptron and return it as ``night_judge.json`` holds it.

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


def _figures(examples: Sequence[Examples]) -> Iterator[str]:
    """Yield lines on bodies of scenes that were left out, by chance and by painter."""
    parts = {
        f"fold {k}": [n for n in range(len(examples)) if n % _FOLDS == k] for k in range(_FOLDS)
    }
    for painter in sorted({one.painter for one in examples}):
        parts[painter] = [n for n, one in enumerate(examples) if one.painter == painter]
    for name, out in parts.items():
        kept = [one for n, one in enumerate(examples) if n not in set(out)]
        rows, labels = _stacked([examples[n] for n in out])
        called = stored_net(_fit_body(kept)).probability(rows) >= 0.5
        wrong = int((called & (labels == 0)).sum())
        missed = int((~called & (labels == 1)).sum())
        yield (
            f"{name:8} left out: {labels.sum():5d} bodies, missed {missed:4d};"
            f" {(labels == 0).sum():6d} other things, taken for one {wrong:4d}"
        )


def main() -> None:
    """Paint, measure, print figures, fit, and write the file."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else "")
    parser.add_argument("--share", type=float, default=1.0, help="of all scenes, to try out")
    parser.add_argument("--jobs", type=int, default=-1)
    parser.add_argument("--out", type=Path, default=Path(night_judge.__file__).with_suffix(".json"))
    args = parser.parse_args()
    work = [
        delayed(_both)(draw, seed)
        for draw, first, number in _SETS
        for seed in range(first, first + round(args.share * number))
    ]
    examples = [one for both in Parallel(n_jobs=args.jobs)(work) for one in both]
    for line in _figures(examples):
        print(line)
    write_judge(examples, args.out)


def write_judge(examples: Sequence[Examples], path: Path) -> None:
    """Fit on all examples and write the file."""
    stored = {
        "version": JUDGE_VERSION,
        "body_features": list(ALL_FEATURES),
        "pair_features": list(PAIR_FEATURES),
        "fitted_on": {
            "photos_of_scenes": sum(one.painter != "sketch" for one in examples),
            "photos_of_sketches": sum(one.painter == "sketch" for one in examples),
            "bodies": int(sum(one.labels.sum() for one in examples)),
            "other_things": int(sum((one.labels == 0).sum() for one in examples)),
        },
        "body": _fit_body(examples),
        "pair": _fit_pair(examples),
    }
    write_whole({path: (json.dumps(stored, indent=None) + "\n").encode()})


if __name__ == "__main__":
    main()
