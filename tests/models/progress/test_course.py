"""What is told of a season: relations between leaves, visits and the words for them."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.entries import LeafEntry, PhotoEntry
from models.progress import garden_visits, judge_course, leaf_table, progress_curve, recent_points
from models.progress.course import LEVEL_RATE_PER_DAY

START = datetime(2026, 7, 1, 9, tzinfo=UTC)


def leaf(severity, number=1, lesions=3, width=0.3):
    low, high = severity * (1 - width), min(100.0, severity * (1 + width))
    return LeafEntry(number, 1000.0, lesions, severity / 2, severity / 2, severity, low, high)


def photo(plant, day, *severities, hour=0, **fields):
    at = START + timedelta(days=day, hours=hour)
    leaves = tuple(leaf(value, number + 1) for number, value in enumerate(severities))
    name = f"{plant}-{day}-{hour}-{len(severities)}.jpg"
    return PhotoEntry(name, name, at, plant=plant, leaves=leaves, **fields)


def grown(plant, rate, start=2.0, visits=5, count=6, seed=1, spread=0.4):
    """Photos of a plant whose leaves grow at a rate, a week apart."""
    rng = np.random.default_rng(seed)
    return [
        photo(
            plant,
            7 * visit,
            *np.minimum(
                99, start * np.exp(rate * 7 * visit) * rng.lognormal(0, spread, count)
            ).tolist(),
        )
        for visit in range(visits)
    ]


def season_of(*photos):
    return garden_visits(leaf_table(photos))


def test_each_leaf_counts_the_same_and_visits_come_by_day():
    late, early = photo("A1", 7, 10, 20), photo("A1", 0, 3)
    found = season_of(late, photo("A1", 7, 30, hour=1), early).points("A1")
    assert [point.day for point in found] == [date(2026, 7, 1), date(2026, 7, 8)]
    assert [point.severity_pct for point in found] == pytest.approx([3, 20])
    assert [(point.leaf_count, point.photo_count) for point in found] == [(1, 1), (3, 2)]
    assert found[1].lesions_per_leaf == 3
    assert (found[1].measuring_low_pct, found[1].measuring_high_pct) == pytest.approx((14, 26))


def test_night_photos_and_those_without_plant_or_leaf_are_no_visits():
    night = replace(photo("A1", 1, 5), mode="night")
    assert len(leaf_table([night, photo("", 2, 5), photo("A1", 3)])) == 0
    assert season_of(night).points("A1") == ()
    assert progress_curve(season_of(night), "A1") is None


def test_the_interval_holds_the_mean_and_widens_with_the_differences_of_leaves():
    near = season_of(photo("A1", 0, 9, 10, 11)).points("A1")[0]
    far = season_of(photo("A1", 0, 2, 10, 18)).points("A1")[0]
    assert far.low_pct < near.low_pct < 10 < near.high_pct < far.high_pct
    assert near.method == "t"


def test_more_leaves_make_the_interval_narrower():
    widths = []
    for count in (3, 6, 9, 30, 99):
        point = season_of(photo("A1", 0, *[5, 10, 15] * (count // 3))).points("A1")[0]
        widths.append(np.log(point.high_pct / point.low_pct))
        assert point.method == ("bootstrap" if count >= 12 else "t")
    assert widths == sorted(widths, reverse=True)


def test_one_leaf_alone_has_no_interval_but_gets_one_from_a_garden_of_several():
    alone = season_of(photo("A1", 0, 10)).points("A1")[0]
    assert (alone.low_pct, alone.high_pct, alone.whole_low_pct, alone.method) == (
        None,
        None,
        None,
        "",
    )
    others = [p for plant in ("B1", "B2", "B3") for p in grown(plant, 0.05)]
    beside = season_of(photo("A1", 0, 10), *others).points("A1")[0]
    assert beside.low_pct < 10 < beside.high_pct


def test_measuring_widens_the_whole_interval():
    found = season_of(photo("A1", 0, 8, 10, 12)).points("A1")[0]
    assert found.whole_low_pct < found.low_pct
    assert found.whole_high_pct > found.high_pct
    assert found.whole_low_pct < found.measuring_low_pct


def test_clean_leaves_have_an_interval_that_begins_at_nothing_and_is_not_nothing():
    found = season_of(photo("A1", 0, 0, 0, 0, 0)).points("A1")[0]
    assert found.severity_pct == found.low_pct == 0
    assert 0.2 < found.high_pct < 5


def test_the_interval_does_not_depend_on_the_order_of_leaves_or_photos():
    rng = np.random.default_rng(2)
    values = rng.lognormal(1, 0.6, 20).tolist()
    one = season_of(photo("A1", 0, *values)).points("A1")[0]
    other = season_of(photo("A1", 0, *values[10:]), photo("A1", 0, *values[:10], hour=2))
    two = other.points("A1")[0]
    assert (two.low_pct, two.high_pct) == pytest.approx((one.low_pct, one.high_pct), rel=0.1)
    again = season_of(photo("A1", 0, *values)).points("A1")[0]
    assert again == one


def test_a_growing_plant_rises_and_a_shrinking_one_falls():
    season = season_of(*grown("A1", 0.1), *grown("A2", -0.1, start=30), *grown("A3", 0.0, seed=4))
    assert progress_curve(season, "A1").course.direction == "rising"
    assert progress_curve(season, "A2").course.direction == "falling"
    assert progress_curve(season, "A3").course.direction in ("level", "cannot tell")


def test_a_well_photographed_level_plant_is_level():
    season = season_of(*grown("A1", 0.0, start=20, count=60, visits=6, spread=0.2))
    line = progress_curve(season, "A1").course.line
    assert -LEVEL_RATE_PER_DAY < line.low_per_day < line.high_per_day < LEVEL_RATE_PER_DAY
    assert progress_curve(season, "A1").course.direction == "level"


def test_a_plant_that_surely_stays_clean_is_level_however_unsure_its_growth():
    clean = [
        photo("A1", 7 * n, *leaves) for n, leaves in enumerate([[0, 0.4] * 6, [0.3, 0] * 6] * 3)
    ]
    course = progress_curve(season_of(*clean), "A1").course
    assert course.line.high_per_day > LEVEL_RATE_PER_DAY
    assert course.direction == "level"
    sicker = [photo("A1", 7 * n, *leaves) for n, leaves in enumerate([[0, 8] * 6, [6, 0] * 6] * 3)]
    assert progress_curve(season_of(*sicker), "A1").course.direction == "cannot tell"


@pytest.mark.parametrize(("visits", "said"), [(1, "only one visit"), (2, "two points")])
def test_two_points_decide_nothing_however_far_apart(visits, said):
    photos = grown("A1", 0.5, visits=visits, count=30)
    found = progress_curve(season_of(*photos), "A1").course
    assert found.direction == "cannot tell"
    assert said in found.reason
    assert found.line is None


def test_time_backwards_turns_the_rate_round():
    points = season_of(*grown("A1", 0.1)).points("A1")
    back = [
        replace(point, day=date(2026, 12, 31) - (point.day - date(2026, 1, 1)))
        for point in reversed(points)
    ]
    there, home = judge_course(points).line, judge_course(back).line
    assert home.rate_per_day == pytest.approx(-there.rate_per_day)
    assert home.standard_error_per_day == pytest.approx(there.standard_error_per_day)


def test_visits_twice_as_far_apart_halve_the_rate():
    points = season_of(*grown("A1", 0.1)).points("A1")
    slow = [replace(point, day=points[0].day + 2 * (point.day - points[0].day)) for point in points]
    assert judge_course(slow).line.rate_per_day == pytest.approx(
        judge_course(points).line.rate_per_day / 2
    )


def test_a_garden_of_single_leaves_is_judged_by_its_scatter_alone():
    photos = [p for n in range(6) for p in grown(f"B{n}", 0.02 * n, start=0.5, count=1, seed=n)]
    season = season_of(*photos)
    assert not season.scatter.weighed
    course = progress_curve(season, "B5").course
    assert course.direction == "rising"
    assert course.line.low_per_day < 0.10 < course.line.high_per_day


def test_the_recent_visits_are_those_of_three_weeks_but_at_least_four():
    weekly = season_of(*grown("A1", 0.1, visits=9)).points("A1")
    assert len(recent_points(weekly)) == 4
    assert len(recent_points(weekly, days=42)) == 7
    assert len(recent_points(weekly, days=1)) == 4
    assert recent_points(weekly[:2]) == weekly[:2]


def test_a_plant_that_recovered_is_judged_by_its_last_visits_not_by_the_whole_season():
    up = grown("A1", 0.12, start=1, visits=5)
    down = [photo("A1", 35 + 7 * n, *[30 / 2**n] * 6) for n in range(5)]
    curve = progress_curve(season_of(*up, *down), "A1")
    assert curve.course.direction == "falling"
    assert len(curve.points) == 10
    assert curve.to_threshold.days is None


def test_clean_visits_before_the_outbreak_do_not_slow_the_season_down():
    clean = [photo("A1", 7 * n - 35, 0, 0, 0) for n in range(5)]
    sick = grown("A1", 0.1)
    with_clean = progress_curve(season_of(*clean, *sick), "A1").rates[0]
    alone = progress_curve(season_of(*sick), "A1").rates[0]
    assert with_clean.rate_per_day == pytest.approx(alone.rate_per_day)


def test_the_change_since_the_last_visit_carries_its_interval_and_its_lesions():
    before, last = photo("A1", 0, 4, 5, 6), photo("A1", 7, 7, 9, 11)
    found = progress_curve(season_of(before, last), "A1").since_last
    assert found.days == 7
    assert found.points == pytest.approx(4)
    assert found.low_points < 4 < found.high_points
    assert found.lesions_per_leaf == 0
    assert progress_curve(season_of(before), "A1").since_last is None


def test_since_leaves_earlier_visits_out():
    season = season_of(*grown("A1", 0.1, visits=6))
    curve = progress_curve(season, "A1", since=date(2026, 7, 15))
    assert len(curve.points) == 4
    assert progress_curve(season, "A1", since=date(2027, 1, 1)) is None


def test_doubling_and_days_to_a_threshold_follow_the_rate():
    curve = progress_curve(season_of(*grown("A1", 0.1, visits=4)), "A1", threshold_pct=50)
    assert curve.doubling.fastest_days < curve.doubling.days < curve.doubling.slowest_days
    assert curve.doubling.days == pytest.approx(np.log(2) / curve.course.line.rate_per_day)
    assert 0 < curve.to_threshold.earliest_days < curve.to_threshold.days


SHARES = st.lists(st.floats(0, 100, allow_nan=False), min_size=1, max_size=30)


@settings(max_examples=60, deadline=None)
@given(st.lists(SHARES, min_size=1, max_size=6))
def test_whatever_the_leaves_intervals_hold_the_mean_and_stay_percentages(visits):
    season = season_of(*(photo("A1", 7 * day, *values) for day, values in enumerate(visits)))
    curve = progress_curve(season, "A1")
    for point, values in zip(curve.points, visits, strict=True):
        assert point.severity_pct == pytest.approx(np.mean(values), abs=1e-9)
        if point.low_pct is not None:
            ends = (point.whole_low_pct, point.low_pct, point.severity_pct, point.high_pct)
            assert min(ends) >= 0
            assert list(ends) == sorted(ends)
            assert point.high_pct <= point.whole_high_pct <= 100
    line = curve.course.line
    if line is not None:
        assert line.low_per_day <= line.rate_per_day <= line.high_per_day
        days = curve.to_threshold
        for earlier, later in ((days.earliest_days, days.days), (days.days, days.latest_days)):
            assert later is None or earlier <= later


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(0.1, 60), min_size=3, max_size=8), st.floats(0.1, 60))
def test_a_plants_direction_does_not_depend_on_its_name_or_its_neighbours_order(values, other):
    mine = [photo("A1", 7 * day, value, value * 1.5) for day, value in enumerate(values)]
    beside = [photo("B1", 7 * day, other, other / 2) for day in range(4)]
    there = progress_curve(season_of(*mine, *beside), "A1").course
    back = progress_curve(season_of(*beside, *reversed(mine)), "A1").course
    assert back.direction == there.direction
    renamed = [replace(p, plant="Z9") for p in mine]
    assert progress_curve(season_of(*renamed, *beside), "Z9").course.direction == there.direction
