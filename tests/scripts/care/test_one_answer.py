"""A season lived from the command line: on every morning all views give one answer."""

import re
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from models.care.words import day_words
from models.entries import LeafEntry, PhotoEntry
from models.journal import open_journal
from tests.models.care.test_care_agreement import (
    first_of_each,
    of_calendar,
    of_flag,
    of_plan,
    of_today,
)

ZONE = ZoneInfo("Europe/Berlin")
FIRST = datetime(2025, 7, 1, 6, tzinfo=ZONE)
DAYS = 18
PLANTS = ("A1", "A2", "A3", "B1", "B2", "B3")
GROWING = {"A1": 1.25, "A2": 1.12, "B1": 1.3}
LEAVES = (0.6, 0.9, 1.5)  # of the plant's mean, so that leaves differ
READING = re.compile(r"([\d.]+) % sick \(([\d.]+) to ([\d.]+) %\)")
SCORED = re.compile(r"^ +([AB]\d) .*? ([\d.]+) % \(([\d.]+) to ([\d.]+)\)", re.M)
TREND = re.compile(r"^([AB]\d) +(\d+ \w{3}) +([\d.]+) % \(([\d.]+) to ([\d.]+)\) +(.*)$", re.M)
LOG = {
    1: ("spray soda all",),
    5: ("rain 9mm",),
    9: ("seen gone B3",),
    12: ("seen wilting A3", "rain 4mm"),
    14: ("seen cleared A3",),
}


def photo(plant, day, share, flags=()):
    """Return what a photo of three leaves would measure."""
    leaves = tuple(
        LeafEntry(n, 1e5, 4, v, 0.0, v, v * 0.8, v * 1.2, "spot" if share > 1 else "none")
        for n, v in enumerate((min(90.0, share * part) for part in LEAVES), 1)
    )
    name = f"{plant}/{day}-{len(flags)}.jpg"
    at = FIRST + timedelta(days=day)
    called = "spot" if share > 1 else "none"
    return PhotoEntry(
        *(name, name.encode().hex().ljust(64, "0"), at),
        plant=plant,
        plant_from="folder",
        version="1",
        flags=flags,
        leaves=leaves,
        severity_pct=share,
        severity_low_pct=share * 0.8,
        severity_high_pct=share * 1.2,
        pattern=called,
    )


def live_through(folder, day):
    """File the photos of a day; every fourth day one of B2 is blurred and reads far too much."""
    with open_journal(folder) as journal:
        for plant in PLANTS:
            if day % 2 == 0 and (plant != "B3" or day < 9):
                journal.file_reading(photo(plant, day, 0.8 * GROWING.get(plant, 1.0) ** day))
        if day % 4 == 0:
            journal.file_reading(photo("B2", day, 60.0, ("blurred",)))


@pytest.fixture(scope="module")
def mornings(tmp_path_factory):
    """Return what each view printed on every morning."""
    from typer.testing import CliRunner

    from scripts.cli import app

    def run(*words):
        result = CliRunner().invoke(app, [str(word) for word in words])
        assert result.exit_code == 0, f"{words}\n{result.output}\n{result.exception!r}"
        return result.output

    folder = tmp_path_factory.mktemp("lived") / "beds"
    run("new", folder, "--bed", "A=A1,A2,A3", "--bed", "B=B1,B2,B3", "--time-zone", "Europe/Berlin")
    seen = []
    for day in range(DAYS):
        live_through(folder, day)
        at = f"{(FIRST + timedelta(days=day)).date()} 06:30"
        said = {
            view: run(view, "--at", at, "--garden", folder)
            for view in ("flag", "plan", "today", "trend")
        }
        calendar = folder / f"{day}.ics"
        run("plan", "--at", at, "--ics", calendar, "--garden", folder)
        seen.append({**said, "calendar": calendar.read_bytes(), "day": FIRST + timedelta(days=day)})
        for words in LOG.get(day, ()):
            at = f"{(FIRST + timedelta(days=day)).date()} 07:30"
            run("log", *words.split(), "--at", at, "--garden", folder)
    return seen


def readings(flag):
    """Return what `flag` says of each plant's last visit: percent, low, high."""
    blocks = re.split(r"^(?:\S\S|\S |  ) ([AB]\d) ", flag, flags=re.M)[1:]
    found = zip(
        blocks[::2], (READING.search(" ".join(b.split())) for b in blocks[1::2]), strict=True
    )
    return {plant: reading.groups() for plant, reading in found if reading}


def test_flag_plan_today_and_the_calendar_agree_on_every_morning(mornings):
    sprayed = set()
    for seen in mornings:
        statuses, coming = of_flag(seen["flag"])
        planned = of_plan(seen["plan"], tuple(statuses))
        days = [seen["day"].date() + timedelta(days=n) for n in range(-1, 60)]
        order = {day_words(day): day for day in days}
        assert of_calendar(seen["calendar"], tuple(statuses)) == planned
        assert coming == first_of_each(planned, order)
        today = {(p, action) for p, action, day in planned if order[day] <= seen["day"].date()}
        assert of_today(seen["today"], tuple(statuses)) == today
        sprayed |= {action for _, action, _ in planned}
    assert sprayed >= {"spray soda", "spot-test with peroxide", "photograph", "isolate"}


def test_flag_and_trend_show_one_reading_of_the_last_visit_on_every_morning(mornings):
    for seen in mornings:
        rows = {row[0]: row[1:] for row in TREND.findall(seen["trend"])}
        read = readings(seen["flag"])
        assert set(read) == {plant for plant, row in rows.items() if "taken out" not in row[-1]}
        for plant, reading in read.items():
            assert rows[plant][1:4] == reading, (seen["day"], plant)
        # The blurred photo of B2, which reads 60 %, stands beside a sharp one and counts nowhere.
        assert float(read["B2"][0]) < 2


def test_a_plant_that_is_gone_stands_last_in_the_trend_and_nowhere_else(mornings):
    for seen in mornings[10:]:
        rows = TREND.findall(seen["trend"])
        assert rows[-1][0] == "B3"
        assert rows[-1][-1] == "× taken out"
        assert all("B3" not in seen[view] for view in ("flag", "plan", "today"))


def test_score_flag_and_trend_show_one_reading_of_the_last_visit(tmp_path, spotlamp, paint_photo):
    """Also when only photos of an earlier day are scored: the plant's record is what counts."""
    folder = tmp_path / "beds"
    spotlamp("new", folder, "--bed", "A=A1,A2", "--time-zone", "Europe/Berlin")
    names = ("A1/2024-07-01_a", "A1/2024-07-04_b", "A1/2024-07-04_c", "A2/2024-07-04_d")
    for number, name in enumerate(names):
        paint_photo(folder / f"{name}.png", number, spots=2 + 4 * number)
    when = ("--at", "2024-07-05 06:30", "--garden", folder)
    for scored in (folder, folder / f"{names[0]}.png"):
        shown = spotlamp("score", scored, "--out", tmp_path / "out", "--jobs", 1).output
        said = {row[0]: row[1:] for row in SCORED.findall(shown)}
        assert set(said) == ({"A1", "A2"} if scored == folder else {"A1"})
        trend = {row[0]: row[2:5] for row in TREND.findall(spotlamp("trend", *when).output)}
        flag = readings(spotlamp("flag", *when).output)
        assert said == {plant: flag[plant] for plant in said}
        assert said == {plant: trend[plant] for plant in said}
