"""Measure how long the garden page takes with 500, 5,000 and 20,000 photos, and print a table.

    python -m scripts.workshop figures page [--write-readme]

The record is that of `journal`: 40 plants, 120 days, three leaves a photo. The first view after a
change gathers the season anew, which takes as long as there are photos; each one after it reads
what was gathered. What is counted is the work of the cores. Costs about two minutes.
"""

import argparse
import statistics
import tempfile
from collections.abc import Callable
from datetime import timedelta
from functools import partial
from pathlib import Path

from starlette.testclient import TestClient

from scripts.page.app import garden_app
from scripts.page.guard import SCHEME
from scripts.page.standing import Desk
from scripts.workshop.figures.journal import DAYS, PLANTS, START, make_record, own_seconds
from scripts.workshop.figures.write import as_table, fill

__all__ = ["main"]

SIZES = (500, 5_000, 20_000)
VIEWS = (("beds", "/beds"), ("today", "/"), ("a plant", f"/plant/{PLANTS[7]}"))
REPEATS = 5
NOTE = (
    "Seconds of one core's work until a view of the garden page is whole, without its pictures. "
    "The first one after a change gathers the season anew. `python -m scripts.workshop figures "
    "page` measures this again."
)
_HOST = "127.0.0.1:8440"


def measured(folder: Path, photos: int) -> list[tuple[str, str, str]]:
    """Return rows of what, figure and aim."""
    make_record(folder, photos)
    desk = Desk(folder, f"{START + timedelta(days=DAYS - 1):%Y-%m-%d} 20:00", keeps_days=True)
    page = garden_app(desk, hosts={_HOST}, port=8440)
    rows = []
    with TestClient(page, base_url=f"{SCHEME}://{_HOST}", client=("127.0.0.1", 1)) as browser:
        browser.get("/log")  # what is loaded once counts for no view
        for name, path in VIEWS:
            look = partial(_look, browser, path)
            desk.forget()
            rows.append((f"{name}, first", _words([look]), ""))
            rows.append((f"{name}, then", _words([look] * REPEATS), "under 0.5 s"))
    return rows


def _look(browser: TestClient, path: str) -> None:
    answer = browser.get(path)
    if answer.status_code != 200:
        raise ValueError(f"{path} gave {answer.status_code}")


def _words(looks: list[Callable[[], None]]) -> str:
    return f"{statistics.median(own_seconds(look) for look in looks):.2f} s"


def main() -> None:
    """Measure, print, and fill the README's table if asked."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else "")
    parser.add_argument("--write-readme", action="store_true", help="fill the README's table")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        columns = [measured(Path(folder) / str(photos), photos) for photos in SIZES]
    rows = [
        (cells[0][0], *(figure for _, figure, _ in cells), cells[0][2])
        for cells in zip(*columns, strict=True)
    ]
    table = as_table(("view", *(f"{photos:,} photos" for photos in SIZES), "aim"), rows)
    print(table)
    if args.write_readme:
        fill("page", f"{table}\n\n{NOTE}")


if __name__ == "__main__":
    main()
