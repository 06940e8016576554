"""A leaf whose outline a person drew is measured inside it, along its own edge."""

from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
import pytest

from vision.day.drawn import drawn_leaf
from vision.measure import measure_day
from vision.records import Photo

GREY, GREEN, BROWN = (200, 200, 205), (60, 130, 50), (90, 55, 30)
CENTRE, HALF = (480, 640), (288, 448)  # row and column of the leaf's middle, and its half axes


def photo_of(pixels, reduction=1) -> Photo:
    rows, cols = (reduction * length for length in pixels.shape[:2])
    when = datetime(2025, 1, 1)
    return Photo(Path("x"), "x", "0" * 64, when, "file", pixels, cols, rows, reduction)


def ellipse(wider: float = 0.0, points: int = 40) -> list[tuple[float, float]]:
    turns = np.linspace(0, 2 * np.pi, points, endpoint=False)
    return [
        (CENTRE[0] + (HALF[0] + wider) * np.sin(t), CENTRE[1] + (HALF[1] + wider) * np.cos(t))
        for t in turns
    ]


@pytest.fixture(scope="module")
def painted() -> tuple[np.ndarray, np.ndarray]:
    """Return a leaf with a dead tip and two spots on grey, and where the leaf is."""
    pixels = np.full((960, 1280, 3), GREY, np.uint8)
    truth = np.zeros((960, 1280), np.uint8)
    for centre, half, colour in (
        (CENTRE, HALF, GREEN), ((480, 1034), (80, 54), BROWN),
        ((400, 560), (30, 30), BROWN), ((560, 700), (24, 24), BROWN),
    ):  # fmt: skip
        cv2.ellipse(pixels, centre[::-1], half[::-1], 0, 0, 360, colour, -1)
        cv2.ellipse(truth, centre[::-1], half[::-1], 0, 0, 360, 1, -1)
    noise = np.random.default_rng(0).normal(0, 4, pixels.shape)
    return np.clip(pixels + noise, 0, 255).astype(np.uint8), truth > 0


def overlap(leaf, truth) -> float:
    return np.count_nonzero(leaf & truth) / np.count_nonzero(leaf | truth)


@pytest.mark.parametrize("beside_px", [-7, 0, 7, 12])
def test_an_outline_drawn_beside_the_edge_is_moved_to_it(painted, beside_px):
    pixels, truth = painted
    found = drawn_leaf(photo_of(pixels), ellipse(beside_px))
    assert found.count == 1
    assert overlap(found.numbers > 0, truth) > 0.98
    assert found.plain


def test_across_the_leaf_the_outline_stays_where_it_was_drawn(painted):
    pixels, truth = painted
    half = [(row, max(col, 640.0)) for row, col in ellipse(3)]
    found = drawn_leaf(photo_of(pixels), half).numbers > 0
    right = truth & (np.arange(1280) >= 640)
    assert overlap(found, right) > 0.97


def test_the_same_outline_holds_for_a_photo_that_was_made_smaller(painted):
    pixels, truth = painted
    small = cv2.resize(pixels, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    found = drawn_leaf(photo_of(small, 2), ellipse())
    assert found.numbers.shape == (480, 640)
    assert overlap(found.numbers > 0, truth[::2, ::2]) > 0.97


def test_inside_it_lesions_are_measured_as_in_a_leaf_that_was_found(painted):
    pixels, _ = painted
    by_itself = measure_day(photo_of(pixels)).measurement.reading
    drawn = measure_day(photo_of(pixels), ellipse(5)).measurement.reading
    assert len(drawn.leaves) == 1
    assert drawn.severity_pct == pytest.approx(by_itself.severity_pct, abs=0.6)
    assert [round(one.row_px, -1) for one in drawn.leaves[0].lesions] == [
        round(one.row_px, -1) for one in by_itself.leaves[0].lesions
    ]


def test_a_slip_of_the_finger_is_no_leaf(painted):
    pixels, _ = painted
    assert drawn_leaf(photo_of(pixels), [(5, 5), (5, 9), (9, 9)]).flags == ("no_leaf",)
    assert measure_day(photo_of(pixels), [(5, 5), (5, 9), (9, 9)]).measurement.reading.leaves == ()


def test_an_outline_along_the_frame_is_cut_off(painted):
    pixels, _ = painted
    right = photo_of(np.ascontiguousarray(pixels[:, 600:]))
    crossing = drawn_leaf(right, [(row, max(0.0, col - 600)) for row, col in ellipse()])
    assert crossing.cut_off == (True,)
