"""``spotlamp season``: a new one begins, the old one stays readable, and it can be taken back."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from models.entries import LeafEntry, PhotoEntry
from models.journal import open_journal

ZONE = ZoneInfo("Europe/Berlin")
FIRST = datetime(2025, 6, 2, 8, tzinfo=ZONE)


def _photo(plant, at, severity):
    leaves = tuple(
        LeafEntry(n, 1e5, 3, severity + n, 0.0, severity + n, severity, severity + 5, "spot")
        for n in (1, 2, 3)
    )
    name = f"{plant}/{at:%Y%m%d}.jpg"
    sha = name.encode().hex().rjust(64, "0")[-64:]
    return PhotoEntry(
        name, sha, at, plant=plant, leaves=leaves, severity_pct=severity, pattern="spot"
    )


@pytest.fixture
def planted(tmp_path, spotlamp):
    """Make a garden with a season of its record; B1 was lost, and A1 grew sick."""
    folder = tmp_path / "plot"
    spotlamp("new", folder, "--bed", "North=A1,A2", "--bed", "South=B1", "--time-zone", str(ZONE))
    with open_journal(folder) as journal:
        for day in range(0, 40, 7):
            at = FIRST + timedelta(days=day)
            for plant, severity in (("A1", 2 + day / 2), ("A2", 1.0), ("B1", 9.0)):
                journal.file_reading(_photo(plant, at, severity))
    spotlamp("log", "spray", "soda", "A2", "--at", "2025-06-10 07:00", "--garden", folder)
    spotlamp("log", "seen", "gone", "B1", "--at", "2025-07-10 19:00", "--garden", folder)
    return folder


@pytest.fixture
def run(spotlamp, planted):
    return lambda *words, code=0: spotlamp(*words, "--garden", planted, code=code).output


def test_the_seasons_are_listed(run):
    assert run("season").split("\n")[0] == (
        "2025  2 Jun to 10 Jul 2025: 18 photos, 2 entries, going on"
    )


def test_plants_of_the_same_names_start_afresh_everywhere(run):
    assert "Closed: the season 2025" in run("season", "new", "--at", "2026-03-01")
    later = ("--at", "2026-03-05 08:00")
    flagged = run("flag", *later)
    assert flagged.count("no measured photo") == 3
    assert "B1" in flagged  # it was taken out, and another plant stands there
    assert "soda" not in run("plan", *later)
    assert "Photograph" in run("today", *later)
    assert "began on Sun 1 Mar 2026" in run("trend", *later, code=1)


def test_weather_counts_from_no_look_at_last_seasons_plants(run, tmp_path):
    station = tmp_path / "station.csv"
    rows = "".join(f"2025-07-{6 + n // 24:02} {n % 24:02}:00,18,95,0.2\n" for n in range(96))
    station.write_text(f"Time,Out,RH,Rain\n{rows}", encoding="utf-8")
    words = ("--time", "Time", "--temperature", "Out:C", "--humidity", "RH:%", "--rain", "Rain:mm")
    told = ("weather", station, *words, "--at", "2025-07-09 20:00")
    assert "Mon 7 Jul" in run(*told)
    run("season", "new", "--at", "2025-07-09 12:00")
    assert "never" in run(*told)


def test_the_old_season_stays_readable_as_it_ended(run, planted):
    before = run("trend", "--at", "2025-07-11 12:00")
    run("season", "new", "--at", "2026-03-01")
    assert run("trend", "--season", "2025") == before
    with open_journal(planted) as journal:
        journal.file_reading(_photo("A1", datetime(2026, 6, 1, 8, tzinfo=ZONE), 50.0))
    assert run("trend", "--season", "2025") == before
    assert "50" not in run("trend", "--season", "2025", "A1")
    assert "1 plant, 1 visit" in run("trend", "--season", "2026")


def test_a_plant_that_left_the_garden_since_is_still_told_of(run, planted):
    run("season", "new", "--at", "2026-03-01")
    settings = planted / "garden.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.replace('"A2"', '"A9"'), encoding="utf-8")
    told = run("trend", "--season", "2025")
    assert "A2" in told
    assert "A9" not in told


def test_it_is_taken_back_and_all_is_as_before(run):
    before = [run(word, "--at", "2025-07-11 12:00") for word in ("flag", "plan", "trend")]
    run("season", "new", "--at", "2025-07-11 06:00")
    assert [run("flag", "--at", "2025-07-11 12:00")] != before[:1]
    assert "Taken back" in run("season", "--undo")
    assert [run(w, "--at", "2025-07-11 12:00") for w in ("flag", "plan", "trend")] == before
    assert "nothing to take back" in run("season", "--undo", code=1)


def test_it_stands_in_the_log_and_is_corrected_and_taken_back_there_too(run):
    run("season", "new", "--at", "2026-03-01")
    assert "3  2026-03-01 00:00  new season" in run("log")
    assert "new season" in run("log", "--correct", "3", "--at", "2026-02-01 09:00")
    assert "from 1 Feb 2026" in run("season")
    run("log", "--withdraw", "4")
    assert "2026" not in run("season")


def test_export_and_import_carry_it(run, spotlamp, tmp_path):
    run("season", "new", "--at", "2026-03-01")
    run("export", tmp_path / "record")
    again = tmp_path / "again"
    same = ("--name", "plot", "--time-zone", str(ZONE))
    spotlamp("new", again, "--bed", "North=A1,A2", "--bed", "South=B1", *same)
    spotlamp("import", tmp_path / "record", "--garden", again)
    for words in (("season",), ("trend", "--season", "2025"), ("flag", "--at", "2026-03-05 08:00")):
        assert spotlamp(*words, "--garden", again).output == run(*words)


def test_what_was_recorded_after_a_day_named_late_belongs_to_the_new_one(run):
    said = run("season", "new", "--at", "2025-06-20")
    assert "9 photos and 1 entry recorded since then belong to it" in said
    assert "2025-2" in run("season")


def test_care_that_is_still_open_is_pointed_out(run):
    run("log", "spray", "peroxide", "A1", "--at", "2025-07-07 07:00")
    said = run("season", "new", "--at", "2025-07-08 12:00")
    assert "Still open was the care of A1" in said


@pytest.mark.parametrize(
    ("words", "code", "why"),
    [
        (("new", "--at", "2025-01-01"), 1, "there is no season to close"),
        (("new", "--at", "2999-01-01"), 2, "still to come"),
        (("new", "--undo"), 2, "goes alone"),
        (("--at", "2025-01-01"), 2, "belongs to"),
        (("old",), 2, "old"),
    ],
)
def test_what_cannot_be_is_refused(run, words, code, why):
    assert why in " ".join(run("season", *words, code=code).replace("│", " ").split())


def test_a_season_that_holds_nothing_is_not_closed_again(run):
    run("season", "new", "--at", "2026-03-01")
    assert "since the season began on 1 Mar 2026" in run(
        "season", "new", "--at", "2026-04-01", code=1
    )
    assert "no season “2019”" in run("trend", "--season", "2019", code=1)
    assert "own days" in run("trend", "--season", "2025", "--since", "2025-06-10", code=2)
