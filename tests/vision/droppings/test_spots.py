"""Spots: each thing once, at its place, with its own pixels, also where two touch."""

import numpy as np
import pytest

from vision.droppings.network import STEP_PX, Seen
from vision.droppings.spots import find_spots, outline_of


def seen_with(middles: list[tuple[int, int, float, float]], side: int = 60) -> Seen:
    """Make up what a network would see: rows, columns, log-odds and radii in its outputs."""
    middle, inside = np.full((2, side, side), -12, np.float32)
    diameter = np.ones((side, side), np.float32)
    down, right = np.mgrid[0:side, 0:side]
    for row, col, odds, radius in middles:
        away = np.hypot(down - row, right - col)
        middle = np.maximum(middle, odds - 3 * away).astype(np.float32)
        inside = np.maximum(inside, 4 * (radius - away)).astype(np.float32)
        diameter[away <= 2] = 2 * radius * STEP_PX
    return Seen(middle, inside, diameter)


def test_a_spot_lies_at_the_middle_of_its_output_and_has_its_size():
    """Output 20 covers pixels 40 and 41: its middle is 40.5."""
    spots = find_spots(seen_with([(20, 30, 3.0, 5.0)]))
    assert (spots.rows.tolist(), spots.cols.tolist()) == ([40.5], [60.5])
    assert spots.diameter_px[0] == 20
    assert spots.middle[0] == 3
    assert spots.inside[0] > 4


def test_two_tops_on_one_thing_are_one_spot_and_the_surer_one_stays():
    spots = find_spots(seen_with([(20, 30, 3.0, 5.0), (22, 31, 2.0, 5.0)]))
    assert spots.middle.tolist() == [3]


def test_neighbours_a_width_apart_are_two_spots():
    spots = find_spots(seen_with([(20, 30, 3.0, 5.0), (20, 40, 2.0, 5.0)]))
    assert spots.middle.tolist() == [3, 2]  # the likeliest first


def test_what_is_hopeless_is_no_spot():
    assert len(find_spots(seen_with([(20, 30, -5.0, 5.0)])).rows) == 0


def test_an_outline_has_the_area_of_what_is_seen():
    """A disc of 5 outputs radius is one of 10 pixels: π · 10² = 314 pixels."""
    seen = seen_with([(20, 30, 3.0, 5.0)])
    outline = outline_of(seen, find_spots(seen), 0)
    rows, cols = np.nonzero(outline.mask)
    assert len(rows) == pytest.approx(314, rel=0.06)
    assert outline.row + rows.mean() == pytest.approx(40.5, abs=0.3)
    assert outline.col + cols.mean() == pytest.approx(60.5, abs=0.3)


def test_things_that_touch_share_no_pixel():
    seen = seen_with([(20, 30, 3.0, 5.0), (20, 39, 2.0, 5.0)])
    spots = find_spots(seen)
    whole = np.zeros((130, 130), int)
    for number in range(2):
        one = outline_of(seen, spots, number)
        height, width = one.mask.shape
        whole[one.row : one.row + height, one.col : one.col + width] += one.mask
    assert whole.max() == 1
    assert np.count_nonzero(whole) == pytest.approx(2 * 314, rel=0.1)


def test_where_hardly_a_pixel_is_seen_a_disc_of_the_expected_size_serves():
    seen = seen_with([(20, 30, 3.0, 5.0)])
    blind = Seen(seen.middle, np.full_like(seen.inside, -9), seen.diameter_px)
    outline = outline_of(blind, find_spots(blind), 0)
    assert np.count_nonzero(outline.mask) == pytest.approx(314, rel=0.06)


def test_a_thing_smaller_than_a_pixel_still_has_one():
    seen = seen_with([(20, 30, 3.0, 5.0)])
    tiny = Seen(seen.middle, np.full_like(seen.inside, -9), np.full_like(seen.diameter_px, 0.3))
    assert np.count_nonzero(outline_of(tiny, find_spots(tiny), 0).mask) >= 1


def test_a_thing_at_the_edge_of_the_picture_is_outlined_without_leaving_it():
    seen = seen_with([(1, 1, 3.0, 5.0)])
    outline = outline_of(seen, find_spots(seen), 0)
    assert (outline.row, outline.col) == (0, 0)
    assert outline.mask.any()
