"""Whether a spray worked: beds where it did, where it did not, and where nobody can know."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
import statsmodels.api as sm
import statsmodels.stats.api as sms

from models.entries import LogEntry
from models.progress.effect import judge_spray
from models.progress.growth import plant_growth
from models.progress.needed import quantile
from models.progress.points import SeverityPoint
from models.progress.rates import from_logit

SPRAYED_ON = date(2026, 7, 15)


def spray(*plants, product="soda", day=0, number=1):
    at = datetime(2026, 7, 15, 8, tzinfo=UTC) + timedelta(days=day)
    return LogEntry(number, "spray", at, plants, product)


def visit(plant, day, height, error=0.15):
    severity = 100 * float(from_logit(height))
    at = SPRAYED_ON + timedelta(days=day)
    return SeverityPoint(
        plant, at, severity, None, None, None, None, None, None, 8, 8, None, "t", error
    )


def bed(before, after, *, plants, start=-3.0, noise=0.0, seed=1, days=(-14, -7, 0, 7, 14)):
    """Visits of plants whose logit grows at one rate before the spray and at another after it."""
    rng = np.random.default_rng(seed)
    return {
        plant: tuple(
            visit(plant, d, start + (before if d < 0 else after) * d + rng.normal(0, noise))
            for d in days
        )
        for plant in plants
    }


SICK, WELL = ("A1", "A2", "A3", "A4"), ("B1", "B2", "B3", "B4")


def garden(stop, noise=0.1, seed=1):
    after = 0.0 if stop else 0.1
    return bed(0.1, after, plants=SICK, noise=noise, seed=seed) | bed(
        0.1, 0.1, plants=WELL, noise=noise, seed=seed + 1000
    )


def test_a_spray_that_stops_growth_is_found_beside_unsprayed_plants():
    found = judge_spray(spray(*SICK), garden(stop=True), [spray(*SICK)])
    assert found.comparison == "beside unsprayed"
    assert found.verdict == "slower"
    assert found.low_per_day < -0.1 < found.high_per_day
    assert found.needed is None


def test_growth_has_stopped_only_where_its_whole_interval_is_level():
    still = bed(0.1, 0.0, plants=[f"A{n}" for n in range(12)], noise=0.1)
    slower = bed(0.2, 0.1, plants=[f"A{n}" for n in range(12)], noise=0.1)
    beside = bed(0.2, 0.2, plants=WELL, noise=0.1, seed=9)
    assert judge_spray(spray(*still), still | beside, []).stopped is True
    assert judge_spray(spray(*slower), slower | beside, []).stopped is False
    assert judge_spray(spray(*SICK), garden(stop=True, noise=0.5), []).stopped is None


def test_the_difference_is_that_of_the_two_mean_growths_by_hand():
    """Noiseless: sprayed 0 a day, unsprayed 0.1 a day."""
    found = judge_spray(spray(*SICK), garden(stop=True, noise=0), [])
    assert found.difference_per_day == pytest.approx(-0.1)
    assert [one.before_per_day for one in found.sprayed] == pytest.approx([0.1] * 4)
    assert [one.after_per_day for one in found.unsprayed] == pytest.approx([0.1] * 4)


def with_error(visits, error):
    return {
        plant: tuple(replace(p, logit_error=error) for p in course)
        for plant, course in visits.items()
    }


def without_before(visits):
    """Return visits from the day of the spray on, so that growth before it is unknown."""
    return {plant: course[2:] for plant, course in visits.items()}


def test_the_interval_agrees_with_welchs_in_statsmodels():
    visits = without_before(with_error(garden(stop=True, noise=0.5), 0.01))
    found = judge_spray(spray(*SICK), visits, [])
    assert not found.adjusted
    one, two = ([g.after_per_day for g in side] for side in (found.sprayed, found.unsprayed))
    compared = sms.CompareMeans.from_data(one, two)
    expected = compared.tconfint_diff(usevar="unequal")
    assert (found.low_per_day, found.high_per_day) == pytest.approx(expected)


def test_given_the_growth_before_the_interval_agrees_with_a_regression_of_statsmodels():
    found = judge_spray(spray(*SICK), with_error(garden(stop=True, noise=0.5), 0.01), [])
    assert found.adjusted
    plants = [*found.sprayed, *found.unsprayed]
    design = np.column_stack(
        (np.ones(8), np.repeat([1, 0], 4), [one.before_per_day for one in plants])
    )
    fit = sm.OLS([one.after_per_day for one in plants], design).fit()
    assert found.difference_per_day == pytest.approx(fit.params[1])
    assert (found.low_per_day, found.high_per_day) == pytest.approx(tuple(fit.conf_int()[1]))


def test_plants_that_grew_at_their_own_rates_before_are_held_against_these():
    """Rates from 0 to 0.2 a day, halved by the spray: by hand alone the plants differ too much."""
    sprayed, unsprayed = {}, {}
    for n, rate in enumerate((0.0, 0.1, 0.2)):
        sprayed |= bed(rate, rate - 0.06, plants=[f"A{n}"], noise=0.05, seed=n)
        unsprayed |= bed(rate, rate, plants=[f"B{n}"], noise=0.05, seed=n + 50)
    found = judge_spray(spray(*sprayed), with_error(sprayed | unsprayed, 0.02), [])
    assert found.verdict == "slower"
    assert found.low_per_day < -0.06 < found.high_per_day
    cut = without_before(with_error(sprayed | unsprayed, 0.02))
    assert judge_spray(spray(*sprayed), cut, []).verdict == "cannot tell"


def test_plants_that_hardly_differ_are_not_surer_than_their_leaves():
    found = judge_spray(spray(*SICK), without_before(garden(stop=True, noise=0)), [])
    error = np.sqrt(2 * found.sprayed[0].error_per_day ** 2 / 4)
    assert found.high_per_day - found.low_per_day == pytest.approx(2 * quantile(6) * error)


def test_the_interval_holds_the_truth_and_a_useless_spray_is_seldom_praised():
    """200 beds each; 95 % intervals, and by the same token 2.5 % praise without reason."""
    held, praised = [], []
    for seed in range(200):
        found = judge_spray(spray(*SICK), garden(stop=True, noise=0.3, seed=seed), [])
        held.append(found.low_per_day <= -0.1 <= found.high_per_day)
        useless = judge_spray(spray(*SICK), garden(stop=False, noise=0.3, seed=seed), [])
        praised.append(useless.verdict == "slower")
    assert np.mean(held) == pytest.approx(0.95, abs=0.035)
    assert np.mean(praised) <= 0.05


def test_where_it_cannot_tell_it_says_what_would():
    found = judge_spray(spray("A1", "A2"), _few(noise=0.5), [])
    assert found.verdict == "cannot tell"
    assert found.needed.stop_per_day == pytest.approx(
        np.mean([one.after_per_day for one in found.unsprayed])
    )
    assert found.needed.plants_each > 2


def _few(noise, seed=3):
    visits = garden(stop=True, noise=noise, seed=seed)
    return {plant: visits[plant] for plant in ("A1", "A2", "B1", "B2")}


def test_with_the_plants_that_were_asked_for_it_can_mostly_tell():
    """The number is for 4 of 5 seasons: 80 % power."""
    needed = judge_spray(spray("A1", "A2"), _few(noise=0.5), []).needed.plants_each
    growth, told = 0.1, []
    for seed in range(60):
        one = bed(0.1, 0.0, plants=[f"A{n}" for n in range(needed)], noise=0.5, seed=seed)
        two = bed(
            growth, growth, plants=[f"B{n}" for n in range(needed)], noise=0.5, seed=999 + seed
        )
        told.append(judge_spray(spray(*one), one | two, []).verdict == "slower")
    assert np.mean(told) > 0.6


def test_more_leaves_help_only_where_leaves_are_what_differs():
    sure = without_before(with_error(garden(stop=True, noise=1.5), 0.001))
    assert judge_spray(spray(*SICK), sure, []).needed.leaves is None
    unsure = with_error(garden(stop=True, noise=0), 1.0)
    found = judge_spray(spray(*SICK), unsure, [])
    assert found.verdict == "cannot tell"
    assert found.needed.leaves > 8


def test_one_plant_on_each_side_tells_nothing():
    visits = garden(stop=True, noise=0)
    found = judge_spray(spray("A1"), {p: visits[p] for p in ("A1", "B1")}, [])
    assert found.verdict == "cannot tell"
    assert "one plant on each side" in found.reason
    assert found.difference_per_day == pytest.approx(-0.1)
    assert found.low_per_day is None


def test_without_unsprayed_plants_growth_before_is_the_yardstick_and_weather_a_caution():
    found = judge_spray(spray(), garden(stop=True), [])
    assert found.comparison == "before and after"
    assert len(found.sprayed) == 8
    only = {plant: visits for plant, visits in garden(stop=True).items() if plant in SICK}
    found = judge_spray(spray(), only, [])
    assert found.verdict == "slower"
    assert found.low_per_day < -0.1 < found.high_per_day
    assert any("weather" in caution for caution in found.cautions)


def test_sprayed_plants_that_were_sicker_before_call_for_caution():
    visits = bed(0.1, 0.0, plants=SICK, start=-1) | bed(0.1, 0.1, plants=WELL, start=-4)
    assert any("sicker" in c for c in judge_spray(spray(*SICK), visits, []).cautions)
    assert judge_spray(spray(*SICK), garden(stop=True), []).cautions == ()


def test_plants_with_leaves_removed_are_left_out_and_named():
    removed = LogEntry(5, "removed_leaves", spray(day=3).at, ("A2",), amount=4)
    found = judge_spray(spray(*SICK), garden(stop=True), [removed])
    assert [one.plant for one in found.sprayed] == ["A1", "A3", "A4"]
    assert found.cautions == ("A2: left out, for leaves were removed in these days.",)
    long_ago = replace(removed, at=spray(day=-20).at)
    assert judge_spray(spray(*SICK), garden(stop=True), [long_ago]).cautions == ()


def test_where_all_had_leaves_removed_they_are_judged_with_caution():
    removed = LogEntry(5, "removed_leaves", spray(day=3).at, SICK, amount=4)
    found = judge_spray(spray(*SICK), garden(stop=True), [removed])
    assert len(found.sprayed) == 4
    assert "lowers severity by itself" in found.cautions[0]


def test_clean_plants_are_no_measure_for_sick_ones_but_for_clean_ones():
    clean = bed(0.0, 0.0, plants=["C1", "C2"], start=-9)
    found = judge_spray(spray(*SICK), garden(stop=True) | clean, [])
    assert [one.plant for one in found.unsprayed] == list(WELL)
    fresh = bed(0.0, 0.0, plants=["D1", "D2"], start=-9)
    found = judge_spray(spray("D1", "D2"), garden(stop=True) | clean | fresh, [])
    assert {"C1", "C2"} < {one.plant for one in found.unsprayed}


def test_plants_that_were_sprayed_otherwise_are_no_unsprayed_plants():
    other = spray("B1", product="peroxide", day=2, number=2)
    found = judge_spray(spray(*SICK), garden(stop=True), [spray(*SICK), other])
    assert [one.plant for one in found.unsprayed] == ["B2", "B3", "B4"]
    withdrawn = replace(other, withdrawn=True)
    assert len(judge_spray(spray(*SICK), garden(stop=True), [withdrawn]).unsprayed) == 4


def test_another_product_on_the_sprayed_plants_ends_the_days_judged():
    other = spray(*SICK, product="peroxide", day=5, number=2)
    found = judge_spray(spray(*SICK), garden(stop=True), [other])
    assert found.comparison == "none"
    assert "before another spray" in found.reason
    same = spray(*SICK, product="soda", day=5, number=2)
    assert judge_spray(spray(*SICK), garden(stop=True), [same]).verdict == "slower"


def test_a_visit_on_the_day_of_the_spray_is_before_it():
    visits = bed(0.1, 0.0, plants=["A1"])["A1"]
    found = plant_growth(visits, SPRAYED_ON, SPRAYED_ON + timedelta(days=21))
    assert found.severity_pct == visits[2].severity_pct
    assert found.after_per_day == pytest.approx(0)


@pytest.mark.parametrize("days", [(-14, 7, 14), (-7, 0, 5), (7, 14), (-7, 0)])
def test_plants_not_visited_shortly_before_and_long_enough_after_are_passed_over(days):
    visits = bed(0.1, 0.0, plants=["A1"], days=days)["A1"]
    assert plant_growth(visits, SPRAYED_ON, SPRAYED_ON + timedelta(days=21)) is None


def test_a_spray_without_photos_of_its_plants_says_so():
    found = judge_spray(spray("C9"), garden(stop=True), [])
    assert (found.comparison, found.verdict) == ("none", "cannot tell")
    assert found.reason == "no sprayed plant was photographed"
