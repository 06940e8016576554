"""A damaged journal goes on as far as it can be read, and ``spotlamp restore`` mends it."""

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from models.journal import open_journal
from models.journal.examining import Examined, examine


@pytest.fixture
def planted(tmp_path, spotlamp) -> Path:
    """Make a garden with two plants and two notes."""
    folder = tmp_path / "plot"
    spotlamp("new", folder, "--bed", "North=A1,A2", "--time-zone", "UTC")
    spotlamp("log", "note", "dew", "A1", "--garden", folder)
    spotlamp("log", "note", "fog", "A2", "--garden", folder)
    return folder


def run_sql(folder: Path, statement: str) -> list[tuple]:
    with closing(sqlite3.connect(folder / "journal.sqlite")) as raw, raw:
        return raw.execute(statement).fetchall()


def test_commands_name_a_damaged_entry_once_and_go_on(planted, spotlamp):
    run_sql(planted, "UPDATE log SET at = '2025-99-99' WHERE number = 1")
    for words in ("log", "today", "plan", "flag"):
        shown = spotlamp(words, "--garden", planted)
        assert shown.stderr.count("Set aside") == 1
        assert "entry 1 of the log" in shown.stderr
    assert "fog" in spotlamp("log", "--garden", planted).output
    assert "dew" not in spotlamp("log", "--garden", planted).output


def restore(folder: Path, spotlamp, code: int = 0) -> str:
    return spotlamp("restore", "--garden", folder, code=code).output


def entries(folder: Path) -> list[str]:
    with open_journal(folder) as journal:
        return [entry.text for entry in journal.log_entries()]


def test_a_journal_emptied_on_its_first_day_is_put_back(planted, spotlamp):
    (planted / "journal.sqlite").write_bytes(b"")
    for words in (["log"], ["log", "note", "rain"], ["today"]):
        said = spotlamp(*words, "--garden", planted, code=1).output
        assert "is empty, but there are backups" in said
    assert (planted / "journal.sqlite").read_bytes() == b""
    assert "Put back journal-" in restore(planted, spotlamp)
    assert entries(planted) == ["dew", "fog"]


def test_a_journal_that_is_in_use_is_left_alone(planted, spotlamp, monkeypatch):
    monkeypatch.setattr("models.journal.examining.BUSY_SECONDS", 0.1)
    before = sorted(planted.rglob("*"))
    file = planted / "journal.sqlite"
    with closing(sqlite3.connect(file, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        other.execute("UPDATE log SET text = 'haze' WHERE number = 1")
        assert "in use by another program; nothing was changed" in restore(planted, spotlamp, 1)
        other.execute("ROLLBACK")
    assert sorted(planted.rglob("*")) == before
    assert "is sound" in restore(planted, spotlamp)
    assert entries(planted) == ["dew", "fog"]


def test_a_damaged_journal_that_is_in_use_is_left_alone_until_it_is_not(
    planted, spotlamp, monkeypatch
):
    monkeypatch.setattr("models.journal.examining.BUSY_SECONDS", 0.1)
    run_sql(planted, "UPDATE log SET text = 'x' WHERE number = 1")
    file = planted / "journal.sqlite"
    with closing(sqlite3.connect(file, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        assert "in use by another program" in restore(planted, spotlamp, 1)
    assert "Taken back" in restore(planted, spotlamp)


def test_a_journal_that_cannot_be_read_is_left_alone(planted, spotlamp, without_rights):
    file = planted / "journal.sqlite"
    file.rename(planted / "kept")
    file.mkdir()
    assert "cannot be read (Is a directory), which is no damage" in restore(planted, spotlamp, 1)
    assert file.is_dir()
    file.rmdir()
    (planted / "kept").rename(file)
    with without_rights(file):
        assert examine(file) == Examined("unreadable", "Permission denied")
    assert entries(planted) == ["dew", "fog"]


def test_other_files_and_newer_journals_are_left_alone(planted, spotlamp):
    run_sql(planted, "UPDATE alembic_version SET version_num = '9000'")
    assert "newer release" in restore(planted, spotlamp, 1)
    file = planted / "journal.sqlite"
    file.unlink()
    run_sql(planted, "CREATE TABLE birds (name)")
    assert "is no journal" in restore(planted, spotlamp, 1)
    assert run_sql(planted, "SELECT count(*) FROM birds") == [(0,)]


@pytest.mark.parametrize(
    "damage",
    [
        "UPDATE log SET at = '2025-99-99' WHERE number = 1",
        "UPDATE log SET text = CAST(x'ff' AS TEXT) WHERE number = 1",
        "UPDATE log_plants SET plant = 'A9' WHERE rowid = 1",
        "UPDATE log SET checksum = 'x' WHERE number = 1",
        "UPDATE plants SET tag = 9, place = 7",
        "ALTER TABLE log RENAME TO lag",
        "DROP TABLE lesions",
        "DELETE FROM alembic_version",
    ],
)
def test_what_a_backup_holds_is_taken_back(planted, spotlamp, damage):
    with closing(sqlite3.connect(planted / "journal.sqlite")) as raw:
        raw.executescript(f"PRAGMA writable_schema = ON; {damage}")
    restore(planted, spotlamp)
    assert "is sound" in restore(planted, spotlamp)
    assert entries(planted) == ["dew", "fog"]
    assert spotlamp("log", "--garden", planted).stderr == ""


def test_what_no_backup_holds_is_left_out_by_name_and_kept_aside(planted, spotlamp):
    shutil.rmtree(planted / "backups")
    spotlamp("log", "note", "haze", "--correct", "1", "--garden", planted)
    shutil.rmtree(planted / "backups")
    run_sql(planted, "UPDATE log SET text = 'due' WHERE number = 1")
    said = restore(planted, spotlamp)
    assert "Left out, because no backup holds it: entry 1 of the log" in said
    assert "is sound" in restore(planted, spotlamp)
    assert entries(planted) == ["fog", "haze"]
    (aside,) = planted.glob("journal-damaged-*.sqlite")
    with closing(sqlite3.connect(aside)) as raw:
        assert raw.execute("SELECT text FROM log WHERE number = 1").fetchone() == ("due",)
