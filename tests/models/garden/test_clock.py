"""Times in the garden's zone across a change of clocks, and dates that cannot be right."""

from datetime import UTC, date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest

from models.garden.clock import Filed, doubtful_dates, in_garden_time, utc_of

BERLIN = ZoneInfo("Europe/Berlin")
# The clocks of 2025 there: 30 March 02:00 → 03:00, 26 October 03:00 → 02:00 [memory; tzdata].


@pytest.mark.parametrize(
    ("shown", "utc"),
    [
        (datetime(2025, 3, 30, 1, 59), datetime(2025, 3, 30, 0, 59)),
        (datetime(2025, 3, 30, 2, 30), datetime(2025, 3, 30, 1, 30)),  # left out: not put forward
        (datetime(2025, 3, 30, 3, 0), datetime(2025, 3, 30, 1, 0)),
        (datetime(2025, 10, 26, 1, 59), datetime(2025, 10, 25, 23, 59)),
        (datetime(2025, 10, 26, 2, 30), datetime(2025, 10, 26, 0, 30)),  # twice: the first
        (datetime(2025, 10, 26, 3, 0), datetime(2025, 10, 26, 2, 0)),
    ],
)
def test_a_time_without_zone_is_the_gardens(shown, utc):
    known = in_garden_time(shown, "exif", BERLIN)
    assert utc_of(known, BERLIN) == utc
    assert known.tzinfo is BERLIN


def test_the_hour_that_was_left_out_becomes_one_that_exists():
    known = in_garden_time(datetime(2025, 3, 30, 2, 30), "exif", BERLIN)
    assert (known.hour, known.utcoffset()) == (3, timedelta(hours=2))


def test_the_hour_that_comes_twice_keeps_its_order_where_the_photo_has_an_offset():
    shown = datetime(2025, 10, 26, 2, 30)
    first, second = (
        in_garden_time(shown.replace(tzinfo=timezone(timedelta(hours=h))), "exif", BERLIN)
        for h in (2, 1)
    )
    assert utc_of(second, BERLIN) - utc_of(first, BERLIN) == timedelta(hours=1)
    assert (first.fold, second.fold) == (0, 1)


def test_a_photo_of_another_zone_keeps_its_moment():
    known = in_garden_time(datetime(2025, 7, 1, 23, 30, tzinfo=UTC), "exif", BERLIN)
    assert (known.date(), known.hour) == (date(2025, 7, 2), 1)


def test_a_files_own_date_is_this_computers_time():
    shown = datetime(2025, 7, 1, 12)
    assert in_garden_time(shown, "file", ZoneInfo("Asia/Tokyo")) == shown.astimezone()


def test_a_date_is_its_first_moment_in_the_garden():
    assert utc_of(date(2025, 7, 1), BERLIN) == datetime(2025, 6, 30, 22)


def season(year: int, *, filed_late: int = 0) -> list[Filed]:
    """Return a photo a week from June to August, filed in the evening or days later."""
    days = [datetime(year, 6, 1, 9) + timedelta(weeks=week) for week in range(12)]
    return [
        Filed(year * 100 + number, day, day + timedelta(days=filed_late, hours=10))
        for number, day in enumerate(days)
    ]


def test_seasons_filed_as_they_come_are_not_doubted():
    assert doubtful_dates([*season(2024), *season(2025)]) == frozenset()


def test_old_seasons_filed_at_once_are_not_doubted():
    filed = datetime(2026, 1, 5)
    photos = [p._replace(filed_at=filed) for p in (*season(2023), *season(2025))]
    assert doubtful_dates(photos) == frozenset()


@pytest.mark.parametrize("years", [(2025,), (2024, 2025)])
def test_a_clock_a_year_behind_is_noticed(years):
    photos = [photo for year in years for photo in season(year)]
    walk = datetime(2025, 7, 10, 9)
    wrong = Filed(1, walk.replace(year=2024), walk + timedelta(hours=10))
    assert doubtful_dates([*photos, wrong]) == {1}


def test_of_one_walk_with_two_cameras_the_older_date_is_doubted():
    filed = datetime(2025, 7, 1, 20)
    photos = [Filed(1, datetime(2025, 7, 1, 9), filed), Filed(2, datetime(2024, 7, 1, 9), filed)]
    assert doubtful_dates(photos) == {2}


def test_the_order_of_filing_on_a_day_does_not_matter():
    photos = [*season(2025), Filed(1, datetime(2024, 7, 1), datetime(2025, 8, 30))]
    assert doubtful_dates(photos) == doubtful_dates(photos[::-1]) == {1}


def test_nothing_filed_is_nothing_doubted():
    assert doubtful_dates([]) == frozenset()


@pytest.mark.parametrize(("days", "doubted"), [(100, False), (183, False), (184, True)])
def test_half_a_year_is_as_far_as_photos_may_lie_apart(days, doubted):
    evening = datetime(2025, 8, 30, 20)
    old = Filed(1, evening - timedelta(days=days), evening)
    # Beside another day's photo, so that it does not stand alone: filed late, it is too old.
    before = Filed(2, evening - timedelta(days=1), evening - timedelta(days=1))
    newest = Filed(3, evening, evening - timedelta(hours=30))
    beside = Filed(4, old.taken_at - timedelta(days=1), old.taken_at - timedelta(days=1))
    found = doubtful_dates([old, before, newest, beside])
    assert (1 in found) is doubted


@pytest.mark.parametrize(("days", "doubted"), [(100, False), (183, False), (184, True)])
def test_a_day_stands_alone_half_a_year_from_any_other(days, doubted):
    filed = datetime(2026, 1, 1)
    photos = [Filed(n, filed - timedelta(days=n * days), filed) for n in range(3)]
    assert doubtful_dates(photos) == ({1, 2} if doubted else set())
