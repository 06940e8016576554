"""Bodies parted from what they lie on by the hue of their light."""

from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
import pytest

from vision.colour import LINEAR_LIGHT
from vision.night.light import NightLight
from vision.night.measure import measure_night_photo
from vision.night.parting_by_hue import parted_by_hue
from vision.night.regions import Region
from vision.records import Photo

# Check values 8b and 8c: foliage and larva [practice], tag [memory].
FOLIAGE, LARVA, TAG = (40, 15, 60), (60, 230, 150), (170, 200, 255)


def night_of(pixels):
    light = LINEAR_LIGHT[pixels].astype(np.float32)
    plain = np.ones(pixels.shape[:2], np.float32)
    return NightLight(pixels, 1.0, light, 0.0, np.zeros(3, np.float32), plain, plain, plain)


def region_of(pixels):
    seen = pixels.max(axis=2) > 100
    rows, columns = np.flatnonzero(seen.any(axis=1)), np.flatnonzero(seen.any(axis=0))
    top, left = int(rows[0]), int(columns[0])
    return Region(top, left, seen[top : rows[-1] + 1, left : columns[-1] + 1])


def on_paper(colour):
    """Return a body of 60 x 8 pixels that lies across paper of 50 x 30."""
    pixels = np.full((60, 100, 3), FOLIAGE, np.uint8)
    pixels[15:45, 25:75] = TAG
    pixels[26:34, 20:80] = colour
    return pixels


def test_a_body_across_paper_is_the_greener_part():
    pixels = on_paper(LARVA)
    body, *paper = parted_by_hue(region_of(pixels), night_of(pixels))
    assert body.area_px == pytest.approx(60 * 8, rel=0.02)  # its corners are rounded off
    assert (body.top, body.left) == (26, 20)
    # The body parts the paper in two of 11 rows; the largest of the rest stands for it.
    assert [part.area_px for part in paper] == [pytest.approx(11 * 50, rel=0.02)]


@pytest.mark.parametrize("colour", [TAG, (100, 118, 150)], ids=["same", "shaded"])
def test_what_is_of_one_hue_is_not_parted_however_bright_it_is(colour):
    pixels = on_paper(colour)
    assert parted_by_hue(region_of(pixels), night_of(pixels)) == []


def test_a_caterpillar_that_lies_on_bright_paper_is_counted_and_the_paper_is_not():
    canvas = np.full((400, 600, 3), FOLIAGE, np.uint8)
    cv2.rectangle(canvas, (180, 90), (420, 310), TAG, -1)
    alone = canvas.copy()
    line = np.array([[240, 260], [290, 225], [345, 205], [400, 200]], np.int32)
    cv2.polylines(canvas, [line], False, LARVA, 26, cv2.LINE_AA)
    assert counted(canvas) == 1
    assert counted(alone) == 0


def counted(canvas):
    rng = np.random.default_rng(4)
    noisy = cv2.GaussianBlur(canvas, (0, 0), 0.8) + rng.normal(0, 2, canvas.shape)
    pixels = np.clip(noisy, 0, 255).astype(np.uint8)
    when = datetime(2025, 7, 1, 22, 30)
    photo = Photo(Path("a"), "a", "0" * 64, when, "file", pixels, 600, 400)
    return measure_night_photo(photo).reading.caterpillar_count
