"""What the other spots of a photo say of each."""

import numpy as np
import pytest

from vision.droppings.judge import COMPANY, LOOKS, company, load_judge


def looks_of(*spots: tuple[float, ...]) -> np.ndarray:
    """Diameter, L*, a* and b* of each, as they are compared."""
    looks = np.array(spots, np.float32).reshape(-1, len(LOOKS))
    looks[:, 0] = np.log(looks[:, 0])
    return looks


def said(looks: np.ndarray, odds: list[float], name: str) -> np.ndarray:
    return company(looks, np.array(odds, np.float32))[:, COMPANY.index(name)]


def test_one_of_another_size_than_its_company_stands_out():
    """Sizes 20, 20 and 40: the last is log 2 = 0.693 from the mean of the others."""
    looks = looks_of((20, 20, 0, 0), (20, 20, 0, 0), (40, 20, 0, 0))
    apart = said(looks, [6, 6, 6], "size_apart")
    assert apart == pytest.approx([np.log(2) / 2, np.log(2) / 2, np.log(2)], abs=0.001)
    assert said(looks, [6, 6, 6], "others") == pytest.approx(np.log(3), abs=0.01)


def test_one_of_another_colour_than_its_company_stands_out():
    """L* 20, 20 and 50; a* and b* 0, 0 and 3, 4, so that the last is 30 and 5 from the others."""
    looks = looks_of((20, 20, 0, 0), (20, 20, 0, 0), (20, 50, 3, 4))
    assert said(looks, [6, 6, 6], "lightness_apart")[2] == pytest.approx(30, abs=0.01)
    assert said(looks, [6, 6, 6], "colour_apart")[2] == pytest.approx(5, abs=0.01)


def test_what_is_not_believed_is_no_company():
    looks = looks_of((20, 20, 0, 0), (30, 20, 0, 0), (40, 20, 0, 0))
    assert said(looks, [6, -5, -5], "others") == pytest.approx([0, np.log(2), np.log(2)], abs=0.01)
    assert said(looks, [6, -5, -5], "others_odds") == pytest.approx([0, 6, 6], abs=0.01)
    assert said(looks, [6, -5, -5], "size_apart")[0] == 0


def test_those_that_are_alike_speak_for_each_other_and_no_others_do():
    """Three alike, two of them believed, and one of quite another colour."""
    looks = looks_of((20, 20, 0, 0), (20, 20, 0, 0), (20, 20, 0, 0), (20, 60, 10, 10))
    odds = [6, 6, -6, 6]
    assert said(looks, odds, "like_believed") == pytest.approx(np.log([2, 2, 3, 1]), abs=0.01)
    assert said(looks, odds, "like_doubted") == pytest.approx(np.log([2, 2, 1, 1]), abs=0.01)
    assert said(looks, odds, "like_odds") == pytest.approx([0, 0, 5.7, 0], abs=0.05)


@pytest.mark.parametrize("many", [0, 1])
def test_without_others_nothing_is_said(many):
    alone = company(looks_of(*[(20, 20, 0, 0)] * many), np.full(many, 2, np.float32))
    assert alone.shape == (many, len(COMPANY))
    assert (alone[:, 1:] == 0).all()


def test_the_order_of_spots_is_no_matter():
    rng = np.random.default_rng(4)
    looks = rng.normal(0, 1, (12, len(LOOKS))).astype(np.float32)
    odds = rng.normal(0, 3, 12).astype(np.float32)
    order = rng.permutation(12)
    np.testing.assert_allclose(
        company(looks, odds)[order], company(looks[order], odds[order]), atol=1e-4
    )


def test_a_doubtful_spot_is_believed_more_among_sure_ones_like_it():
    """The same spot beside ten sure droppings like it, and beside ten unlikely things like it."""
    judge = load_judge()
    row = judge.alone.mean[None]
    rows = np.repeat(row, 11, axis=0).astype(np.float32)
    told = []
    for middle in (4, -4):
        rows[1:, 0] = middle
        rows[1:, 2] = middle
        told.append(judge.log_odds(rows)[0])
    assert told[0] > told[1] + 0.5
