"""Measure how long the garden page takes with 500, 5,000 and 20,000 photos, and print tables.

    python -m scripts.workshop figures page [--write-readme]

The record is that of `journal`, 120 days and three leaves a photo, with a log of sprays, rain and
picked caterpillars: once of 40 plants whatever the number of photos, and once of one plant for 125
photos. What is counted is the work of the cores, the least of several times, for other programs
disturb that too. Costs about five minutes.
"""

import argparse
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from functools import cache, partial
from itertools import count
from pathlib import Path

from starlette.testclient import TestClient

from models.entries import LeafEntry, LogEntry, PhotoEntry
from models.journal import open_journal
from scripts.page.app import garden_app
from scripts.page.guard import SCHEME
from scripts.page.standing import Desk
from scripts.workshop.figures.journal import DAYS, START, make_record, own_seconds
from scripts.workshop.figures.write import as_table, fill

__all__ = ["main"]

SIZES = (500, 5_000, 20_000)
FIXED_PLANTS, PHOTOS_A_PLANT = 40, 125
VIEWS = (("beds", "/beds"), ("today", "/"), ("a plant", "/plant/{}"))
REPEATS = 3
AIM = "under 0.5 s"
NOTE = (
    "Seconds of one core's work until a view of the garden page is whole, without its pictures. "
    "The very first view of a garden reads all photos of its season, once; what their days say is "
    "kept, for the next start too. All of this is counted, though the page gathers the garden when "
    "it starts, and after photos were filed: who comes later waits for none of it. `python -m "
    "scripts.workshop figures page` measures this again."
)
_HOST = "127.0.0.1:8440"
_NOW = START + timedelta(days=DAYS - 1, hours=11)
_numbers = count(1)


def measured(folder: Path, photos: int, plants: Sequence[str]) -> Iterator[tuple[str, float]]:
    """Yield what was measured, and its seconds."""
    make_record(folder, photos, plants)
    _log_a_season(folder, plants)
    yield "beds, the very first view", _of_a_start(folder, "/beds")
    starts = (_of_a_start(folder, "/beds") for _ in range(REPEATS))
    yield "beds, first after a start", min(starts)
    with _browser(folder) as browser:
        for name, path in VIEWS:
            look = partial(_look, browser, path.format(plants[-1]))
            look()  # what is loaded once counts for no view
            yield f"{name}, after a new photo", min(_after(_file_photo, folder, plants[-1], look))
            yield f"{name}, then", min(own_seconds(look) for _ in range(REPEATS))
        look = partial(_look, browser, "/beds")
        yield "beds, after a new entry of the log", min(_after(_log_rain, folder, "", look))


@contextmanager
def _browser(folder: Path) -> Iterator[TestClient]:
    """Give a browser of a page that does nothing ahead: what a view costs is counted with it."""
    desk = Desk(folder, f"{_NOW:%Y-%m-%d %H:%M}", keeps_days=True)
    page = garden_app(desk, hosts={_HOST}, port=8440)
    yield TestClient(page, base_url=f"{SCHEME}://{_HOST}", client=("127.0.0.1", 1))
    desk.close()


def _of_a_start(folder: Path, path: str) -> float:
    with _browser(folder) as browser:
        browser.get("/mix")  # the program's own start
        return own_seconds(partial(_look, browser, path))


def _after(
    change: Callable[[Path, str], None], folder: Path, plant: str, look: Callable[[], None]
) -> Iterator[float]:
    for _ in range(REPEATS):
        change(folder, plant)
        yield own_seconds(look)


def _look(browser: TestClient, path: str) -> None:
    answer = browser.get(path)
    if answer.status_code != 200:
        raise ValueError(f"{path} gave {answer.status_code}")


def _file_photo(folder: Path, plant: str) -> None:
    number = next(_numbers)
    leaf = LeafEntry(1, 1e6, 3, 4.0, 4.0, 8.0, 6.0, 10.0, "spot")
    photo = PhotoEntry(
        photo=f"{plant}/new{number}.jpg",
        sha256=f"{number:x}".ljust(64, "f"),
        taken_at=_NOW - timedelta(hours=1, seconds=-number),
        plant=plant,
        plant_from="folder",
        version="1-abc",
        leaves=(leaf,),
        lesion_count=3,
        severity_pct=8.0,
        severity_low_pct=6.0,
        severity_high_pct=10.0,
        pattern="spot",
    )
    with open_journal(folder) as journal:
        journal.file_reading(photo)


def _log_rain(folder: Path, _: str) -> None:
    with open_journal(folder) as journal:
        journal.log(LogEntry(0, "rain", _NOW - timedelta(hours=2), amount=2.0))


def _log_a_season(folder: Path, plants: Sequence[str]) -> None:
    """Log what a busy grower would: a spray and rain every week, picking, a spot-test."""
    morning = START - timedelta(hours=2)
    entries = [(week * 7, LogEntry(0, "spray", START, (), "soda")) for week in range(DAYS // 7)]
    entries += [(3 + week * 7, LogEntry(0, "rain", START, amount=6.0)) for week in range(DAYS // 7)]
    entries += [
        (DAYS - n, LogEntry(0, "hand_pick", START, (p,))) for n, p in enumerate(plants[:9], 9)
    ]
    entries += [(DAYS - 6, LogEntry(0, "spray", START, (plants[0],), "peroxide"))]
    with open_journal(folder) as journal:
        for day, entry in entries:
            journal.log(replace(entry, at=morning + timedelta(days=day)))


@cache
def _column(photos: int, plants: int) -> dict[str, float]:
    names = [f"P{number:03}" for number in range(plants)]
    with tempfile.TemporaryDirectory() as folder:
        return dict(measured(Path(folder) / "garden", photos, names))


def _table(plants_of: Callable[[int], int]) -> str:
    columns = [_column(photos, plants_of(photos)) for photos in SIZES]
    rows = [
        (name, *(f"{column[name]:.2f} s" for column in columns), "" if "very" in name else AIM)
        for name in columns[0]
    ]
    heads = (f"{photos:,} photos, {plants_of(photos)} plants" for photos in SIZES)
    return as_table(("view", *heads, "aim"), rows)


def main() -> None:
    """Measure, print, and fill the document's tables if asked."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else "")
    parser.add_argument("--write-readme", action="store_true", help="fill the document's tables")
    args = parser.parse_args()
    tables = [_table(lambda _: FIXED_PLANTS), _table(lambda photos: photos // PHOTOS_A_PLANT)]
    text = "\n\n".join([*tables, NOTE])
    print(text)
    if args.write_readme:
        fill("page", text)


if __name__ == "__main__":
    main()
