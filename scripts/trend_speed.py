"""How long ``spotlamp trend`` takes on a large journal, and how that grows; a table for the README.

    python -m scripts.trend_speed [--write-readme]

Two invented gardens of a hundred plants, with 2,000 and with 20,000 photos of one leaf each, have
journals that are thrown away. The trend of one plant and that of the whole garden are told, five
times each. What counts is processor time, which other work on the machine changes little. Costs
half a minute.
"""

import argparse
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np
from sqlalchemy import Table

from models.entries import LeafEntry, PhotoEntry
from models.garden_file import GARDEN_FILE, garden_text
from models.journal import open_journal
from models.journal.whole import TABLES
from scripts.readme_figures import as_table, fill
from scripts.trend import read_trend
from scripts.trend_command import told

__all__ = ["cpu_seconds", "large_garden"]

SIZES = (2_000, 20_000)
PLANTS = 100
VISITS = 20
REPEATS = 5
_COPIED = ("photos", "readings", "leaves")
START = datetime(2025, 4, 1, 8, tzinfo=UTC)
AIMS_S = {"one plant": 1.0, "whole garden": 3.0}


def large_garden(folder: Path, photos: int, plants: int = PLANTS, visits: int = VISITS) -> None:
    """Make a garden with photos of one leaf each, visits a week apart.

    One photo is filed as always; the others are copies of its rows with other numbers, put into the
    journal at once, because filing them one by one would take a quarter of an hour.
    """
    names = [f"P{number}" for number in range(plants)]
    text = garden_text("Large garden", "UTC", beds={"Field": [names]})
    (folder / GARDEN_FILE).write_text(text, "utf-8")
    rows = _rows_of_one_photo()

    def many(table: Table) -> Iterator[dict[str, Any]]:
        if table.name not in _COPIED:
            return iter(rows[table.name])
        return _copies(rows[table.name][0], table.name, photos, visits, names)

    with open_journal(folder) as journal:
        journal.put_everything(many)


def _rows_of_one_photo() -> dict[str, list[dict[str, Any]]]:
    leaf = LeafEntry(1, 1e6, 5, 2.0, 2.0, 4.0, 3.0, 5.0)
    photo = PhotoEntry("a.jpg", "0" * 64, START, plant="P0", version="1", leaves=(leaf,))
    with tempfile.TemporaryDirectory() as place:
        (Path(place) / GARDEN_FILE).write_text(garden_text("One", "UTC"), "utf-8")
        with open_journal(Path(place)) as journal:
            journal.file_reading(photo)
            with journal.everything() as rows_of:
                return {table.name: [dict(row) for row in rows_of(table)] for table in TABLES}


def _copies(
    row: dict[str, Any], table: str, photos: int, visits: int, plants: list[str]
) -> Iterator[dict[str, Any]]:
    rng = np.random.default_rng(1)
    for number in range(photos):
        week, plant = number * visits // photos, number % len(plants)
        if table == "photos":
            yield row | _photo(number, plants[plant], week)
        elif table == "readings":
            yield row | {"id": number + 1, "photo_id": number + 1}
        else:
            height = -4 + 0.0025 * (plant % 8) * 7 * week + rng.normal(0, 0.7)
            yield row | _leaf(number, 100 / (1 + float(np.exp(-height))))


def _photo(number: int, plant: str, week: int) -> dict[str, Any]:
    return {
        "id": number + 1,
        "sha256": f"{number:064x}",
        "photo": f"{plant}/{number}.jpg",
        "plant": plant,
        "taken_at": START.replace(tzinfo=None) + timedelta(weeks=week),
    }


def _leaf(number: int, severity: float) -> dict[str, Any]:
    return {
        "reading_id": number + 1,
        "severity_pct": severity,
        "severity_low_pct": 0.8 * severity,
        "severity_high_pct": min(100.0, 1.2 * severity),
    }


def cpu_seconds(folder: Path, plants: tuple[str, ...]) -> float:
    """Return the processor time of one trend, from the journal to the text."""
    return _timed(lambda: told(read_trend(folder, plants)))


def _timed(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


def _rows(found: dict[tuple[int, str], float]) -> list[tuple[str, ...]]:
    few, many = SIZES
    return [
        (
            what,
            f"{found[few, what]:.2f} s",
            f"{found[many, what]:.2f} s",
            f"{found[many, what] / found[few, what]:.1f} times",
            f"under {aim:g} s",
        )
        for what, aim in AIMS_S.items()
    ]


def main() -> None:
    """Measure, print the table, and put it into the README if asked to."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=_FORMAT)
    parser.add_argument("--write-readme", action="store_true")
    arguments = parser.parse_args()
    found = {}
    for photos in SIZES:
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place)
            large_garden(folder, photos)
            cpu_seconds(folder, ("P1",))  # the first one imports the libraries
            for what, plants in (("one plant", ("P1",)), ("whole garden", ())):
                times = [cpu_seconds(folder, plants) for _ in range(REPEATS)]
                found[photos, what] = median(times)
    head = (
        "`spotlamp trend` of",
        *(f"{photos:,} photos filed" for photos in SIZES),
        "grows",
        "aim",
    )
    table = as_table(head, _rows(found)) + _NOTE
    print(table)
    if arguments.write_readme:
        fill("trend-speed", table)


_FORMAT = argparse.RawTextHelpFormatter
_NOTE = f"""

Processor time from the journal to the text, {PLANTS} plants, {VISITS} visits, without starting
Python. `python -m scripts.trend_speed` measures this again."""


if __name__ == "__main__":
    main()
