"""``spotlamp weather`` as a grower sees it, with a garden and without."""

from datetime import UTC, datetime, timedelta

import cv2
import pytest
from typer.testing import CliRunner

from models.entries import LogEntry, PhotoEntry
from models.garden.settings import GARDEN_FILE, read_garden
from models.journal import open_journal
from scripts.care.weather_file import garden_weather
from scripts.cli import app
from scripts.garden.make import make_garden

COLUMNS = ("--time", "Time", "--temperature", "Out:C", "--humidity", "RH:%", "--rain", "Rain:mm")


def station(path, days=8, gap=range(0)):
    """Write warm, humid days from 1 June on, with 2 mm of rain each midnight."""
    at = datetime(2026, 6, 1)
    rows = [
        f"{at + timedelta(hours=n)},22,95,{2 if n % 24 == 0 else 0}"
        for n in range(24 * days)
        if n not in gap
    ]
    rows.insert(0, "Time,Out,RH,Rain")
    path.write_text("\n".join(rows), "utf-8")
    return path


@pytest.fixture
def file(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return station(tmp_path / "station.csv")


def run(*words):
    return CliRunner().invoke(app, ["weather", *(str(word) for word in words)])


def at(day):
    return ("--at", f"2026-06-{day:02} 12:00")


def row(output, day):
    return next(line for line in output.splitlines() if line.startswith(f"2026-06-{day:02}"))


def test_each_day_says_what_it_favoured_and_adds_nothing_up(file):
    shown = run(file, *COLUMNS, *at(8)).output
    # 24 hours of 22 °C and 95 %: the most by both tables, every day alike.
    assert " ".join(row(shown, 2).split()) == "2026-06-02 2 mm 24 22.0 24 22.0 much much"
    assert row(shown, 6).split()[3:] == row(shown, 3).split()[3:]


def test_what_is_said_asks_for_a_look_and_never_names_a_product(garden):
    shown = " ".join(run("--garden", garden, *at(8)).output.split())
    assert "photograph them" in shown
    assert not {"soda", "peroxide", "copper", "threshold", "sum"} & set(shown.lower().split())


def test_sources_stand_below_and_the_remembered_table_is_marked(file):
    shown = " ".join(run(file, *COLUMNS, *at(8)).output.split())
    assert "Michigan State University" in shown
    assert "from memory, check before relying on it" in shown


def test_gaps_and_the_forecast_are_named(tmp_path, file):
    station(file, gap=range(30, 35))
    shown = run(file, *COLUMNS, *at(6)).output
    assert "No data from 2026-06-02 06:00 to 2026-06-02 11:00 (5 hours)." in shown
    assert row(shown, 2).endswith("5 h missing")
    assert "forecast" not in row(shown, 6)
    assert "forecast" in row(shown, 7)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "Name the column of the time"),
        (("--time", "Time", "--temperature", "Out"), "State the unit"),
        (("--time", "When", "--temperature", "Out:C"), "no column “When”"),
        (("--time", "Time", "--temperature", "Out:C", "--zone", "Mars"), "no time zone"),
    ],
)
def test_wrong_columns_are_refused_in_one_sentence(file, words, said):
    result = run(file, *words)
    assert result.exit_code == 1
    assert said in result.stderr
    assert len(result.stderr.splitlines()) == 1


def test_the_chart_is_a_picture(file, tmp_path):
    assert run(file, *COLUMNS, *at(8), "--chart", tmp_path / "risk.png").exit_code == 0
    assert cv2.imread(str(tmp_path / "risk.png")).shape[1] > 600
    assert run(file, *COLUMNS, *at(8), "--chart", tmp_path / "risk.svg").exit_code == 0
    assert "<svg" in (tmp_path / "risk.svg").read_text()


@pytest.fixture
def garden(file, tmp_path):
    folder = tmp_path / "garden"
    make_garden(folder, ["North=A1"], time_zone="UTC")
    station(folder / "station.csv")
    with (folder / GARDEN_FILE).open("a") as settings:
        settings.write(
            '\n[weather]\nfile = "station.csv"\ntime = "Time"\ntemperature = "Out:C"\n'
            'humidity = "RH:%"\nrain = "Rain:mm"\n'
        )
    return folder


def test_a_gardens_settings_name_its_file_and_columns(garden):
    assert row(run("--garden", garden, *at(8)).output, 6).split()[-1] == "much"


def look(garden, plant, day):
    with open_journal(garden) as journal:
        when = datetime(2026, 6, day, 7, tzinfo=UTC)
        name = f"{plant}-{day}.jpg"
        journal.file_reading(
            PhotoEntry(name, name.ljust(64, "0"), when, plant=plant, severity_pct=4.0)
        )


def test_each_plant_is_judged_from_its_own_last_look(garden):
    make_garden(garden, ["South=B1,B2"])
    look(garden, "A1", 4)
    look(garden, "B1", 2)
    look(garden, "B1", 7)
    lines = run("--garden", garden, *at(8)).output.splitlines()
    said = {line.split()[0]: " ".join(line.split()[1:]) for line in lines[2:5]}
    # Wet all the time: 29 hours since the 7th at 7, 101 since the 4th at 7, all since the 1st.
    assert said == {
        "B1": "Sun 7 Jun 29 h much, Mon 8 Jun much, Mon 8 Jun from Wed 10 Jun",
        "A1": "Thu 4 Jun 101 h much, Fri 5 Jun much, Fri 5 Jun now",
        "B2": "never 180 h much, Tue 2 Jun much, Tue 2 Jun now",
    }


def test_a_spray_does_not_change_what_the_weather_favoured_and_rain_is_counted_from_it(garden):
    look(garden, "A1", 3)
    before = run("--garden", garden, *at(8)).output
    with open_journal(garden) as journal:
        sprayed = datetime(2026, 6, 4, 7, tzinfo=UTC)
        journal.log(LogEntry(0, "spray", sprayed, ("A1",), product="soda"))
    shown = run("--garden", garden, *at(8)).output
    assert shown.splitlines()[:12] == before.splitlines()[:12]
    assert "8 mm since the last spray" in shown  # four midnights


def test_without_a_garden_nobody_looked_and_it_says_so(file):
    assert "for the plants of a garden" in " ".join(run(file, *COLUMNS, *at(8)).output.split())


def test_the_chart_names_its_signs_and_grows_by_the_looks(garden):
    chart = garden / "wet.svg"
    run("--garden", garden, *at(8), "--chart", chart)
    without = chart.read_text()
    look(garden, "A1", 3)
    run("--garden", garden, *at(8), "--chart", chart)
    signs = ("one photo of a plant", "hours with wet leaves", "favoured much")
    assert all(f"<!-- {sign}" in chart.read_text() for sign in signs)
    assert "<!-- favoured much" in without
    assert "<!-- one photo of a plant" not in without


def test_the_spray_calendar_gets_the_gardens_days(garden):
    days = garden_weather(read_garden(garden), garden)
    assert len(days) == 8
    assert (days[0].rain_mm, days[0].hottest_c, days[0].wet_morning) == (2, 22, True)


def test_a_garden_without_weather_has_no_days(tmp_path):
    make_garden(tmp_path / "dry", ["North=A1"], time_zone="UTC")
    assert garden_weather(read_garden(tmp_path / "dry"), tmp_path / "dry") == ()


def test_settings_that_are_not_known_are_named(garden):
    text = (garden / GARDEN_FILE).read_text().replace("humidity =", "humid =")
    (garden / GARDEN_FILE).write_text(text)
    result = run("--garden", garden)
    assert result.exit_code == 1
    assert "knows no “humid”" in result.stderr


def test_the_plan_waits_for_rain_that_is_forecast(garden):
    """The station's rows from the 3rd on are forecast; it rains every midnight until the 8th."""
    look(garden, "A1", 2)  # without one, nothing is sprayed
    words = ["plan", "--garden", str(garden), "--at", "2026-06-02 12:00"]
    wet = CliRunner().invoke(app, words).output
    text = (garden / GARDEN_FILE).read_text().partition("[weather]")[0]
    (garden / GARDEN_FILE).write_text(text)
    dry = CliRunner().invoke(app, words).output
    assert "rain on" in wet
    assert "rain on" not in dry


def test_celsius_read_as_fahrenheit_is_asked_about_by_weather_and_plan(garden, file):
    columns = ("--time", "Time", "--temperature", "Out:F", "--humidity", "RH:%")
    shown = " ".join(run(file, *columns, *at(8)).output.split())
    assert "Column “Out” (lines 2 to 193) is hardly temperature in F" in shown
    assert "Is it in C (22 to 22 °C)?" in shown
    settings = garden / GARDEN_FILE
    settings.write_text(settings.read_text("utf-8").replace("Out:C", "Out:F"), "utf-8")
    words = ["plan", "--garden", str(garden), "--at", "2026-06-08 12:00"]
    assert "Column “Out”" in " ".join(CliRunner().invoke(app, words).output.split())
