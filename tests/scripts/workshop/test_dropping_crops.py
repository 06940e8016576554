"""Crops for the network: cut and changed together with their truth, and what it should see."""

import numpy as np
import pytest

from scripts.workshop.learn.dropping_crops import CROP_PX, Crop, cut_crop, targets_of
from scripts.workshop.learn.dropping_lessons import lesson_of


def crop_with(boxes: list[tuple[int, int, int, int]], no_matter: int | None = None) -> Crop:
    numbers = np.zeros((CROP_PX, CROP_PX), np.uint16)
    for number, (top, left, height, width) in enumerate(boxes, start=1):
        numbers[top : top + height, left : left + width] = number
    unclear = (numbers == no_matter).astype(np.uint8) if no_matter else np.zeros_like(numbers)
    whole = np.bincount(numbers.ravel()).astype(float)
    colours = np.zeros((CROP_PX, CROP_PX, 3), np.float32)
    return Crop(colours, numbers, unclear.astype(np.uint8), whole)


def test_the_hill_stands_on_the_middle_and_knows_the_size():
    """Rows 40 to 59 have their middle at 49.5, output 24.5; area 400, diameter 22.57 px, half."""
    hills, tops, sizes, inside, matters = targets_of(crop_with([(40, 100, 20, 20)]))
    assert np.argwhere(tops).tolist() in ([[24, 54]], [[24, 55]], [[25, 54]], [[25, 55]])
    assert hills[24, 54] == pytest.approx(hills[25, 55])
    assert np.exp(sizes[tops > 0])[0] == pytest.approx(22.57 / 2, rel=0.001)
    assert inside.sum() == 100  # 400 pixels in outputs of four
    assert matters.all()


def test_a_dropping_that_the_crop_cuts_is_no_matter():
    crop = crop_with([(0, 100, 10, 20), (100, 100, 20, 20)])
    cut = Crop(crop.colours, crop.numbers, crop.no_matter, np.array([0, 500.0, 400.0]))
    _, tops, _, _, matters = targets_of(cut)
    assert tops.sum() == 1
    assert not matters[0:5, 50:60].any()
    assert matters[50:60, 50:60].all()


def test_an_unclear_dropping_is_neither_wanted_nor_forbidden():
    _, tops, _, _, matters = targets_of(crop_with([(40, 100, 20, 20)], no_matter=1))
    assert not tops.any()
    assert not matters[21:29, 51:59].any()


def test_colours_and_truth_are_cut_and_turned_alike():
    """Droppings are the only dark things: wherever the truth says so, the crop is dark."""
    pixels = np.full((400, 500, 3), 220, np.uint8)
    truth = np.zeros((400, 500), np.uint16)
    rng = np.random.default_rng(1)
    for number in range(1, 9):
        row, col = rng.integers(20, 360, 2)
        truth[row : row + 24, col : col + 36] = number
    pixels[truth > 0] = 30
    lesson = lesson_of("droppings", pixels, truth, 95)
    shown = 0
    for seed in range(12):
        crop = cut_crop(np.random.default_rng(seed), lesson)
        assert crop.colours.shape == (CROP_PX, CROP_PX, 3)
        dark = crop.colours.mean(axis=2) < 0.5
        assert np.mean(dark == (crop.numbers > 0)) > 0.97
        shown += (crop.numbers > 0).any()
    assert shown > 6


def test_a_photo_smaller_than_a_crop_is_continued():
    lesson = lesson_of(
        "none", np.full((90, 70, 3), 120, np.uint8), np.zeros((90, 70), np.uint16), 95
    )
    crop = cut_crop(np.random.default_rng(3), lesson)
    assert crop.colours.shape == (CROP_PX, CROP_PX, 3)
    assert crop.no_matter.any()  # beyond the photo nothing is learned
