"""Compare what the program measures with the truth, and print the tables of the documents.

    python -m scripts.workshop figures agreement --photos ../shared/photos [--write]

Real photos: every set below PHOTOS with ``masks`` (0 background, 1 leaf, 2 halo, 3 lesion, 9
symptom of any kind), its photos in ``images`` or beside them, and healthy leaves without masks.
Painted photos: 200 fresh ones over all conditions. All are scored as by ``spotlamp score``, masks
included, into a folder that is thrown away. A leaf that was not found counts as overlap 0 and
severity 0.

The networks are judged as they ship. Each row says whether they learned from these very photos;
such figures flatter. How they do on a source that they have not seen is printed by the scripts
that learn them, with the source left out (``--without``). ``--tool`` runs an independent script on
the same masks and shows its figures beside ours.
"""

import argparse
import csv
import json
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from joblib import Parallel, delayed
from numpy.typing import NDArray

from models.agreement import bland_altman, concordance, overlap
from scripts.score.results import PhotoResult
from scripts.score.run import score_paths
from scripts.workshop.figures.write import as_table, fill
from scripts.workshop.rendered import PLAIN_BACKGROUNDS, draw_scene, render
from vision.photo.find import PHOTO_ENDINGS
from vision.records import HALO, LEAF, LESION, DayReading

SICK = 9
"""A truth mask's value for "symptom, kind not said"."""

LEARNED_FROM = {"coffee", "potato", "bean", "blackgram", "chilli"}
"""The masked sets that the networks of outline and symptoms learned from."""

ZONES = {"potato"}
"""Sets whose symptoms are drawn as whole zones: that says where they are, and not how much."""

PAINTED = 200
FIRST_SEED = 90_000  # far from the seeds of the training
QUALITY = 92
HEAD = (
    "photos", "number", "leaf overlap", "symptom overlap", "concordance", "bias, points",
    "mean miss, points", "clean leaves read", "interval holds",
)  # fmt: skip

Mask = NDArray[np.uint8]


@dataclass(frozen=True)
class Compared:
    """One photo, as measured and as it truly is.

    Attributes
    ----------
    leaf_overlap : float
        Of the leaf masks, 0 to 1.
    both_px, either_px : int
        Symptom pixels in both masks, and in at least one.
    true_pct, read_pct, low_pct, high_pct : float
        Severity, and the ends of its interval; 0 and NaN where no leaf was found.
    plain : bool
        Whether the background is plain.
    """

    leaf_overlap: float
    both_px: int
    either_px: int
    true_pct: float
    read_pct: float
    low_pct: float
    high_pct: float
    plain: bool = True

    @property
    def held(self) -> bool:
        """Whether the interval holds the truth."""
        return self.low_pct <= self.true_pct <= self.high_pct


def compare(result: PhotoResult, found: Mask, truth: Mask, *, plain: bool = True) -> Compared:
    """Compare a photo's result and mask with the truth mask of the same size."""
    leaf, sick = np.isin(truth, (LEAF, HALO, LESION, SICK)), np.isin(truth, (HALO, LESION, SICK))
    read = np.isin(found, (HALO, LESION))
    reading = result.reading or DayReading(())
    severity, low, high = (
        float("nan") if value is None else value
        for value in (reading.severity_pct, reading.severity_low_pct, reading.severity_high_pct)
    )
    return Compared(
        overlap(np.isin(found, (LEAF, HALO, LESION)), leaf),
        int(np.count_nonzero(read & sick)),
        int(np.count_nonzero(read | sick)),
        100 * float(sick.sum() / max(1, leaf.sum())),
        float(np.nan_to_num(severity)),
        low,
        high,
        plain,
    )


def read_mask(path: Path) -> Mask:
    """Read a mask of a single channel."""
    mask = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
    if mask is None or mask.ndim != 2:
        raise SystemExit(f"{path} is no mask with a single channel.")
    return np.asarray(mask, np.uint8)


def photos_in(folder: Path) -> list[Path]:
    """Return the photos of a folder, without those of the folders in it, by their names."""
    return sorted(p for p in folder.iterdir() if p.suffix.lower() in PHOTO_ENDINGS)


def _scored(photos: Sequence[Path], out: Path) -> list[tuple[PhotoResult, Mask]]:
    """Score photos; return each one's result and the mask that was written."""
    results = sorted(score_paths(photos, out, masks=True).results, key=lambda r: r.name)
    unread = [result.name for result in results if result.reading is None]
    if unread:
        raise SystemExit(f"{', '.join(unread)} could not be read.")
    return [(r, read_mask(out / "masks" / Path(r.name).with_suffix(".png"))) for r in results]


def masked_set(folder: Path, out: Path) -> list[Compared]:
    """Score the photos of ``folder/images``, or of ``folder``; compare with ``folder/masks``."""
    images = folder / "images"
    pairs = []
    for result, found in _scored(photos_in(images if images.is_dir() else folder), out):
        truth = read_mask(folder / "masks" / f"{Path(result.name).stem}.png")
        pairs.append(compare(result, found, truth))
    return pairs


def healthy_severities(photos: Sequence[Path], out: Path) -> list[float]:
    """Score healthy leaves; return their severities in percent, in the order of their names."""
    return [
        float(result.reading.severity_pct)
        for result in sorted(score_paths(photos, out).results, key=lambda r: r.name)
        if result.reading is not None and result.reading.severity_pct is not None
    ]


def paint(folder: Path, seed: int) -> bool:
    """Paint a fresh photo as JPEG and its truth as PNG; return whether its background is plain."""
    cv2.setNumThreads(1)
    photo = render(draw_scene(np.random.default_rng(seed)), seed)
    pixels = cv2.cvtColor(photo.pixels, cv2.COLOR_RGB2BGR)
    image, mask = (folder / kind / f"{seed}.{end}" for kind, end in _KINDS)
    cv2.imwrite(str(image), pixels, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    cv2.imwrite(str(mask), photo.mask)
    return photo.scene.background in PLAIN_BACKGROUNDS


_KINDS = (("images", "jpg"), ("masks", "png"))


def painted_set(folder: Path) -> list[Compared]:
    """Paint and score fresh photos over all conditions."""
    for kind, _ in _KINDS:
        (folder / kind).mkdir(parents=True)
    seeds = range(FIRST_SEED, FIRST_SEED + PAINTED)
    plain = dict(
        zip(seeds, Parallel(n_jobs=-1)(delayed(paint)(folder, s) for s in seeds), strict=True)
    )
    return [
        compare(
            result,
            found,
            read_mask(folder / "masks" / Path(result.name).with_suffix(".png")),
            plain=plain[int(Path(result.name).stem)],
        )
        for result, found in _scored(photos_in(folder / "images"), folder / "out")
    ]


def row(name: str, photos: Sequence[Compared]) -> list[str]:
    """Lay out one line of a table."""
    read, true = [p.read_pct for p in photos], [p.true_pct for p in photos]
    agree, difference = concordance(read, true), bland_altman(read, true)
    low, high = difference.limits
    clean = [p.read_pct for p in photos if p.true_pct == 0]
    return [
        *outline_row(name, photos)[:4],
        f"{agree.coefficient:.3f} ({agree.correlation:.3f} × {agree.accuracy:.3f})",
        f"{difference.bias:+.2f} (limits {low:+.1f} to {high:+.1f})",
        f"{np.abs(np.subtract(read, true)).mean():.2f}",
        f"{np.mean(clean):.2f} %" if clean else "",
        f"{100 * np.mean([p.held for p in photos]):.0f} %",
    ]


def outline_row(name: str, photos: Sequence[Compared]) -> list[str]:
    """Lay out one line for photos whose truth does not say how much is sick."""
    shared = sum(p.both_px for p in photos) / max(1, sum(p.either_px for p in photos))
    drawn = any(p.true_pct for p in photos)
    return [
        name,
        str(len(photos)),
        f"{np.mean([p.leaf_overlap for p in photos]):.3f}",
        f"{shared:.3f}" if drawn else "",
        *[""] * 5,
    ]


def healthy_row(name: str, severities: Sequence[float]) -> list[str]:
    """Lay out one line for leaves whose truth is 0 everywhere."""
    return [name, str(len(severities)), *[""] * 5, f"{np.mean(severities):.2f} %", ""]


def real_rows(photos: Path, out: Path, tool: Path | None) -> list[list[str]]:
    """Measure all real photos with a known truth."""
    rows = []
    for masks in sorted([*photos.glob("*/masks"), *photos.glob("*/*/masks")]):
        folder = masks.parent
        found = masked_set(folder, out / folder.name)
        name = f"{folder.name}, {'' if folder.name in LEARNED_FROM else 'not '}learned from"
        if folder.name in ZONES or not any(pair.true_pct for pair in found):
            rows.append(outline_row(name, found))
            continue
        rows.append(row(name, found))
        if tool:
            rows.append(_told_by(tool, folder, out / folder.name / "masks"))
    for name, leaves in healthy_leaves(photos).items():
        read = healthy_severities(leaves, out / name)
        rows.append(healthy_row(f"healthy {name}", read))
    return rows


def healthy_leaves(photos: Path) -> dict[str, list[Path]]:
    """Return the photos of healthy leaves, on boards and in the field."""
    leaves = {
        "tomato, learned from in part": photos_in(photos / "tomato" / "healthy"),
        "pepper, learned from in part": [
            p for p in photos_in(photos / "pepper") if "JR_HL" in p.name
        ],
    }
    field = photos / "field"
    with (field / "labels.csv").open(encoding="utf-8", newline="") as table:
        for line in csv.DictReader(table):
            if line["pattern"] == "none":
                own = leaves.setdefault(f"{line['source']} in the field, learned from", [])
                own.append(field / line["photo"])
    return leaves


def _told_by(tool: Path, folder: Path, masks: Path) -> list[str]:
    """Return what an independent script says of the same masks."""
    command = [sys.executable, str(tool), "masks", str(masks), str(folder / "masks"), "--json"]
    told = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
    return [
        f"{folder.name}, as {tool.name} tells it",
        str(told["photos"]),
        f"{told['leaf_iou_mean']:.3f}",
        f"{told['symptom_iou_pooled']:.3f}",
        f"{told['severity_ccc']:.3f}",
        f"{told['severity_bias_points']:+.2f}",
        f"{told['severity_mae_points']:.2f}",
        f"{told['clean_leaf_mean_pct']:.2f} %",
        "",
    ]


def painted_rows(folder: Path) -> list[list[str]]:
    """Measure fresh painted photos."""
    found = painted_set(folder)
    plain, natural = [p for p in found if p.plain], [p for p in found if not p.plain]
    return [
        row("painted, all, not learned from", found),
        row("painted, plain background", plain),
        row("painted, natural background", natural),
    ]


NOTE = (
    "Overlap: area shared by the two outlines ÷ area in either; symptoms of all photos together. "
    "Concordance: Lin 1989, with its parts (correlation × accuracy). Bias and mean miss are in "
    "percentage points of severity. "
    "`python -m scripts.workshop figures agreement` measures this again."
)


def main() -> None:
    """Measure, print, and fill the document's tables if asked."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else "")
    parser.add_argument("--photos", type=Path, default=Path("../shared/photos"))
    parser.add_argument("--tool", type=Path, help="an independent script to compare with")
    parser.add_argument("--write", action="store_true", help="fill the document's tables")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        painted = painted_rows(Path(name) / "painted")
        real = real_rows(args.photos, Path(name), args.tool) if args.photos.is_dir() else []
    tables = {"agreement": as_table(HEAD, real), "rendered": as_table(HEAD, painted)}
    for place, rows in (("agreement", real), ("rendered", painted)):
        print(f"{tables[place]}\n" if rows else f"There are no photos in {args.photos}.\n")
        if rows and args.write:
            fill(place, f"{tables[place]}\n\n{NOTE}")


if __name__ == "__main__":
    main()
