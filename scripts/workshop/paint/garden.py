"""Paint the sample garden anew: ``python -m scripts.workshop paint garden [FOLDER]``.

Six invented tomato plants in two beds, photographed on three days of one summer. Everything is
decided by the list below and one seed a photo, so the same library versions write the same bytes.
Other versions of NumPy, OpenCV or Pillow's JPEG encoder may round differently; the pictures then
differ by a few grey levels and the truth by a few pixels.
"""

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import typer
from numpy.typing import NDArray
from PIL import Image

from scripts.workshop.rendered import RenderedPhoto, Scene, draw_scene, render

__all__ = [
    "HERE",
    "SAMPLES",
    "Sample",
    "app",
    "encode_jpeg",
    "jpeg_bytes",
    "make_samples",
    "paint",
    "save_mask",
]

HERE = Path(__file__).resolve().parents[3] / "sample_images"
JPEG_QUALITY = 85
_LONG_PX, _SHORT_PX = 840, 630
_DAYS = ("2025-06-14", "2025-06-28", "2025-07-12")

# EXIF tags
_DESCRIPTION, _ORIENTATION, _SOFTWARE = 270, 274, 305
_EXIF_DIRECTORY, _TAKEN_AT = 0x8769, 36867
_TURN_RIGHT = 6  # stored lying on its side, as phones store upright photos


@dataclass(frozen=True)
class Sample:
    """One photo of the sample garden.

    Attributes
    ----------
    bed, plant : str
        Names of its folders.
    taken_at : datetime
        Written into the photo.
    number : int
        Number among the plant's photos of that day, from 1.
    seed : int
        Fixes what the scene leaves to chance.
    fixed : dict
        Fields of the scene that are not drawn.
    """

    bed: str
    plant: str
    taken_at: datetime
    number: int
    seed: int
    fixed: dict[str, Any] = field(repr=False)

    @property
    def name(self) -> str:
        """Path below the garden folder without its ending."""
        return f"{self.bed}/{self.plant}/{self.taken_at:%Y-%m-%d}_{self.plant}_{self.number}"


@dataclass(frozen=True)
class _Plant:
    """A plant's look, and its severity on each day (one value a photo)."""

    bed: str
    name: str
    pattern: str
    kind: str
    severities_pct: tuple[tuple[float, ...], ...]
    look: dict[str, Any]
    backgrounds: tuple[str, ...]


_PLANTS = (
    # Leaf spot that gets worse.
    _Plant(
        "bed-1", "plant-A1", "spot", "septoria", ((2.5, 1.5), (9.0, 6.0), (24.0, 31.0)),
        {"hue": 0.45, "lobing": 0.45, "brightness": 1.05, "leaf_length_mm": 78.0, "halo": True},
        ("paper", "bench"),
    ),
    # Healthy all summer.
    _Plant(
        "bed-1", "plant-A2", "none", "", ((0.0,), (0.0, 0.0), (0.0,)),
        {"hue": 0.3, "lobing": 0.7, "brightness": 0.9, "leaf_length_mm": 84.0},
        ("violet_board", "foliage_far"),
    ),
    # Late blight, slow to start and then fast.
    _Plant(
        "bed-1", "plant-A3", "blight", "late", ((0.0,), (6.0, 11.0), (34.0, 46.0)),
        {"hue": 0.5, "lobing": 0.6, "brightness": 1.1, "leaf_length_mm": 82.0, "halo": True},
        ("grey_board", "soil"),
    ),
    # Bacterial spot that has stopped: nothing new grows, and dead tissue stays dead.
    _Plant(
        "bed-2", "plant-B1", "spot", "bacterial", ((19.0, 17.0), (18.0,), (18.0, 17.0)),
        {"hue": 0.6, "lobing": 0.3, "brightness": 1.15, "leaf_length_mm": 70.0, "halo": True},
        ("paper", "hand"),
    ),
    # Healthy; photographed where it grows.
    _Plant(
        "bed-2", "plant-B2", "none", "", ((0.0, 0.0), (0.0,), (0.0, 0.0)),
        {"hue": 0.4, "lobing": 0.55, "brightness": 1.0, "leaf_length_mm": 76.0},
        ("straw", "sky"),
    ),
    # Early blight that creeps up.
    _Plant(
        "bed-2", "plant-B3", "blight", "early", ((4.0,), (7.0, 9.0), (13.0,)),
        {"hue": 0.55, "lobing": 0.5, "brightness": 1.0, "leaf_length_mm": 80.0, "halo": True},
        ("cloth", "foliage_near"),
    ),
)  # fmt: skip

_CALM = {
    # A careful grower's photos: sharp, in soft light, one leaf filling most of the frame.
    "leaves": 1, "shape": "leaflet", "blur_px": 0.0, "motion_px": 0.0, "noise": 0.12,
    "sharpen": 0.2, "vignette": 0.12, "exposure": 1.0, "holes": 0, "soil_specks": 0,
    "leaf_size": 0.88, "roughness": 0.4, "gloss": 0.25, "direct": 0.4, "yellowing": 0.0,
}  # fmt: skip

_EXCEPTIONS: dict[str, dict[str, Any]] = {
    # What happens in every real folder of photos.
    "plant-A2/2025-06-28/2": {"shape": "compound", "background": "violet_board"},
    "plant-B2/2025-06-14/2": {"blur_px": 9.0, "motion_px": 31.0},
    "plant-B2/2025-07-12/2": {"soil_specks": 14, "holes": 2, "background": "straw"},
    "plant-B3/2025-06-28/2": {"leaves": 3, "background": "cloth"},
    "plant-A1/2025-07-12/2": {"yellowing": 0.5},
    "plant-A2/2025-07-12/1": {"background": "foliage_far"},
    "plant-B3/2025-07-12/1": {"background": "foliage_near"},
    "plant-B1/2025-06-14/2": {"gloss": 0.7, "direct": 0.8, "roughness": 0.7},
}


def _samples() -> Iterator[Sample]:
    seed = 2025
    for plant in _PLANTS:
        for day, severities in zip(_DAYS, plant.severities_pct, strict=True):
            for number, severity in enumerate(severities, start=1):
                seed += 1
                yield _sample(plant, day, number, severity, seed)
    nothing = {**_CALM, "leaves": 0, "background": "soil", "pattern": "none"}
    taken_at = datetime.fromisoformat(f"{_DAYS[2]} 07:58:40")
    yield Sample("bed-2", "plant-B3", taken_at, 2, seed + 1, _frame(nothing, upright=False))


def _sample(plant: _Plant, day: str, number: int, severity_pct: float, seed: int) -> Sample:
    background = plant.backgrounds[number % len(plant.backgrounds) - 1]
    pattern, kind = (plant.pattern, plant.kind) if severity_pct else ("none", "")
    sick = {"pattern": pattern, "kind": kind, "severity_pct": severity_pct}
    odd = _EXCEPTIONS.get(f"{plant.name}/{day}/{number}", {})
    fixed = _CALM | plant.look | sick | {"background": background} | odd
    minute = (seed * 7) % 50
    taken_at = datetime.fromisoformat(f"{day} 07:{minute:02d}:{seed % 60:02d}")
    return Sample(
        plant.bed, plant.name, taken_at, number, seed, _frame(fixed, upright=seed % 3 == 0)
    )


def _frame(fixed: dict[str, Any], upright: bool) -> dict[str, Any]:
    """Add the frame: phones are held upright or across, and the leaf lies along the frame."""
    width, height = (_SHORT_PX, _LONG_PX) if upright else (_LONG_PX, _SHORT_PX)
    return {
        **fixed,
        "width_px": width,
        "height_px": height,
        "rotation_deg": 265.0 if upright else 185.0,
    }


SAMPLES = tuple(_samples())
"""Every photo of the sample garden, plant by plant."""


def paint(sample: Sample) -> RenderedPhoto:
    """Paint one sample."""
    scene: Scene = draw_scene(np.random.default_rng(sample.seed), **sample.fixed)
    return render(scene, sample.seed)


def encode_jpeg(photo: RenderedPhoto, taken_at: datetime) -> bytes:
    """Return the photo as a phone would store it: JPEG, capture time, upright ones turned."""
    return jpeg_bytes(photo.pixels, taken_at)


def jpeg_bytes(pixels: NDArray[np.uint8], taken_at: datetime, quality: int = JPEG_QUALITY) -> bytes:
    """Return sRGB pixels as a phone would store them."""
    image = Image.fromarray(pixels)
    exif = Image.Exif()
    exif[_DESCRIPTION] = "Painted sample of an invented garden; not a photograph."
    exif[_SOFTWARE] = "spotlamp scripts/workshop/paint/garden.py"
    exif.get_ifd(_EXIF_DIRECTORY)[_TAKEN_AT] = f"{taken_at:%Y:%m:%d %H:%M:%S}"
    if pixels.shape[0] > pixels.shape[1]:
        image = image.transpose(Image.Transpose.ROTATE_90)
        exif[_ORIENTATION] = _TURN_RIGHT
    out = io.BytesIO()
    image.save(out, "JPEG", quality=quality, exif=exif, optimize=True)
    return out.getvalue()


def save_mask(mask: NDArray[np.uint8], path: Path) -> None:
    """Write a mask as a small PNG with one channel."""
    Image.fromarray(mask).save(path, optimize=True)


def make_samples(folder: Path) -> list[dict[str, object]]:
    """Write ``garden/`` (photos) and ``truth/`` (masks and ``truth.csv``) below a folder.

    Parameters
    ----------
    folder : Path
        Made if missing; files of the same names are replaced, others are left alone.

    Returns
    -------
    list of dict
        The rows of ``truth.csv``.
    """
    rows = []
    for sample in SAMPLES:
        photo = paint(sample)
        jpeg = folder / "garden" / f"{sample.name}.jpg"
        mask = folder / "truth" / f"{sample.name}.png"
        for file in (jpeg, mask):
            file.parent.mkdir(parents=True, exist_ok=True)
        jpeg.write_bytes(encode_jpeg(photo, sample.taken_at))
        save_mask(photo.mask, mask)
        rows.append(_row(sample, photo))
    with (folder / "truth" / "truth.csv").open("w", encoding="utf-8", newline="") as file_out:
        table = csv.DictWriter(file_out, list(rows[0]), lineterminator="\n")
        table.writeheader()
        table.writerows(rows)
    return rows


def _row(sample: Sample, photo: RenderedPhoto) -> dict[str, object]:
    """One row of ``truth.csv``; empty = there is nothing to measure."""
    return {
        "photo": f"{sample.name}.jpg",
        "plant": sample.plant,
        "taken_at": sample.taken_at.isoformat(),
        "pattern": photo.scene.pattern,
        "kind": photo.scene.kind,
        "background": photo.scene.background,
        "mm_per_px": f"{1 / photo.px_per_mm:.4f}",
        "leaf_count": int(photo.leaf_numbers.max()),
        "leaf_area_px": photo.leaf_area_px,
        "lesion_count": len(photo.lesions),
        "lesion_pct": _percent(photo.lesion_pct),
        "halo_pct": _percent(photo.halo_pct),
        "severity_pct": _percent(photo.severity_pct),
    }


def _percent(value: float | None) -> str:
    return "" if value is None else f"{value:.3f}"


app = typer.Typer(add_completion=False)


@app.command()
def main(
    folder: Annotated[
        Path, typer.Argument(help="Where garden/ and truth/ are written.", show_default=False)
    ] = HERE,
) -> None:
    """Paint the sample garden anew, into sample_images/ of this checkout or into FOLDER."""
    rows = make_samples(folder)
    print(f"{len(rows)} photos painted into {folder}")


if __name__ == "__main__":
    app()
