"""Measure the journal's speed with 2,000 and with 20,000 photos, and print a table.

    python -m scripts.workshop figures journal [--write]

The record is invented: 40 plants, 120 days, three leaves a photo with ten lesions each. What is
counted is the work of the cores, which other programs disturb less than the time that passes; a
command is counted from its start to its end. Filing waits for the disk, so there the time that
passes is counted. Costs about two minutes.
"""

import argparse
import random
import resource
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

from sqlalchemy import Table

from models.entries import PhotoEntry
from models.garden.settings import GARDEN_FILE, garden_text
from models.journal import open_journal
from models.journal.packing import pack_lesions
from scripts.workshop.figures.speed import seconds
from scripts.workshop.figures.write import as_table, fill
from vision.records import Lesion

SIZES = (2_000, 20_000)
PLANTS = [f"P{number:02}" for number in range(40)]
DAYS, LEAVES, LESIONS = 120, 3, 10
REPEATS, FILED = 3, 20
START = datetime(2025, 6, 1, 9)

NOTE = (
    "Seconds are those of one core's work; filing waits for the disk. "
    "`python -m scripts.workshop figures journal` measures this again."
)

Row = Mapping[str, Any]


def invented(
    photos: int, plants: Sequence[str] = PLANTS, seed: int = 1
) -> Callable[[Table], Iterator[Row]]:
    """Return a function that yields the rows of each table of an invented record."""
    chance = random.Random(seed)
    lesions = pack_lesions([_lesion(number) for number in range(LESIONS)])

    def rows_of(table: Table) -> Iterator[Row]:
        for number in range(1, photos + 1):
            match table.name:
                case "photos":
                    yield _photo(number, photos, plants)
                case "readings":
                    yield {**_empty(table), **_reading(number, chance)}
                case "leaves":
                    yield from ({**_empty(table), **leaf} for leaf in _leaves(number, chance))
                case "lesions":
                    yield from ({**key, "packed": lesions} for key in _keys(number))

    return rows_of


def _keys(number: int) -> list[dict[str, Any]]:
    return [{"reading_id": number, "leaf": leaf} for leaf in range(1, LEAVES + 1)]


def _lesion(number: int) -> Lesion:
    return Lesion(1, 100.0 + number, 99.5, 250.0, 17.8, 0.4, 0.8, 1.3, 0.9, 12.0, 2.5, 40.0, False)


def _photo(number: int, photos: int, plants: Sequence[str]) -> Row:
    day, plant = divmod(number * DAYS * len(plants) // photos, len(plants))
    taken = START + timedelta(days=day, seconds=number % 30_000)
    return {
        "id": number,
        "sha256": f"{number:064x}",
        "photo": f"{plants[plant % len(plants)]}/{taken:%Y%m%d}_{number}.jpg",
        "taken_at": taken,
        "taken_from": "exif",
        "plant": plants[number % len(plants)],
        "plant_from": "folder",
        "filed_at": taken + timedelta(hours=8),
    }


def _empty(table: Table) -> dict[str, Any]:
    texts = {column.name: "" for column in table.columns if column.type.python_type is str}
    return {**dict.fromkeys((column.name for column in table.columns), None), **texts}


def _reading(number: int, chance: random.Random) -> Row:
    return {
        **{"id": number, "photo_id": number, "version": "1-abc", "is_current": True, "mode": "day"},
        **_severity(chance),
        "lesion_count": LEAVES * LESIONS,
    }


def _leaves(number: int, chance: random.Random) -> Iterator[Row]:
    for key in _keys(number):
        yield {
            **key,
            **_severity(chance),
            **{"area_px": 1e6, "lesion_count": LESIONS, "pattern": "spot"},
            "pattern_reason": "10 lesions, none of them at the margin, usually 5 % of a leaf side.",
        }


def _severity(chance: random.Random) -> Row:
    severity = chance.uniform(2, 20)
    return {
        **{"lesion_pct": severity / 2, "halo_pct": severity / 2, "severity_pct": severity},
        **{"severity_low_pct": severity * 0.8, "severity_high_pct": severity * 1.2},
    }


def make_record(folder: Path, photos: int, plants: Sequence[str] = PLANTS) -> None:
    """Make a garden with an invented record."""
    folder.mkdir()
    beds = {"North": [list(plants)]}
    (folder / GARDEN_FILE).write_text(garden_text("Benchmark", "UTC", beds=beds), "utf-8")
    with open_journal(folder) as journal:
        journal.put_everything(invented(photos, plants))
    file_photos(folder, "before")  # the day's copy is made before the first change


def file_photos(folder: Path, name: str) -> None:
    """File some new photos, one transaction each."""
    with open_journal(folder) as journal:
        for number in range(FILED):
            photo = PhotoEntry(f"{number}.jpg", f"{name}{number}".ljust(64, "0"), START)
            journal.file_reading(photo)


def read_leaves(folder: Path, plant: str | None) -> None:
    """Read a series as a trend starts."""
    with open_journal(folder) as journal:
        journal.leaf_severities(plant)


def read_photos(folder: Path, plant: str | None) -> None:
    """Read whole photos, all but their lesions."""
    with open_journal(folder) as journal:
        journal.photos(plant)


def run_command(folder: Path, *arguments: str) -> None:
    """Run a command in a process of its own."""
    command = [sys.executable, "-m", "scripts", *arguments, "--garden", str(folder)]
    subprocess.run(command, check=True, capture_output=True)


def _median(work: Callable[[], object]) -> str:
    return f"{statistics.median(own_seconds(work) for _ in range(REPEATS)):.2f} s"


def own_seconds(work: Callable[[], object]) -> float:
    """Time one call by the work of the cores, its processes included."""
    before = _used()
    work()
    return _used() - before


def _used() -> float:
    kinds = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    return sum(used.ru_utime + used.ru_stime for used in map(resource.getrusage, kinds))


def measured(folder: Path, photos: int) -> list[tuple[str, str, str]]:
    """Return rows of what, figure and aim."""
    make_record(folder, photos)
    plant, out = PLANTS[7], str(folder / "out")
    filing = seconds(partial(file_photos, folder, "after")) / FILED
    size_mb = (folder / "journal.sqlite").stat().st_size / 1e6
    return [
        ("the journal's file", f"{size_mb:.0f} MB", ""),
        ("filing a photo, forced to the disk", f"{1000 * filing:.0f} ms", ""),
        ("leaves of one plant", _median(partial(read_leaves, folder, plant)), ""),
        ("leaves of the whole garden", _median(partial(read_leaves, folder, None)), ""),
        ("photos of the whole garden", _median(partial(read_photos, folder, None)), ""),
        *_trends(folder, plant),
        (
            "`spotlamp export`",
            _median(partial(run_command, folder, "export", out)),
            "",
        ),
    ]


def _trends(folder: Path, plant: str) -> list[tuple[str, str, str]]:
    one, whole = (
        _median(partial(run_command, folder, *arguments))
        for arguments in (("trend", plant), ("trend",))
    )
    start = _median(partial(run_command, folder, "assign"))
    return [
        ("`spotlamp assign`: the start, and a short look", start, ""),
        ("`spotlamp trend PLANT`, start included", one, "under 1 s"),
        ("`spotlamp trend`, start included", whole, "under 3 s"),
    ]


def run(folder: Path) -> list[tuple[str, ...]]:
    """Measure every size; return rows of what, a figure for each size, and aim."""
    columns = [measured(folder / str(photos), photos) for photos in SIZES]
    return [
        (rows[0][0], *(figure for _, figure, _ in rows), rows[0][2])
        for rows in zip(*columns, strict=True)
    ]


def main() -> None:
    """Measure, print, and fill the document's table if asked."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else "")
    parser.add_argument("--write", action="store_true", help="fill the document's table")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        rows = run(Path(folder))
    head = ("what", *(f"{photos:,} photos" for photos in SIZES), "aim")
    table = as_table(head, rows)
    print(table)
    if args.write:
        fill("journal", f"{table}\n\n{NOTE}")


if __name__ == "__main__":
    main()
