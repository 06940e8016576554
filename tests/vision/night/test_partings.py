"""Regions in which bodies may meet: how they are parted, and what is measured on each parting."""

import cv2
import numpy as np
import pytest

from vision.night.features import FEATURES
from vision.night.midline import midlines
from vision.night.parting import usual_half_width
from vision.night.partings import (
    PARTING_FEATURES,
    Ways,
    parting_features,
    partings_of,
    shared_ground,
)

WHOLE = np.ones((1, 10), bool)


def covering(*columns):
    mask = np.zeros((1, 10), bool)
    mask[0, list(columns)] = True
    return mask


def crossing(angle_deg):
    """Draw two straight bodies across each other, mirror images about the vertical."""
    canvas = np.zeros((240, 240), np.uint8)
    for turn in (90 - angle_deg / 2, 90 + angle_deg / 2):
        way = 90 * np.array([np.cos(np.radians(turn)), np.sin(np.radians(turn))])
        ends = [tuple(int(v) for v in 120 + sign * way) for sign in (-1, 1)]
        cv2.line(canvas, *ends, 255, 24)
    return canvas > 0


def test_what_two_parts_share_is_a_share_of_the_region():
    # Ten pixels: one part covers 0 to 5, the other 4 to 8; 4 and 5 belong to both.
    shared = shared_ground(WHOLE, [covering(*range(6)), covering(*range(4, 9))])
    assert shared == pytest.approx(np.array([[0.6, 0.2], [0.2, 0.5]]))


def test_a_reading_explains_what_its_bodies_cover_once():
    parts = [covering(*range(6)), covering(*range(4, 9))]
    ways = Ways(0, ((1, 2),), (shared_ground(WHOLE, parts),))
    nothing, whole, one, other, both = partings_of(ways, [0.1, 0.9, 0.4])
    assert (nothing.counted, nothing.explained) == ((), 0)
    assert (whole.counted, whole.explained) == ((0,), 1)
    assert (one.counted, one.left_out, one.explained) == ((1,), (2,), pytest.approx(0.6))
    assert (other.counted, other.explained) == ((2,), pytest.approx(0.5))
    # 0.6 and 0.5, of which 0.2 twice.
    assert (both.counted, both.left_out) == ((1, 2), ())
    assert (both.explained, both.overlap) == (pytest.approx(0.9), pytest.approx(0.2))
    assert one.explained_by_way == other.explained_by_way == pytest.approx(0.9)


def test_a_region_is_not_read_where_it_is_plain_or_nothing_in_it_is_likely():
    assert partings_of(Ways(0), [0.9]) == []
    ways = Ways(0, ((1, 2),), (np.eye(2) / 2,))
    assert partings_of(ways, [0.01, 0.001, 0.001]) == []


def test_a_reading_is_measured_against_the_best_of_another_number():
    ways = Ways(0, ((1, 2),), (np.eye(2) / 2,))
    chances = [0.1, 0.9, 0.6]
    partings = partings_of(ways, chances)
    rows = parting_features(partings, np.zeros((3, len(FEATURES) + 1), np.float32), chances)
    named = [dict(zip(PARTING_FEATURES, row, strict=True)) for row in rows]
    both = named[-1]
    assert both["counted"] == 2
    # The less likely of the two counts: ln(0.6 / 0.4); the best single one is ln(0.9 / 0.1).
    assert both["least_log_odds"] == pytest.approx(np.log(1.5), rel=1e-4)
    assert both["log_odds_best_other_number"] == pytest.approx(np.log(9), rel=1e-4)
    assert named[2]["most_log_odds_left_out"] == pytest.approx(np.log(1.5), rel=1e-4)


@pytest.mark.parametrize("angle_deg", [40, 60, 90])
def test_one_way_to_pair_the_arms_of_a_crossing_is_that_of_the_two_bodies(angle_deg):
    mask = crossing(angle_deg)
    _, ways = midlines(mask, usual_half_width(mask))
    right = [way for way in ways if len(way) == 2 and all(_goes_through(line) for line in way)]
    assert len(right) == 1


def _goes_through(line):
    """Whether a line runs from one side of the crossing's middle to the other, both ways."""
    (top, left), (bottom, right) = line.points[[0, -1]] - 119.5
    return top * bottom < 0 and left * right < 0


def test_an_acute_crossing_leaves_another_way_to_pair_its_arms():
    mask = crossing(40)
    assert len(midlines(mask, usual_half_width(mask))[1]) > 1
