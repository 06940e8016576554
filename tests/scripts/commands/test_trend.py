"""The real commands on a real journal: what is told of a season, and what is written."""

import csv
import io
import json
import time
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

from models.entries import LeafEntry, LogEntry, PhotoEntry
from models.garden.settings import GARDEN_FILE, garden_text
from models.journal import open_journal
from scripts.cli import app
from scripts.trend.read import NoTrendError, find_spray
from scripts.trend.tables import TREND_TABLES
from vision.photo.find import OUTPUT_MARKER

START = datetime(2025, 6, 2, 9, tzinfo=UTC)
SPRAYED = ("A1", "A2", "A3")
UNSPRAYED = ("B1", "B2", "B3")
SPRAY_DAY = 28
LEAVES = 8


def severity(plant, day, rng):
    """Sprayed plants stop growing; B plants go on; C1 recovers, C2 stays clean, C3 is new."""
    growing = -3.5 + 0.09 * day
    height = {
        "A": -3.5 + 0.09 * min(day, SPRAY_DAY),
        "B": growing,
        "C1": growing if day < SPRAY_DAY else -1.0 - 0.1 * (day - SPRAY_DAY),
        "C2": -9.0,
        "C3": -3.0,
    }
    value = height.get(plant, height.get(plant[0])) + rng.normal(0, 0.4)
    return 100 / (1 + np.exp(-value))


def photo(plant, day, minute, *values):
    leaves = tuple(
        LeafEntry(n, 1e5, round(v), v / 2, v / 2, v, v * 0.8, min(100, v * 1.1))
        for n, v in enumerate(values, start=1)
    )
    name = f"{plant}/{day}-{minute}.jpg"
    at = START + timedelta(days=day, minutes=minute)
    sha = name.encode().hex().rjust(64, "0")
    return PhotoEntry(name, sha, at, plant=plant, plant_from="folder", leaves=leaves)


@pytest.fixture(scope="module")
def garden(tmp_path_factory):
    """Keep a season of nine plants, with sprays and rain."""
    folder = tmp_path_factory.mktemp("garden")
    plants = [[*SPRAYED], [*UNSPRAYED], ["C1", "C2", "C3"]]
    text = garden_text(
        "Test garden", "Europe/Berlin", beds={"North": plants[:2], "South": plants[2:]}
    )
    (folder / GARDEN_FILE).write_text(text, "utf-8")
    rng = np.random.default_rng(5)
    with open_journal(folder) as journal:
        for day in range(0, 57, 7):
            for plant in (name for row in plants for name in row):
                if plant == "C3" and day < 56:
                    continue
                values = [severity(plant, day, rng) for _ in range(LEAVES)]
                journal.file_reading(photo(plant, day, 0, *values))
        for kind, day, who, product, amount in (
            ("rain", 10, (), "", 12.0),
            ("rain", 40, (), "", None),
            ("spray", SPRAY_DAY, SPRAYED, "soda", None),
            ("spray", SPRAY_DAY - 20, ("C1",), "peroxide", None),
            ("removed_leaves", 30, ("C1",), "", 5),
        ):
            at = START + timedelta(days=day)
            journal.log(LogEntry(0, kind, at, who, product, amount))
    return folder


def run(*words, code=0):
    result = CliRunner().invoke(app, [str(word) for word in words])
    assert result.exit_code == code, f"{result.output}\n{result.exception!r}"
    return result.output


def lines_of(output):
    """Return the table's lines by plant."""
    table = output.split("plant  ", 1)[1].split("\n\n", 1)[0].splitlines()[1:]
    return {line.split()[0]: line for line in table}


def test_plants_that_rise_come_first_and_are_the_right_ones(garden):
    output = run("trend", "--garden", garden)
    lines = lines_of(output)
    assert set(list(lines)[:3]) == set(UNSPRAYED)
    assert all("▲ rising" in lines[plant] for plant in UNSPRAYED)
    assert "▼ falling" in lines["C1"]
    assert list(lines)[-1] == "C1"
    assert "= level" in lines["C2"]
    assert "? cannot tell" in lines["C3"]
    assert "9 plants, 73 visits, 584 leaves" in output


def test_named_plants_are_drawn_visit_by_visit_with_what_happened_between(garden):
    output = run("trend", "C1", "--garden", garden)
    drawn = output.splitlines()[2:]
    days = [line[:7].strip() for line in drawn if line[:7].strip()[:1].isdigit()]
    assert days[:5] == ["2 Jun", "9 Jun", "10 Jun", "12 Jun", "16 Jun"]
    assert "▽ peroxide" in output
    assert "☂ rain 12 mm" in output
    assert "✂ 5 leaves removed" in output
    assert "soda" not in output
    assert "C1 is falling" in output
    assert "A1" not in output


def test_a_spray_that_stopped_growth_is_said_to(garden):
    output = " ".join(run("trend", "--effect", "soda", "--garden", garden).split())
    assert "After the soda of 30 Jun, the sprayed plants grew sicker more slowly" in output
    assert "on 3 sprayed plants" in output
    assert "on 3 unsprayed plants over the same days" in output
    assert "Killed tissue never turns green again" in output


@pytest.mark.parametrize("name", ["soda", "2025-06-30", "3", "#3", "SODA"])
def test_a_spray_is_known_by_its_product_its_day_or_its_number(garden, name):
    with open_journal(garden) as journal:
        log = journal.log_entries()
    assert find_spray(log, name).plants == SPRAYED


def test_entries_of_one_product_on_one_day_are_one_spray():
    log = [
        LogEntry(n, "spray", START + timedelta(hours=n), (plant,), "soda")
        for n, plant in enumerate(("A1", "A2"), start=1)
    ]
    assert find_spray(log, "2").plants == ("A1", "A2")
    log.append(LogEntry(3, "spray", START, ("A3",), "peroxide"))
    with pytest.raises(NoTrendError, match="several sprays"):
        find_spray(log, "2025-06-02")


def test_an_unknown_spray_is_refused_with_those_there_are(garden):
    output = run("trend", "--effect", "copper", "--garden", garden, code=1)
    assert "no spray “copper”" in output
    assert "3 (soda, 2025-06-30)" in output


@pytest.fixture(scope="module")
def written(garden, tmp_path_factory):
    out = tmp_path_factory.mktemp("out") / "trend"
    run("trend", "--garden", garden, "--out", out, "--effect", "soda", "--threshold", "20")
    return out


def rows_of(path):
    return list(csv.DictReader(io.StringIO(path.read_text("utf-8"))))


def test_the_files_are_those_that_the_help_promises(written):
    names = {"trend.png", "trend.svg", "visits.csv", "plants.csv", "trend.json"}
    assert {path.name for path in written.iterdir()} == names | {OUTPUT_MARKER}
    promised = run("trend", "--help")
    assert all(name in promised for name in names)


def test_tables_hold_each_visit_and_each_plant_with_its_columns(written):
    visits, plants = rows_of(written / "visits.csv"), rows_of(written / "plants.csv")
    for name, rows in (("visits", visits), ("plants", plants)):
        assert list(rows[0]) == [column.name for column in TREND_TABLES[name].columns]
    assert len(visits) == 73
    assert len(plants) == 9
    for visit in visits:
        low, middle, high = (float(visit[f"{n}_pct"]) for n in ("low", "severity", "high"))
        assert 0 <= low <= middle <= high <= 100
        assert float(visit["whole_low_pct"]) <= low
        assert (visit["leaf_count"], visit["photo_count"]) == ("8", "1")
    by_plant = {row["plant"]: row for row in plants}
    assert by_plant["C3"]["rate_per_day"] == by_plant["C3"]["audpc_pct_days"] == ""
    assert by_plant["C3"]["reason"] == "only one visit"
    assert float(by_plant["B1"]["logistic_rate_per_day"]) == pytest.approx(0.09, abs=0.02)
    assert by_plant["B1"]["threshold_pct"] == "20.000"


def test_the_json_says_the_same_as_the_tables(written):
    whole = json.loads((written / "trend.json").read_text("utf-8"))
    plants = rows_of(written / "plants.csv")
    assert [p["plant"] for p in whole["plants"]] == [row["plant"] for row in plants]
    rates = [p["course"]["line"] and p["course"]["line"]["rate_per_day"] for p in whole["plants"]]
    written_rates = [row["rate_per_day"] and float(row["rate_per_day"]) for row in plants]
    assert [rate or "" for rate in rates] == [pytest.approx(r, abs=1e-5) for r in written_rates]
    assert whole["effect"]["verdict"] == "slower"
    assert len(whole["log"]) == 5


def test_the_charts_are_pictures_with_every_plant(written):
    assert cv2.imread(str(written / "trend.png")).std() > 10
    text = (written / "trend.svg").read_text("utf-8")
    assert text.startswith("<?xml")
    assert text.count('id="axes_') == 9


def test_the_same_season_gives_the_same_files(garden, tmp_path):
    for out in (tmp_path / "one", tmp_path / "two"):
        run("trend", "A1", "--garden", garden, "--out", out)
    for path in (tmp_path / "one").iterdir():
        assert (tmp_path / "two" / path.name).read_bytes() == path.read_bytes(), path.name


def test_a_garden_without_photos_says_what_to_do(tmp_path):
    (tmp_path / GARDEN_FILE).write_text(garden_text("Empty", "UTC", beds={"N": [["A1"]]}))
    for command in ("trend", "howmany"):
        output = run(command, "--garden", tmp_path, code=1)
        assert "spotlamp score" in output


def test_an_unknown_plant_and_a_wrong_threshold_are_wrong_usage(garden):
    assert "no plant “Z9”" in run("trend", "Z9", "--garden", garden, code=2)
    run("trend", "--threshold", "100", "--garden", garden, code=2)
    run("trend", "--garden", garden / "nowhere", code=2)


def test_a_camera_a_year_off_does_not_stretch_the_season(garden, tmp_path):
    for off, day in ((-365, 0), (365 * 40, 1)):
        folder = tmp_path / f"garden{off}"
        folder.mkdir()
        (folder / GARDEN_FILE).write_text((garden / GARDEN_FILE).read_text("utf-8"))
        with open_journal(garden) as source, open_journal(folder) as journal:
            for entry in source.photos(plant="B1"):
                journal.file_reading(entry)
            journal.file_reading(photo("B1", day + off, 99, 5.0))
        assert "1 plant, 9 visits, 72 leaves" in run("trend", "--garden", folder)


def test_a_terminal_without_drawn_signs_gets_plain_ones(garden):
    import subprocess
    import sys

    words = [sys.executable, "-m", "scripts", "trend", "B1", "--garden", str(garden)]
    environment = {"PYTHONIOENCODING": "ascii", "PYTHONPATH": ":".join(sys.path)}
    shown = subprocess.run(words, capture_output=True, env=environment, check=True).stdout
    text = shown.decode("ascii")
    assert "B1 ^ rising" in text
    assert "\\u" not in text


def test_how_many_leaves_follow_from_the_garden_and_the_wish(garden):
    assert run("howmany", "--garden", garden).startswith(
        "On each walk: three leaves of each plant, the third, sixth and ninth from below.\n"
    )
    output = run("howmany", "--garden", garden, "--precision", "20")
    assert "For the mean of bed North (6 plants):" in output
    assert "For the mean of bed South (3 plants):" in output

    def leaves(*words):
        shown = run("howmany", "--garden", garden, *words).splitlines()
        line = next(line for line in shown if "For one" in line)
        return int(line.split()[-2])

    assert leaves("--precision", "2") > leaves("--precision", "5") > leaves("--precision", "40")
    assert leaves("--points", "1") > leaves("--points", "3")
    run("howmany", "--garden", garden, "--precision", "0", code=2)


def test_day_and_plant_of_a_photo_are_read_in_the_gardens_time(tmp_path):
    """Half past eleven at night in UTC is the next day in Berlin."""
    (tmp_path / GARDEN_FILE).write_text(garden_text("G", "Europe/Berlin", beds={"N": [["A1"]]}))
    with open_journal(tmp_path) as journal:
        journal.file_reading(photo("A1", 0, (14 * 60) + 30, 5.0))
    assert "3 Jun" in run("trend", "--garden", tmp_path)


def test_the_season_reaches_to_the_gardens_day_not_the_computers(tmp_path, monkeypatch):
    """Kiritimati is a calendar day and more ahead of Pago Pago at any moment."""
    monkeypatch.setenv("TZ", "Pacific/Pago_Pago")
    time.tzset()
    try:
        zone = ZoneInfo("Pacific/Kiritimati")
        text = garden_text("Far garden", str(zone), beds={"North": [["A1"]]})
        (tmp_path / GARDEN_FILE).write_text(text, "utf-8")
        taken_at = datetime.now(zone) - timedelta(minutes=1)
        with open_journal(tmp_path) as journal:
            entry = replace(photo("A1", 0, 0, 3.0, 4.0), taken_at=taken_at, severity_pct=3.5)
            journal.file_reading(entry)
        told = run("trend", "--garden", tmp_path)
        computers = date.today()
    finally:
        monkeypatch.delenv("TZ")
        time.tzset()
    assert f"A1         {taken_at.day:2} " in told
    assert computers < taken_at.date()
