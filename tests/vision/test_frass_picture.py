"""Pictures of spots: the same however a spot lies and is lit; and a network learns from them."""

import cv2
import numpy as np
import pytest

from scripts.fit_picture import fit_picture
from vision.frass import look_closely
from vision.frass_judge import judge_of, load_judge
from vision.frass_picture import PICTURE_PX, Kernel, picture_net_of, planes_of


def barrel_on_paper(angle_deg: float) -> np.ndarray:
    picture = np.full((160, 240, 3), (226, 224, 218), np.uint8)
    cv2.ellipse(picture, (120, 80), (16, 9), angle_deg, 0, 360, (40, 42, 34), -1, cv2.LINE_AA)
    noise = np.random.default_rng(1).normal(0, 1, picture.shape)
    return np.clip(picture + noise, 0, 255).astype(np.uint8)


def likeliest(pixels: np.ndarray) -> np.ndarray:
    seen = look_closely(pixels, load_judge())
    return max(seen, key=lambda one: np.count_nonzero(one.region.inside)).picture


def test_a_kernel_of_two_places_moves_over_a_square_of_three():
    """Rows of the square are 0 1 2 / 3 4 5 / 6 7 8; the first kernel lies on 0, 1, 3 and 4."""
    kernel = Kernel(side=2, step=1, inputs=3, channels=1)
    assert kernel.outputs == 2
    assert kernel.places().tolist() == [[0, 1, 3, 4], [1, 2, 4, 5], [3, 4, 6, 7], [4, 5, 7, 8]]


@pytest.mark.parametrize("angle_deg", [30, 90, 140])
def test_the_long_axis_lies_from_left_to_right_however_a_spot_is_turned(angle_deg):
    dark = likeliest(barrel_on_paper(angle_deg)).mean(axis=2) < 128
    rows, cols = np.nonzero(dark)
    assert np.ptp(cols) > 1.3 * np.ptp(rows)


def test_planes_do_not_change_with_the_exposure():
    shown = likeliest(barrel_on_paper(20))[None]
    dim = np.rint(shown * 0.6).astype(np.uint8)
    assert np.abs(planes_of(dim) - planes_of(shown)).mean() < 0.1
    assert planes_of(shown)[0, PICTURE_PX // 2, PICTURE_PX // 2, 0] < -1


def crosses_and_bars(count: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    pictures = np.full((count, PICTURE_PX, PICTURE_PX, 3), 200, np.uint8)
    cross = rng.random(count) < 0.5
    for picture, also in zip(pictures, cross, strict=True):
        at = rng.integers(10, 18)
        picture[at : at + 3, 4:24] = 60
        if also:
            picture[4:24, at : at + 3] = 60
    return np.clip(pictures + rng.normal(0, 4, pictures.shape), 0, 255).astype(np.uint8), cross


def test_the_network_learns_from_pictures_what_no_measure_tells_and_the_same_again():
    pictures, cross = crosses_and_bars(320, 1)
    rows = np.random.default_rng(2).normal(size=(320, 2)).astype(np.float32)
    stored, again = (
        fit_picture(rows, pictures, cross, (8,), ("one", "two"), 5, 8) for _ in range(2)
    )
    assert stored == again
    fresh, wanted = crosses_and_bars(120, 3)
    odds = picture_net_of(stored).log_odds(np.zeros((120, 2), np.float32), fresh)
    assert np.mean((odds > 0) == wanted) > 0.95


def test_a_judge_whose_picture_networks_belong_to_other_measures_is_refused():
    layer = {"inputs": ["x"], "mean": [0], "spread": [1], "layers": []}
    with pytest.raises(ValueError, match="other measures"):
        judge_of({"glance": layer, "look": layer, "close": [layer, layer], "company": layer})
