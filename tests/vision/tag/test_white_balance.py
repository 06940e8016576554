"""White balance from a tag's grey patch, and leaves measured beside a tag."""

from dataclasses import replace

import numpy as np
import pytest

from scripts.workshop.figures.tags import as_photo, cast_misses
from scripts.workshop.rendered import PaintedTag, Scene, render
from vision.day.measure import measure_day_photo
from vision.records import BACKGROUND
from vision.tag.find import find_tag
from vision.tag.hide import card_mask
from vision.tag.white_balance import CAST_THAT_MATTERS, balanced

TAG = PaintedTag(12, span_px=90)
SCENE = Scene(
    leaf_size=0.6, tag=TAG, pattern="spot", kind="septoria", severity_pct=14, direct=0.5,
    exposure=0.8, vignette=0,
)  # fmt: skip


def test_the_gains_undo_the_cast_of_the_light():
    """Gain = target ÷ patch mean in linear light [practice]."""
    plain = find_tag(as_photo(render(SCENE, 3))).white_balance
    cast = (1.3, 1.0, 0.7)
    warm = find_tag(as_photo(render(replace(SCENE, cast=cast), 3))).white_balance
    change = np.log(warm) - np.log(plain)
    expected = -(np.log(cast) - np.log(cast).mean())
    assert change == pytest.approx(expected, abs=0.03)


def test_the_gains_leave_brightness_as_it_is():
    gains = find_tag(as_photo(render(replace(SCENE, cast=(1.4, 1, 0.7)), 3))).white_balance
    assert np.prod(gains) == pytest.approx(1)


@pytest.mark.parametrize(
    "change",
    [
        {"exposure": 7.0},
        {"exposure": 0.004, "noise": 0.0},
        {"tag": replace(TAG, place=(0.15, 0.945))},
        {"tag": replace(TAG, tint=(1.3, 1.0, 0.8))},
    ],
    ids=["burnt out", "dark", "outside the photo", "grey patch unlike the white one"],
)
def test_patches_that_cannot_be_relied_on_give_no_white_balance(change):
    reading = find_tag(as_photo(render(replace(SCENE, **change), 3)))
    assert reading is None or reading.white_balance is None


def test_white_paper_that_is_burnt_out_leaves_the_grey_patch_its_word():
    cast = (1.2, 1.0, 0.8)
    bright = as_photo(render(replace(SCENE, exposure=2.2, cast=cast), 3))
    usual = as_photo(render(replace(SCENE, cast=cast), 3))
    assert (bright.pixels >= 250).mean() > 0.02
    apart = np.log(find_tag(bright).white_balance) - np.log(find_tag(usual).white_balance)
    assert np.abs(apart).max() < 0.06


def test_a_neutral_photo_and_one_without_gains_stay_as_they_are():
    photo = as_photo(render(SCENE, 3))
    slight = np.exp(0.9 * CAST_THAT_MATTERS * np.array([1, 0, -1]))
    assert balanced(photo, None) is photo
    assert balanced(photo, tuple(slight)) is photo


def test_balancing_makes_the_patch_grey_and_leaves_the_photo_unchanged():
    photo = as_photo(render(replace(SCENE, cast=(1.35, 1.0, 0.7)), 3))
    before = photo.pixels.copy()
    reading = find_tag(photo)
    again = find_tag(balanced(photo, reading.white_balance))
    assert np.abs(np.log(reading.white_balance)).max() > 0.2
    assert np.abs(np.log(again.white_balance)).max() < 0.02
    assert np.array_equal(before, photo.pixels)


def test_in_strongly_coloured_light_severity_is_nearer_the_truth_with_white_balance():
    """``python -m scripts.workshop figures tags`` measures this on more photos."""
    missed = np.array([cast_misses(0.4, seed, width_px=400, height_px=300) for seed in range(6)])
    # The median: on one of the six, in the field, another leaf than the painted one is measured.
    plain, corrected = np.median(missed, axis=0)
    assert corrected < 0.7 * plain


@pytest.mark.parametrize("background", ["paper", "soil"])
def test_a_leaf_is_measured_alike_with_and_without_a_tag_beside_it(background):
    scene = replace(SCENE, background=background)
    without = measure_day_photo(as_photo(render(replace(scene, tag=None), 5))).reading
    photo = as_photo(render(scene, 5))
    beside = measure_day_photo(photo, find_tag(photo)).reading
    assert len(beside.leaves) == len(without.leaves) == 1
    assert beside.leaf_area_px == pytest.approx(without.leaf_area_px, rel=0.02)
    assert beside.severity_pct == pytest.approx(without.severity_pct, abs=1.0)


def test_nothing_of_the_card_is_taken_for_leaf_even_where_a_leaf_hides_part_of_it():
    scene = replace(SCENE, leaf_size=0.9, tag=replace(TAG, place=(0.27, 0.4)))
    painted = render(scene, 5)
    photo = as_photo(painted)
    tag = find_tag(photo)
    measured = measure_day_photo(photo, tag)
    outline = np.zeros(painted.mask.shape, bool)
    rows, columns = (np.clip([f(c[n] for c in tag.corners_px) for f in (min, max)], 0, 639)
                     .astype(int) for n in (0, 1))  # fmt: skip
    outline[rows[0] : rows[1], columns[0] : columns[1]] = True
    card = outline & (painted.mask == BACKGROUND)
    assert np.count_nonzero(measured.leaf_numbers[card]) < 0.03 * np.count_nonzero(card)
    leaf = painted.mask != BACKGROUND
    assert np.count_nonzero(measured.leaf_numbers[leaf]) > 0.95 * np.count_nonzero(leaf)


def test_a_photo_of_a_tag_alone_has_no_leaf():
    photo = as_photo(
        render(replace(SCENE, leaves=0, pattern="none", kind="", background="paper"), 2)
    )
    tag = find_tag(photo)
    assert measure_day_photo(photo, tag).reading.flags == ("no_leaf",)
    assert card_mask(photo, tag).any()


def test_a_tag_changes_nothing_else_in_a_painted_photo():
    with_tag, without = render(SCENE, 7), render(replace(SCENE, tag=None), 7)
    assert np.array_equal(with_tag.mask, without.mask)
    leaf = without.mask != BACKGROUND
    apart = np.abs(with_tag.pixels.astype(int) - without.pixels)[leaf]
    assert np.mean(apart) < 0.5
    assert without.tag_corners_px is None
    assert np.ptp(np.array(with_tag.tag_corners_px), axis=0) == pytest.approx(90, abs=0.01)
