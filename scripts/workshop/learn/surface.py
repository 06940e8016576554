"""Fit the threshold surfaces of ``vision.day.surface`` again and write ``vision/day/surface.json``.

    python -m scripts.workshop learn surface --photos ../shared/photos

Fitted on pixels of: coffee leaves with symptom masks (Esgario, Krohling & Ventura 2020, Computers
and Electronics in Agriculture 169:105162, MIT licence), healthy tomato leaves without any symptom
(PlantVillage: Hughes & Salathé 2015, arXiv:1511.08060, CC BY-SA 3.0) and our own rendered photos
with exact truth. Only the numbers of the surfaces are kept, no photo and no pixel.

The figures it prints are of photos that the surface they speak of was not fitted on: coffee leaves
are fitted in halves, rendered photos and healthy leaves are split. The surface that is written is
fitted on all of them.
"""

import json
import warnings
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from sklearn.exceptions import ConvergenceWarning
from sklearn.linear_model import LogisticRegression
from sklearn.neural_network import MLPClassifier
from sklearn.preprocessing import StandardScaler

from models.agreement import concordance
from scripts.common.workers import use_one_thread
from scripts.workshop.learn.options import options_of, share_of, some
from scripts.workshop.rendered import Scene, draw_scene, render
from vision import learned
from vision.day.leaf import find_leaves
from vision.day.lesion import LEAF_LENGTH_PX, classify
from vision.day.surface import SURFACE_VERSION, Surface
from vision.day.tissue import CONTRASTS, Healthy, contrasts, healthy_colour, leaf_lab
from vision.photo.decode import read_photo
from vision.photo.find import PhotoFile
from vision.raster import shrunk, window_around
from vision.records import HALO, LESION

SEED = 20250614
LAYERS, _ROUNDS = (32, 16), 24
PIXELS_A_LEAF = {"coffee": 5000, "healthy": 1000, "rendered": 1800}
RENDERED_PHOTOS = 320
HEALTHY_PHOTOS = 160
_LEAST = 4  # of each source: two in either half
RIM_PX = 1.5

Floats = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Sample:
    """One leaf with the truth about its pixels."""

    source: str
    fold: int  # 0 or 1
    lab: Floats = field(repr=False)
    leaf: NDArray[np.bool_] = field(repr=False)
    truth: NDArray[np.uint8] = field(repr=False)
    length: float
    healthy: Healthy

    def described(self) -> Floats:
        """Return the colour differences of all its pixels."""
        return contrasts(self.lab, self.leaf, self.healthy, self.length)

    def sick_pct(self) -> float:
        """Return its true severity."""
        return 100 * float((self.truth[self.leaf] >= HALO).mean())


def make_sample(
    source: str,
    fold: int,
    pixels: NDArray[np.uint8],
    leaf: NDArray[np.bool_],
    truth: NDArray[np.uint8],
    longest: int = LEAF_LENGTH_PX,
) -> Sample:
    """Cut the leaf out and bring it to the length at which it will be judged."""
    window, found = window_around(leaf, 8)
    pixels, leaf, truth = pixels[window], leaf[window], truth[window]
    factor = min(1.0, longest / found)
    if factor < 1:
        pixels = shrunk(pixels, factor)
        size = (pixels.shape[1], pixels.shape[0])
        small = cv2.resize(leaf.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
        leaf = np.asarray(small > 0)
        truth = np.asarray(cv2.resize(truth, size, interpolation=cv2.INTER_NEAREST), np.uint8)
    lab = leaf_lab(pixels)
    return Sample(source, fold, lab, leaf, truth, factor * found, healthy_colour(lab, leaf))


def read_mask(path: Path) -> NDArray[np.uint8]:
    """Read a mask of a single channel."""
    mask = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
    if mask is None or mask.ndim != 2:
        raise SystemExit(f"{path} is no mask with a single channel.")
    return np.asarray(mask, np.uint8)


def coffee(photos: Path, share: float = 1.0) -> Iterator[Sample]:
    """Yield each coffee leaf twice: as it is, and as small as a thumbnail."""
    paths = some(sorted((photos / "coffee/images").glob("*.jpg")), share, _LEAST)
    for number, path in enumerate(paths):
        pixels = read_photo(PhotoFile(path, path.name)).pixels
        leaf = find_leaves(pixels).numbers == 1
        mask = read_mask(photos / "coffee/masks" / f"{path.stem}.png")
        resized = cv2.resize(mask, leaf.shape[::-1], interpolation=cv2.INTER_NEAREST)
        mask = np.asarray(resized, np.uint8)
        for longest in (LEAF_LENGTH_PX, 260):
            yield make_sample("coffee", number % 2, pixels, leaf, mask, longest)


def healthy(photos: Path, share: float = 1.0) -> Iterator[Sample]:
    """Yield healthy tomato leaves: no pixel of them is a symptom."""
    paths = sorted((photos / "tomato/healthy").glob("*.JPG"))
    paths = some(paths[:: max(1, len(paths) // HEALTHY_PHOTOS)], share, _LEAST)
    for number, path in enumerate(paths):
        pixels = read_photo(PhotoFile(path, path.name)).pixels
        leaf = find_leaves(pixels).numbers == 1
        if leaf.any():
            yield make_sample("healthy", number % 2, pixels, leaf, leaf.astype(np.uint8))


def rendered(share: float = 1.0) -> Iterator[Sample]:
    """Yield the leaves of our own rendered photos, in several sizes."""
    rng = np.random.default_rng(SEED)
    sizes = ((640, 480), (480, 640), (900, 675), (320, 240))
    for number in range(share_of(RENDERED_PHOTOS, share, 2 * _LEAST)):
        width, height = sizes[number % len(sizes)]
        scene = draw_scene(rng, width_px=width, height_px=height)
        if number % 3 == 0:  # heavy attacks are rare in the draw, and the hardest to judge
            scene = replace(scene, severity_pct=float(rng.uniform(10, 55)))
        if number % 3 == 1:  # small marks on dark leaves are the easiest to miss
            scene = _finely_marked(scene, rng)
        photo = render(scene, SEED + number)
        for n in range(1, int(photo.leaf_numbers.max()) + 1):
            leaf = photo.leaf_numbers == n
            if np.count_nonzero(leaf) > 400:
                yield make_sample("rendered", number // 4 % 2, photo.pixels, leaf, photo.mask)


def _finely_marked(scene: Scene, rng: np.random.Generator) -> Scene:
    """Darken the leaf, and let lesions be new and small, or merge at the margin."""
    return replace(
        scene,
        brightness=float(rng.uniform(0.5, 1.1)),
        young=int(rng.integers(3, 25)) if scene.pattern == "blight" else 0,
        crowded=float(rng.uniform(0, 0.8)) if scene.pattern == "spot" else 0.0,
    )


def _drawn(samples: list[Sample]) -> tuple[Floats, NDArray[np.bool_], Floats, NDArray[np.bool_]]:
    """Draw pixels: described and sick, and of those with known kind: described and dead."""
    rng = np.random.default_rng(SEED)
    rows, sick, kind_rows, dead = [], [], [], []
    for sample in samples:
        depth = cv2.distanceTransform(sample.leaf.astype(np.uint8), cv2.DIST_L2, 3)[sample.leaf]
        usable = np.flatnonzero(depth > RIM_PX)
        pick = rng.choice(usable, min(len(usable), PIXELS_A_LEAF[sample.source]), replace=False)
        described, truth = sample.described(), sample.truth[sample.leaf]
        rows.append(described[pick])
        sick.append(truth[pick] >= HALO)
        if sample.source == "rendered":
            ill = pick[truth[pick] >= HALO]
            kind_rows.append(described[ill])
            dead.append(truth[ill] == LESION)
    return np.vstack(rows), np.concatenate(sick), np.vstack(kind_rows), np.concatenate(dead)


def fit(samples: list[Sample], threshold: float) -> Surface:
    """Fit both surfaces on the given leaves."""
    rows, sick, kind_rows, dead = _drawn(samples)
    scaler = StandardScaler().fit(rows)
    network = MLPClassifier(
        LAYERS,
        batch_size=4000,
        learning_rate_init=0.003,
        max_iter=_ROUNDS,
        early_stopping=True,
        random_state=SEED,
        alpha=1e-3,
    )
    with warnings.catch_warnings():
        # So many rounds are enough for the figures; the fit need not come to rest.
        warnings.simplefilter("ignore", ConvergenceWarning)
        network.fit(scaler.transform(rows), sick)
    weights = [w.astype(np.float32) for w in network.coefs_]
    offsets = [o.astype(np.float32) for o in network.intercepts_]
    offsets[0] = (offsets[0] - (scaler.mean_ / scaler.scale_) @ network.coefs_[0]).astype(
        np.float32
    )
    weights[0] = (network.coefs_[0] / scaler.scale_[:, None]).astype(np.float32)
    rule = LogisticRegression().fit(kind_rows[:, 3:6], dead)
    return Surface(
        tuple(weights),
        tuple(offsets),
        rule.coef_[0].astype(np.float32),
        float(rule.intercept_[0]),
        threshold,
        0.0,
        0.0,
    )


@dataclass(frozen=True)
class Judged:
    """How one leaf that the surface had not seen was judged."""

    source: str
    true_pct: float
    read_pct: float
    doubtful_pct: float
    both_px: int
    either_px: int


def judge(surface: Surface, samples: list[Sample]) -> list[Judged]:
    """Run the product's own sorting over leaves and compare with the truth."""
    judged = []
    for sample in samples:
        found = classify(sample.lab, sample.leaf, sample.healthy, sample.length, surface)
        read, true = found.classes >= HALO, (sample.truth >= HALO) & sample.leaf
        judged.append(
            Judged(
                sample.source,
                sample.sick_pct(),
                100 * float(read[sample.leaf].mean()),
                found.doubtful_pct,
                int((read & true).sum()),
                int((read | true).sum()),
            )
        )
    return judged


def judge_halves(samples: list[Sample], threshold: float) -> Iterator[list[Judged]]:
    """Fit on each half of the leaves in turn, and yield how the other half was judged."""
    for fold in (0, 1):
        surface = fit([s for s in samples if s.fold == fold], threshold)
        yield judge(surface, [s for s in samples if s.fold != fold])


def report(judged: list[Judged], title: str) -> None:
    """Print the figures of one surface, source by source."""
    for source in ("coffee", "healthy", "rendered"):
        rows = [row for row in judged if row.source == source]
        true = np.array([row.true_pct for row in rows], np.float32)
        read = np.array([row.read_pct for row in rows], np.float32)
        overlap = sum(row.both_px for row in rows) / max(1, sum(row.either_px for row in rows))
        clean = read[true == 0].mean() if (true == 0).any() else np.nan
        print(
            f"{title:12} {source:9} leaves {len(rows):4}  symptom overlap {overlap:.3f}  "
            f"concordance {concordance(read, true).coefficient:.3f}  "
            f"mean miss {np.abs(read - true).mean():.2f}  bias {np.mean(read - true):+.2f}  "
            f"clean leaves read {clean:.2f} %"
        )


def widening(judged: list[Judged]) -> tuple[float, float]:
    """Find the narrowest base + slope · doubt that holds 95 % of coffee and of rendered leaves."""
    best = (np.inf, 0.0, 0.0)
    groups = [[row for row in judged if row.source == name] for name in ("coffee", "rendered")]
    for slope in np.arange(0.0, 6.01, 0.1):
        base, width = 0.0, 0.0
        for rows in groups:
            miss = np.array([abs(row.read_pct - row.true_pct) for row in rows])
            doubt = np.array([row.doubtful_pct for row in rows])
            base = max(base, float(np.quantile(miss - slope * doubt, 0.955)))
            width += float(slope * doubt.mean())
        best = min(best, (base + width / 2, float(slope), base))
    return best[1], best[2]


def as_json(surface: Surface) -> dict[str, object]:
    """Lay the surface out as the file that `vision.day.surface.load_surface` reads."""

    def rounded(values: Floats) -> object:
        return np.round(values.astype(float), 5).tolist()

    return {
        "version": SURFACE_VERSION,
        "contrasts": list(CONTRASTS),
        "fitted_on": __doc__.split("\n\n")[2].replace("\n", " ") if __doc__ else "",
        "seed": SEED,
        "threshold": surface.threshold,
        "interval_slope": round(surface.interval_slope, 3),
        "interval_base": round(surface.interval_base, 3),
        "dead_weights": rounded(surface.dead_weights),
        "dead_offset": round(surface.dead_offset, 5),
        "layers": [
            {"weights": rounded(weights), "offsets": rounded(offsets)}
            for weights, offsets in zip(surface.weights, surface.offsets, strict=True)
        ],
    }


def main() -> None:
    """Fit, print the figures on unseen photos, write the file."""
    parser = options_of(__doc__, learned.SURFACE)
    parser.add_argument("--threshold", type=float, default=0.46)
    args = parser.parse_args()
    use_one_thread()
    samples = [
        *coffee(args.photos, args.share),
        *healthy(args.photos, args.share),
        *rendered(args.share),
    ]
    unseen: list[Judged] = []
    for half, judged in enumerate(judge_halves(samples, args.threshold), start=1):
        report(judged, f"half {half}")
        unseen += judged
    report(unseen, "both halves")
    slope, base = widening(unseen)
    final = fit(samples, args.threshold)
    stored = as_json(Surface(**{**vars(final), "interval_slope": slope, "interval_base": base}))
    print(f"95 % interval: ± ({base:.2f} + {slope:.2f} × doubtful share)")
    args.out.write_text(json.dumps(stored, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
