"""Rows that were damaged come back from backups as they were; what none holds is left out whole."""

import shutil
import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from models.corrections import Mark, Redrawn
from models.entries import Find, LeafEntry, LogEntry, PhotoEntry
from models.garden.beds import Plant
from models.garden.settings import GARDEN_FILE, garden_text
from models.journal import Wish, open_journal
from models.journal.backup import backups, daily_backup
from models.journal.examining import examine
from models.journal.mending import mend
from models.journal.soundness import sum_rows
from models.journal.sums import own_columns
from models.journal.tables import CORRECTIONS, METADATA
from vision.records import Lesion

NOON = datetime(2025, 7, 1, 12, 0, 0, 250_000, tzinfo=UTC)
LEAF = LeafEntry(1, 1e6 / 3, 2, 1.1, 2.2, 3.3, 2.5, 4.1, "spot", 0.7, None, 0.2, "", ("cut_off",))
FIRST = PhotoEntry(
    "A1/ä.jpg", "5e" * 32, NOON, plant="A1", plant_from="folder", version="7", leaves=(LEAF,),
    severity_pct=3, lesion_count=2, pattern="spot", width_px=4000,
)  # fmt: skip
SECOND = replace(FIRST, photo="A2/y.jpg", sha256="6f" * 32, plant="A2")
LESION = Lesion(1, 1.1, 2.2, 3.3, 4.4, 5.5, 0.6, 1.7, 0.8, -9.9, 0.1, 7.7, True)
FIND = Find("dropping", 1, 5.5, 6.6, 3.3, 2.2, 0.9)
OUTLINE = (Mark(0, 0, 9), Mark(0, 9), Mark(9, 9))

BY_COLUMN = {"FLOAT": 77.5, "INTEGER": 77, "BOOLEAN": 1, "BLOB": b"\xff" * 98}


@pytest.fixture(scope="module")
def filled(tmp_path_factory) -> Path:
    """Make a journal with two rows at least in every table, and no backup."""
    folder = tmp_path_factory.mktemp("filled")
    (folder / GARDEN_FILE).write_text(garden_text("Test garden", "UTC"), "utf-8")
    with open_journal(folder) as journal:
        for photo in (FIRST, SECOND):
            journal.file_reading(photo, [LESION], [FIND])
            journal.log(LogEntry(0, "note", NOON, ("A1", "A2"), text="dew"))
        for photo in (FIRST, SECOND):
            inside = Redrawn(0, "7", LEAF, (replace(LESION, at_margin=False),) * 2)
            journal.put_right(photo.sha256, Wish("outline", marks=OUTLINE, redrawn=inside))
            journal.correct_pattern(photo.sha256, "blight", "late")
        journal.record_plants([Plant("A1", "North"), Plant("A2", "North", 1, 2, 7)])
    return folder / "journal.sqlite"


@pytest.fixture
def file(filled, garden_folder) -> Path:
    return Path(shutil.copy(filled, garden_folder))


def run_sql(file: Path, statement: str, *values: object) -> list[tuple]:
    with closing(sqlite3.connect(file)) as raw, raw:
        return raw.execute(statement, values).fetchall()


def content(file: Path) -> dict[str, list[tuple]]:
    names = {
        name: ", ".join(["rowid", *(f'"{column.name}"' for column in own_columns(table))])
        for name, table in METADATA.tables.items()
    }
    return {
        name: run_sql(file, f"SELECT {names[name]} FROM {name} ORDER BY rowid") for name in names
    }


def damage(file: Path, name: str, number: int = 1) -> None:
    """Change the last value of a row."""
    column = own_columns(METADATA.tables[name])[-1]
    other = BY_COLUMN.get(str(column.type), "2099-01-01 00:00:00.000000")
    run_sql(file, f'UPDATE {name} SET "{column.name}" = ? WHERE rowid = ?', other, number)
    assert examine(file).rows == {name: [number]}


@pytest.mark.parametrize("name", METADATA.tables)
def test_a_row_of_any_table_comes_back_as_a_backup_holds_it(file, name):
    before = content(file)
    daily_backup(file, date(2025, 7, 1))
    damage(file, name)
    mended = mend(file, NOON)
    assert content(file) == before
    assert examine(file).state == "sound"
    assert (len(mended.taken_back), mended.left_out) == (1, ())
    assert examine(mended.aside).rows == {name: [1]}  # the journal as it was


def test_a_row_is_taken_from_the_newest_backup_in_which_it_is_sound(file):
    before = content(file)
    for day in (1, 2, 3):
        daily_backup(file, date(2025, 7, day))
    newest, middle, _ = backups(file)
    damage(file, "log", 2)
    shutil.copy(file, newest)
    run_sql(middle, "DELETE FROM log WHERE number = 2")
    assert mend(file).taken_back == ("entry 2 of the log",)
    assert content(file) == before


LOST = {
    "plants": {"plants": 1},
    "log": {"log": 1, "log_plants": 2},
    "log_plants": {"log": 1, "log_plants": 2},
    "readings": {"readings": 1, "leaves": 1, "lesions": 1, "finds": 1},
    "leaves": {"readings": 1, "leaves": 1, "lesions": 1, "finds": 1},
    "lesions": {"readings": 1, "leaves": 1, "lesions": 1, "finds": 1},
    "finds": {"readings": 1, "leaves": 1, "lesions": 1, "finds": 1},
    "corrections": {"corrections": 1},
    "fixes": {"fixes": 1, "marks": 3, "redrawn": 1, "redrawn_lesions": 2},
    "marks": {"fixes": 1, "marks": 3, "redrawn": 1, "redrawn_lesions": 2},
    "redrawn": {"fixes": 1, "marks": 3, "redrawn": 1, "redrawn_lesions": 2},
    "redrawn_lesions": {"fixes": 1, "marks": 3, "redrawn": 1, "redrawn_lesions": 2},
}


@pytest.mark.parametrize("name", LOST)
def test_without_a_backup_a_row_is_left_out_with_its_whole_and_nothing_else(file, name):
    before = content(file)
    damage(file, name)
    mended = mend(file)
    after = content(file)
    lost = {one: len(before[one]) - len(after[one]) for one in before}
    assert {one: count for one, count in lost.items() if count} == LOST[name]
    assert all(set(after[one]) <= set(before[one]) for one in before)
    assert examine(file).state == "sound"
    assert (mended.taken_back, len(mended.left_out)) == ((), 1)


def test_a_photo_that_is_left_out_takes_along_what_is_known_of_it_alone(file, garden_folder):
    damage(file, "photos")
    mend(file)
    assert examine(file).state == "sound"
    with open_journal(garden_folder) as journal:
        assert [photo.photo for photo in journal.photos()] == [SECOND.photo]
        assert {fix.photo for fix in journal.fixes()} == {SECOND.photo}
        assert len(journal.log_entries()) == 2
    assert {row[1] for row in content(file)["readings"]} == {2}


def test_where_the_newest_reading_is_lost_the_one_before_holds(file, garden_folder):
    with open_journal(garden_folder) as journal:
        journal.file_reading(replace(FIRST, version="8"), [LESION], [FIND])
    shutil.rmtree(garden_folder / "backups")
    run_sql(file, "UPDATE readings SET severity_pct = 93.0 WHERE version = '8'")
    mend(file)
    assert examine(file).state == "sound"
    with open_journal(garden_folder) as journal:
        assert [photo.version for photo in journal.photos()] == ["7", "7"]


def test_a_row_whose_place_another_has_taken_is_left_out(file, garden_folder):
    daily_backup(file, date(2025, 7, 1))
    damage(file, "photos")
    run_sql(file, "UPDATE photos SET sha256 = ? WHERE id = 1", "00" * 32)
    with open_journal(garden_folder) as journal:
        journal.file_reading(FIRST)
    mended = mend(file)
    assert (mended.taken_back, mended.left_out) == ((), ("the photo “A1/ä.jpg”",))
    assert examine(file).state == "sound"


def test_what_belongs_to_nothing_is_left_out(file):
    before = content(file)
    run_sql(file, "DELETE FROM log WHERE number = 1")
    assert examine(file).state == "rows"
    left_out = mend(file).left_out
    assert left_out == tuple(
        f"row {number} of log_plants, which belongs to nothing" for number in (1, 2)
    )
    assert content(file)["log_plants"] == before["log_plants"][2:]


def stop(*arguments: object) -> None:
    raise KeyboardInterrupt


@pytest.mark.parametrize("work", ["_put", "_take_out", "_settle_current"])
def test_a_mending_that_is_broken_off_has_changed_nothing(file, monkeypatch, work):
    daily_backup(file, date(2025, 7, 1))
    damage(file, "log")
    run_sql(file, "DELETE FROM photos WHERE id = 2")
    before = content(file)
    monkeypatch.setattr(f"models.journal.mending.{work}", stop)
    with pytest.raises(KeyboardInterrupt):
        mend(file, NOON)
    assert content(file) == before


def test_a_copy_from_before_a_column_was_added_gives_its_rows_too(file, as_of_release):
    """A pattern that was told to an earlier release has no fix."""
    names = "number, photo_id, pattern, blight_kind, session, at"
    values = 3, 1, "spot", "", "walk", "2025-07-01 12:00:00.000000"
    with closing(sqlite3.connect(file)) as raw, raw:
        raw.execute(f"INSERT INTO corrections ({names}) VALUES (?, ?, ?, ?, ?, ?)", values)
        sum_rows(raw, CORRECTIONS, 3)
    before = content(file)
    daily_backup(file, date(2025, 7, 1))
    as_of_release(backups(file)[0], "0003")
    run_sql(file, "UPDATE corrections SET session = 'talk' WHERE number = 3")
    mend(file)
    assert content(file) == before
    assert examine(file).state == "sound"
