"""Leaves for the tests of patterns, drawn by hand or painted; and a garden with its journal."""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
import pytest

from models.garden.settings import GARDEN_FILE, garden_text
from models.journal import Journal, open_journal
from models.journal.connect import engine_for, read_url
from models.journal.versions import upgrade
from models.pattern import MEASURES, measure_pattern
from vision.day.measure import measure_day_photo
from vision.day.tissue import leaf_lab
from vision.records import HALO, LEAF, LESION, DayMeasurement, DayReading, LeafReading, Photo

_TABLES = "SELECT name FROM main.sqlite_master WHERE type = 'table'"

SIDE = 200  # pixels of the square leaf: one leaf side
GREEN, BROWN, PALE = (60, 130, 50), (90, 55, 30), (200, 180, 150)


@dataclass
class DrawnLeaf:
    """A square leaf of 200 × 200 pixels on a grey ground, on which lesions are drawn."""

    pixels: np.ndarray
    classes: np.ndarray

    def disc(self, row, col, diameter, colour=BROWN, value=LESION) -> "DrawnLeaf":
        """Draw a disc; row and column count from the leaf's corner."""
        rows, cols = np.ogrid[: self.classes.shape[0], : self.classes.shape[1]]
        inside = (rows - row - 10) ** 2 + (cols - col - 10) ** 2 <= (diameter / 2) ** 2
        inside &= self.classes > 0
        self.classes[inside], self.pixels[inside] = value, colour
        return self

    def bar(self, row, col, height, width) -> "DrawnLeaf":
        """Draw an upright rectangle of dead tissue."""
        part = (slice(10 + row, 10 + row + height), slice(10 + col, 10 + col + width))
        self.classes[part], self.pixels[part] = LESION, BROWN
        return self

    def halo(self, row, col, diameter) -> "DrawnLeaf":
        """Draw a yellow disc; draw the lesion in it afterwards."""
        return self.disc(row, col, diameter, (190, 180, 60), HALO)

    def area(self, value) -> int:
        """Count the pixels of a class."""
        return int(np.count_nonzero(self.classes == value))

    def measured(self) -> dict[str, float]:
        """Return all measurements by name."""
        healthy = leaf_lab(np.full((9, 9, 3), GREEN, np.uint8))[4, 4]
        leaf = LeafReading(
            1, 109.5, 109.5, SIDE**2, (), 0, 0, 0, 0, 0, tuple(float(v) for v in healthy)
        )
        numbers = (self.classes > 0).astype(np.uint8)
        measurement = DayMeasurement(DayReading((leaf,)), self.classes, numbers)
        values = measure_pattern(self.pixels, measurement, 1)
        names = [measure.name for measure in MEASURES]
        return dict(zip(names, values.tolist(), strict=True))


@pytest.fixture
def drawn_leaf() -> Callable[[], DrawnLeaf]:
    """Return a maker of healthy drawn leaves."""

    def draw() -> DrawnLeaf:
        pixels = np.full((SIDE + 20, SIDE + 20, 3), 200, np.uint8)
        classes = np.zeros((SIDE + 20, SIDE + 20), np.uint8)
        inner = slice(10, 10 + SIDE)
        pixels[inner, inner], classes[inner, inner] = GREEN, LEAF
        return DrawnLeaf(pixels, classes)

    return draw


@pytest.fixture(scope="session")
def measure_pixels() -> Callable[[np.ndarray], np.ndarray | None]:
    """Measure the pattern of the largest leaf in some pixels, by the program's own way."""

    def measure(pixels):
        pixels = np.ascontiguousarray(pixels)
        rows, columns = pixels.shape[:2]
        when = datetime(2025, 1, 1)
        photo = Photo(Path("x"), "x", "0" * 64, when, "file", pixels, columns, rows)
        threads = cv2.getNumThreads()
        cv2.setNumThreads(1)
        try:
            measurement = measure_day_photo(photo)
            if not measurement.reading.leaves:
                return None
            return measure_pattern(photo.pixels, measurement, 1)
        finally:
            cv2.setNumThreads(threads)

    return measure


@pytest.fixture
def garden_folder(tmp_path) -> Path:
    """Make the folder of a garden with two plants."""
    folder = tmp_path / "garden"
    folder.mkdir()
    text = garden_text("Test garden", "Europe/Berlin", beds={"North": [["A1", "A2"]]})
    (folder / GARDEN_FILE).write_text(text, "utf-8")
    return folder


@pytest.fixture
def journal(garden_folder, home) -> Iterator[Journal]:
    """Open the journal of a garden, which is new, in a file and on a server."""
    if home is not None:
        settings = garden_folder / GARDEN_FILE
        settings.write_text(settings.read_text("utf-8").replace("journal.sqlite", home()), "utf-8")
    with open_journal(garden_folder) as opened:
        yield opened


@pytest.fixture
def as_of_release() -> Callable[[Path, str], None]:
    """Rewrite a journal as an earlier release would have written it, by its version's number."""

    def rewrite(file: Path, version: str) -> None:
        old = file.with_name("old.sqlite")
        engine = engine_for(read_url(f"sqlite:///{old}"))
        with engine.execution_options(writes=True).begin() as connection:
            upgrade(connection, version)
        with closing(sqlite3.connect(old)) as raw, raw:
            raw.execute("ATTACH ? AS new", (str(file),))
            for (name,) in raw.execute(_TABLES).fetchall():
                columns = [row[1] for row in raw.execute(f"PRAGMA main.table_info({name})")]
                names = ", ".join(f'"{column}"' for column in columns)
                if name != "alembic_version":
                    raw.execute(f"INSERT INTO main.{name} ({names}) SELECT {names} FROM new.{name}")
        old.replace(file)

    return rewrite
