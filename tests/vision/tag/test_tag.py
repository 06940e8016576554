"""Stake tags: never a wrong identity, a true scale, and a flag where one is refused."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scripts.workshop.figures.tags import CONDITIONS, as_photo, try_tags
from scripts.workshop.rendered import PaintedTag, Scene, render
from scripts.workshop.rendered.leaves.stake_tag import paint_card, to_photo
from vision.flags import FLAGS
from vision.records import DayReading
from vision.tag.card import CELL_MM, CELLS, SIDE_MM, TAG_NUMBERS, marker_cells
from vision.tag.find import LEAST_SIDE_PX, find_tag
from vision.tag.scale import leaf_scale, mm_per_px

BOARD = 0.3  # reflectance of what the cards lie on


def lay(*tags: PaintedTag, side: int = 360, light=1.0, blur: float = 0.6):
    """Return a photo of tags on a grey board, and its truth: homographies from mm to pixels.

    Painted without leaves, lens and sensor, which are slow; 8-bit sRGB as a phone would write it.
    """
    canvas = np.full((side, side, 3), BOARD, np.float32)
    truths = []
    for tag in tags:
        across, down = tag.place or (0.5, 0.5)
        mm_to_px = to_photo(tag, tag.span_px or 100, (across * side, down * side))
        seen, cover = paint_card(np.random.default_rng(1), tag, mm_to_px, (side, side))
        canvas += cover[..., None] * (seen - canvas)
        truths.append(mm_to_px)
    canvas = cv2.GaussianBlur(canvas * np.asarray(light, np.float32), (0, 0), blur)
    canvas = np.clip(canvas, 0, 1)
    low, high = 12.92 * canvas, 1.055 * canvas ** (1 / 2.4) - 0.055
    pixels = np.rint(255 * np.where(canvas <= 0.0031308, low, high)).astype(np.uint8)
    pixels.setflags(write=False)
    painted = replace(render(Scene(width_px=32, height_px=32, leaves=0), 1), pixels=pixels)
    return as_photo(painted), truths


def true_scale(mm_to_px, row_px, col_px) -> float:
    """Return mm per px at a place, from the areas of a small square there and on the card."""
    square = np.array([[[col_px, row_px], [col_px + 1, row_px], [col_px, row_px + 1]]])
    o, a, b = cv2.perspectiveTransform(square.astype(np.float64), np.linalg.inv(mm_to_px))[0]
    return float(np.sqrt(abs(np.linalg.det([a - o, b - o]))))


@pytest.mark.parametrize("number", [1, 2, 100, 255, 400, 586])
def test_a_tag_is_read_as_itself_however_it_is_turned(number):
    for turn in (0, 37, 90, 180, 270, 301):
        photo, _ = lay(PaintedTag(number, turn_deg=turn))
        assert find_tag(photo).number == number


@settings(max_examples=30, deadline=None)
@given(
    number=st.integers(1, 586),
    span=st.floats(12, 220),
    turn=st.floats(0, 360),
    tilt=st.floats(0, 80),
    towards=st.floats(0, 360),
    light=st.floats(0.03, 1.2),
    warmth=st.floats(-0.5, 0.5),
    torn=st.sampled_from([0, 0, 0.2, 0.4, 0.8]),
    shaded=st.sampled_from([0, 0, 0.5]),
    blur=st.floats(0.4, 4),
)
def test_no_tag_is_ever_read_as_another_and_a_read_scale_is_true(
    number, span, turn, tilt, towards, light, warmth, torn, shaded, blur
):
    tag = PaintedTag(
        number, span_px=span, turn_deg=turn, tilt_deg=tilt, tilt_towards_deg=towards,
        torn=torn, shaded=shaded,
    )  # fmt: skip
    photo, (truth,) = lay(tag, light=light * np.exp([warmth, 0, -warmth]), blur=blur)
    reading = find_tag(photo)
    if reading is None or reading.number is None:
        assert reading is None or reading.flags
        return
    assert reading.number == number
    if reading.side_px >= 80 and not torn:
        row, col = np.mean(reading.corners_px, axis=0)
        assert mm_per_px(reading, row, col) == pytest.approx(true_scale(truth, row, col), rel=0.02)


@pytest.mark.parametrize("tilt", [0, 20, 35])
@pytest.mark.parametrize("span", [40, 80, 160])
def test_a_whole_tag_is_read_and_its_scale_is_within_two_percent_three_sides_away(span, tilt):
    for towards in (0, 130, 250):
        tag = PaintedTag(77, span_px=span, turn_deg=25, tilt_deg=tilt, tilt_towards_deg=towards)
        photo, (truth,) = lay(tag)
        reading = find_tag(photo)
        assert reading.number == 77
        assert reading.tilt_deg == pytest.approx(tilt, abs=5)
        allowed = 0.02 if span >= 80 else 0.05
        for away in (0, 3 * span):
            here = true_scale(truth, 180 + away, 180)
            assert mm_per_px(reading, 180 + away, 180) == pytest.approx(here, rel=allowed)


def test_half_the_span_is_twice_the_millimetres():
    large, small = (find_tag(lay(PaintedTag(9, span_px=s))[0]) for s in (160, 80))
    assert mm_per_px(small) == pytest.approx(2 * mm_per_px(large), rel=0.01)


def test_the_scale_is_that_of_the_printed_square():
    photo, _ = lay(PaintedTag(9, span_px=128))
    assert mm_per_px(find_tag(photo)) == pytest.approx(SIDE_MM / 128, rel=0.005)


def test_a_photo_decoded_at_half_its_size_gives_full_size_pixels():
    photo, _ = lay(PaintedTag(9, span_px=100))
    half = replace(photo, reduction=2, width_px=720, height_px=720)
    assert mm_per_px(find_tag(half)) == pytest.approx(mm_per_px(find_tag(photo)) / 2, rel=1e-6)
    assert find_tag(half).side_px == pytest.approx(2 * find_tag(photo).side_px)


@pytest.mark.parametrize(
    ("tag", "flag"),
    [
        (PaintedTag(5, tilt_deg=58, span_px=150), "tag_tilted"),
        (PaintedTag(5, span_px=0.8 * LEAST_SIDE_PX), "tag_small"),
        (PaintedTag(5, torn=0.27, span_px=120), "tag_unclear"),
        (PaintedTag(5, dirt=0.12, span_px=150), "tag_unclear"),
    ],
)
def test_a_doubtful_tag_is_refused_with_a_flag(tag, flag):
    reading = find_tag(lay(tag)[0])
    assert reading.number is None
    assert reading.flags == (flag,)
    assert FLAGS[flag].measurable
    assert leaf_scale(reading, None) is None


@pytest.mark.parametrize("torn", [0.35, 0.5])
def test_most_tags_torn_through_the_marker_are_noticed_and_none_is_read(torn):
    noticed = 0
    for number in range(1, 240, 20):
        photo, _ = lay(PaintedTag(number, torn=torn, span_px=150, turn_deg=37.0 * number))
        reading = find_tag(photo)
        if reading is not None:
            assert (reading.number, reading.flags) == (None, ("tag_unclear",))
            assert np.abs(np.mean(reading.corners_px, axis=0) - 180).max() < 75
            noticed += 1
    assert noticed >= 10


def test_a_blurred_tag_is_refused_or_not_seen():
    for blur in (5, 8, 12):
        reading = find_tag(lay(PaintedTag(5, span_px=80), blur=blur)[0])
        assert reading is None or reading.number is None


@pytest.mark.parametrize("second", [5, 6])
def test_two_tags_are_refused_whether_of_one_plant_or_of_two(second):
    first = PaintedTag(5, place=(0.25, 0.4), span_px=90)
    photo, _ = lay(first, PaintedTag(second, place=(0.75, 0.4), span_px=70))
    reading = find_tag(photo)
    assert (reading.number, reading.flags) == (None, ("tag_doubled",))


def test_a_torn_second_tag_is_doubt_enough():
    first = PaintedTag(5, place=(0.25, 0.4), span_px=90)
    photo, _ = lay(first, PaintedTag(6, place=(0.75, 0.4), span_px=90, torn=0.25))
    assert find_tag(photo).flags == ("tag_doubled",)


def test_a_single_wrong_cell_is_not_corrected():
    """One cell off is nearer to its own number than to any other; it is refused all the same."""
    photo, (mm_to_px,) = lay(PaintedTag(31, span_px=120))
    for row, col in ((2, 3), (5, 5), (1, 6)):
        cell = np.array([[c, r] for r, c in ((row, col), (row, col + 1),
                                             (row + 1, col + 1), (row + 1, col))])  # fmt: skip
        px = cv2.perspectiveTransform(cell[None] * CELL_MM, mm_to_px)[0]
        pixels = photo.pixels.copy()
        level = 40 if marker_cells(31)[row, col] else 235
        cv2.fillConvexPoly(pixels, np.round(px).astype(np.int32), (level,) * 3)
        reading = find_tag(replace(photo, pixels=pixels))
        assert (reading.number, reading.flags) == (None, ("tag_unclear",))


def test_a_mirrored_tag_is_no_tag():
    for number in (3, 77, 500):
        photo, _ = lay(PaintedTag(number, span_px=120))
        mirrored = replace(photo, pixels=np.ascontiguousarray(photo.pixels[:, ::-1]))
        assert find_tag(mirrored).number is None


def test_any_two_tags_differ_in_eleven_cells_however_they_are_turned():
    """AprilTag 36h11: Hamming distance 11 [memory: Olson 2011]; checked here on all of them."""
    cells = np.array([marker_cells(n)[1:-1, 1:-1] for n in TAG_NUMBERS])
    flat = cells.reshape(len(cells), -1).astype(np.float32)
    for turns in range(4):
        turned = np.rot90(cells, turns, axes=(1, 2)).reshape(len(cells), -1).astype(np.float32)
        differing = flat.sum(1)[:, None] + turned.sum(1)[None] - 2 * flat @ turned.T
        if turns == 0:
            np.fill_diagonal(differing, CELLS**2)
        assert differing.min() >= 11


def test_there_is_no_tag_below_one_or_above_586():
    for number in (0, 587, -1):
        with pytest.raises(ValueError, match="numbered from 1 to 586"):
            marker_cells(number)


@pytest.mark.parametrize("condition", CONDITIONS)
def test_in_painted_photos_no_tag_is_read_as_another(condition):
    trials = list(try_tags(condition, 1, 3, width_px=420, height_px=320))
    assert not any(trial.wrong for trial in trials)


@pytest.mark.parametrize("background", ["paper", "soil", "straw", "foliage_near", "bench"])
def test_a_photo_without_tag_has_none(background):
    painted = render(Scene(width_px=900, height_px=600, background=background), 4)
    assert find_tag(as_photo(painted)) is None


def test_photos_too_small_for_a_tag_have_none():
    for rows, columns in ((32, 32), (1, 200), (40, 900)):
        pixels = np.full((rows, columns, 3), 128, np.uint8)
        painted = replace(render(Scene(width_px=32, height_px=32, leaves=0), 1), pixels=pixels)
        assert find_tag(as_photo(painted)) is None


def test_looking_for_a_tag_does_not_change_the_photo():
    photo, _ = lay(PaintedTag(5))
    before = photo.pixels.copy()
    find_tag(photo)
    assert np.array_equal(before, photo.pixels)


def test_far_from_a_tilted_tag_there_is_no_scale():
    photo, _ = lay(PaintedTag(5, span_px=60, tilt_deg=43, tilt_towards_deg=90, distance_mm=250))
    reading = find_tag(photo)
    painted = render(Scene(width_px=128, height_px=128), 1)
    from vision.day.measure import measure_day_photo

    leaf = measure_day_photo(as_photo(painted)).reading.leaves[0]
    near, far = (DayReading((replace(leaf, row_px=row, col_px=180.0),)) for row in (200.0, 900.0))
    assert leaf_scale(reading, near) == pytest.approx(mm_per_px(reading, 200, 180))
    assert leaf_scale(reading, far) is None
