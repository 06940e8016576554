"""Areas and rates against published and hand-made values, and against other libraries.

Numbers marked "read" were seen in the named source, "calc" are arithmetic on them, "memory" are
recalled from the literature, "practice" is common practice.
"""

from datetime import date, timedelta

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from models.progress.areas import course_area
from models.progress.course import Line, judge_course
from models.progress.points import SeverityPoint
from models.progress.rates import (
    CLIP,
    DETECTABLE_PCT,
    MODELS,
    doubling_days,
    fit_rate,
    from_logit,
    linearise,
    logit,
)
from models.progress.threshold import days_to


def test_stairs_of_three_visits():
    """Read, on a statistics reference page that cites Simko & Piepho 2012; formula memory."""
    found = course_area([14, 21, 28], [40, 80, 90])
    assert found.audps == pytest.approx(1470)
    assert found.relative_audps == pytest.approx(0.70)
    assert found.standardised_audps == pytest.approx(70)


def test_trapezoids_of_three_visits():
    """Calc on the same data, read; 1045, as one page prints in prose, is wrong."""
    found = course_area([14, 21, 28], [40, 80, 90])
    assert found.audpc == pytest.approx(1015)
    assert found.standardised_audpc == pytest.approx(72.5)
    assert found.relative_audpc == pytest.approx(0.725)


def test_trapezoids_of_uneven_visits():
    """Data read (a teaching exercise of the American Phytopathological Society), result calc."""
    found = course_area([0, 2, 5, 6], [1, 2, 7, 7.5])
    assert found.audpc == pytest.approx(23.75, abs=0.001)
    assert found.standardised_audpc == pytest.approx(3.958, abs=0.001)


@pytest.mark.parametrize("count", [2, 3, 10])
def test_a_plant_that_never_changes_has_its_severity_as_standardised_area(count):
    found = course_area(np.arange(count) * 5, [30] * count)
    assert found.standardised_audpc == pytest.approx(30)
    assert found.standardised_audps == pytest.approx(30)


def test_the_area_agrees_with_scipy_and_grows_with_the_unit_of_time():
    days, severity = [0, 3, 4, 11, 19], [0, 5, 5, 30, 12]
    from scipy.integrate import trapezoid

    found = course_area(days, severity)
    assert found.audpc == pytest.approx(trapezoid(severity, days))
    assert course_area(np.multiply(days, 2), severity).audpc == pytest.approx(2 * found.audpc)


# Wilt of flax in a teaching article of the American Phytopathological Society: data, transformed
# values and the slope 0.076 read; slope 0.07558 and height -0.600 calc.
FLAX_DAYS = [10, 20, 30, 40, 50, 60]
FLAX_SHARES = [0.18, 0.56, 0.82, 0.91, 0.96, 0.98]


def test_monomolecular_heights_of_flax_wilt():
    expected = [0.198, 0.821, 1.71, 2.41, 3.22, 3.91]
    assert linearise(FLAX_SHARES, "monomolecular") == pytest.approx(expected, abs=0.005)


def test_monomolecular_rate_of_flax_wilt():
    found = fit_rate(FLAX_DAYS, np.multiply(FLAX_SHARES, 100), "monomolecular")
    assert found.rate_per_day == pytest.approx(0.0756, abs=0.0005)
    assert found.start - 10 * found.rate_per_day == pytest.approx(-0.600, abs=0.0005)


@pytest.mark.parametrize(
    ("model", "expected"),
    [
        ("logistic", 0.2197),
        ("gompertz", 0.1201),
        ("monomolecular", 0.0588),
        ("exponential", 0.1609),
    ],
)
def test_rates_from_a_tenth_to_a_half_in_ten_days(model, expected):
    """Calc on formulas read (Madden, Hughes & van den Bosch 2007; van der Plank 1963)."""
    found = fit_rate([0, 10], [10, 50], model)
    assert found.rate_per_day == pytest.approx(expected, abs=0.0001)
    assert found.standard_error_per_day is None


def test_doubling_at_the_field_rates_of_leaf_spot():
    """Rates 0.05 and 0.18 read (Ferrandino & Elmer 1992), days calc."""
    assert doubling_days(0.05) == pytest.approx(13.9, abs=0.05)
    assert doubling_days(0.18) == pytest.approx(3.9, abs=0.05)
    assert doubling_days(0.0) is None
    assert doubling_days(-0.1) is None


def test_what_grows_slower_than_any_season_tells_does_not_double():
    """Rounding alone makes rates such as 2e-16."""
    assert doubling_days(2e-16) is None
    assert doubling_days(np.log(2) / 3651) is None
    assert doubling_days(np.log(2) / 3649) == pytest.approx(3649)


@pytest.mark.parametrize("model", MODELS)
def test_rate_error_and_interval_agree_with_scipy_and_statsmodels(model):
    rng = np.random.default_rng(5)
    days = np.array([0, 6, 14, 20, 29, 35])
    severity = 100 * from_logit(-3 + 0.1 * days + rng.normal(0, 0.3, 6))
    found = fit_rate(days, severity, model)
    line = stats.linregress(days, linearise(severity / 100, model))
    assert found.rate_per_day == pytest.approx(line.slope)
    assert found.start == pytest.approx(line.intercept)
    assert found.standard_error_per_day == pytest.approx(line.stderr)
    assert found.determination == pytest.approx(line.rvalue**2)
    fit = sm.OLS(linearise(severity / 100, model), sm.add_constant(days)).fit()
    assert (found.low_per_day, found.high_per_day) == pytest.approx(tuple(fit.conf_int()[1]))


def test_severities_at_the_ends_are_kept_half_the_detectable_away():
    """Practice: half of the smallest severity that can be detected."""
    assert DETECTABLE_PCT == 0.5
    assert CLIP == 0.0025
    found = fit_rate([0, 7, 14], [0, 0.25, 100], "logistic")
    assert found.clipped == 2
    assert found.rate_per_day == pytest.approx((logit(1 - CLIP) - logit(CLIP)) / 14)


@pytest.mark.parametrize("model", MODELS)
def test_a_course_that_follows_the_model_is_fitted_exactly(model):
    back = {
        "logistic": from_logit,
        "monomolecular": lambda h: 1 - np.exp(-h),
        "gompertz": lambda h: np.exp(-np.exp(-h)),
        "exponential": np.exp,
    }[model]
    start = {"logistic": -3, "monomolecular": 0.1, "gompertz": -1, "exponential": -4}[model]
    days = np.array([0, 5, 9, 20])
    found = fit_rate(days, 100 * back(start + 0.07 * days), model)
    assert found.rate_per_day == pytest.approx(0.07)
    assert found.start == pytest.approx(start)
    assert found.standard_error_per_day == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    ("days", "severity", "said"),
    [
        ([1], [5], "At least 2"),
        ([1, 1], [5, 6], "rise"),
        ([2, 1], [5, 6], "rise"),
        ([1, 2], [5, 101], "100 percent"),
        ([1, 2], [5, float("nan")], "100 percent"),
        ([1, 2], [5], "differ"),
    ],
)
def test_what_is_no_course_is_refused(days, severity, said):
    for function in (course_area, fit_rate):
        with pytest.raises(ValueError, match=said):
            function(days, severity)


def test_ten_thousand_leaf_pixels_of_which_some_are_sick():
    """Calc: 1,250 lesion and 500 halo pixels of 10,000, as the day measuring counts them."""
    from vision.records import HALO, LEAF, LESION

    mask = np.repeat([LESION, HALO, LEAF], [1250, 500, 8250])
    assert 100 * np.mean(mask == LESION) == 12.5
    assert 100 * np.mean((mask == LESION) | (mask == HALO)) == 17.5


def points(severity_pct, error=0.2, gap=7, plant="A1"):
    start = date(2026, 7, 1)
    errors = np.broadcast_to(error, len(severity_pct))
    return [
        SeverityPoint(
            plant, start + timedelta(days=gap * n), value, None, None, None, None, None, None,
            6, 6, None, "t", float(e),
        )
        for n, (value, e) in enumerate(zip(severity_pct, errors, strict=True))
    ]  # fmt: skip


def test_the_recent_line_agrees_with_a_weighted_fit_of_statsmodels():
    severity, error = np.array([2, 6, 4, 19, 17.0]), np.array([0.05, 0.08, 0.03, 0.06, 0.04])
    found = judge_course(points(severity, error)).line
    days = 7.0 * np.arange(5) - 28
    fit = sm.WLS(logit(severity / 100), sm.add_constant(days), weights=1 / error**2).fit()
    assert (found.height, found.rate_per_day) == pytest.approx(tuple(fit.params))
    assert found.standard_error_per_day == pytest.approx(fit.bse[1])
    assert found.height_error == pytest.approx(fit.bse[0])
    assert found.covariance == pytest.approx(fit.cov_params()[0, 1])
    assert (found.low_per_day, found.high_per_day) == pytest.approx(tuple(fit.conf_int()[1]))


def test_the_days_to_a_threshold_lie_where_the_band_about_the_line_crosses_it():
    """The band of statsmodels, read day by day, crosses on the same days."""
    severity, error = np.array([1.5, 2.6, 4.1, 7.2]), np.full(4, 0.01)
    line = judge_course(points(severity, error)).line
    found = days_to(line, 20)
    days = 7.0 * np.arange(4) - 21
    fit = sm.WLS(logit(severity / 100), sm.add_constant(days), weights=1 / error**2).fit()
    ahead = np.arange(0, 120, 0.01)
    band = fit.get_prediction(sm.add_constant(ahead)).conf_int()
    goal = logit(0.20)
    assert found.earliest_days == pytest.approx(ahead[np.argmax(band[:, 1] >= goal)], abs=0.02)
    assert found.latest_days == pytest.approx(ahead[np.argmax(band[:, 0] >= goal)], abs=0.02)
    middle = fit.predict(sm.add_constant(ahead))
    assert found.days == pytest.approx(ahead[np.argmax(middle >= goal)], abs=0.02)


def line(rate, error, height=-3.0, height_error=0.1):
    return Line(rate, error, rate - 2 * error, rate + 2 * error, 30.0, height, height_error, 0.0)


def test_a_slow_and_unsure_course_may_never_reach_the_threshold():
    found = days_to(line(0.05, 0.03), 20)
    assert found.earliest_days < found.days < 120
    assert found.latest_days is None


def test_a_falling_course_does_not_reach_a_higher_threshold():
    found = days_to(line(-0.1, 0.01), 20)
    assert (found.days, found.earliest_days, found.latest_days) == (None, None, None)


def test_what_is_above_the_threshold_is_there_today():
    found = days_to(line(0.1, 0.01, height=0.0), 20)
    assert (found.days, found.earliest_days, found.latest_days) == (0, 0, 0)


def test_a_threshold_must_be_a_percentage():
    with pytest.raises(ValueError, match="between"):
        days_to(line(0.1, 0.01), 100)
