"""Student's t against SciPy's, and by what is known of it."""

import pytest
from scipy.special import stdtrit

from models.progress.student import t_quantile


@pytest.mark.parametrize("freedom", [1, 1.3, 2, 3, 4.7, 8, 12, 30, 100, 1e4])
@pytest.mark.parametrize("share", [0.2, 0.55, 0.8, 0.975, 0.999])
def test_quantiles_are_scipys(freedom, share):
    assert t_quantile(freedom, share) == pytest.approx(float(stdtrit(freedom, share)), rel=1e-9)


def test_with_one_degree_of_freedom_it_is_cauchys_law():
    """Its quartile is 1 by definition."""
    assert t_quantile(1, 0.75) == pytest.approx(1, abs=1e-12)


def test_it_is_the_same_to_both_sides():
    assert t_quantile(3, 0.1) == -t_quantile(3, 0.9)
