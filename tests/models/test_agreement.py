"""Agreement statistics against published data and against independent libraries.

Numbers marked "read" were seen in the named source, "calc" are arithmetic on them, "memory" are
recalled from the literature.
"""

import numpy as np
import pytest
from scipy import stats
from sklearn import metrics

from models.agreement import (
    bland_altman,
    calibration_error,
    cohen_kappa,
    compare_calls,
    concordance,
    overlap,
)

# Peak expiratory flow of 17 subjects, first readings of two meters: Bland & Altman 1986,
# Lancet 327:307 (read, on the first author's university page).
WRIGHT = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]


def test_bias_and_spread_of_the_flow_meters():
    """Data read, result calc; the paper's -2.1 and 38.8 l/min from memory."""
    found = bland_altman(WRIGHT, MINI)
    assert found.bias == pytest.approx(-2.118, abs=0.001)
    assert found.spread == pytest.approx(38.765, abs=0.001)


def test_limits_of_agreement_of_the_flow_meters():
    """Calc on data read; the paper's -79.7 and 75.4 (± 2 s) from memory."""
    found = bland_altman(WRIGHT, MINI)
    assert found.rounded_limits == pytest.approx((-79.65, 75.41), abs=0.01)
    assert found.limits == pytest.approx((-78.10, 73.86), abs=0.01)


def test_concordance_of_the_flow_meters():
    """Calc on data read, divisor n; the paper prints r = 0.94 (read); 0.943 from memory."""
    found = concordance(WRIGHT, MINI)
    assert found.correlation == pytest.approx(0.9433, abs=0.0001)
    assert found.coefficient == pytest.approx(0.94274, abs=0.000005)
    assert found.accuracy == pytest.approx(0.99943, abs=0.00002)


@pytest.mark.parametrize(
    ("second", "expected"), [([2, 3, 4, 5, 6], 0.8), ([2, 4, 6, 8, 10], 0.4211)]
)
def test_concordance_falls_with_a_shift_and_a_wrong_scale_while_correlation_stays(second, expected):
    """Calc, divisor n: 1 to 5 against x + 1 and 2x."""
    found = concordance([1, 2, 3, 4, 5], second)
    assert found.coefficient == pytest.approx(expected, abs=0.0001)
    assert found.correlation == pytest.approx(1)


def test_kappa_of_a_table_of_four():
    """Calc (example from memory): 20, 5 / 10, 15 gives p_o 0.70, p_e 0.50."""
    first = ["yes"] * 25 + ["no"] * 25
    second = ["yes"] * 20 + ["no"] * 5 + ["yes"] * 10 + ["no"] * 15
    assert cohen_kappa(first, second) == pytest.approx(0.40, abs=1e-12)


def test_kappa_of_raters_who_know_one_class_only():
    assert cohen_kappa(["none"] * 4, ["none"] * 4) == 1


@pytest.fixture
def pairs():
    rng = np.random.default_rng(4)
    truth = rng.uniform(0, 60, 40)
    return 0.9 * truth + 2 + rng.normal(0, 3, 40), truth


def test_correlation_agrees_with_scipy(pairs):
    assert concordance(*pairs).correlation == pytest.approx(stats.pearsonr(*pairs).statistic)


def test_coefficient_is_correlation_times_accuracy(pairs):
    found = concordance(*pairs)
    assert found.coefficient == pytest.approx(found.correlation * found.accuracy)
    assert found.accuracy < 1


def test_concordance_does_not_depend_on_order_or_unit(pairs):
    one, two = pairs
    there = concordance(one, two).coefficient
    assert concordance(two, one).coefficient == pytest.approx(there)
    assert concordance(one / 100, two / 100).coefficient == pytest.approx(there)


def test_concordance_of_constants():
    assert concordance([3, 3], [3, 3]).coefficient == 1
    assert concordance([3, 3], [1, 5]).coefficient == 0
    assert np.isnan(concordance([3, 3], [1, 5]).correlation)


def test_limits_hold_the_differences_of_a_normal_spread():
    rng = np.random.default_rng(8)
    one = rng.normal(0, 1, 20_000)
    found = bland_altman(one, np.zeros_like(one))
    inside = (one > found.limits[0]) & (one < found.limits[1])
    assert inside.mean() == pytest.approx(0.95, abs=0.005)
    assert found.spread == pytest.approx(stats.tstd(one))


@pytest.mark.parametrize("function", [concordance, bland_altman, calibration_error])
def test_lists_that_do_not_pair_are_refused(function):
    with pytest.raises(ValueError, match="equal length"):
        function([0.1, 0.2, 0.3], [0, 1])
    with pytest.raises(ValueError, match="At least"):
        function([], [])
    with pytest.raises(ValueError, match="missing"):
        function([0.5, float("nan")], [1, 1])


def test_overlap_by_hand():
    """Three and three pixels, two shared: 2 ÷ 4."""
    one, two = np.zeros((2, 5), bool), np.zeros((2, 5), bool)
    one[0, 0:3], two[0, 1:4] = True, True
    assert overlap(one, two) == 0.5
    assert overlap(one, one) == 1
    assert overlap(one, ~one) == 0
    assert overlap(np.zeros_like(one), np.zeros_like(one)) == 1
    with pytest.raises(ValueError, match="differ in size"):
        overlap(one, two[:, :4])


def test_overlap_agrees_with_scikit_learn():
    one, two = np.random.default_rng(3).random((2, 9, 14)) > 0.4
    assert overlap(one, two) == pytest.approx(metrics.jaccard_score(two.ravel(), one.ravel()))


TRUTH = ["spot"] * 4 + ["blight"] * 2 + ["none"] * 2 + ["other"] * 2
CALLED = ["spot", "spot", "unsure", "blight", "blight", "missing", "none", "none", "unsure", "spot"]


def test_abstaining_lowers_coverage_and_recall_but_not_what_was_called():
    """By hand: spot 2 of 4, of those called 2 of 3; blight 1 of 2, called 1 of 1; none 2 of 2."""
    found = compare_calls(CALLED, TRUTH)
    assert found.photos == 10
    assert found.coverage == 6 / 8
    assert found.recall == {"blight": 0.5, "none": 1.0, "spot": 0.5}
    assert found.balanced_accuracy == pytest.approx(2 / 3)
    assert found.balanced_accuracy_called == pytest.approx((2 / 3 + 1 + 1) / 3)
    assert found.outside_unsure == 0.5


def test_balanced_accuracy_agrees_with_scikit_learn_where_nothing_is_left_open():
    rng = np.random.default_rng(6)
    truth = rng.choice(["spot", "blight", "none"], 60, p=(0.6, 0.3, 0.1))
    called = np.where(rng.random(60) < 0.7, truth, rng.choice(["spot", "blight", "none"], 60))
    found = compare_calls(called.tolist(), truth.tolist())
    expected = metrics.balanced_accuracy_score(truth, called)
    assert found.balanced_accuracy == pytest.approx(expected)
    assert found.balanced_accuracy_called == pytest.approx(expected)
    assert found.coverage == 1
    assert found.outside_unsure is None


def test_a_class_that_is_never_called_counts_as_missed():
    found = compare_calls(["unsure", "none"], ["spot", "none"])
    assert found.balanced_accuracy_called == 0.5


def test_calls_without_any_known_class_are_refused():
    with pytest.raises(ValueError, match="known class"):
        compare_calls(["unsure"], ["other"])


def test_calibration_error_by_hand():
    """Bin 0.8 to 0.9: 0.9 twice, 1 of 2 right, gap 0.4; bin 0.5 to 0.6: 0.6 twice, 2 of 2, 0.4."""
    assert calibration_error([0.9, 0.9, 0.6, 0.6], [1, 0, 1, 1]) == pytest.approx(0.4)


def test_answers_as_often_right_as_they_claim_are_calibrated():
    rng = np.random.default_rng(2)
    confidence = rng.uniform(0, 1, 50_000)
    assert calibration_error(confidence, rng.random(50_000) < confidence) < 0.01
    assert calibration_error(confidence, np.ones(50_000)) == pytest.approx(0.5, abs=0.01)


def test_a_confidence_outside_its_range_is_refused():
    with pytest.raises(ValueError, match="from 0 to 1"):
        calibration_error([1.2], [1])
