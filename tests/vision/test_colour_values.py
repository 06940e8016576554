"""Colours against published values. "Read" was seen in the source, "calc" is arithmetic on it.

The measuring itself uses CIELAB differences by channel and no ΔE00; scikit-image's function is
checked because it is the yardstick by which the last test judges a conversion error.
"""

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000, rgb2lab

from vision.colour import LINEAR_LIGHT, lab_8bit, log_chromaticity
from vision.day.tissue import leaf_lab

CIELAB = [
    # IEC 61966-2-1 with CIE 1976 and D65: read, recomputed
    ((56, 79, 132), (34.188, 8.072, -32.478)),
    # calc
    ((255, 0, 0), (53.23, 80.11, 67.22)),
    ((0, 255, 0), (87.74, -86.18, 83.18)),
    ((0, 0, 255), (32.30, 79.20, -107.86)),
    ((255, 255, 255), (100.0, 0.005, -0.010)),
    ((0, 0, 0), (0.0, 0.0, 0.0)),
]


def picture(colour):
    return np.full((9, 13, 3), colour, np.uint8)


@pytest.mark.parametrize(("colour", "expected"), CIELAB)
def test_cielab_of_a_picture_of_one_colour(colour, expected):
    """Within 0.03: OpenCV's matrix and white differ from the source's in the fourth digit."""
    lab = leaf_lab(picture(colour))
    assert lab[4, 6] == pytest.approx(np.array(expected), abs=0.03)
    assert np.ptp(lab.reshape(-1, 3), axis=0).max() < 1e-3


def test_lightness_of_middle_grey():
    """(119, 119, 119) has L* 50.03 (calc)."""
    assert leaf_lab(picture(119))[0, 0, 0] == pytest.approx(50.03, abs=0.02)


@pytest.mark.parametrize(("colour", "expected"), CIELAB)
def test_cielab_in_eight_bits_rounds_the_published_values(colour, expected):
    lightness, a, b = expected
    coded = np.array((lightness * 255 / 100, a + 128, b + 128))
    assert lab_8bit(picture(colour))[0, 0] == pytest.approx(coded, abs=1.0)


@pytest.mark.parametrize(
    ("value", "linear"), [(128, 0.21586), (10, 0.003035), (188, 0.50289), (0, 0.0), (255, 1.0)]
)
def test_linear_light_of_srgb(value, linear):
    """IEC 61966-2-1; calc on the formula read."""
    assert LINEAR_LIGHT[value] == pytest.approx(linear, abs=1e-5)


def test_grey_of_any_brightness_is_neither_yellow_nor_green():
    for value in (3, 60, 128, 255):
        yellowness, greenness = log_chromaticity(picture(value))
        assert np.abs(yellowness).max() < 1e-5
        assert np.abs(greenness).max() < 1e-5


DIFFERENCES = [
    # Sharma, Wu & Dalal 2005, Color Res. Appl. 30:21-30: read
    ((50, 2.6772, -79.7751), (50, 0, -82.7485), 2.0425),
    ((50, 3.1571, -77.2803), (50, 0, -82.7485), 2.8615),
    ((50, 2.8361, -74.0200), (50, 0, -82.7485), 3.4412),
    # the same table, from memory, recomputed
    ((50, 0, 0), (50, -1, 2), 2.3669),
    ((50, 2.5, 0), (50, 0, -2.5), 4.3065),
    ((50, 2.5, 0), (73, 25, -18), 27.1492),
    ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
    ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
]


@pytest.mark.parametrize(("one", "two", "expected"), DIFFERENCES)
def test_the_yardstick_of_colour_differences(one, two, expected):
    assert deltaE_ciede2000(np.array(one), np.array(two)) == pytest.approx(expected, abs=1e-4)


def test_every_colour_converts_as_by_an_independent_library():
    """Nowhere a fiftieth of what an eye can just tell apart (ΔE00 of 1)."""
    steps = np.arange(0, 256, 51)
    colours = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(-1, 3).astype(np.uint8)
    ours = np.array([leaf_lab(picture(colour))[4, 6] for colour in colours])
    assert deltaE_ciede2000(ours, rgb2lab(colours)).max() < 0.02
