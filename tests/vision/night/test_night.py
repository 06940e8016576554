"""Caterpillars on UV night photos: what is counted, what is not, and what changes nothing."""

from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
import pytest

from scripts.workshop.rendered import draw_scene, render
from vision.colour import LINEAR_LIGHT
from vision.counting import count_interval
from vision.night.measure import measure_night_photo
from vision.night.rejected import REASONS
from vision.night.uv import is_uv_photo, why_not_uv
from vision.records import CATERPILLAR, Photo

# Colours of check values 8b and 8c: foliage and larva [practice], tag and glare [memory].
FOLIAGE, LARVA, TAG, GLARE, EGG = (40, 15, 60), (60, 230, 150), (170, 200, 255), (120, 30, 255), (
    150, 210, 140,
)  # fmt: skip


def photo_of(pixels):
    rows, columns = pixels.shape[:2]
    when = datetime(2025, 7, 1, 22, 30)
    return Photo(Path("a"), "a", "0" * 64, when, "file", pixels, columns, rows)


def read(pixels, torch_off=None):
    off = None if torch_off is None else photo_of(torch_off)
    return measure_night_photo(photo_of(pixels), off).reading


def count(pixels):
    return read(pixels).caterpillar_count


def bent(canvas, middle, angle_deg, colour=LARVA, length=50, width=9, bend=0.6):
    """Draw a blunt body of a length and a width along an arc."""
    turn = np.linspace(-bend / 2, bend / 2, 30)
    steps = np.stack([np.cos(turn), np.sin(turn)], axis=1) * (length - width) / 29
    line = np.cumsum(steps, axis=0)
    line -= line[15]
    cos, sin = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    line = line @ np.array([[cos, sin], [-sin, cos]]) + middle
    points = [np.round(line * 16).astype(np.int32)]
    cv2.polylines(canvas, points, False, colour, width, cv2.LINE_AA, 4)
    return canvas


def field(rows=400, columns=600, seed=3):
    """Return foliage with blots of leaves and sensor noise."""
    rng = np.random.default_rng(seed)
    canvas = np.full((rows, columns, 3), FOLIAGE, np.uint8)
    for _ in range(25):
        at = (int(rng.integers(columns)), int(rng.integers(rows)))
        shade = rng.uniform(0.5, 1.5)
        tint = tuple(int(v * shade) for v in FOLIAGE)
        cv2.ellipse(canvas, at, (60, 25), float(rng.uniform(0, 180)), 0, 360, tint, -1)
    noisy = canvas + rng.normal(0, 2, canvas.shape)
    return np.clip(noisy, 0, 255).astype(np.uint8)


def soft(canvas):
    return cv2.GaussianBlur(canvas, (0, 0), 0.8)


def with_three():
    canvas = field()
    for middle, angle in (((120, 100), 20), ((300, 260), 100), ((470, 120), 160)):
        bent(canvas, middle, angle)
    return soft(canvas)


def test_three_green_blobs_on_dark_purple_are_three():
    # Check value 8b: (40,15,60), three of (60,230,150), 50 x 9 mm at 1 px/mm [practice].
    canvas = np.full((300, 400, 3), FOLIAGE, np.uint8)
    for middle, angle in (((80, 60), 0), ((200, 200), 90), ((320, 100), 45)):
        bent(canvas, middle, angle, bend=0.0)
    assert count(canvas) == 3
    assert count(with_three()) == 3


def test_length_width_and_contrast_are_those_that_were_drawn():
    one = read(soft(bent(field(), (300, 200), 30, length=90, width=15))).caterpillars[0]
    assert one.length_px == pytest.approx(90, rel=0.1)
    assert one.width_px == pytest.approx(15, rel=0.2)
    assert (one.row_px, one.col_px) == (pytest.approx(200, abs=4), pytest.approx(300, abs=4))
    # Linear green 0.791 against 0.0048 x (0.0452 + 0.3050) / (0.0212 + 0.0452): far above 10.
    assert one.glow_contrast > 10
    assert one.hue_difference_deg > 90


def test_a_blue_white_tag_and_violet_glare_are_none():
    # Check value 8c: (170,200,255) and violet glare [memory].
    canvas = field()
    corners = cv2.boxPoints(((200.0, 200.0), (110.0, 40.0), 25.0)).astype(np.int32)
    cv2.fillPoly(canvas, [corners], TAG)
    cv2.ellipse(canvas, (430, 150), (40, 12), 20, 0, 360, GLARE, -1)
    reading = read(soft(canvas))
    assert reading.caterpillar_count == 0
    assert "too_blue" in {glow.reason for glow in reading.rejected}


def test_a_body_in_a_brighteners_blue_white_is_none():
    assert count(soft(bent(field(), (300, 200), 30, colour=TAG, length=80, width=14))) == 0


def test_eggs_are_none():
    # Check value 8d: eggs alone -> 0 [read, analogue]; the note is tested with the summary.
    canvas = field()
    for at in ((100, 100), (300, 150), (450, 300), (200, 320)):
        cv2.circle(canvas, at, 4, EGG, -1, cv2.LINE_AA)
    assert count(soft(canvas)) == 0


def test_a_green_disc_and_a_green_thread_are_none_and_say_why():
    canvas = field()
    cv2.circle(canvas, (150, 200), 30, LARVA, -1, cv2.LINE_AA)
    cv2.line(canvas, (250, 60), (560, 340), LARVA, 4, cv2.LINE_AA)
    reading = read(soft(canvas))
    assert reading.caterpillar_count == 0
    assert {glow.reason for glow in reading.rejected} >= {"too_round", "too_thin"}
    assert all(glow.reason in REASONS for glow in reading.rejected)


def test_two_that_cross_are_two_and_a_bent_one_is_one():
    crossing = bent(bent(field(), (300, 200), 20, length=120, width=18, bend=0.2),
                    (300, 200), 100, length=120, width=18, bend=0.2)  # fmt: skip
    assert count(soft(crossing)) == 2
    assert count(soft(bent(field(), (300, 200), 20, length=120, width=18, bend=1.8))) == 1


@pytest.mark.parametrize("angle_deg", [45, 60, 120])
def test_two_that_cross_aslant_are_two(angle_deg):
    canvas = field()
    for turn in (20, 20 + angle_deg):
        bent(canvas, (300, 200), turn, length=130, width=17, bend=0.3)
    assert count(soft(canvas)) == 2


def test_large_ones_on_black_ground_are_counted():
    # Next to nothing but the caterpillars is lit, so that they are not taken for the foliage.
    canvas = np.full((400, 600, 3), 2, np.uint8)
    for middle, angle in (((150, 120), 20), ((420, 200), 100), ((200, 310), 160)):
        bent(canvas, middle, angle, colour=(70, 190, 60), length=150, width=28)
    assert count(soft(canvas)) == 3


def test_one_behind_a_slanting_leaf_is_one():
    canvas = bent(field(), (300, 200), 0, length=170, width=22, bend=0.3)
    cv2.line(canvas, (230, 100), (370, 300), (45, 20, 55), 24, cv2.LINE_AA)
    assert count(soft(canvas)) == 1


def test_two_side_by_side_are_two():
    canvas = field()
    for row in (190, 212):
        bent(canvas, (270, row), 5, length=120, width=18, bend=0.1)
    assert count(soft(canvas)) == 2


def test_a_small_one_at_the_end_of_a_large_one_is_counted_too():
    canvas = bent(field(), (250, 200), 10, length=200, width=32, bend=0.2)
    assert count(soft(bent(canvas, (375, 160), 80, length=70, width=15))) == 2


def test_one_behind_a_stem_is_one():
    canvas = bent(field(), (300, 200), 0, length=130, width=22, bend=0.3)
    cv2.line(canvas, (300, 100), (310, 300), (45, 20, 55), 10, cv2.LINE_AA)
    reading = read(soft(canvas))
    assert reading.caterpillar_count == 1
    assert reading.caterpillars[0].length_px == pytest.approx(130, rel=0.15)


def exposed(pixels, stops):
    light = np.clip(LINEAR_LIGHT[pixels] * 2.0**stops, 0, 1)
    low, high = 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055
    return np.round(255 * np.where(light <= 0.0031308, low, high)).astype(np.uint8)


@pytest.mark.parametrize(
    "change",
    [
        lambda p: np.ascontiguousarray(np.rot90(p)),
        lambda p: np.ascontiguousarray(p[:, ::-1]),
        lambda p: cv2.resize(p, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC),
        lambda p: cv2.resize(p, None, fx=0.6, fy=0.6, interpolation=cv2.INTER_AREA),
        lambda p: exposed(p, 1),
        lambda p: exposed(p, -1),
        lambda p: exposed(p, -0.5),
    ],
    ids=["turned", "mirrored", "twice", "smaller", "stop up", "stop down", "half a stop down"],
)
def test_the_count_stays_when_the_picture_is(change):
    assert count(change(with_three())) == 3


def test_two_photos_side_by_side_give_the_sum():
    one, other = with_three(), soft(bent(field(seed=8), (300, 200), 60, length=70, width=12))
    assert count(np.hstack([one, other])) == 4


def test_the_mask_lies_on_the_bodies():
    pixels = with_three()
    measured = measure_night_photo(photo_of(pixels))
    truth = cv2.inRange(pixels, (0, 110, 0), (255, 255, 255)) > 0
    found = measured.classes == CATERPILLAR
    assert set(np.unique(measured.classes)) == {0, CATERPILLAR}
    assert (truth & found).sum() > 0.75 * (truth | found).sum()


def test_what_shines_with_the_torch_off_is_not_counted():
    lamp = bent(np.zeros((400, 600, 3), np.uint8), (450, 300), 70, length=60, width=11)
    seen = np.maximum(with_three(), soft(lamp))
    assert count(seen) == 4
    reading = read(seen, soft(lamp))
    assert reading.caterpillar_count == 3
    assert reading.torch_off_used


def test_a_torch_off_photo_of_another_size_is_passed_over_with_a_flag():
    reading = read(with_three(), np.zeros((40, 60, 3), np.uint8))
    assert reading.caterpillar_count == 3
    assert reading.flags == ("torch_off_unfit",)


@pytest.mark.parametrize(
    ("pixels", "flag"),
    [
        (np.full((200, 300, 3), (90, 140, 60), np.uint8), "not_uv_photo"),
        (np.full((200, 300, 3), (180, 180, 185), np.uint8), "not_uv_photo"),
        (np.zeros((200, 300, 3), np.uint8), "nothing_lit"),
    ],
    ids=["green leaf", "grey board", "black"],
)
def test_a_day_photo_or_a_black_one_counts_nothing_and_says_why(pixels, flag):
    reading = read(pixels)
    assert reading.caterpillar_count is None
    assert flag in reading.flags
    assert why_not_uv(pixels) == flag
    assert not is_uv_photo(pixels)


def test_the_interval_holds_the_count_and_grows_with_doubt():
    assert count_interval([1.0, 1.0], 2) == (2, 2)
    # Two at one half each: none, one or two with 1/4, 1/2, 1/4, so that no end may be left out.
    assert count_interval([0.5, 0.5], 1) == (0, 2)
    assert count_interval([], 0) == (0, 0)
    assert count_interval([0.01] * 3, 0) == (0, 1)


@pytest.mark.parametrize("background", ["cloth", "grey_board"])
def test_a_leaf_by_day_on_dark_ground_is_no_uv_photo(background):
    for number in range(12):
        rng = np.random.default_rng([61, number])
        scene = draw_scene(
            rng, background=background, width_px=320, height_px=240, exposure=0.75, leaves=1
        )
        assert not is_uv_photo(render(scene, number).pixels), number
