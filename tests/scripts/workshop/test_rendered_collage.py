"""Droppings on grounds of any make: the truth is exact, and everything varies."""

import numpy as np
import pytest

from scripts.workshop.rendered.collage import paint_alone, paint_collage

SEEDS = range(40, 60)
SMALL = (240, 320)


@pytest.fixture(scope="module")
def painted():
    return [paint_collage(seed, shape=SMALL) for seed in SEEDS]


def test_the_same_seed_paints_the_same_photo():
    one, again = paint_collage(5, shape=SMALL), paint_collage(5, shape=SMALL)
    np.testing.assert_array_equal(one.pixels, again.pixels)
    np.testing.assert_array_equal(one.numbers, again.numbers)


def test_some_photos_show_none_and_most_show_some(painted):
    with_any = sum(one.numbers.any() for one in painted)
    assert 10 <= with_any <= 19


def test_grounds_differ(painted):
    assert len({one.ground for one in painted}) >= 5
    assert np.ptp([one.pixels.mean() for one in painted]) > 60


def test_droppings_are_solid_and_do_not_share_pixels(painted):
    """Numbered masks cannot overlap; each is one thing of at least a few pixels, mostly whole."""
    for one in painted:
        for number in np.unique(one.numbers[one.numbers > 0]):
            rows, cols = np.nonzero(one.numbers == number)
            box = (np.ptp(rows) + 1) * (np.ptp(cols) + 1)
            hidden = one.unclear[one.numbers == number].any()
            assert hidden or len(rows) > 0.25 * box


def test_on_paper_droppings_are_darker_than_the_sheet(painted):
    steps = [
        np.median(one.pixels[one.numbers == 0]) - np.median(one.pixels[one.numbers > 0])
        for one in painted
        if one.ground == "paper" and np.count_nonzero(one.numbers) > 30
    ]
    assert len(steps) > 1
    assert min(steps) > 15


def test_a_photo_may_serve_as_ground():
    """Every pixel of the photo is pure blue; where it is the ground, blue stays the strongest."""
    blue = np.zeros((60, 80, 3), np.uint8)
    blue[..., 2] = 200
    shown = [paint_collage(seed, [blue], shape=SMALL) for seed in range(30)]
    grounds = [one for one in shown if one.ground == "photo"]
    assert len(grounds) >= 2
    for one in grounds:
        assert one.pixels.reshape(-1, 3).mean(axis=0).argmax() == 2


def test_a_thing_alone_lies_in_the_middle_and_pairs_share_their_ground():
    alike = []
    for seed in range(8):
        dropping, other = (paint_alone(seed, which) for which in (True, False))
        assert dropping.middle == other.middle
        assert dropping.middle == pytest.approx((100, 100), abs=1)
        assert 3 < dropping.diameter_px < 60
        grounds = [one.pixels[:40].mean(axis=2).ravel() for one in (dropping, other)]
        alike.append(np.corrcoef(grounds)[0, 1])
    assert np.median(alike) > 0.6  # the camera, and now and then shade, are drawn anew
