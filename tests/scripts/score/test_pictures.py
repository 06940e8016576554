"""Masks and overlays as files: names, sizes, and the reading they belong to."""

import io
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from scripts.score.pictures import carries_key, full_size_mask, mask_png, overlay_jpg, picture_names
from vision.records import DayMeasurement, DayReading, Photo

KEY = "0123456789abcdef" * 4


def photo_of(rows, columns, reduction, height_px, width_px):
    pixels = np.zeros((rows, columns, 3), np.uint8)
    when = datetime(2024, 7, 1)
    return Photo(Path("x"), "x", "", when, "file", pixels, width_px, height_px, reduction)


def measurement_of(classes):
    return DayMeasurement(DayReading((), ("no_leaf",)), classes, classes)


def test_the_ending_goes_and_the_folders_stay():
    assert picture_names(["a/b/x.jpg", "y.HEIC", "no-ending"]) == ["a/b/x", "y", "no-ending"]


def test_the_ending_stays_where_it_alone_tells_two_photos_apart():
    names = ["a/x.jpg", "a/x.png", "b/x.jpg"]
    assert picture_names(names) == ["a/x.jpg", "a/x.png", "b/x"]


def test_a_kept_ending_never_meets_another_photos_name():
    # x.jpg and x.png keep their endings; then x.jpg.webp must keep its own, too.
    names = ["x.jpg", "x.png", "x.jpg.webp"]
    assert picture_names(names) == ["x.jpg", "x.png", "x.jpg.webp"]


NAMES = st.lists(
    st.text(alphabet="ab./", min_size=1, max_size=8).filter(
        lambda name: not set(name.split("/")) & {"", ".", ".."} and not name.endswith(".")
    ),
    unique=True,
    max_size=8,
)


@given(NAMES)
def test_no_two_photos_ever_share_a_picture(names):
    shown = picture_names(names)
    assert len(set(shown)) == len(names)
    assert all(name.startswith(picture) for name, picture in zip(names, shown, strict=True))


def test_a_reduced_mask_grows_to_the_photos_full_size():
    # Two by two pixels stand for 3 rows and 4 columns at half scale; the last row is cut.
    classes = np.array([[0, 1], [2, 3]], np.uint8)
    full = full_size_mask(classes, photo_of(2, 2, 2, height_px=3, width_px=4))
    assert full.tolist() == [[0, 0, 1, 1], [0, 0, 1, 1], [2, 2, 3, 3]]


@pytest.mark.parametrize("reduction", [1, 2, 4, 8])
def test_the_mask_file_holds_exactly_the_values_at_full_size(reduction):
    classes = np.random.default_rng(reduction).integers(0, 4, (30, 41)).astype(np.uint8)
    classes.setflags(write=False)
    height_px, width_px = 30 * reduction - (reduction > 1), 41 * reduction - (reduction > 1)
    photo = photo_of(30, 41, reduction, height_px, width_px)
    with Image.open(io.BytesIO(mask_png(photo, measurement_of(classes), KEY))) as picture:
        assert picture.mode == "L"
        read = np.asarray(picture)
    grown = classes.repeat(reduction, 0).repeat(reduction, 1)[:height_px, :width_px]
    assert np.array_equal(read, grown)


@pytest.mark.parametrize("make", [mask_png, overlay_jpg])
def test_a_picture_says_which_reading_it_was_made_from(tmp_path, make):
    photo, measurement = photo_of(20, 30, 1, 20, 30), measurement_of(np.zeros((20, 30), np.uint8))
    data = make(photo, measurement, KEY)
    with Image.open(io.BytesIO(data)) as picture:
        picture.verify()  # the chunks' checksums
    with Image.open(io.BytesIO(data)) as picture:
        picture.load()
        comment = picture.info.get("Comment") or picture.info["comment"].decode()
    assert comment == f"spotlamp reading {KEY}"
    (tmp_path / "picture").write_bytes(data)
    assert carries_key(tmp_path / "picture", KEY)
    assert not carries_key(tmp_path / "picture", KEY[::-1])


def test_a_picture_that_is_not_there_or_not_ours_carries_no_key(tmp_path):
    assert not carries_key(tmp_path / "nothing", KEY)
    (tmp_path / "other").write_bytes(b"\xff\xd8 something else")
    assert not carries_key(tmp_path / "other", KEY)
    assert not carries_key(tmp_path, KEY)
