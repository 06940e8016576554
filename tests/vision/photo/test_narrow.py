"""Pictures too small or too narrow for anything to be measured on go through all the same."""

import warnings
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.testing import assert_array_equal

from scripts.score.pictures import mask_png, overlay_jpg
from vision.day.leaf import _without_vanished
from vision.day.measure import measure_day_photo
from vision.drawing import write_edged
from vision.night.measure import measure_night_photo
from vision.night.uv import is_uv_photo
from vision.raster import thinned
from vision.records import Photo

SIZES = [(1, 1), (2, 2), (5, 5), (16, 16), (1, 300), (300, 1), (3, 4000), (4000, 5), (2, 20_000),
         (16, 6000), (6000, 17), (20, 20_000), (33, 2600)]  # fmt: skip


def striped(rows, columns):
    """Return green leaf, brown spots and grey ground, as far as there is room."""
    picture = np.full((rows, columns, 3), (200, 200, 205), np.uint8)
    cv2.ellipse(
        picture, (columns // 2, rows // 2), (max(1, columns // 3), max(1, rows // 3)),
        0, 0, 360, (60, 130, 50), -1,
    )  # fmt: skip
    radius = max(1, min(rows, columns) // 9)
    cv2.circle(picture, (columns // 2, rows // 2), radius, (90, 55, 30), -1)
    return picture


def glowing(rows, columns):
    """Return violet torch light with one green streak."""
    picture = np.full((rows, columns, 3), (60, 10, 120), np.uint8)
    picture[:, columns // 3 : columns // 2 + 1] = (90, 230, 110)
    return picture


def photo_of(pixels):
    rows, columns = pixels.shape[:2]
    when = datetime(2025, 7, 1)
    return Photo(Path("a.jpg"), "a.jpg", "0" * 64, when, "file", pixels, columns, rows)


@pytest.mark.parametrize("paint", [striped, glowing])
@pytest.mark.parametrize("size", SIZES, ids=str)
def test_a_narrow_picture_is_measured_and_drawn_or_flagged_but_never_an_error(size, paint):
    photo = photo_of(paint(*size))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        is_uv_photo(photo.pixels)
        for measurement in (measure_day_photo(photo), measure_night_photo(photo, None)):
            assert mask_png(photo, measurement, "key")
            assert overlay_jpg(photo, measurement, "key")


def test_pieces_that_vanish_at_the_photos_size_lose_their_number():
    numbers = np.array([[1, 1, 0, 3]], np.uint8)
    found = np.array([[1, 2, 3]], np.uint8)
    left, pieces = _without_vanished(numbers, found)
    assert_array_equal(left, [[1, 1, 0, 2]])
    assert_array_equal(pieces, [[1, 0, 2]])


@pytest.mark.parametrize("shape", [(1, 90), (90, 1), (1, 1), (2, 3)])
def test_thinning_leaves_at_least_a_pixel(shape):
    assert min(thinned(np.ones(shape, np.float32), 0.25).shape) == 1


@pytest.mark.parametrize("shape", [(1, 1), (1, 400), (400, 1), (30, 30)])
@pytest.mark.parametrize("at", [(10, 34), (-90, -90), (500, 500)])
def test_letters_without_room_are_left_out_and_change_no_other_pixel(shape, at):
    view = np.full((*shape, 3), 120, np.uint8)
    write_edged(view, "leaf 1", at, 0.8)
    if at != (10, 34):
        assert (view == 120).all()
