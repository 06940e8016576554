"""Paint the sample season anew: ``python -m scripts.workshop paint season [FOLDER]``.

Twelve invented tomato plants in three beds, photographed on ten mornings of one summer, six
leaves a photo; with rain, sprays and what else was done. Each plant's disease follows a logistic
growth that rain hurries and sprays stop, by rates that are invented and written below. Killed
tissue never turns green again: severity falls only on days on which sick leaves left the plant,
and the log says so. One plant is saved and one is lost. Everything is decided by the lists below
and one seed a photo.
"""

import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import typer

from models.garden.settings import GARDEN_FILE, garden_text
from scripts.workshop.paint.garden import HERE, jpeg_bytes
from scripts.workshop.paint.rounds import RoundSample, paint_droppings, paint_night
from scripts.workshop.rendered import RenderedPhoto, draw_scene, render
from vision.records import HALO, LESION

__all__ = [
    "DAYS",
    "JPEG_QUALITY",
    "LOG",
    "PLANTS",
    "SeasonPhoto",
    "app",
    "make_season",
    "paint_leaves",
    "photos",
]

DAYS = tuple(date(2025, 6, 15) + timedelta(days=5 * n) for n in range(10))
"""Mornings on which all plants were photographed."""

LOG: tuple[tuple[str, str], ...] = (
    ("2025-06-19 15:00", "rain 9mm"),
    ("2025-06-21 09:10", "leaves 18 A4"),
    ("2025-06-21 09:30", 'note "Straw under the plant, water at the base from now on." A4'),
    ("2025-06-27 18:30", "rain 4mm"),
    ("2025-07-02 16:00", "rain 14mm"),
    ("2025-07-06 06:40", "spray soda A2 B3 C3"),
    ("2025-07-08 20:00", "rain 22mm"),
    ("2025-07-12 22:50", "pick 2 C1"),
    ("2025-07-15 06:45", "spray soda A2 B3 C3"),
    ("2025-07-17 19:00", 'note "Collapsed within a week. Pulled out and bagged." B2'),
    ("2025-07-17 19:05", "seen gone B2"),
    ("2025-07-20 13:00", "rain 6mm"),
    ("2025-07-24 06:50", "spray soda A2 B3 C3"),
    ("2025-07-28 18:10", 'note "The oldest spotted leaves hung dead and came off in my hand." C3'),
    ("2025-07-28 18:15", "leaves 6 C3"),
)
"""When, and what would be typed after ``spotlamp log``."""

_FRAME = {"width_px": 540, "height_px": 360}
JPEG_QUALITY = 70
_WET_MM, _WET_DAYS, _WET_FACTOR = 5.0, 5, 1.5  # rain that hurries a disease, how long and much
_SPRAYED_DAYS = 9  # so long after a spray nothing new grows; what is there stays
_LEFT_A_LEAF = 0.92  # of a plant's disease is left for each sick leaf that went
_STRAW_SHARE = 0.2  # of the growth is left where straw and dry feet keep the splash away
_CLEAN_PCT = 0.02  # less is not painted


@dataclass(frozen=True)
class SeasonPlant:
    """A plant, its disease and its look.

    Attributes
    ----------
    name, bed : str
        As in the garden's file.
    pattern, kind : str
        As in ``Scene``.
    first_pct : float
        Severity on the day on which the disease begins.
    rate_per_day : float
        Growth of its logit in dry weather, unsprayed; never negative.
    begins : date
        First day of the disease; before it the plant is clean.
    gone : date or None
        From this day on it is not photographed.
    straw_from : date or None
        From this day on straw lies under it, and it is watered at the base.
    chewed_pct : tuple of float
        Share eaten, on each day; empty for never. What is eaten stays eaten.
    look : dict
        Fields of the scene that are the plant's own.
    """

    name: str
    bed: str
    pattern: str = "none"
    kind: str = ""
    first_pct: float = 0.0
    rate_per_day: float = 0.0
    begins: date = DAYS[0]
    gone: date | None = None
    straw_from: date | None = None
    chewed_pct: tuple[float, ...] = ()
    look: dict[str, Any] = field(default_factory=dict)


def _look(hue: float, lobing: float, brightness: float, background: str) -> dict[str, Any]:
    return {"hue": hue, "lobing": lobing, "brightness": brightness, "background": background}


PLANTS = (
    # Never sprayed, and worse from visit to visit.
    SeasonPlant(
        "A1", "North", "spot", "septoria", 1.5, 0.065, look=_look(0.45, 0.4, 1.05, "paper")
    ),
    # Like its neighbour, but sprayed from July on: no new spots, and the old ones stay.
    SeasonPlant("A2", "North", "spot", "septoria", 3.0, 0.075, look=_look(0.5, 0.5, 1.0, "paper")),
    SeasonPlant("A3", "North", look=_look(0.35, 0.6, 0.95, "grey_board")),
    # Saved without a spray: sick leaves taken off, straw, dry feet.
    SeasonPlant(
        "A4", "North", "spot", "septoria", 30.0, 0.03, straw_from=date(2025, 6, 21),
        look=_look(0.5, 0.4, 1.1, "paper"),
    ),
    # Early blight that creeps up.
    SeasonPlant("B1", "Middle", "blight", "early", 2.0, 0.06, look=_look(0.55, 0.5, 1.0, "paper")),
    # Lost: healthy until July, and dead within two weeks.
    SeasonPlant(
        "B2", "Middle", "blight", "late", 1.5, 0.24, date(2025, 7, 4), date(2025, 7, 18),
        look=_look(0.5, 0.6, 1.1, "grey_board"),
    ),
    # Sprayed from July on, like A2.
    SeasonPlant(
        "B3", "Middle", "spot", "septoria", 2.0, 0.08, look=_look(0.4, 0.3, 1.0, "paper")
    ),
    # Bacterial spots, never sprayed, slowly more.
    SeasonPlant(
        "B4", "Middle", "spot", "bacterial", 3.0, 0.045, look=_look(0.6, 0.3, 1.1, "paper")
    ),
    # Eaten by two caterpillars, until they were found in a night round.
    SeasonPlant(
        "C1", "South", chewed_pct=(0, 0, 3, 8, 15, 22, 24, 24, 24, 24),
        look=_look(0.4, 0.5, 1.0, "paper"),
    ),
    # Leaf spot that comes late, never sprayed.
    SeasonPlant(
        "C2", "South", "spot", "septoria", 1.0, 0.08, date(2025, 6, 24),
        look=_look(0.45, 0.7, 0.95, "grey_board"),
    ),
    # Sprayed from July on as well; in the end its oldest sick leaves drop.
    SeasonPlant("C3", "South", "spot", "septoria", 4.0, 0.07, look=_look(0.5, 0.4, 1.05, "paper")),
    SeasonPlant("C4", "South", look=_look(0.3, 0.5, 1.0, "paper")),
)  # fmt: skip
"""The plants, bed by bed."""

_CALM = {
    # A careful grower's photos: sharp, in soft light, six leaves of one height on a plain sheet.
    "leaves": 6, "leaf_spread": 0.4, "shape": "leaflet", "blur_px": 0.0, "motion_px": 0.0,
    "noise": 0.03, "sharpen": 0.1, "vignette": 0.1, "exposure": 1.0, "cast": (1.0, 1.0, 1.0),
    "holes": 0, "soil_specks": 0, "leaf_size": 0.74, "roughness": 0.25, "gloss": 0.15,
    "direct": 0.35, "yellowing": 0.0, "curl": 0.3, "halo": True, "leaf_length_mm": 70.0,
}  # fmt: skip


@dataclass(frozen=True)
class SeasonPhoto:
    """One photo of leaves.

    Attributes
    ----------
    plant : SeasonPlant
        Whose leaves.
    taken_at : datetime
        Written into the photo.
    seed : int
        Fixes what the scene leaves to chance.
    severity_pct : float
        Aimed at.
    chewed_pct : float
        Aimed at.
    """

    plant: SeasonPlant
    taken_at: datetime
    seed: int
    severity_pct: float
    chewed_pct: float

    @property
    def name(self) -> str:
        """Path below the season's folder of photos."""
        return f"{self.plant.name}/{self.taken_at:%Y-%m-%d}_{self.plant.name}.jpg"


def photos() -> Iterator[SeasonPhoto]:
    """Yield every photo of leaves, day by day."""
    for visit, day in enumerate(DAYS):
        for number, plant in enumerate(PLANTS):
            if plant.gone is None or day < plant.gone:
                at = datetime(day.year, day.month, day.day, 7, 10 + 2 * number, 7 * visit % 60)
                chewed = plant.chewed_pct[visit] if plant.chewed_pct else 0.0
                seed = 20_250_000 + 100 * visit + number
                yield SeasonPhoto(plant, at, seed, _severity_pct(plant, day), chewed)


def _severity_pct(plant: SeasonPlant, day: date) -> float:
    """Return a plant's severity on a day: its logit moves on from day to day."""
    if plant.pattern == "none" or day < plant.begins:
        return 0.0
    share = plant.first_pct / 100
    for past in range((day - plant.begins).days):
        today = plant.begins + timedelta(days=past)
        odds = share / (1 - share) * np.exp(_rate(plant, today))
        share = float(odds / (1 + odds)) * _LEFT_A_LEAF ** _leaves_gone(plant.name, today)
    return float(min(100 * share, 60.0)) if 100 * share > _CLEAN_PCT else 0.0


def _rate(plant: SeasonPlant, day: date) -> float:
    rate = plant.rate_per_day
    if any(0 <= (day - spray).days < _SPRAYED_DAYS for spray in _days_of("spray", plant.name)):
        return 0.0
    if any(0 <= (day - rain).days < _WET_DAYS for rain in _days_of("rain")):
        rate *= _WET_FACTOR
    return rate * _STRAW_SHARE if plant.straw_from and day >= plant.straw_from else rate


def _leaves_gone(plant: str, day: date) -> int:
    """Return how many sick leaves left a plant on a day, by the log."""
    logged = [(at, words.split()) for at, words in LOG if words.startswith("leaves ")]
    return sum(
        int(count)
        for at, (_, count, *plants) in logged
        if plant in plants and datetime.fromisoformat(at).date() == day
    )


def _days_of(kind: str, plant: str = "") -> list[date]:
    """Return the days of a kind of log entry: of rain that counts, or of a plant's sprays."""
    days = []
    for at, words in LOG:
        what, *rest = words.split()
        counts = float(rest[0].removesuffix("mm")) >= _WET_MM if what == "rain" else plant in rest
        if what == kind and counts:
            days.append(datetime.fromisoformat(at).date())
    return days


def paint_leaves(photo: SeasonPhoto) -> RenderedPhoto:
    """Paint one photo of leaves."""
    sick = photo.severity_pct > 0
    plant = photo.plant
    fixed = {
        "pattern": plant.pattern if sick else "none",
        "kind": plant.kind if sick else "",
        "severity_pct": photo.severity_pct,
        "chewed_pct": photo.chewed_pct,
        "rotation_deg": 265.0,
    }
    scene = draw_scene(np.random.default_rng(photo.seed), **(_FRAME | _CALM | plant.look | fixed))
    return render(scene, photo.seed)


_NIGHT = {
    "blur_px": 0.4, "motion_px": 0.0, "noise": 0.2, "exposure": 1.1, "beam_x": 0.5, "beam_y": 0.5,
    "beam_radius": 0.5, "stray": 0.0, "larva_glow": 1.2, "density": 0.85, "arrangement": "apart",
    "hiding": "", "white_balance": (1.0, 1.0, 1.0), "jpeg_quality": 100, "tone": "purple",
    "leak": 0.6, "foliage_glow": 1.0, "decoys": (), "length_share": 0.3, "width_px": 560,
    "height_px": 420,
}  # fmt: skip
_UNDERNEATH = {
    "ground": "paper", "droppings": 14, "dropping_mm": 3.0, "litter": ("crumb",),
    "day": {
        "pattern": "none", "blur_px": 0.0, "motion_px": 0.0, "noise": 0.05, "exposure": 1.0,
        "direct": 0.4, "vignette": 0.1, "soil_specks": 0, "holes": 0, "gloss": 0.2, "leaves": 0,
        "background": "paper", "frame_mm": 90.0, "width_px": 560, "height_px": 420,
    },
}  # fmt: skip


def _caterpillar_photos() -> tuple[RoundSample, ...]:
    """Return the photos of the caterpillars' plant, and of its neighbour, by night and by day."""
    times = ("2025-07-10 07:40", "2025-07-12 22:41", "2025-07-12 22:44", "2025-07-21 22:35")
    droppings, found, none, after = (datetime.fromisoformat(time) for time in times)
    return (
        RoundSample("South", "C1", droppings, 2, 4101, _UNDERNEATH),
        RoundSample("South", "C1", found, 1, 4102, _NIGHT | {"caterpillars": 2}),
        RoundSample("South", "C2", none, 1, 4103, _NIGHT | {"caterpillars": 0}),
        RoundSample("South", "C1", after, 1, 4104, _NIGHT | {"caterpillars": 0, "style": "spline"}),
    )


def make_season(folder: Path) -> int:
    """Write ``season/`` below a folder: photos, truth, the log and the garden's file.

    Parameters
    ----------
    folder : Path
        Made if missing; files of the same names are replaced, others are left alone.

    Returns
    -------
    int
        How many photos were painted.
    """
    season = folder / "season"
    rows: list[dict[str, object]] = []
    for photo in photos():
        painted = paint_leaves(photo)
        _write_photo(season, photo.name, painted.pixels, photo.taken_at)
        rows += list(_leaf_rows(photo, painted))
    for sample in _caterpillar_photos():
        paint = paint_droppings if "ground" in sample.fixed else paint_night
        name = f"{sample.plant}/{sample.taken_at:%Y-%m-%d_%H%M}_{sample.plant}.jpg"
        _write_photo(season, name, paint(sample).pixels, sample.taken_at)
    _write_table(season / "truth.csv", list(rows[0]), [list(row.values()) for row in rows])
    _write_table(season / "log.csv", ("at", "log"), LOG)
    beds = {bed: [[p.name for p in PLANTS if p.bed == bed]] for bed in dict.fromkeys(
        plant.bed for plant in PLANTS)}  # fmt: skip
    (season / GARDEN_FILE).write_text(_settings(beds), "utf-8")
    return len({row["photo"] for row in rows}) + len(_caterpillar_photos())


def _settings(beds: dict[str, list[list[str]]]) -> str:
    """Return the garden's file without a copy of the usual thresholds, which would grow old."""
    whole = garden_text("Sample season", "Europe/Berlin", beds=beds)
    return whole[: whole.index("# Thresholds of")] + whole[whole.index("# Your beds") :]


def _write_photo(season: Path, name: str, pixels: Any, taken_at: datetime) -> None:  # noqa: ANN401  an array
    path = season / "photos" / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(jpeg_bytes(pixels, taken_at, JPEG_QUALITY))


def _leaf_rows(photo: SeasonPhoto, painted: RenderedPhoto) -> Iterator[dict[str, object]]:
    for leaf in range(1, int(painted.leaf_numbers.max()) + 1):
        own = painted.mask[painted.leaf_numbers == leaf]
        yield {
            "photo": photo.name,
            "plant": photo.plant.name,
            "day": f"{photo.taken_at:%Y-%m-%d}",
            "leaf": leaf,
            "area_px": own.size,
            "lesion_pct": f"{100 * np.mean(own == LESION):.3f}",
            "severity_pct": f"{100 * np.mean((own == LESION) | (own == HALO)):.3f}",
        }


def _write_table(path: Path, head: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as stream:
        table = csv.writer(stream, lineterminator="\n")
        table.writerow(head)
        table.writerows(rows)


app = typer.Typer(add_completion=False)


@app.command()
def main(
    folder: Annotated[
        Path, typer.Argument(help="Where season/ is written.", show_default=False)
    ] = HERE,
) -> None:
    """Paint the sample season anew, into sample_images/ of this checkout or into FOLDER."""
    print(f"{make_season(folder)} photos painted into {folder}")


if __name__ == "__main__":
    app()
