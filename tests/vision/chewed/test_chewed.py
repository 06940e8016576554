"""Eaten leaf area: bites count, lobes do not, and doubt is said."""

from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
import pytest

from scripts.workshop.rendered import Scene, render
from vision.chewed.measure import bite_judge_of, eaten_pct, is_compound, measure_chewed
from vision.day.measure import measure_day_photo
from vision.records import LEAF, LESION, Photo


def blade(rows: int = 260, columns: int = 420) -> np.ndarray:
    """Draw a pointed leaf with an entire margin, its axis along the columns."""
    x = np.linspace(-1, 1, columns - 20)
    half = 0.42 * (rows - 20) * (1 - np.abs(x) ** 1.8)
    cols = np.arange(len(x)) + 10
    top, low = rows / 2 - half, rows / 2 + half
    points = np.concatenate([np.stack([cols, top], 1), np.stack([cols, low], 1)[::-1]])
    canvas = np.zeros((rows, columns), np.uint8)
    cv2.fillPoly(canvas, [np.rint(points).astype(np.int32)], 1)
    return canvas > 0


def bite(leaf: np.ndarray, row: float, col: float, radius: float) -> np.ndarray:
    rows, cols = np.indices(leaf.shape)
    return leaf & (np.hypot(rows - row, cols - col) > radius)


def read(leaf: np.ndarray, classes: np.ndarray | None = None):
    return measure_chewed(leaf, np.where(leaf, LEAF, 0) if classes is None else classes)


def photo_of(pixels: np.ndarray) -> Photo:
    rows, columns = pixels.shape[:2]
    return Photo(Path(), "", "", datetime(2026, 7, 1), "file", pixels, columns, rows)


def test_a_whole_leaf_has_nothing_missing():
    found = read(blade())
    assert found.pct == 0
    assert found.low_pct == 0
    assert found.high_pct < 5
    assert not found.missing.any()


def test_a_round_bite_from_the_margin_is_measured():
    whole = blade()
    rest = bite(whole, 215, 210, 42)
    true = eaten_pct(np.count_nonzero(whole & ~rest) / np.count_nonzero(rest))
    found = read(rest)
    assert found.pct == pytest.approx(true, rel=0.35)
    assert found.low_pct <= true <= found.high_pct
    assert np.mean((whole & ~rest)[found.missing]) > 0.9


def test_a_hole_with_a_clean_edge_is_eaten_and_one_with_a_dead_rim_is_not():
    whole = blade()
    rest = bite(whole, 130, 150, 15)
    true = 100 * np.count_nonzero(whole & ~rest) / np.count_nonzero(whole)
    assert read(rest).pct == pytest.approx(true, rel=0.1)
    rows, cols = np.indices(whole.shape)
    rim = rest & (np.hypot(rows - 130, cols - 150) < 22)
    assert read(rest, np.where(rim, LESION, np.where(rest, LEAF, 0))).pct == 0


@pytest.mark.parametrize("turn", [1, 2, 3])
def test_turning_and_mirroring_the_leaf_keeps_what_was_eaten(turn):
    rest = bite(blade(), 215, 210, 42)
    other = np.ascontiguousarray(np.rot90(rest, turn)[::-1])
    assert read(other).pct == pytest.approx(read(rest).pct, abs=0.6)


def test_a_larger_bite_reads_more():
    values = [read(bite(blade(), 215, 210, radius)).pct for radius in (42, 48, 54)]
    assert values == sorted(values)
    assert values[0] < values[2]


def test_a_lone_nibble_that_may_be_natural_is_not_told():
    assert read(bite(blade(), 215, 210, 30)) is None


def test_a_bay_with_a_dead_rim_was_left_by_disease_and_is_not_told():
    whole = blade()
    rest = bite(whole, 215, 210, 42)
    rows, cols = np.indices(whole.shape)
    rim = rest & (np.hypot(rows - 215, cols - 210) < 60)
    assert read(rest).pct > 5
    assert read(rest, np.where(rim, LESION, np.where(rest, LEAF, 0))) is None


def test_specks_of_glare_are_no_eaten_holes():
    found = read(bite(bite(blade(), 130, 150, 5), 130, 250, 5))
    assert (found.pct, found.low_pct) == (0, 0)
    assert not found.missing.any()


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_lobes_and_teeth_of_painted_leaves_are_no_bites(seed):
    scene = Scene(700, 560, pattern="none", lobing=0.8, background="grey_board")
    reading = measure_day_photo(photo_of(render(scene, seed).pixels)).reading
    assert reading.chewed_pct is None or reading.chewed_pct < 1.5


def test_a_painted_eaten_leaf_reads_eaten_and_holds_the_truth():
    scene = Scene(
        800, 640, pattern="none", background="grey_board", chewed_pct=10, bite_share=1, lobing=0.3
    )
    photo = render(scene, 6)
    reading = measure_day_photo(photo_of(photo.pixels)).reading
    assert reading.chewed_pct > 2
    assert reading.chewed_low_pct <= photo.chewed_pct <= reading.chewed_high_pct


def test_a_leaf_with_large_eaten_holes_is_one_leaf_and_is_read():
    scene = Scene(
        800, 640, pattern="none", background="grey_board", chewed_pct=25, bite_share=0.1, lobing=0.3
    )
    photo = render(scene, 3)
    reading = measure_day_photo(photo_of(photo.pixels)).reading
    assert "touching" not in reading.flags
    assert reading.chewed_pct == pytest.approx(photo.chewed_pct, abs=12)
    assert reading.chewed_low_pct <= photo.chewed_pct <= reading.chewed_high_pct


def test_the_more_is_gone_the_less_surely_it_is_said():
    whole = blade()
    few, many = bite(whole, 215, 210, 42), whole
    for col in (100, 170, 240, 310):
        many = bite(bite(many, 215, col, 45), 45, col, 40)
    widths = [one.high_pct - one.low_pct for one in map(read, (whole, few, many))]
    assert widths == sorted(widths)
    assert widths[2] > 3 * widths[0]


def test_nothing_is_said_of_a_compound_leaf_and_the_flag_says_why():
    photo = render(Scene(800, 640, shape="compound", background="grey_board"), 2)
    reading = measure_day_photo(photo_of(photo.pixels)).reading
    assert reading.chewed_pct is None
    assert {"outline_unknown", "touching", "cut_off"} & set(reading.flags)


def test_nothing_is_said_of_a_leaf_that_is_cut_off():
    photo = render(Scene(700, 560, leaf_size=1.2, background="grey_board"), 1)
    reading = measure_day_photo(photo_of(photo.pixels)).reading
    assert "cut_off" in reading.flags
    assert reading.chewed_pct is None


def test_leaflets_on_a_stalk_are_told_from_one_leaf():
    stalk = np.zeros((300, 420), np.uint8)
    cv2.line(stalk, (10, 150), (410, 150), 1, 5)
    for col, row in ((80, 90), (80, 210), (220, 90), (220, 210), (350, 150)):
        cv2.ellipse(stalk, (col, row), (45, 60), 0, 0, 360, 1, -1)
    assert is_compound(stalk > 0)
    assert not is_compound(blade())


def test_numbers_learned_for_other_measures_are_refused():
    with pytest.raises(ValueError, match="other measures"):
        bite_judge_of({"bays": {"inputs": ["x"]}})
