"""How many leaves and plants: published values, and samples drawn from gardens that are known.

"Read" was seen in the named source, "calc" is arithmetic, "memory" is recalled.
"""

from math import ceil

import numpy as np
import pytest

from models.progress.sampling import (
    garden_variance,
    leaves_for_mean,
    plan_bed,
    wanted_cv,
)


def test_leaves_for_a_mean_are_those_that_give_the_wanted_error():
    number = leaves_for_mean(mean=10, spread=8, cv=0.2)
    assert number == pytest.approx(16)
    assert 8 / np.sqrt(number) / 10 == pytest.approx(0.2)


def test_points_and_cv_say_the_same():
    assert wanted_cv(points=1.96, mean_pct=10) == pytest.approx(0.1)


def test_variance_of_two_plants_by_hand():
    """Leaves 1, 3 and 5, 7: within 2; square of means 16; between (16 - 2) / 2 = 7."""
    found = garden_variance([[1, 3], [5, 7]])
    assert (found.mean_pct, found.within_pct2, found.between_pct2) == (4, 2, 7)
    assert found.correlation == pytest.approx(7 / 9)
    assert (found.plants, found.leaves) == (2, 4)


def test_the_variances_of_a_known_garden_are_found_again():
    rng = np.random.default_rng(4)
    plants = [20 + rng.normal(0, 4) + rng.normal(0, 3, rng.integers(2, 9)) for _ in range(3000)]
    found = garden_variance(plants)
    assert found.between_pct2 == pytest.approx(16, rel=0.08)
    assert found.within_pct2 == pytest.approx(9, rel=0.05)


@pytest.mark.parametrize("leaves", [[[1, 2]], [[1], [2]], [], [[0, 0], [0, 0]]])
def test_too_little_to_learn_from_is_refused(leaves):
    with pytest.raises(ValueError, match=r"plants are needed|No leaf is sick"):
        garden_variance(leaves)


def test_more_leaves_a_plant_need_fewer_plants_but_more_photos():
    plans = plan_bed(garden_variance([[8, 20, 5], [30, 11, 25], [2, 9, 4], [18, 7, 12]]), 40, 0.2)
    plants = [plan.plants for plan in plans]
    photos = [plan.photos for plan in plans]
    assert plants == sorted(plants, reverse=True)
    assert photos == sorted(photos)
    assert [plan.photos for plan in plans] == [plan.leaves * plan.plants for plan in plans]


def test_a_large_bed_needs_the_design_effects_number_and_a_small_one_that_of_few():
    """Design effect 1 + (m - 1) · correlation, and n ÷ (1 + n ÷ all) of few (memory)."""
    variance = garden_variance([[8, 20, 5], [30, 11, 25], [2, 9, 4], [18, 7, 12]])
    whole = variance.between_pct2 + variance.within_pct2
    n = leaves_for_mean(variance.mean_pct, whole**0.5, 0.2)
    (plan,) = plan_bed(variance, 10**9, 0.2, options=(5,))
    assert plan.plants == ceil(n * (1 + 4 * variance.correlation) / 5)
    alike = garden_variance([[8, 8], [30, 30], [2, 2], [18, 18]])
    n = leaves_for_mean(alike.mean_pct, alike.between_pct2**0.5, 0.2)
    (plan,) = plan_bed(alike, 12, 0.2, options=(1,))
    assert plan.plants == ceil(n / (1 + n / 12))


def test_where_even_all_plants_do_not_suffice_it_says_so():
    variance = garden_variance([[1, 30, 2], [28, 1, 3]])
    few, many = plan_bed(variance, 4, 0.1, options=(1, 200))
    assert few.plants is None
    assert few.photos is None
    assert many.plants <= 4


def test_the_planned_sample_has_the_promised_error():
    rng = np.random.default_rng(9)
    garden = 15 + rng.normal(0, 4, 40)
    variance = garden_variance([mean + rng.normal(0, 5, 30) for mean in garden])
    (plan,) = plan_bed(variance, 40, 0.08, options=(3,))
    means = [
        np.mean(
            [
                mean + rng.normal(0, 5, 3).mean()
                for mean in rng.choice(garden, plan.plants, replace=False)
            ]
        )
        for _ in range(1500)
    ]
    assert np.std(means) / garden.mean() == pytest.approx(0.08, rel=0.12)
