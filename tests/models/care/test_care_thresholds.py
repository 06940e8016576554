"""The garden's thresholds: what they are unless somebody changes them, and how far that goes."""

from dataclasses import fields
from datetime import time

import pytest

from models.care import CareSettingsError, Thresholds, thresholds_of
from models.care.thresholds import shown
from models.garden.beds import Garden

# Default, least and most of each number.
NUMBERS = {
    "watch_pct": (1.0, 0, 100),
    "sick_pct": (5.0, 0, 100),
    "test_most_pct": (40.0, 0, 100),
    "wide_points": (45.0, 1, 100),
    "collapse_points": (25.0, 1, 100),
    "collapse_days": (4, 1, 14),
    "collapse_leaves": (2, 1, 10),
    "isolate_days": (7, 1, 60),
    "clear_leaves": (3, 2, 10),
    "season_days": (200, 30, 300),
    "quiet_days": (45, 10, 180),
    "fresh_days": (3, 1, 14),
    "photo_days": (7, 1, 60),
    "look_days": (3, 1, 30),
    "walk_leaves": (3, 1, 12),
    "most_leaves": (12, 3, 40),
    "interval_days": (14, 3, 60),
    "overdue_days": (3, 0, 30),
    "rain_mm": (0.5, 0, 100),
    "heat_c": (32.0, 15, 50),
    "wait_hours": (24, 24, 96),
    "between_hours": (48, 48, 168),
    "test_open_days": (14, 1, 60),
    "test_valid_days": (14, 1, 60),
    "again_days": (7, 2, 60),
    "burn_pause_days": (14, 1, 90),
    "night_days": (5, 1, 30),
    "find_days": (14, 5, 60),
    "chewed_pct": (5.0, 0, 100),
    "strip_pct": (40.0, 5, 100),
}
OTHERS = {
    "morning_from": time(5),
    "morning_until": time(10),
    "preventive": "soda",
    "sells_produce": False,
    "declined": (),
}


def refused(name, value) -> str:
    """Return what is said against a value; empty where it is taken."""
    try:
        thresholds_of(Garden("g", "UTC", settings={"care": {name: value}}))
    except CareSettingsError as error:
        return str(error)
    return ""


def test_the_defaults_are_these():
    expected = {name: default for name, (default, *_) in NUMBERS.items()} | OTHERS
    assert {f.name: getattr(Thresholds(), f.name) for f in fields(Thresholds)} == expected


@pytest.mark.parametrize("name", NUMBERS)
def test_each_number_may_be_moved_to_its_ends_and_no_further(name):
    default, least, most = NUMBERS[name]
    out_of_range = f"number from {least} to {most}, not"
    for value in (least, most):  # it may cross another threshold there, which is another sentence
        assert out_of_range not in refused(name, value)
    for value in (least - 1, most + 1):
        assert out_of_range in refused(name, value)
    whole = f"“{name}” should be a whole number"
    assert (whole in refused(name, default + 0.5)) == isinstance(default, int)
    assert out_of_range in refused(name, True)
    assert out_of_range in refused(name, str(default))


@pytest.mark.parametrize(
    ("low", "high", "value"),
    [
        ("watch_pct", "sick_pct", 5.0),
        ("sick_pct", "test_most_pct", 40.0),
        ("walk_leaves", "most_leaves", 12),
        ("morning_from", "morning_until", "10:00"),
    ],
)
def test_what_comes_before_stays_before(low, high, value):
    assert refused(low, value) == f"The care setting “{low}” should be below “{high}”."
    before = {5.0: 4.9, 40.0: 39.9, 12: 11, "10:00": "09:59"}[value]
    assert refused(low, before) == ""


def test_a_number_keeps_its_kind_and_its_fraction():
    given = {"heat_c": 30.5, "rain_mm": 1, "photo_days": 5}
    limits = thresholds_of(Garden("g", "UTC", settings={"care": given}))
    assert (limits.heat_c, limits.rain_mm, limits.photo_days) == (30.5, 1.0, 5)
    assert isinstance(limits.rain_mm, float)
    assert isinstance(limits.photo_days, int)


def test_the_first_setting_that_is_none_of_ours_is_named():
    with pytest.raises(CareSettingsError, match="know no “heat”"):
        thresholds_of(Garden("g", "UTC", settings={"care": {"heat": 30, "rain": 1}}))


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (True, "true"),
        (False, "false"),
        (5.0, "5"),
        (0.5, "0.5"),
        (14, "14"),
        (time(5), "05:00"),
        ((), "none"),
        (("basil", "strip"), "basil, strip"),
        ("soda", "soda"),
    ],
)
def test_a_value_is_shown_as_it_is_written_in_the_settings(value, words):
    assert shown(value) == words
