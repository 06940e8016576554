"""A closer look: spots brought to one size, and judged the same however the photo lies."""

import cv2
import numpy as np
import pytest

from vision.droppings.close import CLOSE_PX, close_log_odds, pictures_of
from vision.droppings.judge import KNOWN, rows_of
from vision.droppings.measures import MEASURES, measure
from vision.droppings.spots import Outline, Spots


def spots_at(*places: tuple[float, float, float], middle: float = 2.0) -> Spots:
    rows, cols, sizes = np.array(places, np.float32).reshape(-1, 3).T
    same = np.full(len(rows), middle, np.float32)
    return Spots(rows, cols, sizes, same, same)


def measures_of(count: int, **values: list[float]) -> np.ndarray:
    rows = np.zeros((count, len(MEASURES)), np.float32)
    for name, column in values.items():
        rows[:, MEASURES.index(name)] = column
    return rows


def discs(*places: tuple[int, int, int]) -> np.ndarray:
    picture = np.full((200, 300, 3), 210, np.uint8)
    for row, col, size in places:
        cv2.circle(picture, (col, row), size // 2, (30, 30, 30), -1, cv2.LINE_AA)
    return picture


@pytest.mark.parametrize("size", [13, 25, 49])
def test_a_disc_is_as_large_in_its_picture_whatever_its_size(size):
    """A picture is 3.2 diameters wide: 48 / 3.2 = 15 pixels, so a disc of 177."""
    small = pictures_of(discs((80, 130, size)), spots_at((80, 130, size)))[0]
    dark = small.mean(axis=2) < 120
    rows, cols = np.nonzero(dark)
    assert np.count_nonzero(dark) == pytest.approx(np.pi / 4 * 15**2, rel=0.15)
    assert (rows.mean(), cols.mean()) == pytest.approx(((CLOSE_PX - 1) / 2,) * 2, abs=0.6)


def test_beyond_the_edge_the_picture_goes_on():
    small = pictures_of(discs(), spots_at((3, 3, 20)))[0]
    assert (small == 210).all()


def test_a_mirror_picture_is_judged_alike():
    picture = discs((80, 130, 24), (120, 60, 16))
    spots = spots_at((80, 130, 24), (120, 60, 16))
    mirrored = spots_at((80, 299 - 130, 24), (120, 299 - 60, 16))
    odds = close_log_odds(pictures_of(picture, spots))
    again = close_log_odds(pictures_of(picture[:, ::-1].copy(), mirrored))
    np.testing.assert_allclose(odds, again, atol=0.05)


def test_without_a_spot_nothing_is_judged():
    empty = spots_at()
    odds = close_log_odds(pictures_of(discs(), empty))
    assert odds.shape == (0,)
    assert rows_of(empty, odds, measures_of(0), 90).shape == (0, len(KNOWN))


def test_form_and_colour_of_a_box_are_measured():
    """A box of 10 by 20 pixels fills its hull, and 4 / π of the ellipse in it."""
    picture = np.full((60, 60, 3), 200, np.uint8)
    picture[25:35, 20:40] = 50
    mask = np.zeros((40, 40), bool)
    mask[15:25, 10:30] = True
    measured = measure(picture, Outline(10, 10, mask))
    assert (measured.length_px, measured.width_px) == pytest.approx((20, 10), abs=0.01)
    assert measured.darker == pytest.approx(59.8, abs=0.6)
    values = dict(zip(MEASURES, measured.values, strict=True))
    assert values["elongation"] == pytest.approx(2, abs=0.01)
    assert values["solidity"] == pytest.approx(1, abs=0.01)
    assert values["fullness"] == pytest.approx(4 / np.pi, abs=0.01)
    # Grey of sRGB 50 and 200: L* 20.8 and 80.6 [calc, CIE 15:2018]
    assert values["lightness"] == pytest.approx(20.8, abs=0.4)
    assert values["lightness_around"] == pytest.approx(80.6, abs=0.4)
    assert values["step"] == pytest.approx(59.8, abs=0.6)
    assert max(values["grain"], values["grain_around"]) < 0.001


def test_a_middle_value_and_the_grain_are_those_of_all_pixels():
    """Against NumPy's own median and standard deviation, over 8-bit CIELAB."""
    picture = np.random.default_rng(3).integers(0, 256, (48, 48, 3)).astype(np.uint8)
    mask = np.zeros((40, 40), bool)
    mask[10:25, 12:30] = True  # 270 pixels
    values = dict(zip(MEASURES, measure(picture, Outline(4, 4, mask)).values, strict=True))
    lab = cv2.cvtColor(picture, cv2.COLOR_RGB2LAB)[14:29, 16:34].reshape(-1, 3).astype(float)
    own = [values[name] for name in ("lightness", "a", "b")]
    usual = np.median(lab, axis=0) * (100 / 255, 1, 1) - (0, 128, 128)
    assert own == pytest.approx(usual, abs=0.6)  # half a step of 8-bit CIELAB
    assert values["grain"] == pytest.approx(lab[:, 0].std() * 100 / 255, rel=1e-5)
