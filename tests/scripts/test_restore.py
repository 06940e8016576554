"""A damaged journal goes on as far as it can be read, and ``spotlamp restore`` mends it."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest


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
