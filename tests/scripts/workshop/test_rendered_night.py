"""Painted night photos: their truth is what was painted, and each condition does what it says."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from scripts.workshop.rendered.jpeg import jpeg_loss
from scripts.workshop.rendered.night import (
    DECOYS,
    FOLIAGE_TONES,
    POSES,
    STYLES,
    TROUBLES,
    NightScene,
    draw_night_scene,
    render_night,
)
from scripts.workshop.rendered.ribbon import Ribbon, follow

SMALL = {"width_px": 320, "height_px": 240}
CALM = NightScene(**SMALL, length_share=0.3, noise=0.1, beam_radius=0.9)


@pytest.mark.parametrize("style", STYLES)
def test_the_same_scene_and_seed_give_the_same_night_photo_and_another_seed_another(style):
    scene = replace(CALM, style=style, decoys=("tag", "lint"))
    first, again, other = render_night(scene, 5), render_night(scene, 5), render_night(scene, 6)
    np.testing.assert_array_equal(first.pixels, again.pixels)
    np.testing.assert_array_equal(first.numbers, again.numbers)
    assert (first.numbers != other.numbers).any()


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("count", [0, 1, 3])
def test_as_many_caterpillars_are_painted_as_the_scene_says(style, count):
    photo = render_night(replace(CALM, style=style, caterpillars=count, length_share=0.15), count)
    assert len(photo.caterpillars) == count
    assert set(np.unique(photo.numbers)) == set(range(count + 1))
    for truth in photo.caterpillars:
        own = photo.numbers == truth.number
        assert truth.area_px == np.count_nonzero(own)
        assert np.hypot(*np.diff(truth.axis, axis=0).T).sum() == pytest.approx(truth.length_px)


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("pose", POSES)
def test_a_bodys_pixels_lie_along_its_axis_and_fill_its_length_and_width(style, pose):
    scene = replace(CALM, style=style, poses=(pose,), horn=False, length_share=0.4)
    photo = render_night(scene, 2)
    (truth,) = photo.caterpillars
    rows, cols = np.nonzero(photo.numbers)
    away = np.hypot(cols[:, None] - truth.axis[:, 0], rows[:, None] - truth.axis[:, 1]).min(axis=1)
    assert away.max() <= 0.8 * truth.width_px + 1
    assert 0.6 < truth.area_px / (truth.length_px * truth.width_px) < 1.1
    assert truth.pieces == 1
    assert truth.visible_share == 1


def test_a_straight_ribbon_covers_its_length_times_its_width_and_its_round_ends():
    """60 px long and 10 px wide: 600 px; two half discs of radius 5: 79 px."""
    axis = np.stack([np.linspace(10, 70, 61), np.full(61, 20.0)], axis=1)
    swath = follow(Ribbon(axis, np.full(61, 5.0)), (40, 80))
    inside = swath.cover >= 0.5
    assert swath.cover.sum() == pytest.approx(679, rel=0.03)
    assert swath.along[inside].min() < 0.02
    assert swath.along[inside].max() > 0.98
    assert np.abs(swath.across[inside]).max() <= 1.01


@pytest.mark.parametrize("hiding", ["leaf", "stem"])
def test_a_body_under_a_leaf_or_stem_stays_one_and_loses_what_is_hidden(hiding):
    shares = []
    for seed in range(4):
        photo = render_night(replace(CALM, hiding=hiding), seed)
        assert len(photo.caterpillars) == 1
        shares.append(photo.caterpillars[0].visible_share)
    assert 0.55 < min(shares) < 0.95


def test_crossing_bodies_overlap_and_touching_ones_meet_without_overlap():
    for seed in range(3):
        scene = replace(CALM, caterpillars=2, length_share=0.25)
        below, above = render_night(replace(scene, arrangement="crossing"), seed).caterpillars
        assert below.visible_share < 0.97
        assert above.visible_share == 1
        photo = render_night(replace(scene, arrangement="touching"), seed)
        assert min(truth.visible_share for truth in photo.caterpillars) > 0.9
        first, second = ((photo.numbers == n).astype(np.uint8) for n in (1, 2))
        assert np.any(cv2.dilate(first, np.ones((9, 9), np.uint8)) & second)


@pytest.mark.parametrize("style", STYLES)
def test_caterpillars_are_greener_than_the_foliage_in_every_tone(style):
    for seed, tone in enumerate(FOLIAGE_TONES):
        photo = render_night(replace(CALM, style=style, tone=tone), seed)
        body, ground = photo.numbers > 0, photo.numbers == 0
        green, red, blue = (photo.pixels[..., band].astype(float) for band in (1, 0, 2))
        assert green[body].mean() > 3 * green[ground].mean()
        assert green[body].mean() > red[body].mean()
        assert (green - np.maximum(red, blue))[ground].mean() < 4


@pytest.mark.parametrize("kind", DECOYS)
def test_each_decoy_is_painted_beside_the_caterpillars_and_named(kind):
    scene = replace(CALM, decoys=(kind,), length_share=0.2, length_mm=40.0)
    found = [render_night(scene, seed) for seed in range(3)]
    named = [photo for photo in found if photo.decoys]
    assert named
    for photo in named:
        assert photo.decoys[0].kind == kind
        assert photo.decoys[0].area_px == np.count_nonzero(photo.decoy_numbers)
        assert not np.any((photo.decoy_numbers > 0) & (photo.numbers > 0))


def test_the_torch_off_frame_shows_stray_light_alone():
    dark = render_night(replace(CALM, stray=0.0), 3, torch_off=True)
    lit = render_night(replace(CALM, stray=0.05), 3, torch_off=True)
    np.testing.assert_array_equal(lit.pixels, render_night(replace(CALM, stray=0.05), 3).pixels)
    assert render_night(CALM, 3).torch_off is None
    assert dark.torch_off.mean() < 6
    assert lit.torch_off.mean() > dark.torch_off.mean()
    assert lit.pixels.mean() > lit.torch_off.mean()


def test_troubles_spoil_the_photo_in_their_own_way():
    def photo(trouble):
        drawn = {"caterpillars": 1, "trouble": trouble, "decoys": (), "style": "spline"}
        return render_night(draw_night_scene(np.random.default_rng(4), **SMALL, **drawn), 4)

    photos = {trouble: photo(trouble) for trouble in TROUBLES}
    body = {name: p.pixels[p.numbers > 0].astype(float).mean(axis=0) for name, p in photos.items()}
    assert body["weak"].max() < 0.5 * body[""].max()
    assert photos["shaken"].scene.motion_px > 5
    assert photos["hot_spot"].pixels.max(axis=2).std() > 0
    assert body["hidden_glow"][1] < body["hidden_glow"].max()


def test_fixing_one_field_leaves_the_others_as_they_were():
    drawn = [draw_night_scene(np.random.default_rng(1), **fixed) for fixed in ({}, {"leak": 0.3})]
    assert replace(drawn[0], leak=0.3) == drawn[1]


def test_every_style_decoy_tone_and_arrangement_is_drawn_within_some_hundred_seeds():
    scenes = [draw_night_scene(np.random.default_rng(seed)) for seed in range(300)]
    assert {s.style for s in scenes} == set(STYLES)
    assert {d for s in scenes for d in s.decoys} == set(DECOYS)
    assert {s.tone for s in scenes} == set(FOLIAGE_TONES)
    assert {s.arrangement for s in scenes} == {"apart", "crossing", "touching"}
    assert {s.hiding for s in scenes} == {"", "leaf", "stem"}
    assert {s.caterpillars for s in scenes} >= {0, 1, 2, 3, 4, 5, 6}
    assert {s.trouble for s in scenes} == {""}


@pytest.mark.parametrize(
    ("field", "value"), [("style", "oil"), ("caterpillars", 9), ("decoys", ("ghost",))]
)
def test_a_night_scene_refuses_what_cannot_be_painted_and_names_the_field(field, value):
    with pytest.raises(ValueError, match=field):
        replace(CALM, **{field: value})


@pytest.mark.parametrize("quality", [40, 90])
def test_jpeg_loss_is_close_to_an_encoders(quality):
    photo = render_night(replace(CALM, jpeg_quality=100, noise=0.5), 1).pixels
    options = [cv2.IMWRITE_JPEG_QUALITY, quality]
    options += [cv2.IMWRITE_JPEG_SAMPLING_FACTOR, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420]
    stored = cv2.imencode(".jpg", photo[..., ::-1], options)[1]
    theirs = cv2.imdecode(stored, cv2.IMREAD_COLOR)[..., ::-1].astype(float)
    ours = jpeg_loss(photo, quality).astype(float)
    loss = np.abs(theirs - photo).mean()
    assert np.abs(ours - theirs).mean() < 0.2 * loss


@pytest.mark.parametrize("style", STYLES)
def test_a_faint_body_still_stands_out_from_glowing_foliage_unless_the_photo_is_to_be_spoilt(style):
    faint = replace(CALM, style=style, tone="teal", foliage_glow=2.0, larva_glow=0.01)
    (seen,) = render_night(faint, 3).caterpillars
    (lost,) = render_night(replace(faint, trouble="weak"), 3).caterpillars
    assert seen.contrast > 2 > lost.contrast
