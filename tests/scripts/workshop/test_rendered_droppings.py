"""Painted droppings: their truth is what was painted, and each condition does what it says."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from scripts.workshop.rendered import Scene
from scripts.workshop.rendered.droppings import (
    GROUNDS,
    LITTER,
    DroppingScene,
    draw_dropping_scene,
    lay_on_photo,
    render_droppings,
)

DAY = Scene(360, 270, leaves=0, frame_mm=45.0)
CALM = DroppingScene(droppings=6, day=DAY)
LEAF = replace(CALM, ground="leaf", day=replace(DAY, leaves=1))


def test_the_same_scene_and_seed_give_the_same_droppings_and_another_seed_others():
    first, again, other = (render_droppings(CALM, seed) for seed in (5, 5, 6))
    np.testing.assert_array_equal(first.pixels, again.pixels)
    np.testing.assert_array_equal(first.numbers, again.numbers)
    assert first.droppings == again.droppings
    assert (first.numbers != other.numbers).any()


@pytest.mark.parametrize("ground", GROUNDS)
def test_each_dropping_is_numbered_dark_and_as_large_as_its_truth_says(ground):
    scene = draw_dropping_scene(
        np.random.default_rng(3), ground=ground, width_px=360, height_px=270, droppings=5, litter=()
    )
    photo = render_droppings(scene, 3)
    assert len(photo.droppings) == photo.numbers.max() > 0
    for dropping in photo.droppings:
        own = photo.numbers == dropping.number
        assert dropping.area_px == np.count_nonzero(own)
        assert 0.7 < dropping.area_px / (dropping.length_px * dropping.width_px) < 1.15
        assert dropping.length_mm == pytest.approx(dropping.length_px / photo.px_per_mm)
        assert np.percentile(photo.pixels[own], 25) < 90


def test_twenty_droppings_of_three_millimetres_that_do_not_touch_are_twenty_parts():
    scene = replace(
        CALM, droppings=20, dropping_mm=3.2, day=Scene(900, 600, leaves=0, frame_mm=60.0)
    )
    photo = render_droppings(scene, 1)
    parts = cv2.connectedComponents((photo.numbers > 0).astype(np.uint8))[0] - 1
    assert len(photo.droppings) == parts == 20
    assert np.median([p.length_mm for p in photo.droppings]) == pytest.approx(3.2, rel=0.25)


def test_clumped_droppings_lie_against_each_other_without_hiding_each_other():
    photo = render_droppings(replace(CALM, droppings=8, clumped=1.0), 2)
    near = cv2.dilate((photo.numbers > 0).astype(np.uint8), np.ones((5, 5), np.uint8))
    assert cv2.connectedComponents(near)[0] - 1 < len(photo.droppings)
    for dropping in photo.droppings:
        assert dropping.area_px > 0.65 * dropping.length_px * dropping.width_px


def test_droppings_on_a_leaf_lie_inside_it():
    photo = render_droppings(LEAF, 4)
    assert photo.droppings
    assert photo.leaf[photo.numbers > 0].all()


def test_mulch_is_straw_or_bark():
    straw, bark = (
        render_droppings(
            replace(CALM, ground="mulch", bark=b, day=replace(DAY, background="straw")), 1
        )
        for b in (False, True)
    )
    assert len(bark.droppings) == len(straw.droppings) == CALM.droppings
    assert np.abs(straw.pixels.astype(int) - bark.pixels).mean() > 20
    drawn = [draw_dropping_scene(np.random.default_rng(seed)) for seed in range(120)]
    assert {s.bark for s in drawn if s.ground == "mulch"} == {True, False}


@pytest.mark.parametrize("kind", LITTER)
def test_each_kind_of_litter_is_painted_and_is_no_dropping(kind):
    scene = LEAF if kind == "lesion" else CALM
    day = replace(scene.day, pattern="blight", severity_pct=10) if kind == "lesion" else scene.day
    photo = render_droppings(replace(scene, litter=(kind,), droppings=3, day=day), 7)
    assert [one.kind for one in photo.litter] == [kind]
    assert photo.litter[0].area_px == np.count_nonzero(photo.litter_numbers)
    assert not np.any((photo.litter_numbers > 0) & (photo.numbers > 0))


def test_droppings_that_dry_out_are_lighter_and_those_of_other_food_are_browner():
    fresh, dried, brown = (
        render_droppings(replace(CALM, **change), 4)
        for change in ({}, {"dried": 1.0}, {"brown": 1.0})
    )
    mean = [p.pixels[p.numbers > 0].mean(axis=0) for p in (fresh, dried, brown)]
    assert mean[1].mean() > mean[0].mean() + 10
    red_over_green = [float(colour[0] - colour[1]) for colour in mean]
    assert red_over_green[2] > red_over_green[0] + 3


def test_lighter_droppings_other_soil_and_paler_wood_do_what_they_say():
    plain, light = (render_droppings(replace(CALM, tone=t), 4) for t in (0.0, 1.0))
    assert light.pixels[light.numbers > 0].mean() > plain.pixels[plain.numbers > 0].mean() + 15
    soil = replace(CALM, ground="soil", droppings=0, day=replace(DAY, background="soil"))
    brown, blue = (
        render_droppings(replace(soil, tint=tint), 4).pixels.reshape(-1, 3).mean(axis=0)
        for tint in ((1.0, 1.0, 1.0), (1.0, 1.0, 1.6))
    )
    assert blue[2] > 1.15 * brown[2]
    mulch = replace(CALM, ground="mulch", bark=True, droppings=0)
    bark, wood = (render_droppings(replace(mulch, pale=p), 4).pixels.mean() for p in (0.0, 1.0))
    assert wood > 1.2 * bark


def test_specks_are_flat_and_throw_no_shadow():
    """A flat stain is no darker on one side than on the other; a dropping is."""
    sun = replace(DAY, direct=1.0, light_elevation_deg=30.0, shadow=0.9, noise=0.0)
    one_sided = []
    for change in ({"droppings": 0, "litter": ("speck",), "litter_count": 3}, {"droppings": 2}):
        photo = render_droppings(replace(CALM, day=sun, jpeg_quality=100, **change), 8)
        thing = (photo.numbers + photo.litter_numbers) > 0
        away = cv2.distanceTransform((~thing).astype(np.uint8), cv2.DIST_L2, 5)
        around = photo.pixels.mean(axis=2)[(away > 4) & (away < 8)]
        one_sided.append(np.percentile(around, 50) - np.percentile(around, 2))
    assert one_sided[1] > 2 * one_sided[0]


def test_the_step_from_the_ground_is_large_on_paper_and_decides_what_is_faint():
    photo = render_droppings(CALM, 5)
    assert min(p.step for p in photo.droppings) > 30
    assert not any(p.faint for p in photo.droppings)
    assert replace(photo.droppings[0], step=3.9).faint


def test_droppings_are_laid_on_a_photo_and_the_rest_of_it_stays():
    board = np.full((240, 320, 3), (150, 140, 130), np.uint8)
    before = board.copy()
    pixels, numbers = lay_on_photo(replace(CALM, droppings=4), board, 8.0, 1)
    np.testing.assert_array_equal(board, before)
    assert numbers.max() == 4
    assert pixels[numbers > 0].mean() < 80
    away = cv2.distanceTransform((numbers == 0).astype(np.uint8), cv2.DIST_L2, 5)
    np.testing.assert_array_equal(pixels[away > 60], board[away > 60])


def test_droppings_are_darker_than_crumbs_of_soil():
    photo = render_droppings(replace(CALM, litter=("crumb",), litter_count=12), 3)
    droppings, crumbs = photo.numbers > 0, photo.litter_numbers > 0
    assert photo.pixels[droppings].mean() < photo.pixels[crumbs].mean()


def test_every_ground_and_litter_is_drawn_within_a_hundred_seeds_and_some_photos_are_empty():
    scenes = [draw_dropping_scene(np.random.default_rng(seed)) for seed in range(100)]
    assert {s.ground for s in scenes} == set(GROUNDS)
    assert {kind for s in scenes for kind in s.litter} == set(LITTER)
    assert {s.droppings == 0 for s in scenes} == {True, False}


@pytest.mark.parametrize(
    ("field", "value"), [("ground", "sea"), ("droppings", 61), ("litter", ("moth",))]
)
def test_a_dropping_scene_refuses_what_cannot_be_painted_and_names_the_field(field, value):
    with pytest.raises(ValueError, match=field):
        replace(CALM, **{field: value})
