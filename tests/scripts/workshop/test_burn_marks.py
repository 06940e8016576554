"""Painted burn and dew leave everything else of a photo as it was."""

from dataclasses import replace

import numpy as np
import pytest

from scripts.workshop.rendered import Scene, render

SCENE = Scene(
    width_px=420, height_px=330, background="grey_board", pattern="spot", kind="bacterial"
)


@pytest.fixture(scope="module")
def plain():
    return render(SCENE, 3)


def test_burn_covers_the_share_asked_for(plain):
    assert plain.burnt_px == 0
    for share in (2.0, 8.0):
        photo = render(replace(SCENE, burn_pct=share), 3)
        assert 100 * photo.burnt_px / photo.leaf_area_px == pytest.approx(share, rel=0.35)


def test_burn_changes_only_the_leaf_and_makes_it_paler(plain):
    burnt = render(replace(SCENE, burn_pct=8.0), 3)
    changed = np.abs(burnt.pixels.astype(int) - plain.pixels).max(axis=2) > 30
    assert changed[plain.mask == 0].mean() < 0.002
    assert 0.02 < changed[plain.mask > 0].mean() < 0.2
    assert burnt.pixels[changed].mean() > plain.pixels[changed].mean() + 40


def test_burn_and_dew_are_no_symptoms_of_the_mask(plain):
    for marks in ({"burn_pct": 8.0}, {"dew": 1.0}):
        assert np.array_equal(render(replace(SCENE, **marks), 3).mask, plain.mask)


def test_dew_glints_on_the_leaf_alone(plain):
    wet = render(replace(SCENE, dew=1.0, gloss=0.8, direct=0.8), 3)
    dry = render(replace(SCENE, gloss=0.8, direct=0.8), 3)
    difference = np.abs(wet.pixels.astype(int) - dry.pixels).max(axis=2)
    assert (difference[plain.mask == 0] > 30).mean() < 0.002
    assert (difference[plain.mask > 0] > 30).mean() > 0.01


def test_more_burn_than_can_be_painted_is_refused():
    with pytest.raises(ValueError, match="burn_pct"):
        Scene(burn_pct=80)
