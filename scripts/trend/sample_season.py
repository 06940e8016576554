"""The sample season as a garden of one's own: photos scored into a journal, and its log."""

import csv
import shlex
import shutil
from collections.abc import Iterator
from pathlib import Path

from models.garden.settings import GARDEN_FILE, GardenError
from models.journal import open_journal
from models.progress import ProgressCurve
from scripts.care.log import log_words
from scripts.common.files import CannotWriteError, write_whole
from scripts.trend.read import read_trend

__all__ = ["is_the_season", "log_season", "plant_season", "season_told"]

_PHOTOS = "photos"
_CLEAN_PCT = 1.0  # what is read on clean leaves stays below it
_DIRECTIONS = ("rising", "falling", "level", "cannot tell")


def is_the_season(source: Path, folder: Path) -> bool:
    """Whether an earlier demo made the garden in this folder, and nobody has changed it.

    Raises
    ------
    GardenError
        When another garden is there.
    """
    settings = folder / GARDEN_FILE
    if not settings.exists():
        return False
    if settings.read_bytes() != (source / GARDEN_FILE).read_bytes():
        raise GardenError(f"“{folder}” is a garden already: name another folder with --out.")
    return True


def plant_season(source: Path, folder: Path) -> Path:
    """Copy the season's garden file and photos into a folder; return the folder of photos.

    Raises
    ------
    CannotWriteError
        When they cannot be written.
    """
    # First, so that a demo that was stopped is known again.
    write_whole({folder / GARDEN_FILE: (source / GARDEN_FILE).read_bytes()})
    try:
        shutil.copytree(source / _PHOTOS, folder / _PHOTOS, dirs_exist_ok=True)
    except OSError as error:
        why = error.strerror or "not every photo could be copied"
        raise CannotWriteError(f"“{folder}” could not be filled: {why}.") from error
    return folder / _PHOTOS


def log_season(source: Path, folder: Path) -> None:
    """Log what was done that season, as if each line were typed; once only."""
    with open_journal(folder) as journal:
        if journal.log_entries():
            return
    with (source / "log.csv").open(encoding="utf-8", newline="") as stream:
        for row in csv.DictReader(stream):
            log_words(folder, shlex.split(row["log"]), row["at"], None)


def season_told(folder: Path) -> str:
    """Return where each plant was going at the end, ready to be printed."""
    with open_journal(folder) as journal:
        log = journal.log_entries(kind="removed_leaves")
    curves = sorted(read_trend(folder).curves, key=lambda curve: curve.plant)
    stripped = {plant for entry in log for plant in entry.plants}
    gone = {curve.plant for curve in curves if curve.gone}
    lines = ["Where the plants went, by the sick part of their leaves at the last visits:"]
    clean = [curve for curve in curves if all(p.severity_pct <= _CLEAN_PCT for p in curve.points)]
    told = {curve.plant for curve in clean} | gone
    lines += list(_by_direction([curve for curve in curves if curve.plant not in told], stripped))
    if clean:
        lines.append(f"  {'clean':12} {', '.join(c.plant for c in clean)}, at every visit")
    lost = [_plant(curve) for curve in curves if curve.plant in gone]
    if lost:
        lines.append(f"  {'lost':12} {', '.join(lost)}, then taken out")
    return "\n".join([*lines, "", *_next(folder)])


def _by_direction(curves: list[ProgressCurve], stripped: set[str]) -> Iterator[str]:
    for direction in _DIRECTIONS:
        going = [curve for curve in curves if curve.course.direction == direction]
        if going:
            plants = ", ".join(_plant(curve) for curve in going)
            why = direction == "falling" and all(curve.plant in stripped for curve in going)
            yield f"  {direction:12} {plants}{': its sick leaves came off' if why else ''}"


def _plant(curve: ProgressCurve) -> str:
    return f"{curve.plant} {curve.points[-1].severity_pct:.0f} %"


def _next(folder: Path) -> Iterator[str]:
    yield "Look further, for instance with:"
    yield f"  spotlamp trend --garden {folder}"
    yield f"  spotlamp trend --garden {folder} --effect soda"
    yield f'  spotlamp today --at "2025-07-31 07:00" --garden {folder}'
    yield "Or have it all in one file to print, or as a page in a browser:"
    yield f'  spotlamp report --at "2025-07-31 07:00" --garden {folder} --out report.html'
    yield f'  spotlamp serve --at "2025-07-31 07:00" --garden {folder}'
