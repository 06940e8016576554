"""Advice that could do harm, lived day by day with the real commands: it must not be given.

Days and readings are those of an invented July; photos are filed straight into the journal.
"""

import re
from datetime import datetime
from zoneinfo import ZoneInfo

import icalendar
import pytest

from models.entries import PhotoEntry
from models.garden.settings import GARDEN_FILE
from models.journal import open_journal

ZONE = ZoneInfo("Europe/Berlin")
PLANTS = ("A1", "A2", "A3", "B1", "B2")


class Gardener:
    """Photographs, logs, and reads what is printed."""

    def __init__(self, folder, run):
        self.folder, self.run, self.taken = folder, run, 0

    def photo(self, plant, at, severity, pattern="spot", low=None, high=None, **more):
        """File a photo of one leaf."""
        self.taken += 1
        name = f"{plant}/{self.taken}.jpg"
        values = {
            "severity_pct": severity,
            "severity_low_pct": max(0.0, severity - 1) if low is None else low,
            "severity_high_pct": severity + 1 if high is None else high,
            "pattern": pattern,
            **more,
        }
        taken = datetime.fromisoformat(at).replace(tzinfo=ZONE)
        entry = PhotoEntry(
            name, name, taken, plant=plant, plant_from="folder", version="1", **values
        )
        with open_journal(self.folder) as journal:
            journal.file_reading(entry)

    def walk(self, day, *but, hour="05:30"):
        """File three leaves without symptoms of every plant but some."""
        for plant in PLANTS:
            for _ in range(0 if plant in but else 3):
                self.photo(plant, f"{day}T{hour}", 0.2, "none")

    def said(self, *words, at):
        """Return what a command says at a time, in one line."""
        return " ".join(self.run(*words, "--at", at).output.split())

    def log(self, words, at):
        """Log something, and return what is said."""
        return self.said("log", *words.split(), at=at)

    def tasks(self, at, days=14):
        """Return the plan's tasks as (day of the month, part, what)."""
        text = self.run("plan", "--at", at, "--days", days).output
        found, day = [], ""
        for block in re.split(r"\n(?=  \[ \]|\w{3} \d+ \w{3} \d{4}$|\S)", text, flags=re.M):
            head = re.match(r"\w{3} (\d+ \w{3}) \d{4}\s*$", block)
            task = re.match(r"  \[ \] ([a-z ]+): (.*)", block, re.S)
            day = head[1] if head else day
            if task:
                what = " ".join(task[2].split()).split(" Why: ")[0]
                found.append((day, task[1], what))
        return found

    def sprays(self, at, product="", **more):
        """Return the planned sprays of a product: "peroxide" or "soda"."""
        found = [t for t in self.tasks(at, **more) if re.match(r"(Spray|Spot-test) ", t[2])]
        return [t for t in found if product in t[2]]


@pytest.fixture
def gardener(tmp_path, monkeypatch, spotlamp):
    """Stand in a garden of two beds, sprayed with soda on 1 July."""
    folder = tmp_path / "beds"
    beds = ("--bed", "A=A1,A2,A3", "--bed", "B=B1,B2")
    spotlamp("new", folder, *beds, "--time-zone", "Europe/Berlin")
    monkeypatch.chdir(folder)
    one = Gardener(folder, spotlamp)
    one.log("spray soda all", "2025-07-01 07:30")
    return one


def test_a_plant_under_isolation_is_not_sprayed_because_a_week_has_passed(gardener):
    """Like late blight at 19.8 to 25 %; a week later 40 %, early or late not told apart."""
    gardener.walk("2025-07-06", "B1")
    late = {"pattern": "blight", "blight_kind": "late"}
    gardener.photo("B1", "2025-07-06T05:30", 22.4, low=19.8, high=25.0, **late)
    assert "!! B1 isolate" in gardener.said("flag", at="2025-07-06 06:00")
    gardener.walk("2025-07-13", "B1")
    unsure = {"pattern": "blight", "blight_kind": "unsure"}
    for _ in range(3):
        gardener.photo("B1", "2025-07-13T05:30", 40, low=36, high=44, **unsure)
    assert "!! B1 isolate" in gardener.said("flag", at="2025-07-13 06:00")
    for at in ("2025-07-13 06:00", "2025-07-15 06:00", "2025-07-20 06:00"):
        assert gardener.sprays(at, "soda")
        for _, _, what in gardener.sprays(at, days=40):
            assert "B1" not in what
            assert "all plants" not in what
    gardener.log("seen cleared B1", "2025-07-14 12:00")
    assert "isolate" not in gardener.said("flag", "B1", at="2025-07-15 06:00")


def test_choosing_a_plant_that_may_have_late_blight_leads_to_no_peroxide_and_says_why(gardener):
    gardener.walk("2025-07-10", "B1")
    gardener.photo("B1", "2025-07-10T05:30", 41, "blight", blight_kind="unsure")
    said = gardener.log("choose B1", "2025-07-10 06:00")
    assert "You chose B1 for the spot-test, but it may have late blight" in said
    for command in ("flag", "plan", "today"):
        assert "may have late blight" in gardener.said(command, at="2025-07-10 06:30")
    assert not gardener.sprays("2025-07-10 06:30", "peroxide")


def test_24_hours_a_look_one_more_day_then_the_others(gardener):
    """Tested on 10 July 07:30, no burn seen 11 July 08:00: the others on the 12th, not the 11th."""
    gardener.walk("2025-07-09", "A1", "A2")
    for plant, severity in (("A1", 22), ("A2", 12)):
        for _ in range(3):
            gardener.photo(plant, "2025-07-09T05:30", severity)
    assert "Spot-test A1" in gardener.said("today", at="2025-07-10 06:00")
    gardener.log("spray peroxide A1", "2025-07-10 07:30")
    assert gardener.sprays("2025-07-11 06:00", "peroxide") == []
    said = gardener.log("seen no-burn A1", "2025-07-11 08:00")
    assert "Next, from Sat 12 Jul 08:00: Spray A2 with the 3 % peroxide mix" in said
    (spray,) = gardener.sprays("2025-07-11 08:30", "peroxide")
    assert spray[0] == "12 Jul"
    assert "Not before Sat 12 Jul 08:00" in spray[2]
    assert "|| A2 hold" in gardener.said("flag", at="2025-07-11 08:30")
    today = gardener.said("today", at="2025-07-11 08:30")
    assert "Nothing to do today. Next, Sat 12 Jul in the morning: Spray A2" in today
    gardener.run("plan", "--at", "2025-07-11 08:30", "--ics", "plan.ics")
    events = icalendar.Calendar.from_ical((gardener.folder / "plan.ics").read_bytes())
    (event,) = [e for e in events.walk("VEVENT") if "peroxide mix" in e["summary"]]
    assert event["dtstart"].dt == datetime(2025, 7, 12, 8, tzinfo=ZONE)
    assert "one more day" in gardener.log("spray peroxide A2", "2025-07-11 09:00")
    assert "one more day, and only then the others" in " ".join(
        gardener.run("mix", "peroxide", "--water", "2l", "--bottle", "3%").output.split()
    )

    # And after the treatment a look for burn, before anything else is sprayed.
    gardener.log("--withdraw 4", "2025-07-11 09:05")
    said = gardener.log("spray peroxide A2", "2025-07-12 08:00")
    assert "Next, from Sun 13 Jul 08:00: Look at A2 for burn" in said
    gardener.log("rain 12mm", "2025-07-12 15:00")
    gardener.walk("2025-07-14", "A1", "A2")
    for at in ("2025-07-14 08:30", "2025-07-15 06:00", "2025-07-16 06:00"):
        assert "Look at A2 for burn" in gardener.said("today", at=at)
        assert "soda mix" not in gardener.said("today", at=at)
    gardener.log("seen no-burn A2", "2025-07-16 06:30")
    assert "soda mix" in gardener.said("today", at="2025-07-16 06:31")


def test_a_plant_sprayed_although_a_burn_was_seen_is_looked_at(gardener):
    gardener.walk("2025-07-09", "A1", "A2")
    for plant, severity in (("A1", 22), ("A2", 12)):
        gardener.photo(plant, "2025-07-09T05:30", severity)
    gardener.log("spray peroxide A1", "2025-07-10 07:30")
    gardener.log("seen no-burn A1", "2025-07-11 08:00")
    gardener.log("seen burned A1", "2025-07-11 18:00")
    assert not gardener.sprays("2025-07-12 06:00", "peroxide")
    said = gardener.log("spray peroxide A2", "2025-07-12 08:00")
    assert "although a burn was seen" in said
    assert "Look at A2 for burn" in said
    assert "Look at A2 for burn" in gardener.said("today", at="2025-07-13 09:00")


def test_soda_after_dew_each_morning_and_twice_within_an_hour_is_pointed_out(gardener):
    gardener.walk("2025-07-07")
    for day in range(8, 14):
        gardener.log("rain 0.2mm", f"2025-07-{day:02} 05:00")
        assert "soda mix" not in gardener.said("today", at=f"2025-07-{day:02} 06:00")
        said = gardener.log("spray soda all", f"2025-07-{day:02} 07:30")
        assert "soda on A1, A2, A3, B1 and B2" in said
        assert "more burns leaves" in said
    assert "less than 2 hours after soda" in gardener.log("spray soda all", "2025-07-13 08:15")
    (first, *_) = gardener.sprays("2025-07-13 12:00", "soda", days=20)
    assert first[0] == "27 Jul"
    gardener.log("rain 12mm", "2025-07-13 15:00")
    (first, *_) = gardener.sprays("2025-07-13 16:00", "soda")
    assert first[0] == "14 Jul"
    assert "more burns" not in gardener.log("spray soda all", "2025-07-14 07:30")


def test_in_november_no_plant_is_sprayed_on_photos_of_june(gardener):
    gardener.walk("2025-07-02")
    for at in ("2025-07-16 06:00", "2025-11-28 06:00"):
        assert gardener.sprays(at, days=30) == []
    asked = gardener.tasks("2025-07-16 06:00")
    assert any(what.startswith("Photograph A1, A2, A3, B1 and B2") for _, _, what in asked)
    (only,) = gardener.tasks("2025-11-28 06:00")
    assert "seen gone all" in only[2]
    gardener.log("seen gone all", "2025-11-28 12:00")
    assert gardener.tasks("2025-11-29 06:00") == []


def test_at_half_past_eleven_at_night_picking_is_for_the_night(gardener):
    taken = datetime(2025, 7, 5, 22, 30, tzinfo=ZONE)
    with open_journal(gardener.folder) as journal:
        journal.file_reading(
            PhotoEntry(
                *("B2/night.jpg", "B2/night.jpg", taken), plant="B2", plant_from="folder",
                version="1", mode="night", caterpillar_count=2, caterpillar_low=2,
                caterpillar_high=3,
            )
        )  # fmt: skip
    said = gardener.run("today", "--at", "2025-07-05 23:30").output
    assert re.search(r"Tonight\s+\[ \] at night: Pick the caterpillars off B2", said)
    assert "by day" not in said


def test_rain_in_the_stations_rows_of_the_morning_brings_the_remark(gardener):
    rain = [0.6 if 5 <= hour <= 9 else 0 for hour in range(24)]
    rows = [f"2025-07-20 {hour:02}:00,18,{mm}" for hour, mm in enumerate(rain)]
    lines = ["When,Out,Rain", *rows]
    (gardener.folder / "station.csv").write_text("\n".join(lines), "utf-8")
    with (gardener.folder / GARDEN_FILE).open("a", encoding="utf-8") as settings:
        settings.write(
            '[weather]\nfile = "station.csv"\ntime = "When"\ntemperature = "Out:C"\n'
            'rain = "Rain:mm"\n'
        )
    said = gardener.log("spray soda all", "2025-07-20 08:00")
    assert "the leaves were probably wet on Sun 20 Jul: spray dry leaves" in said


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("peroxid", "peroxide"), ("Peroxyde", "peroxide"), ("sodda", "soda"),
     ("soda+aspirn", "aspirin"), ("coper", "copper")],
)  # fmt: skip
def test_a_product_that_is_not_known_is_asked_about_and_never_guessed(
    gardener, spotlamp, typed, meant
):
    at = ("--at", "2025-07-10 07:30")
    said = " ".join(spotlamp("log", "spray", typed, "A1", *at, code=2).output.split())
    assert f"Did you mean {meant}?" in said
    assert "--other" in said
    with open_journal(gardener.folder) as journal:
        assert [e.product for e in journal.log_entries(kind="spray")] == ["soda"]


def test_another_product_is_logged_when_the_grower_says_so_and_known_from_then_on(
    gardener, spotlamp
):
    at = ("--at", "2025-07-10 07:30")
    assert "no product known" in " ".join(
        spotlamp("log", "spray", "milk", "A1", *at, code=2).output.split()
    )
    said = " ".join(spotlamp("log", "spray", "milk", "A1", "--other", *at).output.split())
    assert "sprayed milk: A1" in said
    assert "no rules are known" in said
    spotlamp("log", "spray", "milk", "A2", "--at", "2025-07-20 07:30")


def test_mix_suggests_the_recipe_that_may_be_meant(spotlamp):
    said = spotlamp("mix", "peroxid", "--water", "2l", "--bottle", "3%", code=1).output
    assert "Did you mean peroxide?" in said
