"""Pin what every stage measures on some sample photos, for the measuring version that it has.

    python -m scripts.workshop figures pins

A change of the measuring that raises no version leaves kept readings of the old way beside new
ones; a test compares with the pins, so that it is noticed. Run this after raising the version.
"""

import json
import math
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from models.pattern import load_classifier
from scripts.common.tables import rows
from scripts.score.columns import TABLES
from scripts.score.photo import PhotoJob, score_photo
from scripts.score.results import PhotoResult
from scripts.score.store import ReadingStore
from scripts.workshop.figures.write import ROOT
from scripts.workshop.rendered import draw_scene, render
from vision.day.measure import MEASURING_VERSION
from vision.photo.find import PhotoFile

__all__ = ["PINS", "differences", "measured_now"]

PINS = ROOT / "tests" / "pins.json"
PINNED = (
    "garden/bed-1/plant-A1/2025-06-28_plant-A1_1.jpg",
    "garden/bed-1/plant-A1/2025-07-12_plant-A1_2.jpg",
    "garden/bed-1/plant-A2/2025-07-12_plant-A2_1.jpg",
    "droppings/garden/bed-2/plant-B2/2025-07-12_0726_plant-B2_1.jpg",
    "droppings/garden/bed-2/plant-B3/2025-07-12_0731_plant-B3_1.jpg",
)
_NIGHT = "night/garden"
_NIGHTS = 3
_FIELD_SEED = 7  # of a painted photo in the field
_COLUMNS = (
    *("mode", "flags", "mm_per_px", "leaf_count", "leaf_area_px", "lesion_count", "lesion_pct"),
    *("halo_pct", "severity_pct", "severity_low_pct", "severity_high_pct", "pattern", "p_spot"),
    *("p_blight", "p_none", "blight_kind", "frass_count", "frass_low", "frass_high", "chewed_pct"),
    *("chewed_low_pct", "chewed_high_pct", "caterpillar_count", "caterpillar_low"),
    "caterpillar_high",
)
_TOLERANCE = 2e-3  # other releases of OpenCV and NumPy round differently


def measured_now() -> dict[str, Any]:
    """Return the measuring version, and what is measured on each pinned photo."""
    samples = ROOT / "sample_images"
    nights = sorted((samples / _NIGHT).rglob("*.jpg"))[:_NIGHTS]
    files = [samples / name for name in PINNED] + nights
    with tempfile.TemporaryDirectory() as folder:
        field = Path(folder) / "field.png"
        scene = draw_scene(
            np.random.default_rng(_FIELD_SEED), width_px=800, height_px=600, background="straw"
        )
        Image.fromarray(render(scene, _FIELD_SEED).pixels).save(field)
        store = ReadingStore(Path(folder) / "kept", "pins")
        photos = {file.relative_to(samples).as_posix(): file for file in files} | {"field": field}
        measured = {
            name: _numbers(
                score_photo(PhotoJob(PhotoFile(file, name), store, load_classifier())).result
            )
            for name, file in photos.items()
        }
    return {"measuring_version": MEASURING_VERSION, "photos": measured}


def _numbers(result: PhotoResult) -> dict[str, Any]:
    table = TABLES["photos"]
    names = [column.name for column in table.columns]
    (row,) = rows(table, [result])
    found = dict(zip(names, row, strict=True))
    return {name: found[name] for name in _COLUMNS if found[name] not in (None, "")}


def differences(pinned: dict[str, Any], now: dict[str, Any]) -> list[str]:
    """Return a sentence for each number that is not as it was pinned.

    Parameters
    ----------
    pinned, now : dict
        As ``measured_now`` returns them.
    """
    return [
        f"{photo}: {name} was {before.get(name)}, is {after.get(name)}"
        for photo, before in pinned["photos"].items()
        for after in [now["photos"].get(photo, {})]
        for name in sorted(before.keys() | after.keys())
        if not _alike(before.get(name), after.get(name))
    ]


def _alike(before: object, after: object) -> bool:
    if isinstance(before, float) and isinstance(after, float | int):
        return math.isclose(before, after, rel_tol=_TOLERANCE, abs_tol=_TOLERANCE)
    return before == after


def main() -> None:
    """Write the pins; refuse where the numbers moved and the version did not."""
    now = measured_now()
    if PINS.exists():
        pinned = json.loads(PINS.read_text("utf-8"))
        moved = differences(pinned, now)
        if moved and pinned["measuring_version"] == MEASURING_VERSION:
            raise SystemExit("\n".join([*moved, "Raise MEASURING_VERSION first."]))
    PINS.write_text(json.dumps(now, indent=1, ensure_ascii=False) + "\n", "utf-8")
    print(f"Pinned for version {MEASURING_VERSION} in {PINS.name}")


if __name__ == "__main__":
    main()
