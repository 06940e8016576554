"""The overlay shows what was counted, and never changes it."""

from datetime import datetime
from itertools import combinations
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vision.day.overlay import draw_overlay
from vision.drawing import (
    BLUE,
    ORANGE,
    PAPER,
    PURPLE,
    VERMILLION,
    brightened,
    free_place,
    text_size,
    viewing_scale,
)
from vision.records import (
    HALO,
    LEAF,
    LESION,
    DayMeasurement,
    DayReading,
    Dropping,
    LeafReading,
    Photo,
)


def photo_of(pixels, name="bed/x.jpg", flags=()):
    pixels.setflags(write=False)
    rows, columns = pixels.shape[:2]
    return Photo(
        Path(name), name, "", datetime(2024, 7, 1), "file", pixels, columns, rows, 1, flags
    )


def sick_leaf(rows=600, columns=900, lesions=((300, 450),), halo=True):
    """Draw a grey photo with one leaf and round lesions, with its measurement."""
    pixels = np.full((rows, columns, 3), 128, np.uint8)
    classes = np.zeros((rows, columns), np.uint8)
    centre = (columns // 2, rows // 2)
    cv2.ellipse(classes, centre, (columns // 3, rows // 3), 0, 0, 360, LEAF, -1)
    numbers = (classes > 0).astype(np.uint8)
    for row, col in lesions:
        if halo:
            cv2.circle(classes, (col, row), rows // 12, HALO, -1)
        cv2.circle(classes, (col, row), rows // 25, LESION, -1)
    leaf = LeafReading(
        1, rows / 2, columns / 2, float(numbers.sum()), (), 5.0, 3.0, 8.0, 6.0, 10.0, (50, -20, 30)
    )
    reading = DayReading((leaf,), (), leaf.area_px, 5.0, 3.0, 8.0, 6.0, 10.0)
    for array in (classes, numbers):
        array.setflags(write=False)
    return photo_of(pixels), DayMeasurement(reading, classes, numbers)


def count(picture, colour, tolerance=12):
    distance = np.abs(picture.astype(int) - np.array(colour)).max(axis=-1)
    return int((distance <= tolerance).sum())


def nothing_found(rows=600, columns=900):
    pixels = np.full((rows, columns, 3), 200, np.uint8)
    empty = np.zeros((rows, columns), np.uint8)
    return photo_of(pixels), DayMeasurement(DayReading((), ("no_leaf",)), empty, empty)


def above_strip(picture):
    """Cut the strip off: it begins where the first column turns to the colour of paper."""
    paper = (picture[:, -1] == np.array(PAPER)).all(axis=-1)
    return picture[: int(np.argmax(paper))]


def test_each_kind_of_tissue_has_its_line_on_the_picture():
    picture = above_strip(draw_overlay(*sick_leaf()))
    assert count(picture, BLUE) > 500
    assert count(picture, ORANGE) > 50
    assert count(picture, VERMILLION) > 100


def test_a_leaf_without_symptoms_has_its_outline_alone():
    picture = above_strip(draw_overlay(*sick_leaf(lesions=())))
    assert count(picture, BLUE) > 500
    assert count(picture, ORANGE) == 0
    assert count(picture, VERMILLION) == 0


def test_a_lesion_without_a_halo_has_no_dots():
    picture = above_strip(draw_overlay(*sick_leaf(halo=False)))
    assert count(picture, VERMILLION) > 100
    assert count(picture, ORANGE) == 0


def test_more_lesions_draw_more_lines():
    one = count(draw_overlay(*sick_leaf()), VERMILLION)
    three = count(
        draw_overlay(*sick_leaf(lesions=((300, 300), (300, 450), (300, 600)))), VERMILLION
    )
    strip = count(draw_overlay(*sick_leaf(lesions=())), VERMILLION)
    assert three - strip == pytest.approx(3 * (one - strip), rel=0.1)


def test_the_lines_lie_where_the_lesion_is():
    picture = above_strip(draw_overlay(*sick_leaf(lesions=((250, 500),), halo=False)))
    distance = np.abs(picture.astype(int) - np.array(VERMILLION)).max(axis=-1)
    rows, columns = np.nonzero(distance <= 12)
    assert rows.mean() == pytest.approx(250, abs=2)
    assert columns.mean() == pytest.approx(500, abs=2)
    # The lesion is a disc of radius 24; its line runs just outside.
    radius = np.hypot(rows - 250, columns - 500)
    assert 24 < radius.min() < radius.max() < 30


def test_lines_follow_when_a_large_photo_is_shown_smaller():
    photo, measurement = sick_leaf(1500, 3200, lesions=((600, 1400),), halo=False)
    picture = above_strip(draw_overlay(photo, measurement))
    distance = np.abs(picture.astype(int) - np.array(VERMILLION)).max(axis=-1)
    rows, columns = np.nonzero(distance <= 12)
    assert rows.mean() == pytest.approx(300, abs=3)
    assert columns.mean() == pytest.approx(700, abs=3)


@pytest.mark.parametrize(
    ("rows", "columns"),
    [
        (600, 900),
        (900, 600),
        (3000, 4000),
        (4000, 3000),
        (256, 256),
        (40, 3000),
        (3000, 40),
        (1, 1),
    ],
)
def test_no_side_is_above_1600_pixels_and_small_photos_are_enlarged(rows, columns):
    for photo, measurement in (sick_leaf(rows, columns, ()), nothing_found(rows, columns)):
        picture = draw_overlay(photo, measurement)
        assert picture.dtype == np.uint8
        assert picture.ndim == 3
        assert max(picture.shape[:2]) <= 1600
        assert max(picture.shape[:2]) >= 700


def test_many_flags_and_a_long_name_stay_inside_the_limit():
    photo, measurement = nothing_found(3000, 1000)
    names = ("blurred", "too_dark", "small", "bad_date", "busy_background", "many_small_leaves")
    long = photo_of(np.array(photo.pixels), "bed/" + "x" * 400 + " y" * 200 + ".jpg", names)
    assert max(draw_overlay(long, measurement).shape[:2]) <= 1600


def test_a_photo_in_which_nothing_was_measured_says_so_on_a_grey_band():
    photo, measurement = nothing_found()
    picture = draw_overlay(photo, measurement)
    band, below = picture[:20], above_strip(picture)[200:]
    assert band.mean() < 150
    assert (below == 200).all()


def test_the_strip_names_flags_so_that_it_is_taller_with_them():
    photo, measurement = sick_leaf()
    plain = draw_overlay(photo, measurement)
    flagged = photo_of(np.array(photo.pixels), flags=("blurred",))
    assert draw_overlay(flagged, measurement).shape[0] > plain.shape[0]


def test_the_label_can_be_read_on_dark_and_on_light_ground():
    for level in (10, 245):
        photo, measurement = sick_leaf(lesions=())
        even = photo_of(np.full(photo.pixels.shape, level, np.uint8))
        picture = above_strip(draw_overlay(even, measurement))
        label = picture[60:105, 330:570].astype(int).sum(axis=-1)
        assert (label < 60).sum() > 100
        assert (label > 700).sum() > 100


def test_photo_and_measurement_are_left_as_they_were():
    photo, measurement = sick_leaf()
    before = [photo.pixels.copy(), measurement.classes.copy(), measurement.leaf_numbers.copy()]
    draw_overlay(photo, measurement)
    after = [photo.pixels, measurement.classes, measurement.leaf_numbers]
    assert all(np.array_equal(old, new) for old, new in zip(before, after, strict=True))


@pytest.mark.parametrize("name", ["葉 лист.jpg", "a\nb\x1b.jpg", "%s {x}.jpg", ""])
def test_odd_names_are_no_reason_to_fail(name):
    photo, measurement = sick_leaf()
    assert draw_overlay(photo_of(np.array(photo.pixels), name), measurement).size


def test_each_leafs_pattern_stands_beside_its_severity_with_a_note_that_it_is_no_diagnosis():
    photo, measurement = sick_leaf()
    plain = draw_overlay(photo, measurement)
    named = draw_overlay(photo, measurement, ["late-blight-like"])
    assert named.shape[0] > plain.shape[0]  # the note is one line more
    one, two = above_strip(plain), above_strip(named)
    wide = [np.ptp(np.nonzero((p == 255).all(axis=-1).any(axis=0))[0]) for p in (one, two)]
    assert np.any(one != two)
    assert wide[1] >= wide[0]


def test_a_pattern_that_has_no_room_is_left_out_before_the_severity():
    photo, measurement = sick_leaf(rows=900, columns=200, lesions=((450, 100),))
    plain = above_strip(draw_overlay(photo, measurement))
    named = above_strip(draw_overlay(photo, measurement, ["early-blight-like"]))
    assert np.array_equal(plain, named)


@pytest.mark.parametrize("side", [120, 256, 900, 2400])
@pytest.mark.parametrize("radius", [1, 2, 6])
def test_no_line_hides_the_lesion_that_it_is_round(side, radius):
    """Each pixel well inside keeps its own look: what it was, with a light tint."""
    photo, measurement = sick_leaf(side, side, lesions=())
    pixels, classes = np.array(photo.pixels), np.array(measurement.classes)
    spot = np.zeros((side, side), np.uint8)
    cv2.circle(spot, (side // 2, side // 3), radius, 1, -1)
    classes[spot > 0] = LESION
    pixels[spot > 0] = np.random.default_rng(1).integers(20, 90, (int(spot.sum()), 3))
    photo = photo_of(pixels)
    drawn = draw_overlay(
        photo, DayMeasurement(measurement.reading, classes, measurement.leaf_numbers)
    )
    scale = viewing_scale(pixels)
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    own = cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=how)
    whole = cv2.INTER_AREA if scale < 1 else cv2.INTER_NEAREST
    inside = cv2.resize(255 * spot, (own.shape[1], own.shape[0]), interpolation=whole) > 130
    assert inside.sum() >= max(1, np.floor(scale) ** 2)
    tinted = own[inside] + 0.22 * (np.array(VERMILLION) - own[inside])
    assert np.abs(drawn[: len(own)][inside] - tinted).max() <= 1


def test_the_tint_says_which_side_of_a_line_is_sick():
    photo, measurement = sick_leaf(lesions=())
    classes = np.array(measurement.classes)
    cv2.circle(classes, (450, 300), 90, LESION, -1)
    cv2.circle(classes, (450, 300), 45, LEAF, -1)  # a healthy island
    drawn = draw_overlay(
        photo, DayMeasurement(measurement.reading, classes, measurement.leaf_numbers)
    )
    island, ring, outside = (drawn[300, column].astype(int) for column in (450, 520, 600))
    assert (island == outside).all()
    towards = np.array(VERMILLION) - outside
    assert (ring - outside) / towards == pytest.approx([0.22] * 3, abs=0.03)


def test_a_droppings_sign_stands_in_the_legend_in_the_colour_that_it_has_in_the_picture():
    photo, measurement = sick_leaf()
    dropping = Dropping(300.0, 200.0, 20.0, 12.0, 200.0, 30.0, 0.9)
    reading = measurement.reading
    found = DayReading(reading.leaves, (), 1.0, 5.0, 3.0, 8.0, 6.0, 10.0, (dropping,), 1, 0, 2)
    with_it = draw_overlay(
        photo, DayMeasurement(found, measurement.classes, measurement.leaf_numbers)
    )
    without = draw_overlay(photo, measurement)
    strip = [drawn[len(above_strip(drawn)) :] for drawn in (with_it, without)]
    assert count(above_strip(without), PURPLE) == 0
    assert count(above_strip(with_it), PURPLE) > 50
    assert count(strip[0], PURPLE) == count(strip[1], PURPLE) > 30


def test_leaves_that_lie_close_have_labels_that_do_not_overlap(monkeypatch):
    places = []
    monkeypatch.setattr(
        "vision.day.overlay.write_edged",
        lambda view, text, at, size: places.append((text, at, size)),
    )
    numbers = np.zeros((400, 600), np.uint8)
    leaves = []
    for n in range(12):
        numbers[20 + 90 * (n // 4) : 100 + 90 * (n // 4), 140 * (n % 4) : 138 + 140 * (n % 4)] = (
            n + 1
        )
        leaves.append(LeafReading(n + 1, 0, 0, 9.0, (), 5.0, 3.0, 8.0, 6.0, 10.0, (50, -20, 30)))
    reading = DayReading(tuple(leaves), (), 1.0, 5.0, 3.0, 8.0, 6.0, 10.0)
    classes = (numbers > 0).astype(np.uint8) * LEAF
    photo = photo_of(np.full((400, 600, 3), 90, np.uint8))
    draw_overlay(photo, DayMeasurement(reading, classes, numbers), ["spot-like"] * 12)
    assert len(places) == 12
    boxes = []
    for text, (col, row), size in places:
        columns, rows = text_size(text, size, thickness=2)
        boxes.append((col, row - rows + rows // 4, col + columns, row + rows // 4))
    assert not any(overlap(*pair) for pair in combinations(boxes, 2))


def overlap(one, other):
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


@given(st.lists(st.tuples(*[st.integers(0, 380)] * 2, *[st.integers(1, 60)] * 2), max_size=40))
def test_words_find_places_inside_the_view_and_clear_of_each_other(things):
    hides = np.zeros((300, 400), np.uint8)
    taken = []
    for left, top, width, height in things:
        place = free_place((70, 14), (left, top, left + width, top + height), taken, hides)
        if place:
            assert 0 <= place[0] < place[2] <= 400
            assert 0 <= place[1] < place[3] <= 300
            assert not any(overlap(place, other) for other in taken)
            taken.append(place)
    assert len(taken) >= min(1, len(things))


def test_words_stand_where_they_hide_nothing_if_there_is_such_a_place():
    hides = np.zeros((300, 400), np.uint8)
    about = (150, 120, 250, 180)
    usual = free_place((70, 14), about, (), hides)
    hides[usual[1] : usual[3], usual[0] : usual[2]] = 1
    other = free_place((70, 14), about, (), hides)
    assert not hides[other[1] : other[3], other[0] : other[2]].any()


def test_a_dark_photo_is_shown_brighter_and_says_so():
    photo, measurement = sick_leaf(lesions=())
    level = 20
    dark = photo_of(np.full(photo.pixels.shape, level, np.uint8))
    drawn, usual = draw_overlay(dark, measurement), draw_overlay(photo, measurement)
    assert drawn[30, 30].min() > 2 * level
    assert (usual[30, 30] == photo.pixels[0, 0]).all()
    assert drawn.shape[0] > usual.shape[0]  # one line more


@given(st.integers(0, 200), st.integers(1, 55))
def test_brightening_keeps_the_order_of_light(low, more):
    view = np.full((8, 8, 3), low // 8, np.uint8)
    view[0, 0], view[0, 1] = low, low + more
    shown, _ = brightened(view)
    assert shown[0, 0, 0] <= shown[0, 1, 0]
    assert (shown >= view).all()
