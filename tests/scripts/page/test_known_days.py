"""What is kept of plants' days never differs from the record, whatever is changed in it."""

import shutil
import sqlite3
import threading
from contextlib import closing
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from models.corrections import Mark
from models.entries import Find, LeafEntry, LogEntry, PhotoEntry
from models.garden.settings import GARDEN_FILE, garden_text
from models.journal import Wish, open_journal
from models.journal.states import StatesRecord
from models.remarks import remarks_to
from scripts.care.seasons import new_season
from scripts.care.views import flag_view, plan_view
from scripts.page.ahead import Ahead
from scripts.page.standing import Desk, Standing
from scripts.page.tiles import beds_of
from vision.records import Lesion

BERLIN = ZoneInfo("Europe/Berlin")
FIRST = datetime(2025, 7, 1, 9, tzinfo=BERLIN)
AT = "2025-07-22 20:00"
PLANTS = ("A1", "A2", "B1")
VISITS = 7
MANY = 13  # leaves, so that a visit's interval is resampled


def leaves(*severities: float) -> tuple[LeafEntry, ...]:
    return tuple(
        LeafEntry(
            *(number, 1e6, 4, severity / 2, severity / 2),
            *(severity, 0.8 * severity, 1.2 * severity, "spot"),
        )
        for number, severity in enumerate(severities, start=1)
    )


def by_day(plant: str, visit: int, number: int = 0, **more: object) -> PhotoEntry:
    """Return a photo of a plant, which grows sicker from visit to visit."""
    severity = (2 + PLANTS.index(plant)) * (1 + visit)
    count = MANY if plant == "B1" else 3
    photo = PhotoEntry(
        photo=f"{plant}/{visit}-{number}.jpg",
        sha256=f"{PLANTS.index(plant)}{visit:x}{number:x}".ljust(64, "7"),
        taken_at=FIRST + timedelta(days=3 * visit, minutes=number),
        plant=plant,
        plant_from="folder",
        version="1-abc",
        leaves=leaves(*(severity + 0.3 * leaf for leaf in range(count))),
        lesion_count=12,
        severity_pct=severity,
        severity_low_pct=0.8 * severity,
        severity_high_pct=1.2 * severity,
        pattern="spot",
        frass_count=visit % 3,
    )
    return replace(photo, **more)


def by_night(plant: str, day: int, hour: int = 22, count: int = 2) -> PhotoEntry:
    return PhotoEntry(
        photo=f"{plant}/n{day}-{hour}.jpg",
        sha256=f"e{PLANTS.index(plant)}{day:02}{hour}".ljust(64, "7"),
        taken_at=FIRST.replace(hour=0) + timedelta(days=day, hours=hour),
        plant=plant,
        plant_from="folder",
        version="1-abc",
        mode="night",
        caterpillar_count=count,
        caterpillar_low=count,
        caterpillar_high=count + 1,
    )


def lesions(photo: PhotoEntry) -> list[Lesion]:
    looks = (250.0, 17.8, 0.4, 0.8, 1.3, 0.9, 9.0, 2.0, 4.0, False)
    return [
        Lesion(leaf.leaf, 10.0 * n, 20.0 * leaf.leaf, *looks)
        for leaf in photo.leaves
        for n in range(1, 5)
    ]


def file(folder: Path, *photos: PhotoEntry) -> None:
    with open_journal(folder) as journal:
        for photo in photos:
            finds = [Find("dropping", n, 5.0 * n, 9.0, 3.0, 2.0, 0.9) for n in range(1, 3)]
            journal.file_reading(photo, lesions(photo), finds[: photo.frass_count or 0])


def log(folder: Path, kind: str, day: int, *plants: str, hour: int = 7, **more: object) -> None:
    at = FIRST.replace(hour=hour) + timedelta(days=day)
    with open_journal(folder) as journal:
        journal.log(LogEntry(0, kind, at, plants, **more))


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    """Three plants with a record of three weeks."""
    garden = tmp_path_factory.mktemp("made") / "garden"
    garden.mkdir()
    beds = {"North": [["A1", "A2"]], "South": [["B1"]]}
    text = garden_text("Invented", "Europe/Berlin", beds=beds)
    (garden / GARDEN_FILE).write_text(text, "utf-8")
    photos = [by_day(plant, visit) for visit in range(VISITS) for plant in PLANTS]
    nights = [by_night("A1", 5), by_night("A1", 5, hour=25, count=3), by_night("B1", 18)]
    file(garden, *photos, *nights, replace(by_day("A2", 6, 4), plant="", plant_from=""))
    log(garden, "spray", 2, product="soda")
    log(garden, "spray", 16, "B1", product="peroxide")
    log(garden, "rain", 17, amount=12)
    return garden


@pytest.fixture
def folder(made, tmp_path) -> Path:
    """Copy the garden, so that it may be changed."""
    shutil.copytree(made, tmp_path / "garden")
    return tmp_path / "garden"


def facts(standing: Standing, desk: Desk) -> dict[str, object]:
    """Return all that the pages say, or are made from."""
    told = standing.told
    return {
        "beds": beds_of(standing),
        "plan": standing.plan,
        "curves": standing.curves,
        "notes": standing.notes,
        "visits": dict(told.visits),
        "nights": told.nights,
        "feeding": told.feeding,
        "photos": standing.entries(told.photos),
        "of each": {name: len(photos) for name, photos in standing.photos_of.items()},
        "removed": standing.removed,
        "log": standing.log,
        "trouble": standing.trouble,
        "seasons": desk.seasons(),
    }


def seen(desk: Desk) -> dict[str, object]:
    return facts(desk.standing(), desk)


def fresh(desk: Desk) -> dict[str, object]:
    return seen(Desk(desk.folder, desk.at))


def put_right(folder: Path, photo: PhotoEntry, *wishes: Wish) -> None:
    with open_journal(folder) as journal:
        for wish in wishes:
            assert journal.put_right(photo.sha256, wish)


def undo_last(folder: Path, photo: PhotoEntry) -> None:
    with open_journal(folder) as journal:
        assert journal.undo_fix(photo.sha256)


def set_weather(folder: Path) -> None:
    lines = ["day,rain", *(f"2025-07-{day} 12:00,{day % 4}" for day in range(10, 24))]
    (folder / "weather.csv").write_text("\n".join(lines) + "\n", "utf-8")
    settings = folder / GARDEN_FILE
    settings.write_text(
        settings.read_text("utf-8")
        + '\n[weather]\nfile = "weather.csv"\ntime = "day"\nrain = "rain"\n',
        "utf-8",
    )


ONE, LAST = by_day("A1", 2), by_day("A1", 6)
NEAR = (Mark(10.0, 20.0, 17.8),)
CHANGES = {
    "a photo of a new day": lambda f: file(f, by_day("A2", 6, 2, taken_at=FIRST.replace(day=22))),
    "a photo of a known day": lambda f: file(f, by_day("A2", 3, 5)),
    "a photo measured anew": lambda f: file(
        f, replace(LAST, version="2-def", severity_pct=40.0, leaves=leaves(38.0, 42.0))
    ),
    "a photo of the night": lambda f: file(f, by_night("A2", 20, count=5)),
    "a photo after midnight": lambda f: file(f, by_night("A1", 5, hour=26, count=9)),
    "a plant assigned": lambda f: put_right(f, LAST, Wish("plant", "A2")),
    "a photo without a plant": lambda f: put_right(f, ONE, Wish("plant", "")),
    "another day": lambda f: put_right(f, ONE, Wish("taken", "2025-07-05 10:00:00")),
    "a day long ago": lambda f: put_right(f, ONE, Wish("taken", "2024-01-05 10:00:00")),
    "a photo taken out": lambda f: put_right(f, LAST, Wish("removed")),
    "a lesion rejected": lambda f: put_right(f, LAST, Wish("not_lesion", marks=NEAR)),
    "a pattern said": lambda f: put_right(f, LAST, Wish("pattern", "blight late")),
    "a photo not to be used": lambda f: put_right(f, LAST, Wish("unused")),
    "a dropping rejected": lambda f: put_right(
        f, by_day("A1", 4), Wish("not_dropping", marks=(Mark(5.0, 9.0, 3.0),))
    ),
    "a spray": lambda f: log(f, "spray", 20, product="soda"),
    "wilting seen": lambda f: log(f, "seen", 20, "A2", text="wilting"),
    "a plant taken out": lambda f: log(f, "seen", 20, "B1", text="gone"),
    "a plant planted anew": lambda f: log(f, "seen", 9, "A1", hour=11, text="planted"),
    "caterpillars picked": lambda f: log(f, "hand_pick", 19, "B1", hour=21, amount=3),
    "weather": set_weather,
    "a season closed": lambda f: new_season(f, AT),
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_after_each_change_what_is_kept_equals_what_is_gathered_afresh(folder, change):
    desk = Desk(folder, AT, keeps_days=True)
    before = seen(desk)
    assert before == fresh(desk)
    change(folder)
    after = seen(desk)
    assert after != before
    assert after == fresh(desk)


@pytest.mark.parametrize(
    "name", ["a lesion rejected", "a pattern said", "a photo taken out", "another day"]
)
def test_after_an_undo_all_is_as_it_was(folder, name):
    desk = Desk(folder, AT, keeps_days=True)
    before = seen(desk)
    CHANGES[name](folder)
    assert seen(desk) != before
    undo_last(folder, ONE if name == "another day" else LAST)
    assert seen(desk) == before == fresh(desk)


def test_when_the_day_turns_all_is_worked_out_anew(folder):
    desk = Desk(folder, AT, keeps_days=True)
    before = seen(desk)
    for at in ("2025-07-22 20:10", "2025-07-23 07:00", "2025-07-10 09:30", "2026-03-01 08:00"):
        desk.at = at
        assert seen(desk) == fresh(desk)
        assert seen(desk)["plan"] != before["plan"]


def test_a_day_is_cut_at_the_moment_that_is_asked_about(folder):
    """Of a day's photos only those count that were taken by then."""
    file(folder, *(by_day("A1", 4, number, pattern="blight") for number in (30, 59)))
    desk = Desk(folder, "2025-07-13 09:45", keeps_days=True)
    assert len(desk.standing().photos_of["A1"]) == 5 + 1 + 2
    assert seen(desk) == fresh(desk)


def test_what_the_commands_say_of_the_garden_the_kept_days_say(folder):
    desk = Desk(folder, AT, keeps_days=True)
    seen(desk)
    for change in ("a lesion rejected", "a photo of a known day", "wilting seen"):
        CHANGES[change](folder)
        plan = desk.standing().plan
        told = " ".join(flag_view(folder, (), AT).split())
        for status in plan.statuses:
            assert " ".join(status.why.split()) in told
        planned = " ".join(plan_view(folder, 14, AT).split())
        assert all(" ".join(task.what.split()) in planned for task in plan.tasks)


@pytest.fixture
def read(monkeypatch) -> list[int]:
    """Return a list that grows by the number of photos whenever some are read."""
    counts: list[int] = []
    whole = StatesRecord.photos_as

    def counted(journal, states):
        counts.append(len(states))
        return whole(journal, states)

    monkeypatch.setattr(StatesRecord, "photos_as", counted)
    return counts


def test_only_days_that_changed_are_read(folder, read):
    desk = Desk(folder, AT, keeps_days=True)
    desk.standing()
    assert sum(read) == VISITS * len(PLANTS) + 3
    read.clear()
    file(folder, by_day("A2", 3, 5))
    desk.standing()
    assert read == [2]
    read.clear()
    log(folder, "rain", 20, amount=3)
    desk.at = "2025-07-23 09:00"
    desk.standing()
    assert read == []


def test_the_next_start_reads_no_day_again(folder, read):
    first = Desk(folder, AT, keeps_days=True)
    before = seen(first)
    first.close()
    read.clear()
    again = Desk(folder, AT, keeps_days=True)
    again.standing()
    assert read == []
    assert seen(again) == before == fresh(again)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda data: data[: len(data) // 2],
        lambda data: data.replace(b"spot", b"none", 1),
        lambda data: b"",
        lambda data: data.replace(b"Europe/Berlin", b"Europe/Lisbon", 1),
    ],
    ids=["cut", "changed", "empty", "of another zone"],
)
def test_a_file_that_is_not_as_it_was_written_is_not_used(folder, read, spoil):
    first = Desk(folder, AT, keeps_days=True)
    before = seen(first)
    first.close()
    (kept,) = (folder / ".page").glob("days.*")
    kept.write_bytes(spoil(kept.read_bytes()))
    read.clear()
    again = Desk(folder, AT, keeps_days=True)
    again.standing()
    assert sum(read) == VISITS * len(PLANTS) + 3
    assert seen(again) == before


def test_with_another_time_zone_days_are_cut_anew(folder):
    first = Desk(folder, AT, keeps_days=True)
    seen(first)
    first.close()
    settings = folder / GARDEN_FILE
    text = settings.read_text("utf-8").replace("Europe/Berlin", "Pacific/Auckland")
    settings.write_text(text, "utf-8")
    for desk in (first, Desk(folder, AT, keeps_days=True)):
        assert seen(desk) == fresh(desk)


DAMAGES = [
    "UPDATE photos SET photo = 'x' WHERE id = 4",
    "UPDATE photos SET taken_at = CAST(x'ff2d30' AS TEXT) WHERE id = 4",
    "UPDATE readings SET severity_pct = 93.0 WHERE id = 4",
    "UPDATE leaves SET severity_pct = 93.0 WHERE reading_id = 4",
]


def damage(folder: Path, statement: str) -> None:
    with closing(sqlite3.connect(folder / "journal.sqlite")) as raw:
        raw.execute(statement)
        raw.commit()


@pytest.mark.parametrize("statement", DAMAGES)
def test_a_damaged_row_is_set_aside_and_named_as_by_the_commands(folder, statement):
    damage(folder, statement)
    said: list[str] = []
    with remarks_to(said.append):
        desk = Desk(folder, AT, keeps_days=True)
        found = seen(desk)
    assert len(found["photos"]) == VISITS * len(PLANTS) + 3
    assert any("Set aside" in one for one in said)
    assert found == fresh(desk)


@pytest.mark.parametrize("statement", DAMAGES[1:3])
def test_a_row_that_is_damaged_after_its_day_was_read_is_found_and_named_too(folder, statement):
    desk = Desk(folder, AT, keeps_days=True)
    seen(desk)
    whole = (folder / "journal.sqlite").read_bytes()
    damage(folder, statement)
    desk.look_through()
    assert seen(desk) == fresh(desk)
    assert any("Set aside" in one for one in desk.remarks)
    (folder / "journal.sqlite").write_bytes(whole)
    desk.look_through()
    assert seen(desk) == fresh(desk)
    assert desk.remarks == ()


def test_a_damaged_index_hides_no_photo_at_any_gathering(folder):
    journal = folder / "journal.sqlite"
    with closing(sqlite3.connect(journal)) as raw:
        (size,) = raw.execute("PRAGMA page_size").fetchone()
        (page,) = raw.execute(
            "SELECT rootpage FROM sqlite_master WHERE name = 'sqlite_autoindex_leaves_1'"
        ).fetchone()
    data = bytearray(journal.read_bytes())
    data[page * size - 2] ^= 1  # SQLite fills a page from its end
    journal.write_bytes(data)
    desk = Desk(folder, AT, keeps_days=True)
    for at in (AT, "2025-07-22 20:10"):
        desk.at = at
        assert len(seen(desk)["photos"]) == VISITS * len(PLANTS) + 4
        assert any("in its indexes" in one for one in desk.remarks)


def test_a_season_that_is_over_is_told_from_kept_days_too(folder, read):
    desk = Desk(folder, AT, keeps_days=True)
    desk.standing()
    new_season(folder, AT)
    file(folder, by_day("A1", 0, 1, taken_at=FIRST.replace(day=25)))
    desk.at = "2025-07-25 12:00"
    desk.standing()
    read.clear()
    kept, made = desk.earlier("2025"), Desk(folder, desk.at).earlier("2025")
    assert read == []
    assert facts(kept, desk) == facts(made, desk)


def test_the_garden_is_gathered_ahead_and_looked_through(folder, read, monkeypatch):
    monkeypatch.setattr("scripts.page.ahead._FIRST_S", 0)
    desk = Desk(folder, AT, keeps_days=True)
    before = seen(Desk(folder, AT))
    damage(folder, DAMAGES[2])
    looked = threading.Event()
    whole = desk.look_through
    monkeypatch.setattr(desk, "look_through", lambda: (whole(), looked.set()))
    ahead = Ahead(desk)
    ahead.start()
    assert looked.wait(60)
    file(folder, by_day("A2", 3, 5))
    ahead.gather()
    ahead.close()
    read.clear()
    assert before != seen(desk) == fresh(desk)
    assert any("Set aside" in one for one in desk.remarks)
