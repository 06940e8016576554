"""Intervals over time hold the truth about as often as they claim, on simulated plants."""

import numpy as np
import pytest

from scripts.workshop.figures.progress import LEAF_KINDS, simulate_garden, simulated_coverage


@pytest.mark.parametrize("leaves", [3, 12])
def test_95_percent_intervals_hold_the_truth_in_95_of_100_plants(leaves):
    """500 plants; by chance alone the shares lie within ± 2 points in 19 of 20 runs."""
    found = simulated_coverage(leaves)
    for share in (found.visit, found.recent_rate, found.season_rate):
        assert share == pytest.approx(0.95, abs=0.03)
    assert found.days_to > 0.92


def test_plants_that_grow_are_told_from_plants_that_do_not():
    found = simulated_coverage(6, plants=100)
    assert found.told > 0.8
    assert found.false_alarms < 0.15


@pytest.mark.parametrize("kind", LEAF_KINDS)
def test_simulated_leaves_have_the_mean_that_is_taken_for_the_truth(kind):
    made = simulate_garden(np.random.default_rng(2), 4000, plants=4, visits=3, kind=kind)
    measured = made.leaves.severity_pct.reshape(4, 3, 4000).mean(axis=2)
    assert measured == pytest.approx(100 * made.share, rel=0.08, abs=0.1)


def test_the_simulation_is_the_same_every_time():
    one, two = (simulate_garden(np.random.default_rng(7), 3) for _ in range(2))
    assert np.array_equal(one.leaves.severity_pct, two.leaves.severity_pct)
