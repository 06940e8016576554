"""Looks before sprays: for burn after each peroxide, one more day, photos that are young enough.

Days count from Monday 1 June; garden rules without a source, as in the rule table.
"""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from models.care import CareSettingsError, Thresholds, thresholds_of
from models.care.visits import night_looks
from models.entries import PhotoEntry
from models.garden.beds import Garden


def sick_garden(season, **severities):
    """Return a season, photographed on day 1, in which some plants are spotted."""
    invented = season().spray("soda", -1).healthy(1, *severities)
    for plant, severity in severities.items():
        invented.photo(plant, 1, severity)
    return invented


def one_tested(season, day=2):
    """Return a season with B1 sprayed on a day at 7:30 as entry 2; A2 is sick as well."""
    return sick_garden(season, A2=9, B1=22).spray("peroxide", day, "B1")


def status(invented, plant, day, hour):
    return {s.plant: (s.status, s.rule) for s in invented.plan(day, hour).statuses}[plant]


# One more day


def test_after_the_look_one_more_day_passes_before_the_others_are_sprayed(season):
    """A test at 7:30, no burn seen next day at 8:00: the others come the day after, from 8:00."""
    invented = one_tested(season).verdict("no burn seen", "B1", 2, 3, 8)
    (task,) = invented.tasks(3, 8.5, "treat")
    assert task.plants == ("A2",)
    assert task.day == invented.at(4).date()
    assert task.not_before == invented.at(4, 8)
    assert status(invented, "A2", 3, 8.5) == ("hold", "one more day")
    assert status(invented, "A2", 4, 8) == ("treat", "treat")


def test_a_late_look_puts_the_others_off_and_a_second_look_does_not(season):
    late = one_tested(season).verdict("no burn seen", "B1", 2, 3, 12).photo("A2", 3, 9)
    assert late.tasks(3, 13, "treat")[0].day == late.at(5).date()  # 12:00 is no morning
    twice = one_tested(season).verdict("no burn seen", "B1", 2, 3, 8)
    twice.log("seen", 3, "B1", hour=20, text="no-burn")
    assert twice.tasks(3, 21, "treat")[0].not_before == twice.at(4, 8)
    unsure = twice.verdict("cannot tell", "B1", 2, 3, 21).verdict("no burn seen", "B1", 2, 3, 22)
    assert not [t for t in unsure.tasks(3, 23, "treat") if t.day < unsure.at(5).date()]


def test_a_burn_seen_after_a_clean_look_blocks_the_others(season):
    invented = one_tested(season).verdict("no burn seen", "B1", 2, 3, 8)
    assert invented.tasks(3, 9, "treat")
    burned = invented.verdict("burned", "B1", 2, 4, 7)
    assert not burned.tasks(4, 9, "treat")
    assert status(burned, "A2", 4, 9) == ("hold", "blocked by a burn")
    by_eye = one_tested(season).verdict("no burn seen", "B1", 2, 3, 8)
    by_eye.log("seen", 4, "B1", hour=7, text="burned")
    assert not by_eye.tasks(4, 9, "treat")
    assert status(by_eye, "A2", 4, 9) == ("hold", "blocked by a burn")


def test_a_spray_made_although_a_burn_was_seen_opens_nothing(season):
    """A look without burn at a plant sprayed in the pause does not end the pause."""
    invented = one_tested(season).verdict("burned", "B1", 2, 3, 8).spray("peroxide", 4, "A2")
    invented.verdict("no burn seen", "A2", 4, 5, 8).photo("A3", 6, 12)
    assert status(invented, "A3", 6, 9) == ("hold", "blocked by a burn")
    assert not [t for t in invented.tasks(6, 9) if t.kind in ("treat", "spot-test")]


# A look for burn after every peroxide spray


def test_each_plant_that_was_treated_is_looked_at_for_burn(season):
    invented = sick_garden(season, A2=9, A3=8, B1=22).spray("peroxide", 2, "B1")
    invented.verdict("no burn seen", "B1", 2, 3, 7.5).spray("peroxide", 4, "A2", "A3")
    (check,) = invented.tasks(4, 12, "burn-check")
    assert (check.plants, check.not_before) == (("A2", "A3"), invented.at(5, 7.5))
    assert status(invented, "A2", 5, 8) == ("check for burn", "check for burn")
    invented.verdict("no burn seen", "A2", 4, 5, 8)
    (check,) = invented.tasks(5, 9, "burn-check")
    assert check.plants == ("A3",)
    assert not invented.log("seen", 5, "A3", hour=9, text="no-burn").tasks(5, 10, "burn-check")


def test_a_plant_sprayed_although_a_burn_was_seen_is_looked_at_too(season):
    invented = one_tested(season).verdict("burned", "B1", 2, 3, 8).spray("peroxide", 4, "A2")
    (check,) = invented.tasks(4, 12, "burn-check")
    assert check.plants == ("A2",)
    again = one_tested(season).verdict("burned", "B1", 2, 3, 8).spray("peroxide", 4, "B1")
    assert [t.plants for t in again.tasks(5, 9, "burn-check")] == [("B1",)]
    assert status(again, "B1", 5, 9) == ("rest", "burned")


def test_a_whole_garden_sprayed_without_a_test_is_looked_at_plant_by_plant(season):
    invented = sick_garden(season, A2=9).spray("peroxide", 2)
    (check,) = invented.tasks(3, 9, "burn-check")
    assert check.plants == ("A1", "A2", "A3", "A4", "B1", "B2")
    invented.log("seen", 3, "A1", "A2", "A3", hour=9, text="no-burn")
    assert invented.tasks(3, 10, "burn-check")[0].plants == ("A4", "B1", "B2")


def test_a_plant_that_is_gone_needs_no_look_and_opens_nothing(season):
    invented = one_tested(season).log("seen", 3, "B1", hour=7, text="gone")
    assert not invented.tasks(3, 9, "burn-check")
    assert not invented.tasks(3, 9, "treat")


def test_while_a_look_is_open_no_further_peroxide_is_asked_for(season):
    invented = sick_garden(season, A2=9, B1=22).spray("peroxide", 2, "B1")
    invented.verdict("no burn seen", "B1", 2, 3, 7.5).spray("peroxide", 4, "A2")
    invented.photo("A3", 4, 12, hour=9)
    assert status(invented, "A3", 4, 10) == ("hold", "test is running")
    assert not invented.tasks(5, 6, "treat")
    invented.verdict("no burn seen", "A2", 4, 5, 8)
    assert invented.tasks(5, 9, "treat")[0].not_before == invented.at(6, 8)


def test_no_soda_is_planned_for_the_morning_on_which_a_look_is_still_open(season):
    """Sprayed on day 2: the wait of 48 hours ends on day 4; the look comes first."""
    invented = season().spray("soda", -14).healthy(1, "B1").photo("B1", 1, 22)
    invented.spray("peroxide", 2, "B1", hour=6)
    for day, hour in ((3, 9), (4, 6), (5, 6), (6, 6)):
        assert invented.tasks(day, hour, "burn-check")
        (soda, *_) = invented.tasks(day, hour, "prevent")
        assert soda.day == invented.at(day + 1).date()
    assert "first B1 is looked at for burn" in soda.why
    invented.verdict("no burn seen", "B1", 2, 6, 7)
    assert invented.tasks(6, 7.5, "prevent")[0].day == invented.at(6).date()


def test_a_burn_of_soda_seen_by_eye_keeps_sprays_off_the_plant(season):
    invented = season().healthy(0).spray("soda", 0).log("seen", 1, "A1", text="burned")
    assert status(invented, "A1", 1, 12) == ("rest", "burned")
    invented.log("rain", 2, hour=15, amount=20)
    assert "A1" not in invented.tasks(3, 6, "prevent")[0].plants
    assert "A2" in invented.tasks(3, 6, "prevent")[0].plants


# The grower's choice


@pytest.mark.parametrize(
    ("look", "reason"),
    [
        ({"severity": 41, "pattern": "blight", "blight_kind": "unsure"}, "may have late blight"),
        ({"severity": 12, "pattern": "unsure"}, "may have late blight"),
        ({"severity": 41, "flags": ("blurred",)}, "may have late blight"),
        ({"severity": 12, "pattern": "blight", "blight_kind": "late"}, "isolated"),
    ],
)
def test_no_choice_opens_peroxide_on_what_may_be_late_blight(season, look, reason):
    invented = season().spray("soda", -1).healthy(1, "B1").photo("B1", 1, **look)
    invented.log("choice", 1, "B1", hour=9)
    plan = invented.plan(1, 12)
    assert not [t for t in plan.tasks if t.kind in ("spot-test", "treat")]
    assert reason in plan.choice.why_not
    assert plan.choice.why_not.startswith("you chose B1")


def test_a_mixed_look_with_one_blight_of_unsure_kind_is_not_tested_by_choice(season):
    invented = season().spray("soda", -1).healthy(1, "B1").photo("B1", 1, 12)
    invented.photo("B1", 1, 14, "blight", blight_kind="unsure").log("choice", 1, "B1", hour=9)
    assert not invented.tasks(1, 12, "spot-test")


def test_a_choice_is_followed_where_only_the_rule_of_choosing_speaks_against_it(season):
    """The only plant, one far too sick, or not the sickest: these the grower may overrule."""
    for severity in (8, 70):
        invented = sick_garden(season, A2=20, B1=severity).log("choice", 1, "B1", hour=9)
        assert invented.tasks(1, 12, "spot-test")[0].plants == ("B1",)


# Young photos


def test_prevention_asks_for_a_photo_first_where_no_look_is_young_enough(season):
    invented = season().healthy(0).spray("soda", -10)
    assert invented.tasks(7, 6, "prevent")  # a look of 7 days ago is the last that counts
    assert not invented.tasks(8, 6, "prevent")
    (photo,) = invented.tasks(8, 6, "photo")
    assert set(photo.plants) == {"A1", "A2", "A3", "A4", "B1", "B2"}
    invented.healthy(8, "A3", hour=5)
    assert "A3" not in invented.tasks(8, 6, "prevent")[0].plants
    assert invented.tasks(8, 6, "photo")[0].plants == ("A3",)


def test_a_garden_that_was_never_photographed_is_not_sprayed(season):
    assert not season().tasks(0, 6, "prevent")
    assert season().tasks(0, 6, "photo")


def test_in_november_nothing_is_sprayed_on_photos_of_june(season):
    """28 November: one question is asked, whether the season is over."""
    invented = season().healthy(12).spray("soda", 14).photo("A1", 20, 22).night("A2", 20, 2)
    november = 180
    assert invented.at(november).month == 11
    (task,) = invented.tasks(november, 6)
    assert task.kind == "photo"
    assert "seen gone all" in task.what
    assert "45 days" in task.why
    assert not invented.plan(november).habits
    gone = invented.log("seen", november, *(p.name for p in invented.garden.plants), text="gone")
    assert gone.tasks(november, 9) == []


def test_isolation_outlasts_the_season(season):
    invented = season().healthy(0, "A1").photo("A1", 0, 22, "blight", blight_kind="late")
    (isolate,) = invented.tasks(150, 12, "isolate")
    assert isolate.plants == ("A1",)


# After dark


def test_after_dark_picking_is_for_the_night_and_what_needs_light_for_tomorrow(season):
    invented = season().spray("soda", 0).healthy(0).night("B2", 1, 2)
    (pick,) = invented.tasks(1, 23.5, "pick")
    assert (pick.part, pick.day) == ("night", invented.at(1).date())
    (pick,) = invented.tasks(2, 3, "pick")
    assert (pick.part, pick.day) == ("night", invented.at(1).date())
    (pick,) = invented.tasks(2, 8, "pick")
    assert (pick.part, pick.day) == ("day", invented.at(2).date())


def test_late_in_the_evening_nothing_is_asked_for_by_day_today(season):
    invented = one_tested(season).log("seen", 3, "A4", hour=12, text="wilting").night("B2", 3, 2)
    tasks = invented.tasks(3, 23.5)
    assert {t.kind for t in tasks} >= {"photo", "burn-check", "pick", "isolate"}
    for task in tasks:
        assert task.day > invented.at(3).date() or task.part == "night"


# Settings


def test_peroxide_cannot_be_made_the_preventive_product():
    with pytest.raises(CareSettingsError, match="preventive"):
        thresholds_of(Garden("g", "UTC", settings={"care": {"preventive": "peroxide"}}))


def test_the_days_of_a_test_fit_each_other():
    """A look is asked for as long as it could still open anything."""
    limits = Thresholds()
    assert limits.test_open_days == limits.test_valid_days
    assert timedelta(days=limits.quiet_days) > timedelta(days=limits.photo_days)


@pytest.mark.parametrize(
    ("hour", "minute", "night"), [(12, 0, 1), (23, 59, 1), (24, 0, 1), (35, 59, 1), (36, 0, 2)]
)
def test_a_night_lasts_from_noon_to_noon(hour, minute, night):
    """Photos after midnight are of the night that began the evening before."""
    taken_at = datetime(2025, 7, 1, tzinfo=UTC) + timedelta(hours=hour, minutes=minute)
    photo = PhotoEntry("n.jpg", "5e" * 32, taken_at, plant="A1", mode="night", caterpillar_count=2)
    evening = replace(photo, photo="e.jpg", taken_at=datetime(2025, 7, 1, 21, tzinfo=UTC))
    looks = night_looks([photo, evening])
    assert [look.night.day for look in looks] == sorted({1, night})
