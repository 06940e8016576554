"""The whole journal, taken out and put into an empty one."""

from dataclasses import replace
from datetime import UTC, datetime
from types import SimpleNamespace

import pytest

from models.entries import LogEntry, PhotoEntry
from models.garden.beds import Plant
from models.journal import JournalError, open_journal
from models.journal.tables import METADATA
from models.journal.whole import TABLES, _count_on

NOON = datetime(2025, 7, 1, 12, tzinfo=UTC)
PHOTO = PhotoEntry("A1/x.jpg", "00" * 32, NOON, plant="A1", version="7", width_px=4000)


@pytest.fixture
def place(home):
    """Return a maker of addresses of empty journals, in memory and on a server."""
    return home or (lambda: "sqlite://")


@pytest.fixture
def filled(place):
    """Make a journal of five photos, five notes and a plant."""
    with open_journal(place()) as journal:
        for number in range(5):
            journal.file_reading(replace(PHOTO, sha256=f"{number:02}" * 32))
            journal.log(LogEntry(0, "note", NOON, ("A1",), text=str(number)))
        journal.correct(2, LogEntry(0, "note", NOON, ("A1",), text="instead"))
        journal.record_plants([Plant("A1", "North")])
        yield journal


def taken_out(journal):
    with journal.everything() as rows_of:
        return {table.name: [dict(row) for row in rows_of(table)] for table in TABLES}


@pytest.mark.parametrize("at_once", [1, 2, 5, 6, 7])
def test_every_row_arrives_however_many_are_put_in_at_once(filled, place, monkeypatch, at_once):
    monkeypatch.setattr("models.journal.whole._ROWS_AT_ONCE", at_once)
    before = taken_out(filled)
    with open_journal(place()) as other:
        other.record_plants([Plant("B7", "South")])  # as a new garden does
        assert other.put_everything(lambda table: before[table.name]) == 5
        assert taken_out(other) == before
        assert other.photos() == filled.photos()
        assert other.log(LogEntry(0, "note", NOON)) == 7


def test_a_journal_in_which_anything_stands_is_left_as_it_was(filled, place):
    before = taken_out(filled)
    with open_journal(place()) as other:
        other.log(LogEntry(0, "note", NOON))
        own = taken_out(other)
        with pytest.raises(JournalError, match=r"is not empty: import into a new garden"):
            other.put_everything(lambda table: before[table.name])
        assert taken_out(other) == own


def test_rows_that_point_to_nothing_are_refused_and_none_is_put_in(filled, place):
    before = taken_out(filled)
    before["photos"] = before["photos"][1:]
    with open_journal(place()) as other:
        with pytest.raises(JournalError, match=r"do not fit together \(.*(?i:foreign key)"):
            other.put_everything(lambda table: before[table.name])
        assert not any(taken_out(other).values())


def test_a_server_goes_on_counting_after_the_rows_that_came_with_their_numbers():
    """SQLite does so by itself."""
    numbered = {"photos": "id", "readings": "id", "fixes": "number", "log": "number"}
    for name, table in METADATA.tables.items():
        said = []
        for dialect in ("sqlite", "postgresql"):
            _count_on(
                SimpleNamespace(dialect=SimpleNamespace(name=dialect), execute=said.append), table
            )
        if name in {*numbered, "corrections"}:
            key = numbered.get(name, "number")
            assert [str(one) for one in said] == [
                f"SELECT setval(pg_get_serial_sequence('{name}', '{key}'), "
                f"(SELECT max({key}) FROM {name}))"
            ]
        else:
            assert said == []
