"""Paint the sample rounds anew: ``python -m scripts.workshop paint rounds [FOLDER]``.

A night round with the UV torch through the sample garden, and what lay under and on its plants by
day. Like the garden itself, everything is decided by the lists below and one seed a photo.
"""

import csv
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import typer
from numpy.typing import NDArray

from scripts.workshop.paint.garden import HERE, jpeg_bytes, save_mask
from scripts.workshop.rendered import Scene, draw_scene
from scripts.workshop.rendered.droppings import DroppingScene, RenderedDroppings, render_droppings
from scripts.workshop.rendered.night import (
    NightScene,
    RenderedNight,
    draw_night_scene,
    render_night,
)
from vision.records import BACKGROUND, CATERPILLAR, DROPPING, LEAF

__all__ = ["DROPPINGS", "NIGHT", "RoundSample", "app", "dropping_mask", "make_rounds", "night_mask",
           "paint_droppings", "paint_night"]  # fmt: skip

_FRAME = {"width_px": 720, "height_px": 540}
_JPEG_QUALITY = 76


@dataclass(frozen=True)
class RoundSample:
    """One photo of a round.

    Attributes
    ----------
    bed, plant : str
        Names of its folders.
    taken_at : datetime
        Written into the photo.
    number : int
        Number among the plant's photos of that round, from 1.
    seed : int
        Fixes what the scene leaves to chance.
    fixed : dict
        Fields of the scene that are not drawn.
    torch_off : bool
        Whether a torch-off photo stands beside it.
    """

    bed: str
    plant: str
    taken_at: datetime
    number: int
    seed: int
    fixed: dict[str, Any] = field(repr=False)
    torch_off: bool = False

    @property
    def name(self) -> str:
        """Path below the round's folder of photos, without its ending."""
        return f"{self.bed}/{self.plant}/{self.taken_at:%Y-%m-%d_%H%M}_{self.plant}_{self.number}"


def _round(day: str, photos: Sequence[tuple[Any, ...]]) -> tuple[RoundSample, ...]:
    """Return samples from bed, plant, time, number, seed, fixed fields and torch-off."""
    return tuple(
        RoundSample(bed, plant, datetime.fromisoformat(f"{day} {time}"), *rest)
        for bed, plant, time, *rest in photos
    )


_CALM = {
    # A careful grower's night photos: sharp, the torch held at the plant.
    "blur_px": 0.4, "motion_px": 0.0, "noise": 0.2, "exposure": 1.1, "beam_x": 0.5, "beam_y": 0.5,
    "beam_radius": 0.5, "stray": 0.0, "larva_glow": 1.2, "density": 0.85, "arrangement": "apart",
    "hiding": "", "white_balance": (1.0, 1.0, 1.0), "jpeg_quality": 100, "tone": "purple",
    "leak": 0.6, "foliage_glow": 1.0,
}  # fmt: skip

NIGHT = _round(
    "2025-07-12",
    [
        # Nothing but what people and dew leave.
        ("bed-1", "plant-A1", "22:31:10", 1, 3101,
         _CALM | {"caterpillars": 0, "decoys": ("tag", "dew"), "length_share": 0.25}),
        # A large one, close by.
        ("bed-1", "plant-A2", "22:34:02", 1, 3102,
         _CALM | {"caterpillars": 1, "decoys": (), "length_share": 0.45, "length_mm": 72.0}),
        # A whole plant with two small ones.
        ("bed-1", "plant-A2", "22:34:41", 2, 3103,
         _CALM | {"caterpillars": 2, "decoys": (), "length_share": 0.09, "length_mm": 49.0}),
        # Flowers and twine, no caterpillar.
        ("bed-1", "plant-A3", "22:37:15", 1, 3104,
         _CALM | {"caterpillars": 0, "decoys": ("flower", "twine"), "tone": "red",
                  "length_share": 0.12, "length_mm": 50.0, "style": "spline"}),
        # One partly under a leaf, by the light of a lamp; with a torch-off photo.
        ("bed-2", "plant-B1", "22:40:27", 1, 3105,
         _CALM | {"caterpillars": 1, "decoys": ("paper",), "hiding": "leaf", "length_share": 0.3,
                  "stray": 0.006, "off_shift_px": 1.0, "style": "chain"}, True),
        # Two across each other.
        ("bed-2", "plant-B2", "22:43:50", 1, 3107,
         _CALM | {"caterpillars": 2, "decoys": ("pollen",), "arrangement": "crossing",
                  "length_share": 0.28, "length_mm": 60.0, "tone": "blue", "style": "spline"}),
        # The torch's battery is nearly empty.
        ("bed-2", "plant-B3", "22:47:33", 1, 3108,
         _CALM | {"caterpillars": 1, "decoys": (), "trouble": "weak", "exposure": 0.05,
                  "noise": 0.7, "length_share": 0.2}),
        # The same plant with fresh batteries.
        ("bed-2", "plant-B3", "22:49:05", 2, 3109,
         _CALM | {"caterpillars": 3, "decoys": ("glare",), "length_share": 0.2, "tone": "black",
                  "style": "chain"}),
    ],
)  # fmt: skip
"""The night round, in the order in which it was walked."""

_DAY = {
    "pattern": "none", "blur_px": 0.0, "motion_px": 0.0, "noise": 0.1, "exposure": 1.0,
    "direct": 0.4, "vignette": 0.1, "soil_specks": 0, "holes": 0, "gloss": 0.2,
}  # fmt: skip

DROPPINGS = _round(
    "2025-07-12",
    [
        # A sheet of paper laid under the plant overnight.
        ("bed-1", "plant-A2", "07:20:00", 1, 3201,
         {"ground": "paper", "droppings": 18, "dropping_mm": 3.2, "litter": ("seed", "crumb"),
          "day": _DAY | {"background": "paper", "frame_mm": 105.0, "leaves": 0}}),
        # Droppings on an eaten leaf.
        ("bed-2", "plant-B2", "07:26:00", 1, 3202,
         {"ground": "leaf", "droppings": 7, "dropping_mm": 2.4,
          "day": _DAY | {"background": "grey_board", "leaves": 1, "shape": "leaflet",
                         "chewed_pct": 22.0, "leaf_size": 0.9}}),
        # On the soil below.
        ("bed-2", "plant-B2", "07:27:00", 2, 3203,
         {"ground": "soil", "droppings": 9, "dropping_mm": 4.5, "litter": ("crumb",),
          "day": _DAY | {"background": "soil", "frame_mm": 60.0, "leaves": 0}}),
        # Straw without any.
        ("bed-2", "plant-B3", "07:31:00", 1, 3204,
         {"ground": "mulch", "droppings": 0, "litter": ("chip", "shade"),
          "day": _DAY | {"background": "straw", "frame_mm": 55.0, "leaves": 0,
                         "blur_px": 1.2}}),
    ],
)  # fmt: skip
"""What lay under and on the plants, by day."""


def paint_night(sample: RoundSample) -> RenderedNight:
    """Paint one photo of the night round."""
    scene: NightScene = draw_night_scene(
        np.random.default_rng(sample.seed), **(_FRAME | sample.fixed)
    )
    return render_night(scene, sample.seed, torch_off=sample.torch_off)


def paint_droppings(sample: RoundSample) -> RenderedDroppings:
    """Paint one photo of droppings."""
    day: Scene = draw_scene(np.random.default_rng(sample.seed), **(_FRAME | sample.fixed["day"]))
    scene = DroppingScene(**(sample.fixed | {"day": day, "jpeg_quality": 100}))
    return render_droppings(scene, sample.seed)


def night_mask(photo: RenderedNight) -> NDArray[np.uint8]:
    """Return the mask: 5 where a caterpillar is seen, otherwise 0."""
    return np.where(photo.numbers > 0, CATERPILLAR, BACKGROUND).astype(np.uint8)


def dropping_mask(photo: RenderedDroppings) -> NDArray[np.uint8]:
    """Return the mask: 4 where a dropping is seen, 1 on leaf, otherwise 0."""
    mask = np.where(photo.leaf, LEAF, BACKGROUND)
    return np.where(photo.numbers > 0, DROPPING, mask).astype(np.uint8)


def make_rounds(folder: Path) -> int:
    """Write ``night/`` and ``droppings/`` below a folder, each with ``garden/`` and ``truth/``.

    Parameters
    ----------
    folder : Path
        Made if missing; files of the same names are replaced, others are left alone.

    Returns
    -------
    int
        How many photos were painted, torch-off photos included.
    """
    count = 0
    night_rows, body_rows = [], []
    for sample in NIGHT:
        photo = paint_night(sample)
        count += _write(folder / "night", sample, photo.pixels, night_mask(photo))
        if photo.torch_off is not None:
            path = folder / "night" / "garden" / f"{sample.name}-off.jpg"
            path.write_bytes(jpeg_bytes(photo.torch_off, sample.taken_at, _JPEG_QUALITY))
            count += 1
        night_rows.append(_night_row(sample, photo))
        body_rows += list(_body_rows(sample, photo))
    dropping_rows = []
    for sample in DROPPINGS:
        heap = paint_droppings(sample)
        count += _write(folder / "droppings", sample, heap.pixels, dropping_mask(heap))
        dropping_rows.append(_dropping_row(sample, heap))
    _table(folder / "night" / "truth" / "truth.csv", night_rows)
    _table(folder / "night" / "truth" / "caterpillars.csv", body_rows)
    _table(folder / "droppings" / "truth" / "truth.csv", dropping_rows)
    return count


def _write(
    folder: Path, sample: RoundSample, pixels: NDArray[np.uint8], mask: NDArray[np.uint8]
) -> int:
    jpeg, truth = folder / "garden" / f"{sample.name}.jpg", folder / "truth" / f"{sample.name}.png"
    for file in (jpeg, truth):
        file.parent.mkdir(parents=True, exist_ok=True)
    jpeg.write_bytes(jpeg_bytes(pixels, sample.taken_at, _JPEG_QUALITY))
    save_mask(mask, truth)
    return 1


def _night_row(sample: RoundSample, photo: RenderedNight) -> dict[str, object]:
    return {
        "photo": f"{sample.name}.jpg",
        "plant": sample.plant,
        "taken_at": sample.taken_at.isoformat(),
        "mm_per_px": f"{1 / photo.px_per_mm:.4f}",
        "caterpillar_count": len(photo.caterpillars),
        "beside_them": ";".join(decoy.kind for decoy in photo.decoys),
        "trouble": photo.trouble,
    }


def _body_rows(sample: RoundSample, photo: RenderedNight) -> Iterable[dict[str, object]]:
    for body in photo.caterpillars:
        yield {
            "photo": f"{sample.name}.jpg",
            "caterpillar": body.number,
            "row_px": f"{body.row_px:.1f}",
            "col_px": f"{body.col_px:.1f}",
            "length_px": f"{body.length_px:.1f}",
            "width_px": f"{body.width_px:.1f}",
            "length_mm": f"{body.length_px / photo.px_per_mm:.1f}",
            "visible_share": f"{body.visible_share:.3f}",
        }


def _dropping_row(sample: RoundSample, photo: RenderedDroppings) -> dict[str, object]:
    lengths = [dropping.length_mm for dropping in photo.droppings]
    return {
        "photo": f"{sample.name}.jpg",
        "plant": sample.plant,
        "taken_at": sample.taken_at.isoformat(),
        "mm_per_px": f"{1 / photo.px_per_mm:.4f}",
        "ground": photo.scene.ground,
        "frass_count": len(lengths),
        "median_length_mm": f"{np.median(lengths):.2f}" if lengths else "",
        "beside_them": ";".join(kind.kind for kind in photo.litter),
    }


def _table(path: Path, rows: list[dict[str, object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file_out:
        table = csv.DictWriter(file_out, list(rows[0]), lineterminator="\n")
        table.writeheader()
        table.writerows(rows)


app = typer.Typer(add_completion=False)


@app.command()
def main(
    folder: Annotated[
        Path,
        typer.Argument(help="Where night/ and droppings/ are written.", show_default=False),
    ] = HERE,
) -> None:
    """Paint the sample rounds anew, into sample_images/ of this checkout or into FOLDER."""
    print(f"{make_rounds(folder)} photos painted into {folder}")


if __name__ == "__main__":
    app()
