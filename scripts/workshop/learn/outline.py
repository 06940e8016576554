"""Learn the weights of the leaf outline anew: ``python -m scripts.workshop learn outline``.

Learned from painted photos and from three published collections, of which the project keeps
numbers only. Held out for checking: every second coffee photo, every third canopy photo, and nine
in ten tomato photos. Seeded; takes three to five minutes on one core.
"""

import json
import time
import warnings
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from sklearn.neural_network import MLPClassifier

from scripts.workshop.learn.options import options_of, share_of, some
from scripts.workshop.learn.outline_scenes import cut_outs, laid_pictures
from scripts.workshop.learn.photos import (
    Picture,
    close_ups,
    coffee_pictures,
    painted_pictures,
    tomato_pictures,
)
from vision.day.outline import (
    CONTEXT_FEATURES,
    FEATURES,
    PHOTO_FEATURES,
    WEIGHTS_PATH,
    Network,
    measure,
    measure_context,
)

SEED = 20240607
VERSION = 1
HIDDEN_FIRST = (16, 8)
HIDDEN_SECOND = (32, 16)
STAGES = ((8, 2e-3), (3, 6e-4), (3, 1.5e-4))  # epochs and learning rate
_LEAST = 4  # of each kind of picture
PER_PICTURE = 500  # pixels of leaf and of the rest each

SOURCES = (
    "our own painted photos (scripts.workshop.rendered)",
    "coffee leaves with masks: Esgario, Krohling & Ventura 2020, "
    "doi:10.1016/j.compag.2019.105162, MIT",
    "tomato leaves: Hughes & Salathé 2015, arXiv:1511.08060, CC BY-SA 3.0",
    "tomato canopies as backgrounds: Wu, Wang, Liu & Sun 2023, doi:10.17632/8h3s6jkyff.1, "
    "CC BY 4.0",
    "textures that come with scikit-image (skimage.data) as backgrounds",
)

Floats = NDArray[np.float32]


def split(photos: Path) -> dict[str, list[Path]]:
    """Name the photos that are learned from; the others are held out."""
    coffee = sorted((photos / "coffee" / "images").glob("*.jpg"))
    canopy = sorted((photos / "canopy").glob("*.jpg"))
    sessions = sorted(p for p in (photos / "tomato").iterdir() if p.is_dir())
    tomato = [path for session in sessions for path in sorted(session.iterdir())[::10][:40]]
    kept = [path for number, path in enumerate(canopy) if number % 3]
    return {"coffee": coffee[::2], "tomato": tomato, "canopy": kept}


def gather(rng: np.random.Generator, photos: Path, share: float) -> list[Picture]:
    """Make all pictures, or a share of them."""
    paths = {kind: some(found, share, _LEAST) for kind, found in split(photos).items()}
    bank = cut_outs(paths["coffee"][::2], paths["tomato"])
    pictures = list(painted_pictures(rng, share_of(400, share, _LEAST)))
    pictures += coffee_pictures(rng, paths["coffee"], tinted=False)
    pictures += coffee_pictures(rng, paths["coffee"][::2], tinted=True)
    pictures += tomato_pictures(rng, paths["tomato"])
    pictures += close_ups(rng, paths["coffee"], paths["tomato"][::2])
    pictures += laid_pictures(rng, share_of(720, share, _LEAST), bank, paths["canopy"])
    return pictures


def choose(rng: np.random.Generator, leaf: Floats) -> NDArray[np.intp]:
    """Choose pixels to learn from: as many of leaf as of the rest, edges more often."""
    flat = leaf.ravel()
    edge = np.abs(_blurred(leaf).ravel() - 0.5) < 0.45
    chosen = []
    for own in (flat > 0.8, flat < 0.2):
        for part in (own, own & edge):
            found = np.flatnonzero(part)
            chosen.append(rng.choice(found, min(PER_PICTURE // 2, len(found)), replace=False))
    return np.concatenate(chosen)


def _blurred(leaf: Floats) -> Floats:
    return np.asarray(cv2.GaussianBlur(leaf, (0, 0), 3.0), np.float32)


def learn(
    features: Floats, truth: NDArray[np.bool_], hidden: tuple[int, ...], seed: int
) -> tuple[Network, float]:
    """Fit one network; return it with its accuracy on the pixels that it learned from."""
    middle, spread = features.mean(axis=0), features.std(axis=0) + 1e-3
    scaled = (features - middle) / spread
    fitted = MLPClassifier(
        hidden, batch_size=1024, alpha=1e-4, n_iter_no_change=99, tol=0.0,
        random_state=seed, warm_start=True,
    )  # fmt: skip
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # each stage stops after the epochs we ask for
        for epochs, rate in STAGES:
            fitted.set_params(max_iter=epochs, learning_rate_init=rate).fit(scaled, truth)
    accuracy = float(fitted.score(scaled[::7], truth[::7]))
    weights = [w.T.astype(np.float64) for w in fitted.coefs_]
    biases = [b[:, None].astype(np.float64) for b in fitted.intercepts_]
    weights[0] = weights[0] / spread
    biases[0] = biases[0] - weights[0] @ middle[:, None]
    return Network(
        tuple(w.astype(np.float32) for w in weights), tuple(b.astype(np.float32) for b in biases)
    ), accuracy


def train(photos: Path, share: float = 1.0) -> tuple[list[Network], list[float]]:
    """Learn both networks."""
    rng = np.random.default_rng(SEED)
    pictures = gather(rng, photos, share)
    where = [choose(rng, picture.leaf) for picture in pictures]
    truth = np.concatenate(
        [picture.leaf.ravel()[w] > 0.5 for picture, w in zip(pictures, where, strict=True)]
    )
    one = [seen_by_first(p.pixels, w) for p, w in zip(pictures, where, strict=True)]
    first, accuracy_first = learn(np.concatenate(one), truth, HIDDEN_FIRST, SEED)
    two = [seen_by_second(first, p.pixels, w) for p, w in zip(pictures, where, strict=True)]
    second, accuracy_second = learn(np.concatenate(two), truth, HIDDEN_SECOND, SEED + 1)
    return [first, second], [accuracy_first, accuracy_second]


def seen_by_first(pixels: NDArray[np.uint8], where: NDArray[np.intp]) -> Floats:
    """Return what the first network sees of the chosen pixels, one pixel a row."""
    measured = measure(pixels)
    return _rows(measured.pixels[: len(FEATURES), where], measured.photo)


def seen_by_second(first: Network, pixels: NDArray[np.uint8], where: NDArray[np.intp]) -> Floats:
    """Return what the second network sees of the chosen pixels, one pixel a row."""
    measured = measure(pixels)
    verdict = first.log_odds(measured.pixels[: len(FEATURES)], measured.photo)
    measure_context(measured, verdict)
    return _rows(measured.pixels[:, where], measured.photo)


def _rows(chosen: Floats, photo: Floats) -> Floats:
    return np.concatenate([chosen, np.repeat(photo, chosen.shape[1], axis=1)]).T


def as_json(networks: list[Network], accuracies: list[float]) -> dict[str, Any]:
    """Return what ``vision.day.outline.load_networks`` reads."""
    names = [[*FEATURES, *PHOTO_FEATURES], [*FEATURES, *CONTEXT_FEATURES, *PHOTO_FEATURES]]
    return {
        "version": VERSION,
        "made_by": "python -m scripts.workshop learn outline",
        "seed": SEED,
        "learned_from": list(SOURCES),
        "networks": [
            {
                "features": features,
                "accuracy_on_learned_pixels": round(accuracy, 4),
                "layers": [
                    {"weights": _rounded(w), "biases": _rounded(b[:, 0])}
                    for w, b in zip(network.weights, network.biases, strict=True)
                ],
            }
            for features, accuracy, network in zip(names, accuracies, networks, strict=True)
        ],
    }


def _rounded(values: Floats) -> list[Any]:
    return [_rounded(v) if np.ndim(v) else float(f"{float(v):.5g}") for v in values]


def main() -> None:
    """Learn and write the weights."""
    given = options_of(__doc__, WEIGHTS_PATH).parse_args()
    began = time.monotonic()
    networks, accuracies = train(given.photos, given.share)
    given.out.write_text(
        json.dumps(as_json(networks, accuracies), ensure_ascii=False) + "\n", encoding="utf-8"
    )
    print(
        f"accuracy on learned pixels: {accuracies}; {time.monotonic() - began:.0f} s; {given.out}"
    )


if __name__ == "__main__":
    main()
