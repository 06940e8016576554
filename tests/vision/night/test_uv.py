"""Doubtful photos: greenish foliage under a weak torch, in which something glows or does not."""

import numpy as np
import pytest

from scripts.workshop.rendered import draw_scene, render
from scripts.workshop.rendered.droppings import draw_dropping_scene, render_droppings
from scripts.workshop.rendered.night import NightScene, render_night
from vision.colour import LINEAR_LIGHT
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


def by_night(day, light, tint=(1.0, 1.0, 1.0), lamps=()):
    """Turn a photo by day into one by night: other light on it, and lamps at (row, column)."""
    linear = LINEAR_LIGHT[day] * light[..., None] * np.asarray(tint)
    for row, col in lamps:
        linear[row - 3 : row + 4, col - 3 : col + 4] = (1.0, 0.8, 0.5)
    coded = np.where(
        linear <= 0.0031308,
        12.92 * linear,
        1.055 * np.maximum(linear, 0.0031308) ** (1 / 2.4) - 0.055,
    )
    return np.rint(255 * np.clip(coded, 0, 1)).astype(np.uint8)


def beam(shape, reach):
    """Light that falls off from the middle, as that of a flash or a white torch does."""
    rows, cols = np.mgrid[: shape[0], : shape[1]]
    away = np.hypot(rows - shape[0] / 2, cols - shape[1] / 2) / shape[0]
    return np.exp(-((away / reach) ** 2)) + 0.002


@pytest.fixture(scope="module")
def by_day():
    scenes = (
        draw_scene(np.random.default_rng([63, n]), width_px=320, height_px=240, leaves=1)
        for n in range(12)
    )
    return [render(scene, number).pixels for number, scene in enumerate(scenes)]


@pytest.mark.parametrize(
    ("light", "tint", "lamps"),
    [
        ("flash", (1.1, 1.0, 0.9), ()),
        ("torch", (1.0, 0.9, 0.7), ()),
        ("street", (1.0, 0.7, 0.35), ((40, 60), (30, 200), (60, 280))),
        ("dusk", (0.8, 0.9, 1.1), ()),
    ],
)
def test_without_the_torch_a_photo_by_night_is_no_uv_photo(by_day, light, tint, lamps):
    shape = by_day[0].shape[:2]
    lit = {
        "flash": beam(shape, 0.5),
        "torch": beam(shape, 0.2),
        "street": np.full(shape, 2.0**-5),
        "dusk": np.full(shape, 2.0**-4),
    }[light]
    nights = [by_night(day, lit, tint, lamps) for day in by_day]
    assert sum(map(is_uv_photo, nights)) <= 1


def test_those_photos_are_refused_for_want_of_violet_not_of_darkness(by_day):
    shape = by_day[0].shape[:2]
    looks = [look_at(by_night(day, beam(shape, 0.2), (1.0, 0.9, 0.7))) for day in by_day]
    dark = [look for look in looks if look.score >= SURE and not look.one_hue]
    assert len(dark) >= 3
    # One painted board is violet by itself.
    assert sum(look.violet_share < 0.1 for look in dark) >= len(dark) - 1
