"""The outline's training: balanced pixels, the same network that was fitted, seeded pictures."""

import json

import cv2
import numpy as np
import pytest

from scripts.workshop.learn.outline import as_json, choose, learn
from scripts.workshop.learn.outline_scenes import laid_pictures
from scripts.workshop.learn.photos import board_mask, expose, linear, painted_pictures
from vision.day.outline import (
    CONTEXT_FEATURES,
    FEATURES,
    OVERVIEW_PX,
    PHOTO_FEATURES,
    load_networks,
)


def test_chosen_pixels_are_balanced_and_sure():
    leaf = np.zeros((120, 160), np.float32)
    leaf[30:90, 40:120] = 1
    leaf[29] = 0.5
    chosen = leaf.ravel()[choose(np.random.default_rng(1), leaf)]
    assert set(np.unique(chosen)) == {0.0, 1.0}
    assert np.mean(chosen) == pytest.approx(0.5, abs=0.02)


def test_a_picture_without_a_leaf_gives_background_only():
    where = choose(np.random.default_rng(1), np.zeros((50, 60), np.float32))
    assert 0 < len(where) <= 3000


def test_the_kept_network_decides_as_the_fitted_one_learned():
    """Two overlapping clouds: the network must part them as well as the line between them."""
    rng = np.random.default_rng(2)
    truth = rng.random(60_000) < 0.5
    features = (rng.normal(0, 1, (60_000, 3)) * [5, 1, 1]).astype(np.float32)
    features[:, 1] += 3 * truth
    network, accuracy = learn(features, truth, (6, 4), 3)
    called = network.log_odds(features.T, np.zeros((0, 1), np.float32)) > 0
    best = np.mean((features[:, 1] > 1.5) == truth)
    assert np.mean(called == truth) == pytest.approx(best, abs=0.01)
    assert accuracy == pytest.approx(best, abs=0.03)


def test_written_weights_are_read_back(tmp_path):
    first, second = load_networks()
    path = tmp_path / "outline.json"
    path.write_text(json.dumps(as_json([first, second], [0.9, 0.95])))
    again = load_networks(path)
    for one, other in zip((first, second), again, strict=True):
        for weight, same in zip(one.weights, other.weights, strict=True):
            np.testing.assert_allclose(weight, same, rtol=1e-4)
    assert again[1].weights[0].shape[1] == len((*FEATURES, *CONTEXT_FEATURES, *PHOTO_FEATURES))


def test_pictures_are_seeded():
    made = [list(painted_pictures(np.random.default_rng(7), 2)) for _ in range(2)]
    for one, other in zip(*made, strict=True):
        np.testing.assert_array_equal(one.pixels, other.pixels)
        assert max(one.pixels.shape) <= OVERVIEW_PX
        assert one.leaf.shape == one.pixels.shape[:2]


def green_leaf_on_board():
    board = np.full((256, 256, 3), (150, 146, 152), np.uint8)
    cv2.ellipse(board, (128, 120), (80, 50), 30, 0, 360, (60, 120, 50), -1)
    return board


def test_plain_method_finds_a_leaf_on_a_board():
    mask = board_mask(green_leaf_on_board())
    assert mask is not None
    assert np.count_nonzero(mask == 1) == pytest.approx(np.pi * 80 * 50, rel=0.04)


def test_plain_method_declines_an_empty_board():
    noise = np.random.default_rng(3).normal(150, 4, (256, 256, 1)).clip(0, 255).astype(np.uint8)
    assert board_mask(np.repeat(noise, 3, axis=2)) is None


def test_leaves_are_laid_where_the_truth_says(tmp_path):
    """A pure green leaf: where the truth says leaf there is more green than elsewhere."""
    leaf = np.full((80, 120, 3), (40, 160, 30), np.uint8)
    cover = np.zeros((80, 120), np.float32)
    cv2.ellipse(cover, (60, 40), (55, 35), 0, 0, 360, 1.0, -1)
    plant = np.random.default_rng(6).integers(60, 120, (300, 400, 3)).astype(np.uint8)
    cv2.imwrite(str(tmp_path / "plant.png"), plant)
    made = laid_pictures(np.random.default_rng(4), 15, [(leaf, cover)], [tmp_path / "plant.png"])
    with_leaf = [picture for picture in made if picture.leaf.max() > 0.9]
    assert len(with_leaf) >= 8
    more = []
    for picture in with_leaf:
        light = linear(picture.pixels)
        green = light[..., 1] / (light.sum(axis=2) + 0.01)
        more.append(green[picture.leaf > 0.9].mean() > green[picture.leaf < 0.1].mean())
    assert np.mean(more) > 0.8


def test_exposing_undoes_linear_light():
    ramp = np.repeat(np.arange(256, dtype=np.uint8)[None, :, None], 3, axis=2)
    np.testing.assert_array_equal(expose(linear(ramp)), ramp)
