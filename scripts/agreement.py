"""Compare what the program measures with the truth, and print the tables of the README.

    python -m scripts.agreement --photos ../shared/photos [--halves] [--write-readme]

Real photos: every folder below PHOTOS with ``images`` and ``masks`` (0 background, 1 leaf, 2 halo,
3 lesion, 9 symptom of any kind), and the healthy tomato leaves. Painted photos: 200 fresh ones over
all conditions. All are scored as by ``spotlamp score``, masks included, into a folder that is
thrown away. A leaf that was not found counts as overlap 0 and severity 0.

Each row says whether the numbers of ``vision/surface.json`` and ``vision/outline.json`` were fitted
on these very photos; such figures flatter. ``--halves`` fits the surface twice, each time on half
the photos, and judges the other half (several minutes). ``--tool`` runs an independent script on
the same masks and shows its figures beside ours.
"""

import argparse
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
from vision.surface import load_surface

from models.agreement import bland_altman, concordance, overlap
from scripts.batch import score_paths
from scripts.readme_figures import as_table, fill
from scripts.results import PhotoResult
from scripts.train_surface import HEALTHY_PHOTOS, coffee, healthy, judge_halves, read_mask, rendered
from vision.records import HALO, LEAF, LESION, DayReading
from vision.rendered import PLAIN_BACKGROUNDS, draw_scene, render

SICK = 9
"""A truth mask's value for "symptom, kind not said"."""

FITTED_SET = "coffee"
"""The masked set that surface and outline were fitted on: all photos, and every second one."""

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


def _scored(images: Path, out: Path) -> list[tuple[PhotoResult, Mask]]:
    """Score a folder; return each photo's result and the mask that was written."""
    results = sorted(score_paths([images], out, masks=True).results, key=lambda r: r.name)
    unread = [result.name for result in results if result.reading is None]
    if unread:
        raise SystemExit(f"{', '.join(unread)} could not be read.")
    return [(r, read_mask(out / "masks" / Path(r.name).with_suffix(".png"))) for r in results]


def masked_set(folder: Path, out: Path) -> list[Compared]:
    """Score the photos of ``folder/images`` and compare with ``folder/masks``."""
    pairs = []
    for result, found in _scored(folder / "images", out):
        truth = read_mask(folder / "masks" / Path(result.name).with_suffix(".png"))
        pairs.append(compare(result, found, truth))
    return pairs


def healthy_severities(folder: Path, out: Path) -> list[float]:
    """Score healthy leaves; return their severities in percent, in the order of their names."""
    return [
        float(result.reading.severity_pct)
        for result in sorted(score_paths([folder], out).results, key=lambda r: r.name)
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
        for result, found in _scored(folder / "images", folder / "out")
    ]


def row(name: str, photos: Sequence[Compared]) -> list[str]:
    """Lay out one line of a table."""
    read, true = [p.read_pct for p in photos], [p.true_pct for p in photos]
    agree, difference = concordance(read, true), bland_altman(read, true)
    low, high = difference.limits
    clean = [p.read_pct for p in photos if p.true_pct == 0]
    shared = sum(p.both_px for p in photos) / max(1, sum(p.either_px for p in photos))
    return [
        name,
        str(len(photos)),
        f"{np.mean([p.leaf_overlap for p in photos]):.3f}",
        f"{shared:.3f}",
        f"{agree.coefficient:.3f} ({agree.correlation:.3f} × {agree.accuracy:.3f})",
        f"{difference.bias:+.2f} (limits {low:+.1f} to {high:+.1f})",
        f"{np.abs(np.subtract(read, true)).mean():.2f}",
        f"{np.mean(clean):.2f} %" if clean else "",
        f"{100 * np.mean([p.held for p in photos]):.0f} %",
    ]


def healthy_row(name: str, severities: Sequence[float]) -> list[str]:
    """Lay out one line for leaves whose truth is 0 everywhere."""
    return [name, str(len(severities)), *[""] * 5, f"{np.mean(severities):.2f} %", ""]


def half_rows(photos: Path) -> list[list[str]]:
    """Fit the surface on each half of the training photos and judge the other half.

    Counted in leaves, inside the outline that was found or painted.
    """
    samples = [*coffee(photos), *healthy(photos), *rendered()]
    rows = []
    unseen = [j for half in judge_halves(samples, load_surface().threshold) for j in half]
    for source in ("coffee", "healthy", "rendered"):
        own = [
            Compared(1, j.both_px, j.either_px, j.true_pct, j.read_pct, 0, 0)
            for j in unseen
            if j.source == source
        ]
        name = f"{source} leaves, not fitted on (halves)"
        if any(pair.true_pct for pair in own):
            line = row(name, own)
            rows.append([*line[:2], "", *line[3:8], ""])
        else:
            rows.append(healthy_row(name, [pair.read_pct for pair in own]))
    return rows


def real_rows(photos: Path, out: Path, tool: Path | None) -> list[list[str]]:
    """Measure all real photos with a known truth."""
    rows = []
    for folder in sorted(p.parent for p in photos.glob("*/masks")):
        found = masked_set(folder, out / folder.name)
        fitted = folder.name == FITTED_SET
        rows.append(row(f"{folder.name}, {'fitted' if fitted else 'not fitted'} on these", found))
        if fitted:
            rows.append(row(f"{folder.name}, the half that the outline has not seen", found[1::2]))
        if tool:
            rows.append(_told_by(tool, folder, out / folder.name / "masks"))
    read = healthy_severities(photos / "tomato" / "healthy", out / "healthy")
    step = max(1, len(read) // HEALTHY_PHOTOS)  # photos from one that was fitted on to the next
    unseen = [severity for number, severity in enumerate(read) if number % step]
    rows.append(healthy_row("healthy tomato leaves, fitted on these", read[::step]))
    rows.append(healthy_row("healthy tomato leaves, not fitted on", unseen))
    return rows


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
        row("painted, all, not fitted on", found),
        row("painted, plain background", plain),
        row("painted, natural background", natural),
    ]


NOTE = (
    "Overlap: area shared by the two outlines ÷ area in either; symptoms of all photos together. "
    "Concordance: Lin 1989, with its parts (correlation × accuracy). Bias and mean miss are in "
    "percentage points of severity. `python -m scripts.agreement` measures this again."
)


def main() -> None:
    """Measure, print, and fill the README's tables if asked."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else "")
    parser.add_argument("--photos", type=Path, default=Path("../shared/photos"))
    parser.add_argument("--tool", type=Path, help="an independent script to compare with")
    parser.add_argument("--halves", action="store_true", help="fit on halves; several minutes")
    parser.add_argument("--write-readme", action="store_true", help="fill the README's tables")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        painted = painted_rows(Path(name) / "painted")
        real = real_rows(args.photos, Path(name), args.tool) if args.photos.is_dir() else []
    real += half_rows(args.photos) if args.halves else []
    tables = {"agreement": as_table(HEAD, real), "rendered": as_table(HEAD, painted)}
    for place, rows in (("agreement", real), ("rendered", painted)):
        print(f"{tables[place]}\n" if rows else f"There are no photos in {args.photos}.\n")
        if rows and args.write_readme:
            fill(place, f"{tables[place]}\n\n{NOTE}")


if __name__ == "__main__":
    main()
