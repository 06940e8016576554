"""Fit ``vision/night_judge.json``: which glowing body is a caterpillar, which pieces are one.

    python -m scripts.train_night [--scenes N] [--sketches N] [--out FILE]

Learns from painted scenes of two painters that share nothing: ``vision.rendered.night`` and
``scripts.night_sketches``. Half of the scenes is left out in turn for the printed figures, and
one painter after the other. Seeded; the same scenes give the same file on the same machine. Costs
about two seconds a scene.
"""

import argparse
import json
import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
from joblib import Parallel, delayed
from numpy.typing import NDArray
from sklearn.neural_network import MLPClassifier

from scripts.night_labels import hits_of, label_of, pair_label
from scripts.night_sketches import sketch_scene
from scripts.tables import write_whole
from vision import night_judge
from vision.night_candidates import find_candidates
from vision.night_join import PAIR_FEATURES
from vision.night_judge import ALL_FEATURES, JUDGE_VERSION, Net
from vision.night_light import read_night_light
from vision.rendered.night import draw_night_scene, render_night

__all__ = ["Examples", "examples_from", "fit_net", "stored_net"]

FIRST_SEED = 400_000  # far from the seeds of tests and figures
_SCENES, _SKETCHES = 420, 220
_FOLDS = 2
_CLIP_PERCENT = 0.5
_BODY_LAYERS, _BODY_DECAY = (32,), 0.6
_PAIR_LAYERS, _PAIR_DECAY = (10,), 1.0
_MEMBERS = 3  # of one net each; their layers are stacked side by side

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


def examples_from(pixels: NDArray[np.uint8], numbers: NDArray[np.uint8], painter: str) -> Examples:
    """Measure and label everything that glows on a painted photo."""
    night = read_night_light(pixels)
    found = find_candidates(night)
    shape = (night.glow.shape[0], night.glow.shape[1])
    hits = hits_of([one.body for one in found.seen], numbers, shape)
    labels = [label_of(hit) for hit in hits]
    pairs = [pair_label(hits[i], hits[j]) for i, j in found.pairs]
    return Examples(
        painter,
        found.features[_known(labels)],
        np.array([one for one in labels if one is not None], np.int64),
        found.pair_features[_known(pairs)],
        np.array([one for one in pairs if one is not None], np.int64),
    )


def _known(labels: Sequence[int | None]) -> NDArray[np.bool_]:
    return np.array([label is not None for label in labels], bool)


def _scene(number: int) -> Examples:
    cv2.setNumThreads(1)
    seed = FIRST_SEED + number
    rng = np.random.default_rng(seed)
    scene = draw_night_scene(rng)
    painted = render_night(scene, seed)
    return examples_from(painted.pixels, painted.numbers, scene.style)


def _sketch(number: int) -> Examples:
    cv2.setNumThreads(1)
    painted = sketch_scene(FIRST_SEED + number)
    return examples_from(painted.pixels, painted.numbers, "sketch")


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
    net = MLPClassifier(layers, alpha=decay, max_iter=400, random_state=seed)
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
    parser.add_argument("--scenes", type=int, default=_SCENES)
    parser.add_argument("--sketches", type=int, default=_SKETCHES)
    parser.add_argument("--jobs", type=int, default=-1)
    parser.add_argument("--out", type=Path, default=Path(night_judge.__file__).with_suffix(".json"))
    args = parser.parse_args()
    work = [delayed(_scene)(n) for n in range(args.scenes)]
    work += [delayed(_sketch)(n) for n in range(args.sketches)]
    examples = list(Parallel(n_jobs=args.jobs)(work))
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
            "scenes": sum(one.painter != "sketch" for one in examples),
            "sketches": sum(one.painter == "sketch" for one in examples),
            "bodies": int(sum(one.labels.sum() for one in examples)),
            "other_things": int(sum((one.labels == 0).sum() for one in examples)),
            "first_seed": FIRST_SEED,
        },
        "body": _fit_body(examples),
        "pair": _fit_pair(examples),
    }
    write_whole({path: (json.dumps(stored, indent=None) + "\n").encode()})


if __name__ == "__main__":
    main()
