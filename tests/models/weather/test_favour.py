"""What wet leaves favour, by published tables; and what rain leaves of a spray."""

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.care.prevention import residue_share, wash_off_words
from models.weather import (
    EARLY_SOURCE,
    STEPS,
    WeatherHour,
    early_value,
    hyre_favourable,
    late_value,
    step_of,
    wet_days,
    wet_since,
)
from models.weather.favour import EARLY_SHOWS_DAYS, LATE_SHOWS_DAYS


def celsius(fahrenheit):
    return (fahrenheit - 32) * 5 / 9


@pytest.mark.parametrize(
    ("fahrenheit", "hours", "value"),
    # Check 5a [read: Michigan State University, potato late blight]
    [(50, 17, 1), (50, 23, 3), (57, 14, 1), (57, 22, 4), (70, 9, 0), (70, 13, 2), (70, 20, 4)],
)
def test_late_blight_values_are_those_of_the_published_table(fahrenheit, hours, value):
    assert late_value(celsius(fahrenheit), hours) == value


@pytest.mark.parametrize(
    ("mean_c", "hours", "value"),
    # Check 5c [cells from memory]
    [(22, 13, 3), (15, 6, 0), (19, 23, 4), (15, 24, 3), (10, 24, 0), (10, 3, 0)],
)
def test_early_blight_values_are_those_of_the_remembered_table(mean_c, hours, value):
    assert early_value(mean_c, hours) == value


def test_the_remembered_table_is_marked_as_such():
    assert "from memory, check before relying on it" in EARLY_SOURCE


def test_temperatures_between_the_rows_are_rounded():
    # The late-blight table leaves gaps at 53 to 54 and 59 to 60 °F.
    assert late_value(celsius(53.4), 13) == late_value(celsius(53), 13) == 0
    assert late_value(celsius(53.6), 13) == late_value(celsius(54), 13) == 1
    assert early_value(17.4, 8) == early_value(17, 8) == 1
    assert early_value(20.5, 13) == early_value(21, 13) == 3


@pytest.mark.parametrize("mean_c", [-5.0, 5.0, 30.0, 45.0])
def test_outside_the_tables_no_day_is_favourable(mean_c):
    assert early_value(mean_c, 24) == 0
    assert mean_c == 30.0 or late_value(mean_c, 24) == 0


@given(st.floats(-10, 45), st.floats(0, 24), st.floats(0, 24))
def test_longer_wetness_is_never_less_favourable(mean_c, hours, more):
    for value in (late_value, early_value):
        assert 0 <= value(mean_c, hours) <= value(mean_c, hours + more) <= 4


def test_a_tables_five_values_are_three_steps_in_order():
    assert [step_of(value) for value in range(5)] == ["little", "some", "some", "much", "much"]


NOON = datetime(2026, 6, 1, 12, tzinfo=UTC)
LOOKED = NOON - timedelta(hours=4)


def since(nights, looked=LOOKED, now=None, temp=22.0, known=True):
    """Judge nights of so many wet hours, after a look on the first morning."""
    hours = [
        WeatherHour(NOON + timedelta(hours=24 * n + hour), temp_c=temp,
                    humidity_pct=(95.0 if hour < wet else 40.0) if known else None)
        for n, wet in enumerate(nights)
        for hour in range(24)
    ]  # fmt: skip
    now = now or NOON + timedelta(days=len(nights))
    return wet_since(looked, ("A1",), hours, wet_days(hours, now), now)


@given(st.lists(st.integers(0, 24), min_size=1, max_size=12))
def test_one_night_decides_and_more_nights_never_make_it_more(nights):
    """Nothing is added up: ten nights like one favour what one favours."""
    found = since(nights)
    assert found.wet_hours == sum(nights)
    assert found.early.step == since([max(nights)]).early.step
    assert since(nights * 3).early.step == found.early.step


@given(st.lists(st.integers(0, 23), min_size=1, max_size=8))
def test_longer_wet_leaves_never_favour_less_nor_let_one_look_later(nights):
    found, wetter = since(nights), since([wet + 1 for wet in nights])
    for one, other in ((found.early, wetter.early), (found.late, wetter.late)):
        assert STEPS.index(other.step) >= STEPS.index(one.step)
    if found.look_from:
        assert wetter.look_from <= found.look_from


def test_one_looks_when_the_first_favourable_night_can_show():
    # The second night, wet for 14 hours at 22 °C, ends on 3 June.
    found = since([0, 14, 0, 0])
    assert (found.early.step, found.early.day) == ("much", date(2026, 6, 3))
    assert (found.late.step, found.late.day) == ("some", date(2026, 6, 3))
    assert found.look_from == date(2026, 6, 3) + timedelta(days=EARLY_SHOWS_DAYS)
    cold = since([0, 20, 0, 0], temp=10.0)  # too cold for early blight, not for late blight
    assert cold.early.step == "little"
    assert cold.look_from == date(2026, 6, 3) + timedelta(days=LATE_SHOWS_DAYS)


def test_what_was_wet_before_the_look_does_not_count():
    found = since([14, 0, 0], looked=NOON + timedelta(hours=20))  # the morning after the wet night
    assert (found.wet_hours, found.early.step, found.look_from) == (0, "little", None)


def test_the_forecast_does_not_count():
    found = since([0, 14, 14], now=NOON + timedelta(days=1))
    assert (found.wet_hours, found.early.step, found.look_from) == (0, "little", None)


def test_unknown_hours_are_counted_and_never_taken_for_dry():
    found = since([14, 14], known=False)
    assert (found.wet_hours, found.early.step, found.late.step) == (0, None, None)
    assert found.unknown_hours == 48 + 4


@pytest.mark.parametrize(
    ("rain_mm", "left"),
    # Check 5e [model calculated; half lost per inch read]
    [(0, 1), (12.7, 0.707), (25.4, 0.5), (50.8, 0.25)],
)
def test_an_inch_of_rain_halves_what_is_left(rain_mm, left):
    assert residue_share(rain_mm) == pytest.approx(left, abs=0.0005)


def test_wash_off_in_words_says_that_soda_goes_sooner():
    assert "50 %" in wash_off_words(25.4)
    assert "baking soda washes off sooner" in wash_off_words(10)
    assert "most of it is gone" in wash_off_words(60)


def test_hyres_rule_asks_for_cool_days_rain_and_no_cold_night():
    # Check 5f [read, second hand: Hyre 1954]
    assert hyre_favourable(20, 31, 10)
    assert not hyre_favourable(20, 31, 5)
    assert not hyre_favourable(20, 29, 10)
    assert not hyre_favourable(26, 31, 10)
