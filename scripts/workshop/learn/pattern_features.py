"""Measure the training leaves and write ``models/pattern/features.csv``.

    python -m scripts.workshop learn pattern_features --photos ../shared/photos

Of tomato leaves (PlantVillage: Hughes & Salathé 2015, arXiv:1511.08060, treated as CC BY-SA 3.0),
of coffee leaves without any symptom (Esgario, Krohling & Ventura 2020, Computers and Electronics in
Agriculture 169:105162, MIT licence) and of leaves painted by ``scripts.workshop.rendered``. Only
the measurements are kept. ``spotlamp train models/pattern/features.csv`` makes the classifier of
them.
"""

import os
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from models.pattern import measure_pattern
from models.pattern.training import LabelledLeaves, labelled_csv
from scripts.common.files import write_whole
from scripts.common.progress import PhotoProgress
from scripts.common.workers import spread_over_processes, use_one_thread
from scripts.learn.labelled import (
    LabelledPhoto,
    join_leaves,
    labelled_leaves,
    measure_labelled,
    read_labels,
    read_rows,
)
from scripts.workshop.learn.options import options_of, share_of, some
from scripts.workshop.rendered import RenderedPhoto, Scene, draw_scene, render
from vision.measure import measure_day
from vision.records import Photo

__all__ = ["coffee_photos", "painted_leaf", "painted_scene", "rendered_leaves"]

RENDERED_LEAVES = 600
SEED = 77
_LEAST = 3  # painted leaves
_SIZES_PX = ((288, 256), (256, 300), (480, 400))
_BACKGROUNDS = ("grey_board", "violet_board", "paper", "bench", "cloth")
_PATTERNS = (("none", "spot", "blight"), (0.16, 0.42, 0.42))
_CROWDED = 0.5  # share of leaves on which spots merge at the margin
_SPOT_SPREAD = (0.1, 0.35)  # spots of a leaf are near uniform in size (extension notes, read)
_HARD_LIGHT = 0.4  # share of leaves in hard sun with gloss and blisters, which look like lesions

Row = NDArray[np.float32]


def coffee_photos(photos: Path) -> Iterator[LabelledPhoto]:
    """Yield the coffee leaves on which nobody drew a symptom: they have no pattern."""
    for row in read_rows(photos / "coffee" / "severity.csv", ("photo", "severity_pct")):
        if float(row["severity_pct"]) == 0:
            path = photos / "coffee" / "images" / row["photo"]
            yield LabelledPhoto(path, row["photo"], "coffee", "none")


def painted_scene(number: int) -> Scene:
    """Draw the scene of one painted leaf; the number is its seed."""
    rng = np.random.default_rng([SEED, number])
    background = str(rng.choice(_BACKGROUNDS))
    names, shares = _PATTERNS
    pattern = str(rng.choice(names, p=shares))
    width_px, height_px = _SIZES_PX[number % len(_SIZES_PX)]
    scene = draw_scene(
        rng,
        background=background,
        leaves=1,
        shape="leaflet",
        width_px=width_px,
        height_px=height_px,
        pattern=pattern,
        leaf_size=float(rng.uniform(0.75, 1.0)),
        severity_pct=float(np.exp(rng.uniform(np.log(1.5), np.log(45)))),
        brightness=float(rng.uniform(0.6, 1.3)),
        young=int(rng.integers(2, 25)) if pattern == "blight" else 0,
        crowded=float(rng.uniform(0.2, 0.8)) if rng.random() < _CROWDED else 0.0,
    )
    if scene.kind == "late":  # its new lesions are few: the old ones grow faster than they come
        scene = replace(scene, young=scene.young // 5)
    if rng.random() < _HARD_LIGHT:
        scene = replace(scene, direct=0.95, gloss=0.9, roughness=0.95)
    if scene.pattern == "spot":
        scene = replace(scene, spot_spread=float(rng.uniform(*_SPOT_SPREAD)))
    return scene


def painted_leaf(number: int) -> tuple[LabelledPhoto, Row] | None:
    """Paint and measure one leaf; None where it was not found."""
    use_one_thread()
    rendered = render(painted_scene(number), number)
    photo, scene = as_photo(rendered), rendered.scene  # whose kind is settled while painting
    day = measure_day(photo)
    if not day.measurement.reading.leaves:
        return None
    kind = scene.kind if scene.pattern == "blight" else ""
    session = f"rendered_{scene.kind or 'none'}"
    labelled = LabelledPhoto(photo.path, f"rendered/{number}", session, scene.pattern, kind)
    return labelled, measure_pattern(day.photo.pixels, day.measurement, 1)


def as_photo(rendered: RenderedPhoto) -> Photo:
    """Return a painted photo as if it had been read from a file."""
    rows, columns = rendered.pixels.shape[:2]
    name = f"rendered-{rendered.seed}"
    when = datetime(2025, 1, 1)
    return Photo(Path(name), name, "0" * 64, when, "file", rendered.pixels, columns, rows)


def _numbered(number: int) -> tuple[int, tuple[LabelledPhoto, Row] | None]:
    return number, painted_leaf(number)


def rendered_leaves(count: int, jobs: int | None) -> LabelledLeaves:
    """Paint and measure leaves of all kinds; the order is that of their numbers."""
    numbers = range(count)
    found = dict(spread_over_processes(_numbered, numbers, jobs or os.cpu_count() or 1))
    leaves = [leaf for number in numbers if (leaf := found[number]) is not None]
    return labelled_leaves([photo for photo, _ in leaves], [row for _, row in leaves])


def main() -> None:
    """Measure all leaves and write the table."""
    parser = options_of(__doc__, Path("models/pattern/features.csv"))
    parser.add_argument("--jobs", type=int, default=None)
    args = parser.parse_args()
    tomato = read_labels(args.photos / "tomato" / "labels.csv")
    photos = [*some(tomato, args.share), *some(list(coffee_photos(args.photos)), args.share)]
    with PhotoProgress() as progress:
        progress.start(len(photos))
        real, unusable = measure_labelled(photos, args.jobs, progress.done)
    leaves = join_leaves(
        [real, rendered_leaves(share_of(RENDERED_LEAVES, args.share, _LEAST), args.jobs)]
    )
    write_whole({args.out: labelled_csv(leaves)})
    print(f"{len(leaves.photo)} leaves in {args.out}; without a leaf: {len(unusable)} photos")


if __name__ == "__main__":
    main()
