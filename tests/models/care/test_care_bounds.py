"""What holds exactly at a bound, and one step beyond it; days count from 1 June 2026."""

from dataclasses import replace
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from math import dist
from random import Random

import pytest

from models.care import BurnVerdict, DayWeather, Thresholds, entry_of
from models.care.alarms import alarm_of
from models.care.caterpillars import night_evidence
from models.care.choice import choose
from models.care.enough import leaves_to_settle
from models.care.evidence import evidence_of
from models.care.habits import offers
from models.care.layout import _gain_m, _improved, _nearest_first, way_length_m
from models.care.mornings import first_morning, hindrance, rain_on, rests_until, washes_off
from models.care.peroxide import burned_on, gate_of, open_checks
from models.care.prevention import Due, PlannedSpray, planned_sprays, wash_off_words
from models.care.review import _last_like, review
from models.care.rules import LEAF_RULES
from models.care.season import season_of
from models.care.spray_tasks import _goes_first
from models.care.tasks import doubt_words
from models.care.visits import _with_leaves, feeding_signs, visit_of
from models.entries import LogEntry

MONDAY = date(2026, 6, 1)


def state(invented, day, hour=6.0, weather=()):
    """Return the season as it stands at a time."""
    now = invented.at(day, hour)
    return season_of(invented.garden, invented.photos, invented.entries, now, weather)


def day_of(number) -> date:
    return MONDAY + timedelta(days=number)


def said(invented, rule, day=60, weather=()) -> list[str]:
    """Return what is said of entries that broke a rule."""
    found = review(state(invented, day, 23, weather))
    return [remark.sentence for remark in found if remark.rule == rule]


# The way


def test_a_way_begins_in_the_gardens_first_corner():
    """3 m up, then 4 m across; and √(6² + 8²) = 10 m straight away."""
    places = {"a": (0.0, 3.0), "b": (4.0, 3.0), "c": (6.0, 8.0)}
    assert way_length_m(places, ["a", "b"]) == pytest.approx(7)
    assert way_length_m(places, ["c"]) == pytest.approx(10)
    assert way_length_m(places, ["b", "a"]) == pytest.approx(9)
    assert way_length_m(places, ["b", "c"]) == pytest.approx(5 + 29**0.5)
    assert way_length_m(places, ["c", "b"]) == pytest.approx(10 + 29**0.5)


def test_the_nearest_plant_comes_next_counted_from_the_corner_then_from_each_plant():
    """From the corner a is 3 m off, b 3.2 m; from a, c is 2 m off and b 3.6 m."""
    places = {"b": (1.0, 3.0), "c": (5.0, 0.0), "a": (3.0, 0.0)}
    assert _nearest_first(places, ["b", "c", "a"]) == ["a", "c", "b"]
    up = {"b": (0.0, 1.4), "a": (1.0, 0.0)}
    assert _nearest_first(up, ["b", "a"]) == ["a", "b"]


def test_a_stretch_turned_round_shortens_the_way_by_what_its_two_ends_tell():
    points = [(0.0, 0.0), (3.0, 1.0), (1.0, 4.0), (5.0, 2.0), (2.0, 7.0)]

    def length(way):
        return sum(dist(one, other) for one, other in pairwise(way))

    for first in range(1, 4):
        for last in range(first + 1, 5):
            turned = [*points[:first], *points[first : last + 1][::-1], *points[last + 1 :]]
            shorter = length(points) - length(turned)
            assert _gain_m(points, first, last) == pytest.approx(shorter)


@pytest.mark.parametrize("seed", range(5))
def test_stretches_are_turned_round_until_no_turn_shortens_the_way_and_no_plant_is_lost(seed):
    chance = Random(seed)
    places = {name: (9 * chance.random(), 9 * chance.random()) for name in "abcdefghij"}
    way = _improved(places, list(places))
    assert sorted(way) == sorted(places)
    assert way_length_m(places, way) < way_length_m(places, list(places))
    points = [(0.0, 0.0), *(places[name] for name in way)]
    turns = [(first, last) for last in range(2, len(points)) for first in range(1, last)]
    assert max(_gain_m(points, *turn) for turn in turns) <= 1e-9


def test_twice_the_rain_that_leaves_half_washes_most_of_a_spray_off():
    """Half goes per 25.4 mm."""
    assert wash_off_words(50.8).endswith(
        "25 % of a registered protectant would be left, most of it is gone."
    )
    assert wash_off_words(50.7).endswith("would be left; baking soda washes off sooner.")


# Alarms


def test_a_word_of_the_same_moment_lifts_an_alarm_and_one_before_it_does_not(season):
    wilted = season().log("seen", 1, "A1", hour=8, text="wilting")
    assert alarm_of(state(wilted, 2), "A1").kind == "wilting"
    for hour, lifted in ((7.99, False), (8, True), (9, True)):
        cleared = season().log("seen", 1, "A1", hour=8, text="wilting")
        cleared.log("seen", 1, "A1", hour=hour, text="cleared")
        assert (alarm_of(state(cleared, 2), "A1") is None) == lifted


def risen(season, points, days, leaves=2):
    invented = season().photo("A1", 1, 4, width=1)
    for _ in range(leaves):
        invented.photo("A1", 1 + days, 4 + points, width=1)
    return alarm_of(state(invented, 1 + days, 12), "A1") is not None


def test_a_rise_alarms_from_25_points_within_4_days_on_two_leaves(season):
    assert risen(season, 25, 4)
    assert not risen(season, 24.9, 4)
    assert not risen(season, 25, 5)
    assert not risen(season, 25, 4, leaves=1)


@pytest.mark.parametrize("doubtful", [(), (0,), (1, 2), (0, 1, 2)])
def test_a_rise_alarms_only_between_two_looks_without_a_doubt(season, doubtful):
    invented = season().photo("A1", 1, 4, width=1)
    invented.photo("A1", 3, 44, width=1).photo("A1", 3, 44, width=1)
    for number in doubtful:
        invented.photos[number] = replace(invented.photos[number], flags=("blurred",))
    assert (alarm_of(state(invented, 3, 12), "A1") is not None) == (not doubtful)


@pytest.mark.parametrize(
    ("days", "leaves", "lifted"),
    [((7, 8), 3, True), ((6, 7), 3, False), ((7,), 3, False), ((7, 8), 2, False)],
)
def test_two_sure_looks_from_the_seventh_day_on_end_isolation(season, days, leaves, lifted):
    invented = season().photo("A1", 0, 60, "blight", blight_kind="late")
    for day in days:
        for _ in range(leaves):
            invented.photo("A1", day, 2, width=1)
    assert (alarm_of(state(invented, 9), "A1") is None) == lifted


# Caterpillars


@pytest.mark.parametrize(("day", "stands"), [(15, True), (16, False)])
def test_what_was_found_lapses_after_14_nights(season, day, stands):
    counted = state(season().night("A1", 1, 2), day, 12)
    picked = state(season().log("hand_pick", 1, "A1", hour=20), day, 12)
    fed = state(season().signs("A1", 1, frass=3), day, 12)
    assert (night_evidence(counted)["A1"].look is not None) == stands
    assert night_evidence(picked)["A1"].picked_since_look == stands
    assert (night_evidence(fed)["A1"].feeding is not None) == stands


def test_an_eaten_leaf_counts_from_five_percent_on(season):
    for chewed, counts in ((5.0, True), (4.9, False)):
        found = night_evidence(state(season().signs("A1", 1, chewed=chewed), 2))["A1"]
        assert (found.feeding is not None) == counts


def test_a_picking_of_the_looks_own_moment_comes_after_it_and_a_sign_of_it_does_not(season):
    invented = season().night("A1", 1, 2, hour=22).log("hand_pick", 1, "A1", hour=22)
    assert night_evidence(state(invented, 2))["A1"].picked_since_look
    early = season().night("A1", 1, 2, hour=22).log("hand_pick", 1, "A1", hour=21)
    assert not night_evidence(state(early, 2))["A1"].picked_since_look
    sign = season().night("A1", 1, 0, hour=22).log("seen", 1, "A1", hour=22, text="droppings")
    assert night_evidence(state(sign, 2))["A1"].feeding is None
    sign.log("seen", 1, "A1", hour=22.1, text="droppings")
    assert night_evidence(state(sign, 2))["A1"].feeding is not None


def test_cocoons_are_taken_off_the_count_one_where_no_number_is_said(season):
    invented = season().night("A1", 1, 5, hour=22).log("seen", 1, "A1", hour=23, text="cocoons")
    assert night_evidence(state(invented, 2))["A1"].left_to_pick == 4
    invented.log("seen", 2, "A1", hour=1, text="cocoons", amount=2)
    found = night_evidence(state(invented, 3))["A1"]
    assert found.left_to_pick == 2
    assert found.look_age_days == 2


# Mornings


def test_rain_counts_above_the_gardens_line_and_without_an_amount_too(season):
    invented = season().log("rain", 1, amount=0.5).log("rain", 2, amount=0.6).log("rain", 3)
    seen = state(invented, 4)
    assert [washes_off(seen, rain_on(seen, day_of(day))) for day in (0, 1, 2, 3)] == [
        False, False, True, True,
    ]  # fmt: skip
    assert rain_on(seen, day_of(0)) is None
    assert rain_on(seen, day_of(3)) == 1.5  # one millimetre above the line
    assert rain_on(seen, day_of(1), after=invented.at(1, 7.5)) == 0.5
    assert rain_on(seen, day_of(1), after=invented.at(1, 7.6)) is None


def test_so_little_rain_that_a_hundredth_goes_is_none_whatever_the_line(season):
    """0.5 ** (0.368 ÷ 25.4) = 0.990."""
    seen = state(season(rain_mm=0.0), 1)
    assert not washes_off(seen, 0.36)
    assert washes_off(seen, 0.38)
    assert not washes_off(seen, None)


def test_of_a_days_rows_of_rain_only_those_after_a_spray_count(season):
    rows = ((time(7), 2.0), (time(9), 3.0))
    weather = [DayWeather(day_of(1), rain_mm=5.0, rain_rows=rows)]
    invented = season()
    seen = state(invented, 2, weather=weather)
    assert rain_on(seen, day_of(1)) == 5.0
    assert rain_on(seen, day_of(1), after=invented.at(1, 6)) == 5.0
    assert rain_on(seen, day_of(1), after=invented.at(1, 7)) == 3.0
    assert rain_on(seen, day_of(1), after=invented.at(1, 9)) == 0


@pytest.mark.parametrize(("hottest", "hinders"), [(31.9, False), (32.0, True)])
def test_heat_hinders_from_32_degrees_on_the_day_and_the_next(season, hottest, hinders):
    for hot in (1, 2):
        seen = state(season(), 0, weather=[DayWeather(day_of(hot), hottest_c=hottest)])
        assert bool(hindrance(seen, day_of(1))) == hinders
    assert not hindrance(
        state(season(), 0, weather=[DayWeather(day_of(3), hottest_c=40)]), day_of(1)
    )


def test_a_morning_lasts_until_ten(season):
    for hour, morning in ((9.99, 1), (10, 2)):
        assert first_morning(state(season(), 1, hour), "soda", day_of(0))[0] == day_of(morning)


def test_a_plant_rests_until_a_morning_that_is_not_over_48_hours_later(season):
    for hour, morning in ((9.9, 3), (10, 4)):
        seen = state(season().spray("peroxide", 1, "A1", hour=hour), 2)
        assert rests_until(seen, seen.log[0]) == day_of(morning)


def test_a_wait_that_ends_within_a_morning_is_told_with_it(season):
    invented = season().spray("copper", 1, hour=7)
    day, not_before, moved = first_morning(state(invented, 1, 12), "soda", day_of(2))
    assert (day, not_before) == (day_of(3), invented.at(3, 7))
    assert moved == "the wait after the other product lasts until Thu 4 Jun"
    for hour, expected in ((5, 3), (9.9, 3), (10, 4)):
        invented = season().spray("copper", 1, hour=hour)
        assert first_morning(state(invented, 1, 12), "soda", day_of(2))[0] == day_of(expected)
    early = season().spray("copper", 1, hour=5)
    assert first_morning(state(early, 1, 12), "soda", day_of(2))[1] is None


# The gate


def looked_at(season, verdict="no burn seen", hour=7.5):
    """Return a season in which A1 was sprayed on day 1 at 7:30 and looked at a day later."""
    return season().spray("peroxide", 1, "A1").verdict(verdict, "A1", 1, 2, hour)


def test_the_gate_opens_when_the_one_more_day_is_over(season):
    invented = looked_at(season)
    assert gate_of(state(invented, 3, 7.4)).state == "settling"
    assert gate_of(state(invented, 3, 7.5)).state == "passed"
    assert gate_of(state(invented, 3, 7.4)).opens == invented.at(3, 7.5)


def test_a_test_holds_for_14_days_and_a_pause_after_a_burn_too(season):
    assert gate_of(state(looked_at(season), 15, 12)).state == "passed"
    assert gate_of(state(looked_at(season), 16, 0.1)).state == "untested"
    burned = looked_at(season, "burned")
    assert gate_of(state(burned, 16, 12)).state == "blocked"
    assert gate_of(state(burned, 17, 0.1)).state == "untested"
    assert burned_on(state(burned, 16, 12), "A1") is not None
    assert burned_on(state(burned, 17, 0.1), "A1") is None


def test_a_look_for_burn_stays_open_for_14_days(season):
    invented = season().spray("peroxide", 1, "A1")
    assert open_checks(state(invented, 15, 12))
    assert not open_checks(state(invented, 16, 0.1))
    assert open_checks(state(invented, 2))[0].opens == invented.at(2, 7.5)


def test_a_look_counts_from_24_hours_on_but_a_burn_at_once(season):
    assert gate_of(state(looked_at(season, hour=7.4), 2, 12)).state == "running"
    assert gate_of(state(looked_at(season, hour=7.5), 2, 12)).state == "settling"
    assert gate_of(state(looked_at(season, "burned", hour=1), 2, 12)).state == "blocked"


def test_a_burn_seen_after_a_clean_look_shuts_the_gate(season):
    invented = looked_at(season).verdict("burned", "A1", 1, 3, 8)
    assert gate_of(state(invented, 4, 8)).state == "blocked"
    assert gate_of(state(looked_at(season), 4, 8)).state == "passed"
    by_eye = looked_at(season).log("seen", 3, "A1", hour=8, text="burned")
    assert gate_of(state(by_eye, 4, 8)).state == "blocked"


def test_looking_again_does_not_put_the_gate_off(season):
    invented = looked_at(season).verdict("no burn seen", "A1", 1, 3, 7)
    assert gate_of(state(invented, 3, 8)).state == "passed"
    doubted = looked_at(season).verdict("cannot tell", "A1", 1, 2, 9)
    doubted.verdict("no burn seen", "A1", 1, 2, 12)
    assert gate_of(state(doubted, 3, 8)).opens == doubted.at(3, 12)


# The season


def test_the_season_is_over_after_45_quiet_days(season):
    invented = season().photo("A1", 1, 1, hour=8)
    assert not state(invented, 46, 8).is_over
    assert state(invented, 46, 8.1).is_over
    assert not state(season(), 100).is_over  # nothing is known of it
    declined = season().photo("A1", 1, 1, hour=8).log("decline", 40, text="basil")
    assert state(declined, 47).is_over


@pytest.mark.parametrize(
    ("hour", "tonight", "dark", "daytime"),
    [(4.9, 9, True, 10), (5, 10, False, 10), (20.9, 10, False, 10), (21, 10, True, 11)],
)
def test_nights_begin_at_nine_and_end_at_five(season, hour, tonight, dark, daytime):
    seen = state(season(), 10, hour)
    assert (seen.tonight, seen.is_dark) == (day_of(tonight), dark)
    assert seen.daytime == day_of(daytime)


def test_a_photo_whose_name_tells_only_its_day_counts_all_that_day(season):
    """What is said on that day then counts as said after it, however early."""
    for taken_from, hour, lifted in (("name", 12, True), ("name", 11, False), ("exif", 12, False)):
        more = {"blight_kind": "late", "taken_from": taken_from}
        invented = season().photo("A1", 1, 20, "blight", hour=hour, **more)
        invented.log("seen", 1, "A1", hour=8, text="cleared")
        assert (alarm_of(state(invented, 2), "A1") is None) == lifted
    for taken_from, hour, there in (("name", 12, 1), ("name", 11, 0), ("exif", 12, 0)):
        invented = season().photo("A1", 1, 20, hour=hour, taken_from=taken_from)
        assert len(state(invented, 1, 8).photos) == there


def test_what_is_older_than_the_season_is_left_out(season):
    invented = season().photo("A1", 0, 3, hour=8).log("note", 0, "A1", hour=8, text="x")
    invented.log("decline", 0, hour=8, text="basil")
    assert len(state(invented, 200, 8).photos) == 1
    late = state(invented, 200, 8.1)
    assert (len(late.photos), [e.kind for e in late.log]) == (0, ["decline"])


def checked_by_photos(season, **more):
    """Return a season in which a look for burn rests on a photo before and one after the spray."""
    invented = season(**more).photo("A1", 0, 20).spray("peroxide", 1, "A1").photo("A1", 3, 20)
    before, after = (photo.photo for photo in invented.photos)
    seen = BurnVerdict(
        "no burn seen", "A1", 1, invented.at(3, 8), {}, before=(before,), after=(after,)
    )
    invented.entries.append(replace(entry_of(seen), number=2))
    return invented


def test_a_look_whose_photos_are_no_longer_the_plants_does_not_count(season):
    assert gate_of(state(checked_by_photos(season), 5)).state == "passed"
    for gone in (0, 1):
        invented = checked_by_photos(season)
        del invented.photos[gone]
        assert gate_of(state(invented, 5)).state == "running"


def test_at_the_seasons_far_end_the_photos_of_a_look_are_not_asked_for(season):
    """Those from before the spray may lie before all that is looked at: 30 − 3 days."""
    invented = checked_by_photos(season, season_days=30)
    invented.photos.clear()
    assert not state(invented, 28, 7.5).verdicts
    assert state(invented, 28, 7.6).verdicts


# The choice and its evidence


def ready(season, severity=20.0, day=1):
    return season().spray("soda", -1).healthy(day, "B1").photo("B1", day, severity)


def test_a_plant_is_tested_up_to_40_percent_and_on_a_photo_of_three_days(season):
    def chosen(invented, day):
        seen = state(invented, day, 12)
        return choose(seen, evidence_of(seen)).plant

    assert chosen(ready(season, 40.0), 1) == "B1"
    assert chosen(ready(season, 40.1), 1) == ""
    assert chosen(ready(season), 4) == "B1"
    assert chosen(ready(season), 5) == ""


@pytest.mark.parametrize(("hour", "holds"), [(9.9, True), (10, False)])
def test_the_growers_choice_holds_for_a_week(season, hour, holds):
    invented = ready(season, day=8).photo("A2", 8, 9, hour=7).log("choice", 1, "A2", hour=10)
    seen = state(invented, 8, hour)
    assert choose(seen, evidence_of(seen)).by_grower == holds


@pytest.mark.parametrize(
    ("day", "plant", "holds"), [(7, "A2", True), (9, "A3", True), (9, "A2", False)]
)
def test_the_growers_choice_holds_until_that_plant_was_sprayed_after_it(season, day, plant, holds):
    invented = ready(season, day=8).photo("A2", 8, 9, hour=7).log("choice", 8, "A2", hour=10)
    invented.spray("peroxide", day, plant)
    seen = state(invented, 9, 12)
    assert choose(seen, evidence_of(seen)).by_grower == holds


def test_a_plant_chosen_without_a_fresh_photo_gives_way_to_the_rules_choice(season):
    invented = season().spray("soda", -1).healthy(8, "A2", "B1").photo("A2", 3, 9)
    invented.photo("B1", 8, 20).log("choice", 8, "A2", hour=10)
    seen = state(invented, 8, 12)
    choice = choose(seen, evidence_of(seen))
    assert (choice.plant, choice.by_grower) == ("B1", False)
    assert "it has no fresh photo" in choice.why_not


@pytest.mark.parametrize(("day", "after"), [(8, True), (9, False)])
def test_a_look_is_young_enough_for_prevention_for_seven_days(season, day, after):
    seen = state(season().photo("A1", 1, 1), day, 12)
    assert evidence_of(seen)["A1"].is_looked_after == after


# What is said of the log


def test_mornings_are_from_five_to_ten(season):
    for hour, wrong in ((4.9, 1), (5, 0), (10, 0), (10.1, 1)):
        assert len(said(season().spray("soda", 1, hour=hour), "mornings")) == wrong


def test_preventive_sprays_are_14_days_apart(season):
    assert not said(season().spray("soda", 1).spray("soda", 15), "interval")
    (words,) = said(season().spray("soda", 1).spray("soda", 16), "interval")
    assert words.startswith("15 days after the last preventive spray, 1 too late")


def test_prevention_may_wait_for_peroxide_five_days_longer(season):
    """3 days that it may be put off, and 48 hours between two products."""
    for day, wrong in ((20, 0), (21, 1)):
        invented = season().spray("soda", 1).spray("peroxide", 10, "A1").spray("soda", day)
        assert len(said(invented, "interval")) == wrong


def test_a_spray_that_is_due_on_the_calendars_last_day_is_listed_though_it_must_wait(season):
    made = state(season("A1").spray("soda", 1).spray("peroxide", 14), 14, 12)
    (spray,) = planned_sprays(made, ["A1"], day_of(15))
    assert (spray.due.day, spray.day) == (day_of(15), day_of(16))
    assert planned_sprays(made, ["A1"], day_of(14)) == ()


def test_prevention_goes_first_where_its_wait_is_over_by_then_or_it_was_put_off_too_long(season):
    """On the 6th of June; its own morning is the 10th, and peroxide waits 48 hours after it."""
    made = state(season(), 5)

    def first(late, peroxide_on):
        due = Due(day_of(5 - late), "")
        spray = PlannedSpray(("A1",), day_of(9), due, "", None, 1)
        return _goes_first(made, spray, day_of(peroxide_on))

    most = made.limits.overdue_days
    assert [first(most - 1, day) for day in (7, 10, 11)] == [False, False, True]
    assert [first(most, day) for day in (6, 7, 10)] == [False, True, True]


def test_48_hours_lie_between_two_products(season):
    for hour, wrong in ((7.4, 1), (7.5, 0)):
        invented = season().spray("soda", 1, hour=7.5).spray("copper", 3, hour=hour)
        assert len(said(invented, "one at a time")) == wrong


@pytest.mark.parametrize(
    ("day", "hour", "gap"),
    [
        (1, 9.4, "less than 2 hours after"),
        (1, 9.5, "2 hours after"),
        (1, 10.5, "3 hours after"),
        (3, 7.4, "48 hours after"),
        (3, 7.5, "2 days after"),
        (14, 7.5, "13 days after"),
    ],
)
def test_how_soon_a_spray_was_repeated_is_said_in_hours_then_days(season, day, hour, gap):
    (words,) = said(
        season().spray("soda", 1, "A1").spray("soda", day, "A1", hour=hour), "not too often"
    )
    assert words.startswith(f"soda on A1 {gap} soda (entry 1): every 14 days")


def test_peroxide_is_repeated_after_seven_days_at_the_earliest(season):
    for day, wrong in ((8, 1), (9, 0)):
        invented = season().spray("peroxide", 1, "A1").spray("peroxide", day, "A1")
        assert len(said(invented, "not too often")) == wrong


def test_rain_makes_a_spray_right_from_the_next_morning_on(season):
    for day, wrong in ((5, 1), (6, 0), (7, 0)):
        invented = season().spray("soda", 1).log("rain", 6, amount=9, hour=5).spray("soda", day)
        assert len(said(invented, "not too often")) == wrong


def test_a_spray_wants_two_hours_before_rain(season):
    for minutes, wrong in ((0, 1), (1, 1), (120, 1), (121, 0)):
        row = (datetime(2026, 6, 2, 7, 30) + timedelta(minutes=minutes)).time()
        weather = [DayWeather(day_of(1), rain_mm=3.0, rain_rows=((row, 3.0),))]
        assert (
            len(said(season().spray("soda", 1, hour=7.5), "dry leaves", weather=weather)) == wrong
        )


def test_another_product_is_too_often_twice_within_48_hours(season):
    for product, hour, count in (("copper", 7, 1), ("copper", 7.5, 0), ("aspirin", 7, 0)):
        made = season().spray(product, 1, "A1").spray(product, 3, "A1", hour=hour)
        assert len(said(made, "not too often")) == count


def test_heat_of_the_day_and_the_next_is_pointed_out(season):
    for day, hottest, wrong in ((1, 32, 1), (1, 31.9, 0), (2, 32, 1), (3, 40, 0), (0, 40, 0)):
        weather = [DayWeather(day_of(day), hottest_c=hottest)]
        assert len(said(season().spray("soda", 1), "heat", weather=weather)) == wrong


def test_anything_sprayed_once_a_look_for_burn_was_open_is_pointed_out(season):
    for hour, wrong in ((7.4, 0), (7.5, 1)):
        invented = season().spray("peroxide", 1, "A1").spray("copper", 2, "B1", hour=hour)
        assert len(said(invented, "look first")) == wrong


def test_peroxide_goes_on_others_when_the_one_more_day_is_over(season):
    for hour, wrong in ((7.4, 1), (7.5, 0)):
        invented = looked_at(season).spray("peroxide", 3, "B1", hour=hour)
        assert len(said(invented, "one plant first")) == wrong
    again = season().spray("peroxide", 1, "A1").spray("peroxide", 2, "A1", hour=6)
    assert said(again, "one plant first") == []  # no further plant
    several = season().spray("peroxide", 1, "A1", "A2")
    assert "2 plants without a spot-test" in said(several, "one plant first")[0]
    assert said(season().spray("peroxide", 1, "A1"), "one plant first") == []


@pytest.mark.parametrize(
    ("rest", "wrong"),
    [("burned", 0), ("no burn seen", 1), ("wilting", 0), ("cleared", 0), ("no-burn", 1), ("", 1)],
)
def test_a_spray_is_not_late_on_a_plant_that_had_to_rest(season, rest, wrong):
    invented = season().spray("soda", 1, "A1").spray("peroxide", 2, "A1")
    if rest in ("burned", "no burn seen"):
        invented.verdict(rest, "A1", 2, 4)
    elif rest:
        invented.log("seen", 4, "A1", text=rest)
    assert len(said(invented.spray("soda", 30, "A1"), "interval")) == wrong
    both = invented.spray("soda", 50, "A1", "A2")
    assert said(both, "interval", day=50)[-1].startswith("20 days after")


def test_peroxide_on_what_shows_less_than_one_percent_is_pointed_out(season):
    for severity, wrong in ((0.9, 1), (1.0, 0)):
        invented = season().photo("A1", 1, severity).spray("peroxide", 2, "A1")
        assert len(said(invented, "only sick plants")) == wrong


def test_a_look_for_burn_before_24_hours_is_pointed_out(season):
    for hour, wrong in ((7.4, 1), (7.5, 0)):
        assert len(said(looked_at(season, hour=hour), "24 hours")) == wrong


# Habits


def offered(invented, day=12):
    return {offer.name: offer for offer in offers(state(invented, day))}


def test_plants_that_sickened_within_ten_days_after_rain_are_named(season):
    for rain, names in ((2, ("A1",)), (1, None)):
        invented = season().log("rain", rain, amount=3).photo("A1", 12, 1.0).photo("A2", 12, 0.9)
        offer = offered(invented, 13).get("water-low")
        assert (offer.plants if offer else None) == names
    low = (
        season()
        .log("rain", 5, amount=3)
        .photo("A1", 12, 9)
        .log("seen", 1, "B1", text="low-lesions")
    )
    assert offered(low, 13)["water-low"].plants == ("A1", "B1")


def test_a_leaf_of_40_percent_is_offered_for_removal_until_it_was_taken_off(season):
    assert "strip" in offered(season().photo("A1", 1, 40.0))
    assert "strip" not in offered(season().photo("A1", 1, 39.9))
    assert "strip" not in offered(season().photo("A1", 1, 50).log("removed_leaves", 1, "A1"))
    assert "strip" in offered(season().log("removed_leaves", 1, "A1").photo("A1", 2, 50))


def test_a_bird_bath_is_offered_after_seven_dry_days_with_caterpillars(season):
    for rain, there in ((5, True), (6, False)):
        invented = season().night("A1", 1, 2).log("rain", rain, amount=1)
        assert ("bird-water" in offered(invented, 12)) == there
    assert "bird-water" not in offered(season().log("rain", 1, amount=1))
    assert "bird-water" not in offered(season().night("A1", 1, 2))  # nobody writes down rain


def test_a_night_without_caterpillars_offers_nothing_against_them(season):
    assert "sharp-mulch" not in offered(season().night("A1", 1, 0))
    assert "sharp-mulch" in offered(season().night("A1", 1, 1))
    assert "sharp-mulch" not in offered(season().log("hand_pick", 1, "A1", amount=0))
    assert "sharp-mulch" in offered(season().log("hand_pick", 1, "A1"))


def test_a_visit_without_a_course_keeps_the_means_of_its_leaves(season):
    invented = season().photo("A1", 1, 4, width=2).photo("A1", 1, 8, width=4)
    (day,) = state(invented, 2).measured_days["A1"]
    visit = visit_of(day, None)
    assert (visit.severity_pct, visit.low_pct, visit.high_pct) == (6, 4.5, 7.5)
    assert (visit.worst_leaf_pct, visit.leaf_count, visit.leaf_error) == (8, 2, None)


def test_a_photo_whose_leaves_are_not_kept_counts_as_its_first_leaf(season):
    whole = season().photo("A1", 1, 4, lesion_count=3).photos[0]
    (leaf,) = _with_leaves(whole).leaves
    assert (leaf.leaf, leaf.lesion_count, leaf.severity_pct) == (1, 3, 4)
    assert (leaf.severity_low_pct, leaf.severity_high_pct) == (3, 5)
    (leaf,) = _with_leaves(replace(whole, severity_low_pct=None, severity_high_pct=None)).leaves
    assert (leaf.severity_low_pct, leaf.severity_high_pct) == (0, 100)
    assert _with_leaves(replace(whole, leaves=(leaf, leaf))).leaves == (leaf, leaf)


def uncertain(season, severity=20.0, leaves=3, error=None):
    (day,) = state(season().photo("A1", 1, severity), 2).measured_days["A1"]
    return replace(visit_of(day, None), leaf_count=leaves, leaf_error=error)


def test_only_rows_about_a_doubt_say_what_makes_a_reading_doubtful(season):
    found = evidence_of(state(season().photo("A1", 1, 6, width=9), 2))
    saying = {rule.name for rule in LEAF_RULES if doubt_words(rule, found["A1"])}
    assert saying == {"flagged", "doubtful", "open"}
    assert not any(doubt_words(rule, found["A2"]) for rule in LEAF_RULES)


def test_a_night_photo_on_which_nothing_could_be_counted_is_no_look(season):
    made = season().night("A1", 1, 2).night("A2", 1, 2)
    made.photos[1] = replace(made.photos[1], caterpillar_count=None)
    nights = state(made.photo("A3", 1, 6), 2).nights
    assert [len(nights[plant]) for plant in ("A1", "A2", "A3")] == [1, 0, 0]


def test_signs_of_feeding_are_those_of_day_photos_that_show_any(season):
    made = season().signs("A1", 1, frass=2).signs("A2", 1, chewed=6).photo("A3", 1, 6)
    made.photos.append(replace(made.photos[0], mode="night", sha256="n"))
    assert [sign.photo for sign in feeding_signs(made.photos)] == [p.photo for p in made.photos[:2]]


def test_the_last_peroxide_on_a_plant_is_the_one_that_counts(season):
    made = season().healthy(1).spray("peroxide", 1, "A1").spray("peroxide", 9, "A1")
    found = evidence_of(state(made.verdict("cannot tell", "A1", 2, 11), 11, 12))["A1"]
    assert (found.spray.number, found.hours_since_spray) == (2, 52.5)


def test_what_was_sprayed_is_told_first_then_the_look_for_burn_then_the_reading(season):
    made = season().healthy(1).photo("A1", 1, 8).spray("peroxide", 2, "A1")
    made.verdict("cannot tell", "A1", made.entries[-1].number, 3, hour=12)
    (told,) = [s.measured for s in made.plan(3, 13).statuses if s.plant == "A1"]
    first, second, *_ = told.split("; ")
    assert first.startswith("sprayed with peroxide")
    assert second.startswith("burn check")
    assert second.endswith(": cannot tell")


def test_where_no_morning_is_free_the_farthest_is_named(season, monkeypatch):
    monkeypatch.setattr("models.care.mornings.FARTHEST_DAYS", 2)
    hot = [DayWeather(day_of(day), hottest_c=40.0) for day in range(1, 9)]
    day, *_ = first_morning(state(season(), 1, weather=hot), "soda", day_of(2))
    assert day == day_of(4)


@pytest.mark.parametrize(
    ("before", "now", "same"),
    [((), (), True), (("A1",), (), True), ((), ("A1",), True), (("A1", "A2"), ("A2",), True),
     (("A1",), ("A2",), False)],
)  # fmt: skip
def test_the_spray_before_is_the_last_one_that_reached_any_of_its_plants(season, before, now, same):
    log = state(season().spray("soda", 1, *before).spray("soda", 5, *now), 6)
    found = _last_like(log, log.log[-1])
    assert (found is not None) == same


def test_a_planned_spray_gives_its_reason_to_preventive_statuses_alone(season):
    plan = season().photo("A1", 1, 8).healthy(1, "A1").spray("soda", 1, "B1").plan(2, 12)
    reasons = {(task.kind, plant): task.why for task in plan.tasks for plant in task.plants}
    says = {status.plant: (status.status, status.why) for status in plan.statuses}
    assert says["A2"] == ("prevent", reasons["prevent", "A2"])
    assert says["A1"][0] == "spot-test"
    assert says["A1"][1] in reasons["spot-test", "A1"]
    assert says["B1"][0] == "clear"
    assert len({why for _, why in says.values()} & set(reasons.values())) == 1


def test_a_look_of_which_only_the_files_date_is_known_has_no_age(season):
    made = season().photo("A1", 1, 6).photo("A2", 1, 6, flags=("no_date",))
    found = evidence_of(state(made, 3))
    assert found["A2"].visit is not None
    assert [found[plant].age_days for plant in ("A1", "A2", "A3")] == [2, None, None]
    assert [found[plant].is_looked_after for plant in ("A1", "A2", "A3")] == [True, False, False]


def test_up_to_twelve_leaves_are_asked_for_to_settle_a_reading(season):
    limits = Thresholds()
    errors = [number / 50 for number in range(1, 300)]
    counts = [leaves_to_settle(uncertain(season, error=error), limits) for error in errors]
    assert set(counts) == {*range(4, 13), None}
    known = [count for count in counts if count is not None]
    assert known == sorted(known)  # the more leaves differ, the more of them are wanted
    assert counts == known + [None] * (len(counts) - len(known))
    for leaves, wanted in ((1, 3), (2, 3), (3, None)):  # nothing tells yet how leaves differ
        assert leaves_to_settle(uncertain(season, leaves=leaves), limits) == wanted


def test_a_leaf_all_sick_or_hardly_sick_is_taken_for_a_quarter_percent_less_or_more(season):
    assert leaves_to_settle(uncertain(season, 100.0, error=0.01), Thresholds()) == 4
    for sick, wanted in ((0.24, 4), (0.26, None)):
        limits = Thresholds(watch_pct=0.1, sick_pct=sick)
        assert leaves_to_settle(uncertain(season, 0.0, error=1e-6), limits) == wanted


def test_what_eyes_see_is_said_of_the_last_spray_before(season):
    invented = season().spray("peroxide", 1, "A1").spray("peroxide", 10, "A1")
    invented.log("seen", 11, "A1", text="no-burn").spray("peroxide", 20, "A1")
    (seen,) = state(invented, 25).verdicts
    assert (seen.spray, seen.plant, seen.verdict) == (2, "A1", "no burn seen")


def test_a_count_is_told_before_signs_by_day_and_signs_before_a_night_without_any(season):
    def told(invented, day):
        return invented.plan(day, 12).statuses[1].measured

    counted = season("B2").night("B2", 1, 2)
    assert told(counted, 2) == "night of Tue 2 Jun: 2 caterpillars (1 to 3)"
    assert told(counted.signs("B2", 2, frass=3), 2) == told(season("B2").night("B2", 1, 2), 2)
    none = season("B2").night("B2", 1, 0).signs("B2", 2, frass=3, chewed=8)
    assert told(none, 2) == "Wed 3 Jun: 3 droppings, 8 % of a leaf eaten"


def test_the_next_spray_is_told_after_the_last_one_or_after_the_one_that_is_planned(season):
    planned = season().spray("soda", 1).healthy(1).tasks(2, 12, "prevent", days=30)
    first, second = (task.why for task in planned)
    assert first.startswith("Every 14 days; the last one is of Tue 2 Jun.")
    assert second.startswith("Every 14 days; the one before is planned for Tue 16 Jun.")


def test_an_entry_of_the_same_moment_is_ordered_by_its_number(season):
    seen = state(season().log("note", 1, "A1", text="a").log("note", 1, "A1", text="b"), 2)
    assert [entry.text for entry in seen.log] == ["a", "b"]
    assert all(isinstance(entry, LogEntry) for entry in seen.log)
