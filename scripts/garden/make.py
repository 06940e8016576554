"""Makes a garden, or adds beds to one: the settings file, checked before it is written."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tzlocal import get_localzone_name

from models.garden.beds import Garden
from models.garden.settings import (
    GARDEN_FILE,
    GardenError,
    check_garden,
    garden_text,
    settings_text,
    with_beds,
)
from models.journal import open_journal
from models.numerals import counted
from scripts.common.files import write_whole

__all__ = ["Made", "make_garden", "report"]


@dataclass(frozen=True)
class Made:
    """A garden that was made, or added to.

    Attributes
    ----------
    folder : Path
        Where it is.
    garden : Garden
        As its file now says.
    new : bool
        Whether it was not there before.
    """

    folder: Path
    garden: Garden
    new: bool


def make_garden(
    folder: Path,
    beds: Sequence[str] = (),
    name: str = "",
    units: str = "metric",
    time_zone: str = "",
) -> Made:
    """Make a garden with its journal; add beds where it is there already.

    Parameters
    ----------
    folder : Path
        Of the garden.
    beds : sequence of str
        ``NAME=PLANTS`` each; a comma between plants, a slash between rows.
    name, units, time_zone : str
        Settings of a new garden; empty: the folder's name, this computer's zone.

    Raises
    ------
    GardenError
        When a setting or a bed cannot be used, or the garden is there and no bed is given.
    CannotWriteError
        When the file cannot be written.
    """
    path = folder / GARDEN_FILE
    rows = dict(_bed(text) for text in beds)
    is_new = not path.exists()
    if is_new:
        name = name or folder.absolute().name or "My garden"
        text = garden_text(name, time_zone or _zone_here(), units, rows)
    else:
        text = _longer(path, rows)
    garden = check_garden(path, text)
    write_whole({path: text.encode()})
    with open_journal(folder) as journal:
        journal.record_plants(garden.plants)
    return Made(folder, garden, is_new)


def _longer(path: Path, rows: dict[str, list[list[str]]]) -> str:
    if not rows:
        raise GardenError(
            f"“{path.parent}” is a garden already: edit {path.name}, or add a bed with --bed."
        )
    text = settings_text(path)
    check_garden(path, text)
    return with_beds(text, rows)


def _bed(text: str) -> tuple[str, list[list[str]]]:
    name, equals, plants = text.partition("=")
    if not equals or not name.strip() or not plants.strip():
        raise GardenError(f"“{text}” is no bed: write it as North=A1,A2/A3,A4.")
    rows = [[plant.strip() for plant in row.split(",")] for row in plants.split("/")]
    return name.strip(), rows


def _zone_here() -> str:
    try:
        return get_localzone_name() or "UTC"
    except (LookupError, ValueError, OSError):  # a computer without a zone, as many servers
        return "UTC"


def report(made: Made) -> str:
    """Return what was made, ready to be printed."""
    garden = made.garden
    beds = dict.fromkeys(plant.bed for plant in garden.plants)
    what = "New garden" if made.new else "Garden"
    size = f"{counted(len(garden.plants), 'plant')} in {counted(len(beds), 'bed')}"
    lines = [
        f"{what} “{garden.name}” in {made.folder}: {size}, time zone {garden.time_zone}, "
        f"units {garden.units}."
    ]
    if not garden.plants:
        lines.append(f"Write your beds and plants into {made.folder / GARDEN_FILE}.")
    lines.append(f"File photos with: spotlamp score PHOTOS --out RESULTS --garden {made.folder}")
    return "\n".join(lines)
