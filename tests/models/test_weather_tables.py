"""The published tables of wetness and temperature, and what rain leaves of a spray."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.weather import (
    EARLY_FIRST,
    EARLY_NEXT,
    EARLY_SOURCE,
    LATE_FIRST,
    add_up,
    early_value,
    hyre_favourable,
    late_value,
    residue_share,
    wash_off_words,
)


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


def test_late_blight_alerts_at_18():
    # Check 5b [read]
    assert LATE_FIRST == 18
    sums = add_up([4, 4, 4, 4, 1, 1], [False] * 6, LATE_FIRST)
    assert [one.total for one in sums] == [4, 8, 12, 16, 17, 18]
    assert [one.alert for one in sums] == [False] * 5 + [True]


def test_early_blight_alerts_at_35_and_18_after_each_spray():
    # Check 5d [read: Rutgers 2015-2018; Penn State 2013]
    values = [4] * 8 + [2, 1] + [4, 4, 4, 4, 1, 1]
    restarts = [False] * 10 + [True] + [False] * 5
    sums = add_up(values, restarts, EARLY_FIRST, EARLY_NEXT)
    assert [(s.total, s.alert) for s in sums[8:10]] == [(34, False), (35, True)]
    assert [(s.total, s.alert) for s in sums[14:]] == [(17, False), (18, True)]


def test_days_without_a_value_are_counted_and_never_taken_for_unfavourable():
    sums = add_up([2, None, None, 1], [False] * 4, LATE_FIRST)
    assert (sums[-1].total, sums[-1].without_value) == (3, 2)


@given(st.lists(st.integers(0, 4) | st.none(), max_size=40))
def test_a_sum_never_falls_without_a_spray(values):
    totals = [one.total for one in add_up(values, [False] * len(values), LATE_FIRST)]
    assert totals == sorted(totals)


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
