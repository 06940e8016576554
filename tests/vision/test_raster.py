"""Small raster operations: on tiny arrays, by relations."""

import numpy as np
import pytest

from vision.raster import usual_turn

WEIGHT = np.array([[0, 1, 5, 0, 2], [3, 0, 0, 7, 0], [1, 0, 4, 0, 9]], np.uint8)


def held(picture, turns, mirrored):
    """Return a picture as another way of holding the phone would give it."""
    return np.rot90(picture[:, ::-1] if mirrored else picture, turns)


WAYS = [(turns, mirrored) for turns in range(4) for mirrored in (False, True)]


@pytest.mark.parametrize(("turns", "mirrored"), WAYS)
def test_turned_there_and_back_a_picture_is_the_same(turns, mirrored):
    picture = held(np.stack([WEIGHT, WEIGHT + 1], axis=2), turns, mirrored)
    turn = usual_turn(picture[..., 0])
    np.testing.assert_array_equal(turn.back(turn.there(picture)), picture)


def test_a_picture_is_turned_alike_however_it_is_held():
    usual = usual_turn(WEIGHT).there(WEIGHT)
    for turns, mirrored in WAYS:
        other = held(WEIGHT, turns, mirrored)
        np.testing.assert_array_equal(usual_turn(other).there(other), usual)


def test_most_of_the_weight_comes_to_the_left_and_then_to_the_top():
    """The one heavy pixel of 3 × 5 lies at the lower right: 1 of 3 rows down, 2 of 5 columns."""
    weight = np.zeros((3, 5))
    weight[2, 4] = 1
    turned = usual_turn(weight).there(weight)
    assert turned[0, 0] == 1
    assert turned.shape == (3, 5)
