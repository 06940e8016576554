"""Sprays too soon, rain that washes off and rain that does not, and wet leaves in the morning."""

from datetime import date, datetime, time
from zoneinfo import ZoneInfo

import pytest

from models.care import DayWeather, Thresholds
from models.care.mornings import residue_share
from models.mix import RECIPES
from models.weather.days import care_days
from models.weather.records import WeatherHour

RULE = "not too often"


def remarks(invented, day, hour=23, **more):
    return {(r.entry, r.rule) for r in invented.plan(day, hour, **more).remarks}


def sentence(invented, day, rule, **more):
    return next(r.sentence for r in invented.plan(day, 23, **more).remarks if r.rule == rule)


# Rain that washes off


def test_the_line_lies_above_dew_and_below_real_rain():
    """Half of a protectant goes per 25.4 mm [read, an orchard note of 2020]; model [calc]."""
    limits = Thresholds()
    assert residue_share(limits.rain_mm) == pytest.approx(0.9865, abs=0.0005)
    assert residue_share(0.2) > 0.99  # one tip of a usual gauge
    assert f"more than {limits.rain_mm:g} mm" in RECIPES["soda"].use


@pytest.mark.parametrize(("mm", "day"), [(0.2, 14), (0.5, 14), (0.6, 6), (1, 6), (12, 6)])
def test_real_rain_brings_the_next_spray_and_dew_does_not(season, mm, day):
    invented = season().healthy(3).spray("soda", 0).log("rain", 5, hour=15, amount=mm)
    assert invented.tasks(5, 20, "prevent")[0].day == invented.at(day).date()


def test_however_low_the_gardens_line_no_spray_is_asked_for_while_99_percent_is_left(season):
    invented = season(rain_mm=0.0).healthy(3).spray("soda", 0)
    assert residue_share(0.3) > 0.99 > residue_share(0.4)
    invented.log("rain", 5, hour=15, amount=0.3)
    assert invented.tasks(5, 20, "prevent")[0].day == invented.at(14).date()
    invented.log("rain", 5, hour=16, amount=0.1)  # now 0.4 mm in the day
    assert invented.tasks(5, 20, "prevent")[0].day == invented.at(6).date()


def test_a_little_rain_still_wets_leaves_and_moves_a_spray(season):
    invented = season().healthy(12).spray("soda", 0)
    drizzle = [DayWeather(invented.at(14).date(), rain_mm=0.2)]
    assert invented.tasks(13, 6, "prevent", weather=drizzle)[0].day == invented.at(15).date()


def test_rain_without_an_amount_is_real_rain(season):
    for line in (0.0, 0.5, 5.0):
        invented = season(rain_mm=line).healthy(3).spray("soda", 0).log("rain", 5, hour=15)
        assert invented.tasks(5, 20, "prevent")[0].day == invented.at(6).date()


def test_a_stations_rows_tell_rain_before_a_spray_from_rain_after_it(season):
    invented = season().healthy(0).spray("soda", 0, hour=8)
    before = [DayWeather(invented.at(0).date(), 4.0, rain_rows=((time(6), 4.0),))]
    assert invented.tasks(1, 6, "prevent", weather=before)[0].day == invented.at(14).date()
    after = [DayWeather(invented.at(0).date(), 4.0, rain_rows=((time(15), 4.0),))]
    assert invented.tasks(1, 6, "prevent", weather=after)[0].day == invented.at(1).date()
    unknown = [DayWeather(invented.at(0).date(), 4.0)]
    assert invented.tasks(1, 6, "prevent", weather=unknown)[0].day == invented.at(1).date()


# Sprays too soon


def test_soda_on_six_mornings_after_dew_is_pointed_out_each_time(season):
    """As it was lived: 0.2 mm each afternoon, soda each morning."""
    invented = season().healthy(0)
    for day in range(6):
        invented.spray("soda", day, "A1", "A2").log("rain", day, hour=15, amount=0.2)
    sprays = [e.number for e in invented.entries if e.kind == "spray"]
    assert remarks(invented, 5) == {(number, RULE) for number in sprays[1:]}
    assert "every 14 days" in sentence(invented, 5, RULE)
    assert "more than 0.5 mm" in sentence(invented, 5, RULE)
    asked = invented.tasks(5, 20, "prevent")
    assert [t.day for t in asked if "A1" in t.plants] == [invented.at(19).date()]


def test_soda_twice_within_an_hour_is_pointed_out_for_the_same_plants_only(season):
    invented = season().spray("soda", 0, "A1", "A2", hour=7.5)
    assert not remarks(invented.spray("soda", 0, "A3", hour=8), 0)
    assert remarks(invented.spray("soda+aspirin", 0, "A2", "A4", hour=8.25), 0) == {(3, RULE)}
    assert sentence(invented, 0, RULE).startswith("soda+aspirin on A2 less than 2 hours after soda")


@pytest.mark.parametrize(("day", "early"), [(1, True), (13, True), (14, False), (15, False)])
def test_only_before_its_time_a_spray_is_too_soon(season, day, early):
    invented = season().spray("soda", 0).spray("soda", day)
    assert ((2, RULE) in remarks(invented, day)) == early


def test_after_real_rain_the_next_spray_is_not_too_soon(season):
    invented = season().spray("soda", 0).log("rain", 4, hour=15, amount=3).spray("soda", 5)
    assert not remarks(invented, 5)
    again = invented.spray("soda", 6)
    assert remarks(again, 6) == {(4, RULE)}


def test_a_spray_of_the_morning_is_not_excused_by_rain_of_that_afternoon(season):
    invented = season().spray("soda", 0).spray("soda", 4).log("rain", 4, hour=15, amount=3)
    assert remarks(invented, 4) == {(2, RULE)}


def test_peroxide_again_within_a_week_and_another_product_within_two_days_are_too_soon(season):
    invented = season().photo("A1", 0, 20).spray("peroxide", 1, "A1")
    invented.log("seen", 2, "A1", hour=8, text="no-burn").spray("peroxide", 5, "A1")
    assert (3, RULE) in remarks(invented, 5)
    other = season().spray("copper", 0, "A1").spray("copper", 1, "A1", hour=7)
    assert remarks(other, 1) == {(2, RULE)}
    assert not remarks(season().spray("copper", 0, "A1").spray("copper", 3, "A1"), 3)


# Looks, late blight and isolation


def test_peroxide_on_the_others_within_the_day_after_the_look_is_pointed_out(season):
    invented = season().photo("A1", 0, 20).photo("A2", 0, 9).spray("peroxide", 1, "A1")
    invented.log("seen", 2, "A1", hour=8, text="no-burn").spray("peroxide", 2, "A2", hour=8.5)
    assert remarks(invented, 2) == {(3, "one plant first")}
    assert "Thu 4 Jun 08:00" in sentence(invented, 2, "one plant first")


def test_soda_before_the_look_for_burn_is_pointed_out(season):
    invented = season().photo("A1", 0, 20).spray("peroxide", 1, "A1").spray("soda", 4, "A2")
    assert remarks(invented, 4) == {(2, "look first")}
    looked = season().photo("A1", 0, 20).spray("peroxide", 1, "A1")
    looked.log("seen", 4, "A1", hour=6, text="no-burn").spray("soda", 4, "A2")
    assert not remarks(looked, 4)


def test_peroxide_on_what_may_be_late_blight_is_pointed_out(season):
    invented = season().photo("B1", 0, 41, "blight", blight_kind="unsure")
    assert (1, "may be late blight") in remarks(invented.spray("peroxide", 1, "B1"), 1)


def test_peroxide_is_pointed_out_by_what_the_last_look_left_open_not_the_first(season):
    doubt, clear = (41, "blight"), (12, "spot")
    for first, last, said in ((doubt, clear, False), (clear, doubt, True)):
        invented = season()
        for day, (severity, pattern) in enumerate((first, last)):
            kind = "unsure" if pattern == "blight" else ""
            invented.photo("B1", day, severity, pattern, blight_kind=kind)
        invented.spray("peroxide", 2, "B1")
        assert ((1, "may be late blight") in remarks(invented, 2)) == said


def test_a_whole_garden_sprayed_includes_the_isolated_plant(season):
    invented = season().log("seen", 0, "A1", text="wilting").spray("soda", 1)
    assert (2, "isolated") in remarks(invented, 1)


# Wet leaves


def station_day(day, rows, zone="Europe/Berlin"):
    """Return a day of a station's hours with rain in some, as the calendar knows it."""
    hours = [
        WeatherHour(
            at=datetime(day.year, day.month, day.day, hour, tzinfo=ZoneInfo(zone)),
            temp_c=18.0, rain_mm=rows.get(hour, 0.0),
        )
        for hour in range(24)
    ]  # fmt: skip
    (found,) = care_days(hours)
    return found


def test_a_spray_at_eight_with_rain_in_the_rows_from_five_to_nine_was_on_wet_leaves(season):
    invented = season().spray("soda", 0, hour=8)
    rain = [station_day(date(2026, 6, 1), dict.fromkeys(range(5, 10), 0.4))]
    assert remarks(invented, 0, weather=rain) == {(1, "dry leaves")}
    assert "probably wet" in sentence(invented, 0, "dry leaves", weather=rain)


@pytest.mark.parametrize(
    ("row", "told"), [(2, True), (8, True), (9, True), (10, True), (11, False)]
)
def test_rain_counts_up_to_two_hours_after_the_spray(season, row, told):
    """A row says what fell since the row before; a spray dries for two hours [read]."""
    invented = season().spray("soda", 0, hour=8)
    rain = [station_day(date(2026, 6, 1), {row: 2.0})]
    assert bool(remarks(invented, 0, weather=rain)) == told
    if row in (9, 10):
        assert "before the spray was dry" in sentence(invented, 0, "dry leaves", weather=rain)
