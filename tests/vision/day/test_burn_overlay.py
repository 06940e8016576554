"""The picture of a burn check shows the patches, and hides none under its own line."""

import cv2
import numpy as np
import pytest

from vision.day.burn import BLEACHED, GLARE, UNSURE, BurnReading
from vision.day.burn_overlay import draw_burn_check


@pytest.mark.parametrize("side", [300, 800, 1600])
@pytest.mark.parametrize("kind", [BLEACHED, UNSURE, GLARE])
@pytest.mark.parametrize("radius", [2, 9])
def test_each_patch_keeps_its_own_pixels_and_has_a_line_round_it(side, kind, radius):
    pixels = np.full((side, side, 3), 60, np.uint8)
    mask = np.zeros((side, side), np.uint8)
    cv2.circle(mask, (side // 2, side // 2), radius, kind, -1)
    pixels[mask > 0] = (240, 235, 200)
    reading = BurnReading(1.0, 1.0, 0.0, 0.0, 1, mask, (), 0.0, 0.0)
    plain = BurnReading(1.0, 0.0, 0.0, 0.0, 0, np.zeros_like(mask), (), 0.0, 0.0)
    drawn, bare = (draw_burn_check([("", pixels, one)], ())[:800] for one in (reading, plain))
    scale = min(800, bare.shape[1]) / side
    pale = (bare >= (200, 195, 160)).all(axis=-1)
    if scale > 1:  # what is blurred beyond the patch by enlarging is not the patch
        shape = (bare.shape[1], round(side * scale))
        patch = cv2.resize(mask, shape, interpolation=cv2.INTER_NEAREST)[:800]
        pale[: len(patch)] &= patch > 0
    assert pale.sum() >= max(1, scale**2)
    assert np.array_equal(drawn[pale], bare[pale])
    assert (drawn != bare).any(axis=-1).sum() > 10
