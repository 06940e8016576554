"""A station's file: columns as named, units as stated, gaps in sentences, hours told apart."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.weather import (
    WeatherFileError,
    care_days,
    hyre_days,
    parse_columns,
    rain_since,
    read_station,
    wet_days,
)

ZONE = ZoneInfo("Europe/Berlin")
COLUMNS = parse_columns("Time", {"temperature": "Out:C", "humidity": "RH:%", "rain": "Rain:mm"})


def write(folder, rows, head="Time,Out,RH,Rain"):
    path = folder / "station.csv"
    path.write_text("\n".join([head, *rows]) + "\n", "utf-8")
    return path


def hourly(start, hours, temp=18.0, humidity=95.0, rain=0.0):
    at = datetime.fromisoformat(start)
    return [f"{at + timedelta(hours=n)},{temp},{humidity},{rain}" for n in range(hours)]


def read(folder, rows, columns=COLUMNS, zone=ZONE, **head):
    return read_station(write(folder, rows, **head), columns, zone)


def test_units_are_brought_to_celsius_and_millimetres(tmp_path):
    columns = parse_columns("Time", {"temperature": "Out:F", "rain": "Rain:in"})
    (hour,) = read(tmp_path, ["2026-06-01 10:00,68,50,0.5"], columns).hours
    assert (hour.temp_c, hour.rain_mm) == pytest.approx((20.0, 12.7))
    assert hour.at == datetime(2026, 6, 1, 10, tzinfo=ZONE)


def test_rows_of_an_hour_are_gathered(tmp_path):
    rows = [f"2026-06-01 10:{m:02},{10 + m / 15},80,0.2" for m in (0, 15, 30, 45)]
    (hour,) = read(tmp_path, rows).hours
    assert (hour.temp_c, hour.hottest_c, hour.rain_mm) == pytest.approx((11.5, 13.0, 0.8))


@pytest.mark.parametrize(
    ("unit", "cells", "share"),
    [("min", (15, 15, 0, 0), 0.5), ("h", (0.25, 0, 0, 0), 0.25), ("%", (100, 0, 0, 0), 0.25),
     ("yes", ("yes", "no", "wet", "1"), 0.75)],
)  # fmt: skip
def test_wetness_is_read_in_its_stated_unit(tmp_path, unit, cells, share):
    columns = parse_columns("Time", {"wetness": f"Leaf:{unit}"})
    rows = [f"2026-06-01 10:{15 * n:02},{cell}" for n, cell in enumerate(cells)]
    (hour,) = read(tmp_path, rows, columns, head="Time,Leaf").hours
    assert hour.wet_share == pytest.approx(share)


@pytest.mark.parametrize("named", ["Out", "Out:K", ":C", "Rain gauge"])
def test_a_column_without_a_known_unit_is_asked_for(named):
    with pytest.raises(WeatherFileError, match="State the unit"):
        parse_columns("Time", {"temperature": named})


def test_a_column_that_is_not_there_is_named_with_those_that_are(tmp_path):
    columns = parse_columns("Time", {"temperature": "Outside:C"})
    with pytest.raises(WeatherFileError, match="no column “Outside”; it has “Time”, “Out”"):
        read(tmp_path, hourly("2026-06-01", 2), columns)


def test_semicolons_decimal_commas_and_other_dates_are_read(tmp_path):
    columns = parse_columns("Zeit", {"temperature": "Temp. außen:C"}, "%d.%m.%Y %H:%M")
    rows = ["01.06.2026 10:00;18,5", "01.06.2026 11:00;-0,5"]
    record = read(tmp_path, rows, columns, head="Zeit;Temp. außen")
    assert [hour.temp_c for hour in record.hours] == [18.5, -0.5]


def test_gaps_are_named_in_sentences(tmp_path):
    rows = hourly("2026-06-01 00:00", 4) + hourly("2026-06-01 09:00", 3)
    remarks = read(tmp_path, rows).remarks
    assert remarks == ("No data from 2026-06-01 04:00 to 2026-06-01 09:00 (5 hours).",)


def test_what_cannot_be_is_passed_over_and_said(tmp_path):
    rows = ["2026-06-01 10:00,-9999,80,0", "soon,18,80,0", "2026-06-01 11:00,18,,0"]
    record = read(tmp_path, rows)
    assert [hour.temp_c for hour in record.hours] == [None, 18]
    assert record.hours[1].humidity_pct is None
    assert any(
        "no possible temperature in column “Out” (line 2)" in text for text in record.remarks
    )
    assert any("no time that can be read (line 3)" in text for text in record.remarks)


def july(values, days=14, minutes=60):
    """Return rows of one more column through July; `values` takes the row's number."""
    at = datetime(2026, 7, 1)
    count = days * 24 * 60 // minutes
    return [f"{at + timedelta(minutes=minutes * n)},{values(n)}" for n in range(count)]


def day_and_night(n):
    """Return °C of a summer's hour: 14 at night to 28 in the afternoon."""
    return [14, 15, 18, 22, 26, 28, 24, 18][n % 24 // 3]


def rains(n):
    """Return mm of an hour: a shower each third day."""
    return {7: 0.2, 8: 1.4, 9: 3.2, 10: 0.8, 11: 0.2}.get(n % 72, 0)


def total(n):
    return round(sum(rains(k) for k in range(n + 1)), 1)


def total_of_day(n):
    return round(sum(rains(k) for k in range(n - n % 24, n + 1)), 1)


@pytest.mark.parametrize(
    ("what", "unit", "values", "asked"),
    [
        ("temperature", "F", day_and_night, "it would be -10 to -2 °C. Is it in C (14 to 28 °C)?"),
        ("temperature", "C", lambda n: day_and_night(n) * 9 / 5 + 32, "Is it in F (14 to 28 °C)"),
        ("humidity", "%", lambda n: 0.6 + n % 24 / 60, "Is it a share from 0 to 1"),
        ("humidity", "%", lambda n: 0, "Is the sensor at work?"),
        ("wetness", "%", lambda n: n % 24 < 6, "Is it a share from 0 to 1, or yes and no?"),
        ("wetness", "min", lambda n: 100 if n % 24 < 6 else 0, "up to 100 min since the row"),
        ("wetness", "h", lambda n: 60 if n % 24 < 6 else 0, "Is it in min"),
        ("rain", "mm", total, "as a running total does"),
        ("rain", "mm", total_of_day, "as a running total does"),
        ("rain", "in", lambda n: 12 * (n % 24 in (1, 3)), "mm would have fallen within a day"),
    ],
)
def test_a_column_that_cannot_be_what_it_is_said_to_be_is_asked_about(
    tmp_path, what, unit, values, asked
):
    columns = parse_columns("Time", {what: f"Col:{unit}"})
    rows = july(lambda n: float(values(n)))
    record = read(tmp_path, rows, columns, head="Time,Col")
    (question,) = record.questions
    assert "Column “Col” (line" in question
    assert asked in question
    assert question in record.remarks
    known = {"temperature": "temp_c", "humidity": "humidity_pct", "wetness": "wet_share"}
    assert {getattr(hour, known.get(what, "rain_mm")) for hour in record.hours} == {None}


@pytest.mark.parametrize(
    ("what", "unit", "values"),
    [
        ("temperature", "C", day_and_night),
        ("temperature", "F", lambda n: day_and_night(n) * 9 / 5 + 32),
        ("temperature", "C", lambda n: -9999 if n % 9 == 0 else day_and_night(n)),
        ("humidity", "%", lambda n: 60 + n % 24),
        ("wetness", "%", lambda n: 100 if n % 24 < 6 else 0),
        ("wetness", "min", lambda n: 60 if n % 24 < 6 else 0),
        ("wetness", "h", lambda n: n % 24 < 6),
        ("rain", "mm", rains),
        ("rain", "mm", lambda n: 0.2 * (n % 24 < 9)),  # drizzle, always the same
        ("rain", "in", lambda n: rains(n) / 25.4),
    ],
)
def test_a_column_that_is_what_it_is_said_to_be_is_not(tmp_path, what, unit, values):
    columns = parse_columns("Time", {what: f"Col:{unit}"})
    rows = july(lambda n: float(values(n)))
    assert read(tmp_path, rows, columns, head="Time,Col").questions == ()


def test_a_row_that_comes_twice_rains_once(tmp_path):
    record = read(tmp_path, ["2026-06-01 10:00,18,80,5"] * 2)
    assert record.hours[0].rain_mm == 5
    assert any("there already" in text for text in record.remarks)


def test_the_hour_that_comes_twice_in_autumn_is_told_by_the_order(tmp_path):
    rows = [f"2026-10-25 0{clock}:00,10,80,1" for clock in (1, 2, 2, 3)]
    record = read(tmp_path, rows)
    steps = [hour.at.astimezone(UTC) for hour in record.hours]
    assert [b - a for a, b in pairwise(steps)] == [timedelta(hours=1)] * 3
    assert record.remarks == ()


def test_times_with_an_offset_come_into_the_gardens_zone(tmp_path):
    (hour,) = read(tmp_path, ["2026-06-01T08:00:00+00:00,18,80,0"]).hours
    assert (hour.at.hour, hour.at.tzinfo) == (10, ZONE)


def test_files_that_cannot_be_used_are_refused_in_one_sentence(tmp_path):
    with pytest.raises(WeatherFileError, match="no row with a time"):
        read(tmp_path, ["yesterday,1,2,3"])
    with pytest.raises(WeatherFileError, match="cannot be opened"):
        read_station(tmp_path / "gone.csv", COLUMNS, ZONE)
    with pytest.raises(WeatherFileError, match="at least one column"):
        parse_columns("Time", {"temperature": None})


NOW = datetime(2026, 6, 3, 12, tzinfo=ZONE)


def test_a_wet_night_counts_whole_for_the_morning_in_it(tmp_path):
    rows = hourly("2026-06-01 12:00", 8, humidity=50) + hourly("2026-06-01 20:00", 12, temp=22)
    rows += hourly("2026-06-02 08:00", 4, humidity=50)
    (day,) = wet_days(read(tmp_path, rows).hours, NOW)
    assert day.day == date(2026, 6, 2)
    assert (day.wet_hours, day.early) == (12, "some")  # 21 to 25 °C, 6 to 12 h
    assert (day.humid_hours, day.late) == (12, "some")  # 60 to 80 °F, 10 to 12 h
    assert (day.missing_hours, day.forecast) == (0, False)


def test_humid_hours_count_only_while_they_follow_each_other(tmp_path):
    rows = hourly("2026-06-01 12:00", 24, humidity=95)
    rows[12] = rows[12].replace("95", "50")
    (day,) = wet_days(read(tmp_path, rows).hours, NOW)
    assert (day.wet_hours, day.humid_hours) == (23, 12)


def test_a_wetness_sensor_goes_before_humidity(tmp_path):
    columns = parse_columns(
        "Time", {"temperature": "Out:C", "humidity": "RH:%", "wetness": "W:yes"}
    )
    rows = [f"{row},no" for row in hourly("2026-06-01 12:00", 24)]
    (day,) = wet_days(read(tmp_path, rows, columns, head="Time,Out,RH,Rain,W").hours, NOW)
    assert (day.wet_hours, day.humid_hours) == (0, 24)


def test_a_day_with_too_many_missing_hours_has_no_value(tmp_path):
    days = wet_days(read(tmp_path, hourly("2026-06-01 12:00", 17)).hours, NOW)
    assert [day.early for day in days] == [None]
    (day,) = wet_days(read(tmp_path, hourly("2026-06-01 12:00", 18)).hours, NOW)
    assert (day.wet_hours, day.missing_hours) == (18, 6)


def test_days_without_any_row_stand_between(tmp_path):
    rows = hourly("2026-06-01 12:00", 24) + hourly("2026-06-04 12:00", 24)
    days = wet_days(read(tmp_path, rows).hours, NOW)
    assert [day.day.day for day in days] == [2, 3, 4, 5]
    assert [day.late is None for day in days] == [False, True, True, False]


def test_rows_of_the_future_are_forecast(tmp_path):
    days = wet_days(read(tmp_path, hourly("2026-06-01 12:00", 72)).hours, NOW)
    assert [day.forecast for day in days] == [False, False, True]


def test_days_for_the_spray_calendar(tmp_path):
    rows = hourly("2026-06-01 00:00", 24, temp=33, humidity=50) + hourly("2026-06-02 00:00", 10)
    rows[3] = rows[3].rsplit(",", 1)[0] + ",4.5"
    first, second = care_days(read(tmp_path, rows).hours)
    assert (first.rain_mm, first.hottest_c, first.wet_morning) == (4.5, 33, False)
    # Ten dry hours do not make a dry day, nor the highest temperature of one.
    assert (second.rain_mm, second.hottest_c, second.wet_morning) == (None, None, True)


def test_rain_between_two_times(tmp_path):
    hours = read(tmp_path, hourly("2026-06-01 00:00", 24, rain=1.0)).hours
    since, until = (datetime(2026, 6, 1, at, tzinfo=ZONE) for at in (6, 9))
    assert rain_since(hours, since, until) == 3


def test_hyres_rule_needs_ten_days_of_rain_figures(tmp_path):
    hours = read(tmp_path, hourly("2026-06-01 00:00", 24 * 11, temp=20, rain=0.2)).hours
    found = hyre_days(hours, ZONE)
    assert [found[day] for day in sorted(found)] == [None] * 9 + [True, True]


@settings(max_examples=25)
@given(st.integers(0, 23), st.integers(1, 48))
def test_what_lies_in_the_hours_is_kept_in_the_days(start, length):
    import tempfile
    from pathlib import Path

    with tempfile.TemporaryDirectory() as folder:
        rows = hourly(f"2026-06-01 {start:02}:00", length, rain=0.5)
        hours = read(Path(folder), rows).hours
    assert len(hours) == length
    total = sum(day.rain_mm for day in care_days(hours))
    assert total == pytest.approx(0.5 * length)
