"""Bytes that changed on the disk are noticed; what cannot be read is named, the rest goes on."""

import shutil
import sqlite3
import struct
from collections.abc import Iterator
from contextlib import closing, suppress
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zlib import crc32

import pytest
from sqlalchemy import insert, update
from sqlalchemy.exc import StatementError

from models.corrections import Mark, Redrawn
from models.entries import Find, LeafEntry, LogEntry, PhotoEntry
from models.garden.beds import Plant
from models.garden.settings import GARDEN_FILE, garden_text
from models.journal import DamagedError, Wish, open_journal
from models.journal.examining import examine
from models.journal.naming import name_of
from models.journal.soundness import changed_rows
from models.journal.sums import CHECKSUM, own_columns, summed_columns, values_sum
from models.journal.tables import CORRECTIONS, LOG, METADATA, PHOTOS
from models.journal.whole import TABLES
from models.remarks import remarks_to
from vision.records import Lesion

NOON = datetime(2025, 7, 1, 12, 0, 0, 250_000, tzinfo=UTC)
LEAF = LeafEntry(1, 1e6 / 3, 2, 1.1, 2.2, 3.3, 2.5, 4.1, "spot", 0.7, None, -0.0, "", ("cut_off",))
PHOTO = PhotoEntry(
    "A1/ä.jpg", "5e" * 32, NOON, plant="A1", plant_from="folder", version="7", leaves=(LEAF,),
    severity_pct=3, lesion_count=2, pattern="spot", width_px=4000,
)  # fmt: skip
OTHER = replace(PHOTO, photo="A2/y.jpg", sha256="6f" * 32, plant="A2")
LESIONS = [Lesion(1, 1.1, 2.2, 3.3, 4.4, 5.5, 0.6, 1.7, 0.8, -9.9, 0.1, 7.7, True)]
FINDS = [Find("dropping", 1, 5.5, 6.6, 3.3, 2.2, 0.9)]
OUTLINE = (Mark(0, 0, 9), Mark(0, 9), Mark(9, 9))
NOTE = LogEntry(0, "note", NOON, ("A1", "A2"), text="dew")


def fill(journal) -> None:
    """File two photos, log twice, and put something into every table."""
    for photo in (PHOTO, OTHER):
        journal.file_reading(photo, LESIONS, FINDS)
        journal.log(NOTE)
    inside = Redrawn(0, "7", LEAF, tuple(LESIONS))
    journal.put_right(OTHER.sha256, Wish("outline", marks=OUTLINE, redrawn=inside))
    journal.correct_pattern(PHOTO.sha256, "blight", "late")
    journal.record_plants([Plant("A1", "North"), Plant("A2", "North", 1, 2, 7)])
    journal.fix_taken(PHOTO.photo, NOON + timedelta(days=1))
    journal.fix_taken(PHOTO.photo, NOON)


def change_all(journal) -> None:
    """Do everything that changes rows."""
    journal.file_reading(replace(PHOTO, version="8"), LESIONS)
    journal.file_reading(replace(OTHER, plant="A1", plant_from="tag"))
    journal.assign(PHOTO.photo, "A2")
    journal.undo_fix(PHOTO.photo)
    journal.fix_taken(PHOTO.photo, NOON)
    journal.remove(OTHER.photo)
    journal.correct(1, NOTE)
    journal.withdraw(2)
    journal.record_plants([Plant("A1", "South", 3, 1)])


def all_changed(file: Path) -> dict[str, list[int]]:
    with closing(sqlite3.connect(file)) as raw:
        found = {name: changed_rows(raw, table) for name, table in METADATA.tables.items()}
    return {name: numbers for name, numbers in found.items() if numbers}


def run_sql(file: Path, statement: str, *values: object) -> list[tuple]:
    with closing(sqlite3.connect(file)) as raw, raw:
        return raw.execute(statement, values).fetchall()


@pytest.fixture
def remarks() -> Iterator[list[str]]:
    """Hear what is remarked on."""
    heard: list[str] = []
    with remarks_to(heard.append):
        yield heard


@pytest.fixture(scope="module")
def filled(tmp_path_factory) -> Path:
    """Fill a journal once; each test gets a copy, with today's backup."""
    folder = tmp_path_factory.mktemp("filled")
    (folder / GARDEN_FILE).write_text(garden_text("Test garden", "Europe/Berlin"), "utf-8")
    with open_journal(folder) as journal:
        fill(journal)
    return folder


@pytest.fixture
def file(filled, garden_folder) -> Path:
    shutil.copytree(filled / "backups", garden_folder / "backups")
    return Path(shutil.copy(filled / "journal.sqlite", garden_folder))


def test_a_checksum_is_of_bytes_that_do_not_change():
    """Each value after a letter for its kind, little-endian; texts after their length."""
    written = struct.pack("<ci ci cd c ci2s", b"(", 4, b"i", 1, b"g", 2.5, b"N", b"s", 2, b"ab")
    assert values_sum((1, 2.5, None, b"ab")) == f"{crc32(written):08x}" == "caee5ddf"
    assert values_sum((1, None, b"")) == values_sum((1,)) != values_sum((None, 1))


def test_each_row_carries_its_checksum_also_when_it_was_changed(file, garden_folder):
    assert all(CHECKSUM in table.columns for table in METADATA.tables.values())
    counts = [run_sql(file, f"SELECT count(*) FROM {name}")[0][0] for name in METADATA.tables]
    assert min(counts) > 0
    assert all_changed(file) == {}
    before = run_sql(file, f"SELECT {CHECKSUM} FROM photos")
    with open_journal(garden_folder) as journal:
        change_all(journal)
    assert all_changed(file) == {}
    assert run_sql(file, f"SELECT {CHECKSUM} FROM photos") != before


def test_a_change_that_forgets_the_checksum_is_an_error_of_the_program(journal):
    fill(journal)
    with journal.writing() as connection, pytest.raises(StatementError, match="change_rows"):
        connection.execute(update(PHOTOS).values(plant="A2"))


@pytest.mark.parametrize("table", METADATA.tables.values(), ids=str)
def test_a_change_in_any_column_is_noticed(file, table):
    with closing(sqlite3.connect(file)) as raw:
        for column in [column.name for column in summed_columns(table)]:
            query = f'SELECT "{column}" FROM {table.name} WHERE rowid = 1'
            (value,) = raw.execute(query).fetchone()
            change = f'UPDATE {table.name} SET "{column}" = ? WHERE rowid = 1'
            raw.execute(change, (other_than(value),))
            assert changed_rows(raw, table) == [1], column
            raw.rollback()
        assert changed_rows(raw, table) == []


def other_than(value):
    if isinstance(value, bytes):
        return bytes([value[0] ^ 1]) + value[1:]
    return f"{value}x" if isinstance(value, str) else (value or 0) + 70


NOT_TEXT = "CAST(x'ff2d30372d3031' AS TEXT)"


@pytest.mark.parametrize(
    ("damage", "photos", "entries", "named"),
    [
        (f"UPDATE photos SET taken_at = {NOT_TEXT} WHERE id = 1", 1, 2, "the photo “A1/ä.jpg”"),
        ("UPDATE photos SET filed_at = '2025-99-01' WHERE id = 1", 1, 2, "the photo “A1/ä.jpg”"),
        (f"UPDATE photos SET photo = {NOT_TEXT} WHERE id = 1", 1, 2, "the photo “\ufffd-07-01”"),
        ("UPDATE readings SET severity_pct = 93.0 WHERE id = 2", 1, 2, "a reading of “A2/y.jpg”"),
        ("UPDATE leaves SET halo_pct = 'x' WHERE reading_id = 1", 1, 2, "a leaf of “A1/ä.jpg”"),
        ("UPDATE marks SET row_px = 77.0 WHERE rowid = 2", 2, 2, "was put right of “A2/y.jpg”"),
        (f"UPDATE log SET at = {NOT_TEXT} WHERE number = 1", 2, 1, "entry 1 of the log"),
        ("UPDATE log_plants SET plant = 'A9' WHERE rowid = 1", 2, 1, "a plant of entry 1"),
        ("UPDATE log SET checksum = '' WHERE number = 2", 2, 1, "entry 2 of the log"),
    ],
)
def test_what_cannot_be_read_is_named_and_set_aside(
    file, garden_folder, remarks, damage, photos, entries, named
):
    run_sql(file, damage)
    with open_journal(garden_folder) as journal:
        assert len(journal.photos()) == len(journal.leaf_severities()) == photos
        assert journal.doubtful_photos() == ()
        assert len(journal.log_entries()) == entries
        change_all_that_is_there(journal)
    assert named in remarks[0]
    assert "spotlamp restore" in remarks[0]
    assert len(remarks) == 1  # once, however often it is met


def test_of_many_damaged_rows_the_first_five_are_named_and_the_others_counted(
    garden_folder, remarks
):
    with open_journal(garden_folder) as journal, journal.writing() as connection:
        note = {"kind": "note", "at": NOON, "product": "", "withdrawn": False, "text": ""}
        connection.execute(LOG.insert(), [note] * 7)
    for damaged, named in ((5, "entry 5 of the log."), (7, "entry 5 of the log and 2 more.")):
        run_sql(
            garden_folder / "journal.sqlite", "UPDATE log SET text = 'x' WHERE number <= ?", damaged
        )
        with open_journal(garden_folder) as journal:
            assert len(journal.log_entries()) == 7 - damaged
        others = ", ".join(f"entry {number} of the log" for number in range(1, 5))
        assert f": {others}, {named}" in remarks[-1]


@pytest.mark.parametrize(
    ("name", "called"),
    [
        ("finds", "a dropping or caterpillar of “A1/ä.jpg”"),
        ("plants", "the plant “A1”"),
        ("corrections", "your word on “A1/ä.jpg”"),
        ("fixes", "what was put right of “A2/y.jpg”"),
        ("redrawn", "what was put right of “A2/y.jpg”"),
        ("redrawn_lesions", "what was put right of “A2/y.jpg”"),
        ("photos", "the photo “A1/ä.jpg”"),
    ],
)
def test_a_row_is_called_by_the_photo_or_plant_it_is_about(file, name, called):
    with closing(sqlite3.connect(file)) as raw:
        assert name_of(raw, METADATA.tables[name], 1) == called
        assert name_of(raw, METADATA.tables["photos"], 99) == "the photo “number 99”"


def change_all_that_is_there(journal) -> None:
    """Go on working beside what is damaged."""
    journal.file_reading(replace(PHOTO, version="8"), LESIONS)
    journal.file_reading(replace(OTHER, plant="A1", plant_from="tag"))
    journal.file_reading(replace(PHOTO, sha256="00" * 32))
    journal.assign(PHOTO.photo, "A2")
    journal.correct_pattern(PHOTO.sha256, "spot")
    journal.log(NOTE)


def test_working_beside_a_damaged_row_does_not_make_it_sound(file, garden_folder):
    run_sql(file, "UPDATE photos SET taken_at = '2025-07-21 10:00:00.000000' WHERE id = 1")
    run_sql(file, "UPDATE readings SET severity_pct = 93.0 WHERE id = 2")
    with open_journal(garden_folder) as journal:
        change_all_that_is_there(journal)
    assert all_changed(file) == {"photos": [1], "readings": [2]}


def test_damaged_lesions_are_set_aside(file, garden_folder, remarks):
    run_sql(file, "UPDATE lesions SET packed = zeroblob(length(packed)) WHERE reading_id = 1")
    with open_journal(garden_folder) as journal:
        assert journal.lesions(PHOTO.sha256) == ()
        assert len(journal.lesions(OTHER.sha256)) == 1
    assert "lesions of “A1/ä.jpg”" in remarks[0]


def test_the_entry_that_a_damaged_one_corrected_does_not_come_back(file, garden_folder, remarks):
    with open_journal(garden_folder) as journal:
        journal.correct(1, replace(NOTE, text="rain"))
    run_sql(file, "UPDATE log SET text = 'pain' WHERE number = 3")
    with open_journal(garden_folder) as journal:
        assert [entry.number for entry in journal.log_entries()] == [2]
    assert "entry 3 of the log" in remarks[0]


def everything(garden_folder: Path) -> dict[str, list[dict]]:
    with open_journal(garden_folder) as journal, journal.everything() as rows_of:
        return {table.name: [dict(row) for row in rows_of(table)] for table in TABLES}


def page_of(file: Path, name: str) -> int:
    """Return where the first page of a table or an index begins in the file."""
    (root,) = run_sql(file, "SELECT rootpage FROM sqlite_master WHERE name = ?", name)[0]
    (size,) = run_sql(file, "PRAGMA page_size")[0]
    return (root - 1) * size


def flipped(data: bytes, at: int, bit: int = 1) -> bytes:
    return data[:at] + bytes([data[at] ^ bit]) + data[at + 1 :]


INDEXES = (
    "sqlite_autoindex_readings_1",
    "sqlite_autoindex_leaves_1",
    "sqlite_autoindex_lesions_1",
    "sqlite_autoindex_log_plants_1",
    "ix_photos_plant_taken_at",
)


@pytest.mark.parametrize("index", INDEXES)
def test_a_damaged_index_hides_no_row_and_nothing_is_written_through_it(
    file, garden_folder, remarks, index
):
    whole, before = everything(garden_folder), file.read_bytes()
    page = page_of(file, index)
    read_without = 0
    for at in range(page + 4096 - 24, page + 4096):  # SQLite fills a page from its end
        file.write_bytes(flipped(before, at))
        remarks.clear()
        with suppress(DamagedError):
            assert everything(garden_folder) == whole
        if not remarks:  # refused as a whole, or no entry lies there
            continue
        with open_journal(garden_folder) as journal:
            assert len(journal.photos()) == len(journal.log_entries()) == 2
            with pytest.raises(DamagedError, match=r"in its indexes.*spotlamp restore"):
                journal.log(NOTE)
        read_without += 1
        assert f"{file}” is damaged in its indexes" in remarks[-1]
    assert read_without > 3


@pytest.mark.parametrize("table", METADATA.tables.values(), ids=str)
def test_rows_that_vanish_from_a_page_are_missed(file, garden_folder, table):
    before = file.read_bytes()
    at = page_of(file, table.name) + 4  # the low byte of the number of its rows
    assert 0 < before[at] < 10
    file.write_bytes(before[:at] + bytes([before[at] - 1]) + before[at + 1 :])
    with pytest.raises(DamagedError):
        open_journal(garden_folder)


def test_definitions_that_are_no_text_are_damage(file, garden_folder):
    run_sql(file, "VACUUM")  # what earlier versions of the tables left behind is read by nobody
    before = file.read_bytes()
    version = b"version_num VARCHAR(32) NOT NULL"
    for sign in (version, b"CREATE TABLE lesions", b"position", b"sqlite_autoindex_leaves_1"):
        at = before.index(sign) + (sign.index(b"NOT NULL") if sign == version else 0)
        file.write_bytes(flipped(before, at, 0x80))
        with pytest.raises(DamagedError, match="is damaged"):
            open_journal(garden_folder)
        assert examine(file).state == "damaged"


def test_where_much_is_damaged_the_journal_is(file, garden_folder):
    with open_journal(garden_folder) as journal, journal.writing() as connection:
        note = {"kind": "note", "at": NOON, "product": "", "withdrawn": False, "text": ""}
        connection.execute(LOG.insert(), [note] * 600)
    run_sql(file, "UPDATE log SET text = 'x'")
    with (
        open_journal(garden_folder) as journal,
        pytest.raises(DamagedError, match="602 rows of its table log"),
    ):
        journal.log_entries()


def content(file: Path) -> dict[str, list[tuple]]:
    names = {
        name: ", ".join(f'"{column.name}"' for column in own_columns(table))
        for name, table in METADATA.tables.items()
    }
    return {name: run_sql(file, f"SELECT {names[name]} FROM {name}") for name in names}


@pytest.mark.parametrize("version", ["0001", "0002"])
def test_a_journal_of_an_earlier_release_is_upgraded_without_loss(
    file, garden_folder, as_of_release, version
):
    before = content(file)
    as_of_release(file, version)
    with pytest.raises(sqlite3.OperationalError, match="no such column"):
        run_sql(file, f"SELECT {CHECKSUM} FROM photos")
    open_journal(garden_folder).close()
    since = {name: table.info.get("since", "") for name, table in METADATA.tables.items()}
    without = {name: [] for name in before if since[name] > version}
    (*label, fix), *_ = before["corrections"]
    assert fix is not None
    assert content(file) == before | without | {"corrections": [(*label, None)]}
    assert all_changed(file) == {}


def test_a_pattern_told_to_an_earlier_release_holds_until_another_is_said(
    garden_folder, as_of_release
):
    told = {"photo_id": 1, "pattern": "blight", "blight_kind": "late", "session": "walk"}
    with open_journal(garden_folder) as journal:
        journal.file_reading(PHOTO, LESIONS)
        with journal.writing() as connection:
            connection.execute(insert(CORRECTIONS), [{**told, "at": NOON, "fix": None}])
    as_of_release(garden_folder / "journal.sqlite", "0003")
    with open_journal(garden_folder) as journal:
        assert all_changed(garden_folder / "journal.sqlite") == {}
        assert [(p.pattern, p.blight_kind) for p in journal.photos()] == [("blight", "late")]
        assert [one.session for one in journal.pattern_corrections()] == ["walk"]
        journal.correct_pattern(PHOTO.sha256, "none")
        assert [p.pattern for p in journal.photos()] == ["none"]
        journal.undo_fix(PHOTO.sha256)
        assert [p.pattern for p in journal.photos()] == ["blight"]


def test_an_upgrade_keeps_every_value_and_does_not_hide_what_was_damaged_before(
    file, garden_folder, as_of_release
):
    as_of_release(file, "0001")
    run_sql(file, f"UPDATE log SET at = {NOT_TEXT} WHERE number = 1")
    run_sql(file, f"UPDATE photos SET plant = {NOT_TEXT} WHERE id = 1")
    run_sql(file, "UPDATE photos SET taken_at = '9999-12-31 23:59:59.000000' WHERE id = 2")
    run_sql(file, "UPDATE leaves SET area_px = 'wide' WHERE reading_id = 1")
    before = run_sql(file, "SELECT hex(at), text FROM log")
    open_journal(garden_folder).close()
    assert run_sql(file, "SELECT hex(at), text FROM log") == before
    assert all_changed(file) == {"log": [1], "photos": [1, 2], "leaves": [1]}


def test_of_a_plants_photos_those_alone_are_looked_through(garden_folder, remarks):
    with open_journal(garden_folder) as journal:
        for photo in (PHOTO, OTHER):
            journal.file_reading(photo)
    harm = "UPDATE photos SET taken_at = '{}' WHERE plant = 'A2'"
    for value in ("2025-07-09 10:00:00.000000", "no time at all"):
        with closing(sqlite3.connect(garden_folder / "journal.sqlite")) as raw, raw:
            raw.execute(harm.format(value))
        for plant, left in ((PHOTO.plant, 1), ("A2", 0)):
            with open_journal(garden_folder) as journal:
                assert len(journal.photos(plant)) == left
        assert OTHER.photo in remarks[-1]
