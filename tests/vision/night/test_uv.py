"""Doubtful photos: greenish foliage under a weak torch, in which something glows or does not."""

import numpy as np

from scripts.workshop.rendered import draw_scene, render
from scripts.workshop.rendered.droppings import draw_dropping_scene, render_droppings
from scripts.workshop.rendered.night import NightScene, render_night
from vision.night.uv import is_uv_photo, look_at

# What a look at light and colours alone is sure of; see ``vision.night.uv``.
SURE, DOUBTFUL = 4.75, 1.0


def greenish(caterpillars):
    """Paint foliage that a white balance and a lamp nearby make as green as by dusk."""
    scene = NightScene(
        width_px=800,
        height_px=600,
        caterpillars=caterpillars,
        length_share=0.1,
        tone="red",
        density=0.6,
        stray=0.02,
        leak=0.36,
        beam_radius=0.34,
        white_balance=(1.07, 1.25, 1.0),
    )
    return render_night(scene, 138).pixels


def test_a_doubtful_photo_is_a_uv_photo_when_a_caterpillar_glows_in_it():
    seen = greenish(2)
    assert DOUBTFUL <= look_at(seen).score < SURE
    assert is_uv_photo(seen)


def test_the_same_foliage_without_one_stays_in_doubt_and_is_none():
    seen = greenish(0)
    assert look_at(seen).score < SURE
    assert not is_uv_photo(seen)


def test_a_day_photo_that_is_dark_enough_to_be_doubtful_is_none():
    doubtful = 0
    for number in range(16):
        rng = np.random.default_rng([62, number])
        scene = draw_scene(rng, width_px=320, height_px=240, leaves=1)
        # Two to three stops darker than metered: sRGB goes with about the 2.2nd root of light.
        dark = np.rint(render(scene, number).pixels * 0.15 ** (1 / 2.2)).astype(np.uint8)
        if DOUBTFUL <= look_at(dark).score < SURE:
            doubtful += 1
            assert not is_uv_photo(dark), number
    assert doubtful > 0


def test_dark_soil_by_day_is_no_uv_photo_however_much_glitters_on_it():
    """Light alone would take two or more of these for night: some bits are far brighter."""
    dark = 0
    for seed in range(112_100, 112_112):
        scene = draw_dropping_scene(np.random.default_rng(seed), ground="soil")
        pixels = render_droppings(scene, seed).pixels
        dark += look_at(pixels).score >= SURE
        assert not is_uv_photo(pixels), seed
    assert dark >= 2
