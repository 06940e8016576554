"""Flags of UV night photos: each rises where its trouble is painted, and only there."""

from dataclasses import replace
from functools import cache

import pytest

from scripts.workshop.rendered.night import STYLES, NightScene, render_night
from vision.night.light import read_night_light
from vision.night.quality import night_flags

CALM = NightScene(width_px=480, height_px=360, length_share=0.3, noise=0.2, beam_radius=0.9,
                  beam_floor=0.3, density=0.9, leak=0.5)  # fmt: skip
TROUBLES = {
    "": {},
    "shaken": {"motion_px": 22.0},
    "hot_spot": {"beam_radius": 0.06, "beam_floor": 0.02, "exposure": 5.0, "caterpillars": 0},
    "glow_hidden": {"white_balance": (3.2, 1.2, 3.0), "leak": 1.4},
    "torch_weak": {"exposure": 0.04, "trouble": "weak"},
}


@cache
def flags(style, trouble, seed=0):
    scene = replace(CALM, style=style, **TROUBLES[trouble])
    return night_flags(read_night_light(render_night(scene, seed).pixels))


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("trouble", TROUBLES)
def test_a_flag_rises_where_its_trouble_is_and_only_there(style, trouble):
    assert flags(style, trouble) == ((trouble,) if trouble else ())


@pytest.mark.parametrize("style", STYLES)
def test_a_hand_that_hardly_moves_and_a_narrower_beam_raise_no_flag(style):
    moved = replace(CALM, style=style, motion_px=3.0, beam_radius=0.6)
    assert night_flags(read_night_light(render_night(moved, 4).pixels)) == ()
