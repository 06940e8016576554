"""Painted bites and holes: what is missing is known exactly, and disease is told from feeding."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from scripts.workshop.rendered import EATEN, FALLEN, Scene, draw_feeding, render
from vision.records import BACKGROUND, LESION

WHOLE = Scene(400, 300, background="paper", leaf_size=0.85)


def test_a_whole_leaf_lacks_nothing():
    photo = render(WHOLE, 3)
    assert photo.missing_pct == photo.chewed_pct == 0
    assert photo.intact_area_px == photo.leaf_area_px


@pytest.mark.parametrize("chewed_pct", [5, 20, 45])
def test_about_as_much_is_eaten_as_the_scene_says(chewed_pct):
    for seed in range(3):
        photo = render(replace(WHOLE, chewed_pct=chewed_pct), seed)
        assert photo.chewed_pct == pytest.approx(chewed_pct, abs=1 + 0.1 * chewed_pct)


@pytest.mark.parametrize("seed", range(4))
def test_what_is_left_and_what_is_missing_make_up_the_whole_leaf(seed):
    whole = render(WHOLE, seed)
    eaten = render(replace(WHOLE, chewed_pct=25, shot_holes=3), seed)
    together = (eaten.mask != BACKGROUND) | (eaten.missing > 0)
    np.testing.assert_array_equal(together, whole.mask != BACKGROUND)
    assert not np.any((eaten.mask != BACKGROUND) & (eaten.missing > 0))
    gone = np.count_nonzero(eaten.missing)
    assert eaten.missing_pct == pytest.approx(100 * gone / whole.leaf_area_px)


def test_a_hole_left_by_disease_has_a_rim_of_dead_tissue_and_an_eaten_one_has_none():
    sick = render(replace(WHOLE, shot_holes=5), 2)
    eaten = render(replace(WHOLE, chewed_pct=10, bite_share=0.0), 2)
    assert sick.chewed_pct == 0 < sick.missing_pct
    assert {lesion.kind for lesion in sick.lesions} == {"rim"}
    for photo, kind, rimmed in ((sick, FALLEN, True), (eaten, EATEN, False)):
        hole = (photo.missing == kind).astype(np.uint8)
        rim = (cv2.dilate(hole, np.ones((3, 3), np.uint8)) > 0) & (photo.mask != BACKGROUND)
        assert (photo.mask[rim] == LESION).mean() > 0.95 if rimmed else True
        assert rimmed or not np.any(photo.mask[rim] == LESION)


def test_bites_open_to_the_outside_and_holes_do_not():
    def open_share(bite_share):
        photo = render(replace(WHOLE, chewed_pct=15, bite_share=bite_share), 5)
        gone = (photo.missing > 0).astype(np.uint8)
        outside = ((photo.mask == BACKGROUND) & (photo.missing == 0)).astype(np.uint8)
        near = cv2.dilate(outside, np.ones((3, 3), np.uint8)) > 0
        _, parts = cv2.connectedComponents(gone)
        reached = np.unique(parts[near & (gone > 0)])
        return np.isin(parts[gone > 0], reached).mean()

    assert open_share(1.0) == 1
    assert open_share(0.0) < 0.7


def test_feeding_leaves_the_rest_of_the_photo_as_it_was():
    whole, eaten = (render(replace(WHOLE, chewed_pct=c), 6) for c in (0, 20))
    far = cv2.dilate((whole.mask != BACKGROUND).astype(np.uint8), np.ones((61, 61), np.uint8)) == 0
    difference = np.abs(whole.pixels[far].astype(int) - eaten.pixels[far])
    assert np.median(difference) <= 1


def test_feeding_that_is_drawn_can_be_painted():
    drawn = [draw_feeding(np.random.default_rng(seed)) for seed in range(40)]
    assert {d["chewed_pct"] == 0 for d in drawn} == {True, False}
    assert {d["shot_holes"] == 0 for d in drawn} == {True, False}
    replace(WHOLE, **drawn[0])
