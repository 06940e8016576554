"""``spotlamp log``, ``flag``, ``plan`` and ``today``: the real commands on a real journal."""

import re
import shlex
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pint
import pytest
from typer.main import get_command

from models.care import BurnVerdict, Thresholds, entry_of
from models.care.habits import HABITS
from models.care.signs import SIGNS
from models.care.words import rain_words
from models.entries import PhotoEntry
from models.garden.settings import GARDEN_FILE, read_garden
from models.journal import open_journal
from scripts.care.log_words import READERS, read_words
from scripts.cli import app
from scripts.common.moments import moment, now_in
from scripts.workshop.figures.care_rules import rules_text
from scripts.workshop.figures.write import held

ZONE = "Europe/Berlin"


@pytest.fixture
def beds(tmp_path, monkeypatch, spotlamp) -> Path:
    """Stand in a garden of two beds."""
    folder = tmp_path / "beds"
    spotlamp(
        *("new", folder, "--bed", "North=A1,A2/A3,A4", "--bed", "South=B1,B2"),
        *("--time-zone", ZONE),
    )
    monkeypatch.chdir(folder)
    return folder


def entries(folder, **more):
    with open_journal(folder) as journal:
        return journal.log_entries(**more)


def file_photo(folder, plant, taken_at, severity, pattern="spot", **more):
    taken = datetime.fromisoformat(taken_at).replace(tzinfo=ZoneInfo(ZONE))
    name = f"{plant}/{taken_at}-{len(more)}.jpg"
    values = {
        "severity_pct": severity,
        "severity_low_pct": max(0, severity - 1),
        "severity_high_pct": severity + 1,
        "pattern": pattern,
        **more,
    }
    with open_journal(folder) as journal:
        journal.file_reading(
            PhotoEntry(name, name, taken, plant=plant, plant_from="folder", version="1", **values)
        )


def look_at_all(folder, *days):
    """File a photo of each plant without symptoms, on some days of July 2025."""
    for day in days:
        for plant in ("A1", "A2", "A3", "A4", "B1", "B2"):
            file_photo(folder, plant, f"2025-07-{day:02}T05:00", 0.2, "none")


@pytest.mark.parametrize(
    ("words", "kind", "plants", "product", "amount", "text"),
    [
        ("spray soda A1 a2", "spray", ("A1", "A2"), "soda", None, ""),
        ("spray Soda+Aspirin South", "spray", ("B1", "B2"), "soda+aspirin", None, ""),
        ("spray peroxide A1,B2", "spray", ("A1", "B2"), "peroxide", None, ""),
        ("spray hydrogen peroxide A1", "spray", ("A1",), "peroxide", None, ""),
        ("spray H2O2 A1", "spray", ("A1",), "peroxide", None, ""),
        ("spray baking soda A1", "spray", ("A1",), "soda", None, ""),
        ("spray copper A1", "spray", ("A1",), "copper", None, ""),
        ("spray soda all", "spray", ("A1", "A2", "A3", "A4", "B1", "B2"), "soda", None, ""),
        ("rain 12mm", "rain", (), "", 12.0, ""),
        ("rain 3.5", "rain", (), "", 3.5, ""),
        ("rain 0.5in", "rain", (), "", 12.7, ""),
        ("pick 3 B2", "hand_pick", ("B2",), "", 3.0, ""),
        ("leaves 4 A1", "removed_leaves", ("A1",), "", 4.0, ""),
        ("water north", "watering", ("A1", "A2", "A3", "A4"), "", None, ""),
        ("note first fruit A1", "note", ("A1",), "", None, "first fruit"),
        ("note cold night", "note", (), "", None, "cold night"),
        ("seen wilting A1", "seen", ("A1",), "", None, "wilting"),
        ("seen cocoons 2 A1", "seen", ("A1",), "", 2.0, "cocoons"),
        ("choose A3", "choice", ("A3",), "", None, ""),
        ("decline basil", "decline", (), "", None, "basil"),
    ],
)
def test_each_form_is_logged_as_it_was_typed(
    beds, spotlamp, words, kind, plants, product, amount, text
):
    said = spotlamp("log", *words.split(), "--at", "2025-07-01 07:30").output
    (entry,) = entries(beds)
    assert (entry.kind, entry.plants, entry.product, entry.text) == (kind, plants, product, text)
    assert entry.amount == pytest.approx(amount) if amount else entry.amount is None
    assert f"{entry.at:%Y-%m-%d %H:%M}" == "2025-07-01 07:30"
    assert said.startswith("Logged: 1  2025-07-01 07:30")


@pytest.mark.parametrize(
    "words",
    [
        "spay soda A1",
        "spray",
        "spray soda",
        "spray A1",
        "rain",
        "rain much",
        "pick A1",
        "pick 3",
        "seen happy A1",
        "choose A1 A2",
        "decline everything",
        "note",
    ],
)
def test_words_that_say_nothing_are_refused_with_the_form_that_would(beds, spotlamp, words):
    said = spotlamp("log", *words.split(), code=2).output
    assert re.search(r"Write: spotlamp log|there are|There are|choose one", " ".join(said.split()))
    assert entries(beds) == ()


KINDS = dict(get_command(app).commands["log"].commands)


def test_there_is_a_command_for_each_kind_of_entry_in_the_same_order():
    assert list(KINDS) == list(READERS)


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_of_entry_tells_in_its_help_how_it_is_typed(kind, spotlamp):
    shown = spotlamp("log", kind, "--help").output
    assert f"log {kind} {KINDS[kind].params[0].metavar}" in shown
    assert re.search(rf"As in: spotlamp log {kind} \S", shown)
    assert all(option in shown for option in ("--at TIME", "--correct N", "--garden DIR"))
    assert ("--other" in shown) == (kind == "spray")
    listed = spotlamp("log", "--help").output.split("Commands:")[1]
    assert f"{kind}  " in listed


@pytest.mark.parametrize("kind", KINDS)
def test_the_example_in_the_help_of_an_entry_can_be_typed(kind, spotlamp, tmp_path):
    spotlamp("new", tmp_path / "like", "--bed", "North=A2,A3,B3")
    (line,) = re.findall(r"As in: spotlamp (.*)", spotlamp("log", kind, "--help").output)
    spotlamp(*shlex.split(line), "--garden", tmp_path / "like")
    assert len(entries(tmp_path / "like")) == 1


def test_the_help_lists_each_sign_and_each_habit(spotlamp):
    signs = " ".join(spotlamp("log", "seen", "--help").output.split())
    assert all(f"{sign} {meaning}" in signs for sign, meaning in SIGNS.items())
    habits = spotlamp("log", "decline", "--help").output
    assert all(f"  {habit.name}  " in habits for habit in HABITS)


def test_options_of_an_entry_stand_before_or_behind_its_words_and_the_nearer_holds(beds, spotlamp):
    spotlamp("log", "--at", "2025-07-01 07:30", "Rain", "5mm")
    spotlamp("log", "rain", "--at", "2025-07-01 08:30", "5mm")
    spotlamp("log", "--at", "2025-07-01 07:30", "rain", "5mm", "--at", "2025-07-01 09:30")
    assert [entry.at.hour for entry in entries(beds)] == [7, 8, 9]
    spotlamp("log", "--correct", 1, "rain", "6mm")
    spotlamp("log", "rain", "7mm", "--correct", 2)
    assert [entry.amount for entry in entries(beds)] == [6, 7, 5]
    spotlamp("log", "--other", "Spray", "milk", "A1")
    spotlamp("log", "rain", "5mm", "--correct", 0, code=1)
    assert len(entries(beds)) == 4


def test_options_that_mean_nothing_together_are_refused_and_nothing_is_logged(beds, spotlamp):
    spotlamp("log", "rain", "5mm")
    for words in (["--withdraw", 1, "rain", "5mm"], ["--withdraw", 1, "--correct", 1]):
        assert "taken back alone" in spotlamp("log", *words, code=2).output
    assert "with a spray" in spotlamp("log", "--other", "rain", "5mm", code=2).output
    spotlamp("log", "rain", "5mm", "--other", code=2)
    assert len(entries(beds)) == 1


def test_an_unknown_plant_is_refused_with_those_like_it(beds, spotlamp):
    assert "A3" in spotlamp("log", "water", "A33", code=2).output
    assert entries(beds) == ()


def test_all_means_the_plants_that_still_stand(beds, spotlamp):
    spotlamp("log", "seen", "gone", "A2", "B1", "--at", "2025-07-01 12:00")
    spotlamp("log", "spray", "soda", "all", "--at", "2025-07-02 07:30")
    spotlamp("log", "spray", "soda", "South", "B1", "--at", "2025-07-03 07:30")
    _, everyone, named = entries(beds)
    assert everyone.plants == ("A1", "A3", "A4", "B2")
    assert named.plants == ("B1", "B2")


def test_inches_of_rain_agree_with_an_independent_unit_library(beds):
    units = pint.UnitRegistry()
    for inches in (0.01, 0.5, 1, 2.75):
        said = read_words(["rain", f"{inches}in"], read_garden(beds))
        expected = units.Quantity(inches, "inch").to("millimetre").magnitude
        assert said.amount == pytest.approx(expected, rel=1e-12)


def test_an_american_garden_types_and_reads_inches(beds, spotlamp):
    settings = beds / GARDEN_FILE
    settings.write_text(settings.read_text("utf-8").replace('"metric"', '"US"'), "utf-8")
    assert "rain 0.5 in" in spotlamp("log", "rain", "0.5").output
    assert entries(beds)[0].amount == pytest.approx(12.7)


def test_an_entry_is_corrected_in_time_plants_or_whole_and_the_first_stays_behind(beds, spotlamp):
    spotlamp("log", "spray", "soda", "A1", "--at", "2025-07-01 19:30")
    spotlamp("log", "--correct", 1, "--at", "2025-07-01 07:30")
    (entry,) = entries(beds)
    assert (entry.product, entry.plants, entry.at.hour, entry.corrects) == ("soda", ("A1",), 7, 1)
    spotlamp("log", "--correct", 2, "spray", "soda", "A1", "A2")
    (entry,) = entries(beds)
    assert (entry.plants, entry.at.hour) == (("A1", "A2"), 7)
    assert len(entries(beds, with_corrected=True)) == 3


def test_an_entry_is_taken_back_once(beds, spotlamp):
    spotlamp("log", "rain", "5mm")
    assert "Taken back" in spotlamp("log", "--withdraw", 1).output
    assert entries(beds) == ()
    assert "entry 1" in spotlamp("log", "--withdraw", 1, code=1).output
    assert "Nothing is logged" in spotlamp("log").output


def test_the_log_lists_what_holds(beds, spotlamp):
    spotlamp("log", "rain", "5mm", "--at", "2025-07-02 12:00")
    spotlamp("log", "spray", "soda", "A1", "--at", "2025-07-01 07:30")
    lines = spotlamp("log").output.splitlines()
    assert lines == [
        "2  2025-07-01 07:30  sprayed soda: A1",
        "1  2025-07-02 12:00  rain 5 mm",
    ]


def test_the_log_names_a_burn_checks_verdict(beds, spotlamp):
    at = moment("2025-07-02 09:00", ZONE)
    with open_journal(beds) as journal:
        journal.log(entry_of(BurnVerdict("cannot tell", "A1", 1, at, {"new_pale_pct": 0.5})))
    assert spotlamp("log").output.strip() == "1  2025-07-02 09:00  burn check cannot tell: A1"


def test_what_is_still_to_come_cannot_be_logged(beds, spotlamp):
    said = spotlamp("log", "rain", "5mm", "--at", "2999-01-01 12:00", code=2).output
    assert "still to come" in " ".join(said.split())


@pytest.mark.parametrize("text", ["noon", "2025-13-01", "25:00", "yesterday at dawn"])
def test_a_time_that_is_none_is_refused_with_an_example(beds, spotlamp, text):
    assert "2026-06-01 07:30" in spotlamp("log", "rain", "5mm", "--at", text, code=2).output


def test_times_are_read_in_the_gardens_zone():
    assert moment("2025-07-01 07:30", ZONE).isoformat() == "2025-07-01T07:30:00+02:00"
    assert moment("2025-01-01", ZONE, hour=8).isoformat() == "2025-01-01T08:00:00+01:00"
    yesterday = moment("yesterday 19:00", ZONE)
    assert (now_in(ZONE).date() - yesterday.date()).days == 1
    assert moment("00:00", ZONE).date() == now_in(ZONE).date()


@pytest.mark.parametrize(
    ("before", "words", "at", "pointed_out"),
    [
        ([], "spray soda A1", "2025-07-20 19:30", "spray in the morning"),
        (
            [("spray soda A1", "2025-06-30 07:30")],
            "spray soda A1",
            "2025-07-20 07:30",
            "20 days after the last preventive spray, 6 too late",
        ),
        (
            [("spray soda all", "2025-07-19 07:30")],
            "spray peroxide A1",
            "2025-07-20 07:30",
            "peroxide 24 hours after soda",
        ),
        ([], "spray peroxide A1 A2", "2025-07-20 07:30", "without a spot-test"),
    ],
)
def test_a_spray_against_a_rule_is_recorded_as_it_happened_and_pointed_out(
    beds, spotlamp, before, words, at, pointed_out
):
    for earlier, when in before:
        spotlamp("log", *earlier.split(), "--at", when)
    said = " ".join(spotlamp("log", *words.split(), "--at", at).output.split())
    assert pointed_out in said
    assert f"{entries(beds)[-1].at:%Y-%m-%d %H:%M}" == at
    shown = " ".join(spotlamp("plan", "--at", "2025-07-20 20:00").output.split())
    assert pointed_out in shown


def test_flag_shows_reading_rule_and_photo_of_the_plants_that_were_asked_for(beds, spotlamp):
    spotlamp("log", "spray", "soda", "all", "--at", "2025-06-30 07:30")
    file_photo(beds, "A1", "2025-07-02T08:00", 20)
    for plant in ("A2", "B1"):
        file_photo(beds, plant, "2025-07-02T08:00", 0.2, "none")
    said = " ".join(spotlamp("flag", "a1", "--at", "2025-07-02 12:00").output.split())
    assert "A1 spot-test Wed 2 Jul: 20.0 % sick (19.0 to 21.0 %), spot-like" in said
    assert "One plant first" in said
    assert "Photo: A1/2025-07-02T08:00" in said
    assert "A2" not in said
    assert "not a diagnosis" in said


def test_flag_reads_what_score_has_filed(beds, spotlamp, paint_photo):
    paint_photo(beds / "photos" / "A1" / "2025-07-02_12-00.jpg")
    paint_photo(beds / "photos" / "2025-07-02_13-00.jpg", seed=1)
    spotlamp("score", "photos", "--out", "results")
    with open_journal(beds) as journal:
        measured = {photo.plant: photo for photo in journal.photos()}["A1"]
    assert measured.severity_pct > 0
    said = spotlamp("flag", "A1", "--at", "2025-07-02 20:00").output
    assert f"Wed 2 Jul: {measured.severity_pct:.1f} % sick" in said
    assert "1 photo has no plant yet" in said


def test_flag_follows_the_growers_own_word_on_a_pattern(beds, spotlamp):
    spotlamp("log", "spray", "soda", "all", "--at", "2025-06-30 07:30")
    file_photo(beds, "A1", "2025-07-02T08:00", 20)
    file_photo(beds, "A2", "2025-07-02T08:00", 0.2, "none")
    spotlamp("relabel", "A1/2025-07-02T08:00-0.jpg", "blight", "--kind", "late")
    assert "isolate" in spotlamp("flag", "A1", "--at", "2025-07-02 12:00").output


def test_flag_shows_the_rules_with_the_gardens_own_thresholds(beds, spotlamp):
    settings = beds / GARDEN_FILE
    text = settings.read_text("utf-8").replace("[care]", "[care]\nsick_pct = 7.5")
    settings.write_text(text, "utf-8")
    assert "7.5 %" in spotlamp("flag", "--rules").output
    settings.write_text(text.replace("sick_pct", "sick"), "utf-8")
    assert "know no “sick”" in spotlamp("plan", code=1).output


def test_the_written_rules_are_those_of_the_code():
    """``python -m scripts.workshop figures care_rules`` writes them anew."""
    written = held("care-rules")[2]
    assert written.strip() == rules_text()
    assert f"| `sick_pct` | {Thresholds().sick_pct:g} |" in written


def test_plan_states_every_caution_in_full_and_today_reminds_those_who_have_read_them(
    beds, spotlamp
):
    def said(command, at):
        return " ".join(spotlamp(command, "--at", at).output.split())

    look_at_all(beds, 1, 14)
    first = said("today", "2025-07-01 06:00")
    assert "labels, local rules and licensed practice come before" in first
    spotlamp("log", "spray", "soda", "all", "--at", "2025-07-01 07:30")
    again = said("today", "2025-07-15 06:00")
    assert "labels, local rules and licensed practice come before" not in again
    assert "label and local rules first" in again
    for at in ("2025-07-01 06:00", "2025-07-15 06:00"):
        planned = said("plan", at)
        assert "labels, local rules and licensed practice come before" in planned
        assert "gloves and eye protection" in planned


def test_today_walks_the_shortest_way_and_visits_isolated_plants_last(beds, spotlamp):
    spotlamp("log", "spray", "soda", "all", "--at", "2025-06-30 07:30")
    spotlamp("log", "seen", "wilting", "A1", "--at", "2025-07-01 18:00")
    said = spotlamp("today", "--at", "2025-07-02 06:00").output
    way = re.search(r"Way round: (.*) \(about", said)[1].split(" > ")
    assert sorted(way) == ["A1", "A2", "A3", "A4", "B1", "B2"]
    assert way[-1] == "A1"


def test_the_way_round_takes_in_the_plants_to_be_sprayed_and_isolation_is_read_first(
    beds, spotlamp
):
    for plant in ("A1", "A3", "A4", "B1", "B2"):
        file_photo(beds, plant, "2025-07-01T08:00", 0.2, "none")
    file_photo(beds, "A2", "2025-07-01T08:00", 9.0, "blight", blight_kind="late")
    for command in ("today", "plan"):
        said = spotlamp(command, "--at", "2025-07-02 06:00").output
        assert said.index("Isolate A2") < said.index("Spray A1, A3, A4, B1 and B2")
    said = spotlamp("today", "--at", "2025-07-02 06:00").output
    way = re.search(r"Way round: (.*) \(about", said)[1].split(" > ")
    assert sorted(way) == ["A1", "A2", "A3", "A4", "B1", "B2"]
    assert way[-1] == "A2"


def test_today_names_the_next_task_when_there_is_none(beds, spotlamp):
    spotlamp("log", "spray", "soda", "all", "--at", "2025-07-01 07:30")
    for plant in ("A1", "A2", "A3", "A4", "B1", "B2"):
        file_photo(beds, plant, "2025-07-01T08:00", 0.2, "none")
    said = " ".join(spotlamp("today", "--at", "2025-07-02 06:00").output.split())
    assert "Nothing to do today. Next, Tue 8 Jul by day: Photograph A1" in said


def test_the_same_record_gives_the_same_plan_twice(beds, spotlamp):
    spotlamp("log", "rain", "5mm", "--at", "2025-07-02 12:00")
    at = ("plan", "--days", 30, "--at", "2025-07-03 06:00")
    assert spotlamp(*at).output == spotlamp(*at).output


def test_outside_a_garden_or_without_plants_one_sentence_says_what_to_do(
    tmp_path, monkeypatch, spotlamp
):
    monkeypatch.chdir(tmp_path)
    for command in (["flag"], ["plan"], ["today"], ["log", "rain", "5mm"]):
        assert "You stand in no garden" in spotlamp(*command, code=2).output
    spotlamp("new", "empty")
    assert "has no plants yet" in spotlamp("plan", "--garden", "empty", code=2).output


STATION = """\
[weather]
file = "station.csv"
time = "When"
temperature = "Out:C"
rain = "Rain:mm"
"""


def station(folder, name, hot_day, wet_day):
    """Write two weeks of hours: one day hot, one wet, all others mild."""
    lines = ["When,Out,Rain"]
    for day in range(1, 15):
        for hour in range(24):
            warm = 35 if day == hot_day and hour == 14 else 20
            rain = 4.0 if day == wet_day and hour == 16 else 0.0
            lines.append(f"2025-07-{day:02} {hour:02}:00,{warm},{rain}")
    (folder / name).write_text("\n".join(lines), "utf-8")


def prevention(text):
    """Return the day of July under which the next preventive spray stands."""
    before = text.split(" preventive soda mix", 1)[0]
    return re.findall(r"^\w+ (\d+) Jul 2025$", before, re.M)[-1]


def test_plan_and_log_know_the_stations_rain_and_heat(beds, spotlamp):
    station(beds, "station.csv", hot_day=12, wet_day=0)
    station(beds, "other.csv", hot_day=0, wet_day=3)
    look_at_all(beds, 2, 10)
    with (beds / GARDEN_FILE).open("a", encoding="utf-8") as settings:
        settings.write(STATION)
    said = spotlamp("log", "spray", "soda", "all", "--at", "2025-07-11 07:30").output
    assert "35 °C on Sat 12 Jul" in " ".join(said.split())
    spotlamp("log", "--withdraw", 1)
    at = ("plan", "--at", "2025-07-11 06:00")
    assert prevention(spotlamp(*at).output) == "13"
    assert prevention(spotlamp(*at, "--weather", "other.csv").output) == "11"
    spotlamp("log", "spray", "soda", "all", "--at", "2025-07-02 07:30")
    rained = spotlamp("plan", "--at", "2025-07-03 20:00", "--weather", "other.csv").output
    assert prevention(rained) == "4"
    assert "4 mm of rain" in " ".join(rained.split())
    morning = ("--at", "2025-07-04 06:00")
    for command in ("flag", "today"):  # as plan
        dry = spotlamp(command, *morning).output
        after_rain = spotlamp(command, *morning, "--weather", "other.csv").output
        assert "4 mm of rain" not in " ".join(dry.split())
        assert "4 mm of rain" in " ".join(after_rain.split()), command


def test_a_broken_weather_file_stops_no_entry_of_the_log(beds, spotlamp):
    with (beds / GARDEN_FILE).open("a", encoding="utf-8") as settings:
        settings.write(STATION)
    said = spotlamp("log", "rain", "5mm").output
    assert "Logged: 1" in said
    assert "Without the weather" in said
    assert "station.csv" in spotlamp("plan", code=1).output


def test_another_weather_file_needs_the_columns_in_the_settings(beds, spotlamp):
    station(beds, "station.csv", 0, 0)
    said = spotlamp("plan", "--weather", "station.csv", code=1).output
    assert "[weather]" in said


@pytest.mark.parametrize(
    "words", ["rain -5mm", "rain -.5in", "rain 5000mm", "pick -3 A1", "pick 1e11 A1", "leaves ² A1"]
)
def test_an_amount_that_cannot_be_is_refused_with_the_form(beds, spotlamp, words):
    said = " ".join(spotlamp("log", *words.split(), code=2).output.split())
    assert "as in" in said or "Write: spotlamp log" in said
    assert entries(beds) == ()
    spotlamp("log", "pick", "9" * 12, "A1", code=2)


def test_a_note_may_begin_with_a_minus_and_an_unknown_option_is_still_none(beds, spotlamp):
    spotlamp("log", "note", "-5 degrees tonight", "A1")
    assert entries(beds)[0].text == "-5 degrees tonight"
    spotlamp("log", "note", "frost", "--att", "07:30", code=2)
    assert len(entries(beds)) == 1


def test_a_great_amount_is_shown_without_an_exponent(beds, spotlamp):
    spotlamp("log", "rain", "1825mm")
    spotlamp("log", "pick", 9999, "A1")
    shown = spotlamp("log").output
    assert "rain 1820 mm" in shown
    assert "picked 9999" in shown
    assert rain_words(250_000, "metric") == "250000 mm"
    assert rain_words(25_400, "US") == "1000 in"


def test_a_day_may_be_written_with_dots():
    assert moment("05.06.2026", ZONE) == moment("2026-06-05", ZONE)
    assert moment("5.6.2026 07:30", ZONE) == moment("2026-06-05T07:30", ZONE)
    assert moment("Yesterday 19:00", ZONE) == moment("yesterday 19:00", ZONE)


@pytest.mark.parametrize("text", ["", " ", "05/06/2026", "5.6.26", "0001-01-01", "9999-12-31"])
def test_a_time_that_leaves_a_doubt_is_refused(beds, spotlamp, text):
    assert "2026-06-01 07:30" in spotlamp("flag", "--at", text, code=2).output


def test_flag_says_when_a_plant_was_taken_out(beds, spotlamp):
    spotlamp("log", "seen", "gone", "A2", "--at", "2025-07-01 12:00")
    said = spotlamp("flag", "A2", "--at", "2025-07-02 12:00").output
    assert "A2 was taken out on Tue 1 Jul 2025, and has no status any more." in said
    assert "A2" not in spotlamp("flag", "--at", "2025-07-02 12:00").output


def test_the_way_to_a_photo_opens_from_the_gardens_folder(beds, spotlamp, paint_photo):
    """Also of a photo that lies outside it."""
    for place in (beds, beds.parent / "phone"):
        photo = paint_photo(place / "A1" / "2025-07-02_12-00.jpg", seed=len(place.name))
        spotlamp("score", photo.parent, "--out", beds.parent / "out", "--jobs", 1)
        said = spotlamp("flag", "A1", "--at", "2025-07-02 20:00").output
        (way,) = re.findall(r"Photo: (.*)", said)
        assert (beds / way).is_file()
        assert Path(way).is_file()  # we stand there
    with open_journal(beds) as journal:
        for filed in journal.photos():
            assert (beds / filed.photo).is_file()
