"""The picture of a UV night photo: boxes where things are, words that can be read."""

from itertools import combinations

import numpy as np
import pytest

from scripts.workshop.paint.garden import HERE
from vision.drawing import text_size
from vision.measure import measure_night
from vision.night.overlay import draw_night_overlay
from vision.night.rejected import REASONS, SHORT
from vision.photo.decode import read_photo
from vision.photo.find import PhotoFile

SHOWN = "bed-1/plant-A3/2025-07-12_2237_plant-A3_1.jpg"  # many things that shine, no caterpillar


@pytest.fixture(scope="module")
def photo():
    return read_photo(PhotoFile(HERE / "night" / "garden" / SHOWN, SHOWN))


@pytest.fixture(scope="module")
def measured(photo):
    return measure_night(photo).measurement


def test_each_reason_has_a_few_words_of_its_own():
    assert SHORT.keys() == REASONS.keys()
    assert len(set(SHORT.values())) == len(SHORT)
    assert not any("_" in words or len(words) > 16 for words in SHORT.values())


def test_boxes_lie_where_things_shine(photo, measured):
    shine = photo.pixels.max(axis=-1).astype(float)
    assert len(measured.reading.rejected) > 10
    for glow in measured.reading.rejected:
        left, top, right, bottom = (round(edge / photo.reduction) for edge in glow.box_px)
        assert 0 <= left < right <= shine.shape[1]
        assert 0 <= top < bottom <= shine.shape[0]
        assert left <= glow.col_px / photo.reduction <= right
        assert top <= glow.row_px / photo.reduction <= bottom
        # It holds what shines, and no more than that: its edge is darker than its brightest.
        inside = shine[top:bottom, left:right]
        assert inside.max() > np.median(shine)
        assert np.hypot(right - left, bottom - top) < 2.5 * max(4, glow.length_px) + 6


def test_no_two_words_stand_on_each_other(photo, measured, monkeypatch):
    placed = []
    monkeypatch.setattr(
        "vision.night.overlay.write_edged",
        lambda view, text, at, size: placed.append((text, at, text_size(text, size, 2))),
    )
    draw_night_overlay(photo, measured)
    assert len(placed) == min(25, len(measured.reading.rejected))
    assert {text for text, _, _ in placed} <= set(SHORT.values())
    boxes = [(c, r - size[1] + size[1] // 4, c + size[0], r + size[1] // 4)
             for _, (c, r), size in placed]  # fmt: skip
    for one, other in combinations(boxes, 2):
        apart = one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
        assert apart


def test_dark_leaves_are_shown_brighter(photo, measured):
    drawn = draw_night_overlay(photo, measured)
    # Above the strip, most of the picture is leaves in the dark.
    assert np.median(drawn[: drawn.shape[0] // 2]) > 1.3 * np.median(photo.pixels)
