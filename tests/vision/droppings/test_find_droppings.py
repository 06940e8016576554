"""Droppings: counted where they are, not where they only could be."""

from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
import pytest

from models.hornworm import dropping_size_class
from scripts.workshop.rendered import Scene, render
from scripts.workshop.rendered.droppings import DroppingScene, draw_dropping_scene, render_droppings
from vision.day.leaf import Leaves
from vision.day.measure import measure_day_photo
from vision.droppings.find import (
    FoundDroppings,
    droppings_interval,
    find_droppings,
    without_chance_finds,
    without_dead_tissue,
)
from vision.droppings.judge import judge_of, load_judge
from vision.records import DROPPING, HALO, LEAF, LESION, Dropping, Photo

PAPER, PX_PER_MM = (226, 224, 218), 10
# 3.2 mm: [read, weak web page]; its width is a barrel's, about 4 : 5
LENGTH_MM, WIDTH_MM = 3.2, 2.5


def sheet(rows: int = 750, columns: int = 1000) -> np.ndarray:
    rng = np.random.default_rng(1)
    light = np.linspace(0.95, 1.03, columns)[None, :, None]
    noisy = np.array(PAPER) * light + rng.normal(0, 2, (rows, columns, 3))
    return np.clip(noisy, 0, 255).astype(np.uint8)


def lay_barrel(picture: np.ndarray, row: float, col: float, angle_deg: float) -> None:
    """Draw a dark barrel by hand: blunt ends, two ridges that catch the light, a shadow."""
    size = (LENGTH_MM * PX_PER_MM, WIDTH_MM * PX_PER_MM)
    turn = np.deg2rad(angle_deg)
    along, across = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    t = np.linspace(0, 2 * np.pi, 60)

    def barrel(scale: float) -> np.ndarray:
        x = np.sign(np.cos(t)) * np.abs(np.cos(t)) ** 0.6 * size[0] / 2 * scale
        y = np.sin(t) * size[1] / 2 * scale
        points = np.array([col, row]) + x[:, None] * along + y[:, None] * across
        return np.rint(points * 16).astype(np.int32)

    shadow = picture.copy()
    cv2.fillPoly(shadow, [barrel(1.05) + 16 * 4], (120, 118, 114), cv2.LINE_AA, shift=4)
    around = np.zeros(picture.shape[:2], np.uint8)
    cv2.fillPoly(around, [barrel(1.8)], 1, shift=4)
    picture[around > 0] = cv2.GaussianBlur(shadow, (0, 0), 1.5)[around > 0]
    cv2.fillPoly(picture, [barrel(1.0)], (30, 32, 24), cv2.LINE_AA, shift=4)
    for offset in (-0.22, 0.2):
        ends = [
            np.array([col, row]) + side * 0.36 * size[0] * along + offset * size[1] * across
            for side in (-1, 1)
        ]
        first, last = (tuple(int(v) for v in np.rint(end)) for end in ends)
        cv2.line(picture, first, last, (66, 68, 58), 2, cv2.LINE_AA)


def photo_of(pixels: np.ndarray) -> Photo:
    rows, columns = pixels.shape[:2]
    return Photo(Path(), "", "", datetime(2026, 7, 1), "file", pixels, columns, rows)


@pytest.mark.parametrize("count", [1, 20])
def test_barrels_drawn_by_hand_are_counted_exactly(count):
    """Check value 7b: exact count on a synthetic sheet, size [read, weak]."""
    picture = sheet()
    for number in range(count):
        lay_barrel(picture, 100 + 180 * (number // 5), 110 + 190 * (number % 5), 37 * number)
    found = find_droppings(picture)
    assert len(found.found) == count
    assert found.low <= count <= found.high
    for dropping in found.found:  # the shadow at its foot is part of what is measured
        assert dropping.length_px == pytest.approx(LENGTH_MM * PX_PER_MM, rel=0.25)
        assert dropping.width_px == pytest.approx(WIDTH_MM * PX_PER_MM, rel=0.3)


def test_soil_crumbs_of_the_same_size_are_no_droppings():
    """Check value 7d [practice]: irregular brown crumbs, painted among nothing else."""
    scene = DroppingScene(ground="soil", droppings=0, litter=("crumb",), litter_count=20)
    photos = [find_droppings(render_droppings(scene, seed).pixels) for seed in range(4, 9)]
    assert photos[0].found == ()
    assert sum(len(photo.found) for photo in photos) <= 1  # of 100
    assert all(photo.low == 0 for photo in photos)


def test_an_empty_sheet_has_none_and_says_so_surely():
    found = find_droppings(sheet())
    assert (len(found.found), found.low, found.high) == (0, 0, 0)
    assert not found.mask.any()


@pytest.fixture(scope="module")
def painted():
    scene = DroppingScene(ground="paper", droppings=9, litter=("seed", "chip"))
    return render_droppings(scene, 11)


def test_every_painted_dropping_is_found_where_it_lies(painted):
    found = find_droppings(painted.pixels)
    assert len(found.found) == len(painted.droppings)
    ratios = []
    for true in painted.droppings:
        nearest = min(
            found.found, key=lambda p: np.hypot(p.row_px - true.row_px, p.col_px - true.col_px)
        )
        away = np.hypot(nearest.row_px - true.row_px, nearest.col_px - true.col_px)
        assert away < 0.25 * true.length_px
        ratios.append(nearest.area_px / true.area_px)
    assert np.median(ratios) == pytest.approx(1, abs=0.25)
    assert min(ratios) > 0.5  # one lies across its own shadow, and is outlined too small
    assert max(ratios) < 1.6


@pytest.mark.parametrize(
    ("change", "apart"),
    [
        (lambda p: np.rot90(p).copy(), 0),
        (lambda p: p[:, ::-1].copy(), 0),
        (lambda p: cv2.resize(p, None, fx=0.8, fy=0.8, interpolation=cv2.INTER_AREA), 1),
        (lambda p: cv2.resize(p, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC), 0),
        (lambda p: np.clip(p * 0.8, 0, 255).astype(np.uint8), 0),
    ],
    ids=["turned", "mirrored", "smaller", "twice as large", "darker"],
)
def test_the_count_stays_when_the_photo_is(painted, change, apart):
    """Smaller droppings may be told a little worse from seeds."""
    count = len(find_droppings(change(painted.pixels)).found)
    assert abs(count - len(painted.droppings)) <= apart


def test_two_photos_in_one_give_the_sum():
    photo = render_droppings(DroppingScene(droppings=7), 12)
    other = photo.pixels[:, ::-1]
    both = find_droppings(np.concatenate([photo.pixels, other], axis=0))
    assert len(both.found) == 2 * len(photo.droppings)


def test_the_photo_is_not_changed(painted):
    before = painted.pixels.copy()
    find_droppings(painted.pixels)
    np.testing.assert_array_equal(painted.pixels, before)


def test_a_dropping_on_a_leaf_is_no_lesion_and_takes_no_leaf_area():
    day = Scene(1000, 750, leaves=1, shape="leaflet", pattern="none", gloss=0.1)
    scene = DroppingScene(ground="leaf", droppings=8, dropping_mm=3.5, day=day)
    photo = render_droppings(scene, 3)
    measured = measure_day_photo(photo_of(photo.pixels))
    assert measured.reading.frass_count == pytest.approx(len(photo.droppings), abs=1)
    under = (photo.numbers > 0) & (measured.leaf_numbers > 0)
    assert np.mean(measured.classes[under] == DROPPING) > 0.7
    assert np.mean(measured.classes[under] == LESION) < 0.1
    leaf = measured.reading.leaves[0]
    assert leaf.area_px == pytest.approx(np.count_nonzero(photo.leaf), rel=0.05)
    assert leaf.severity_pct < 1.5


def test_a_thing_that_the_edge_of_the_photo_cuts_is_not_counted():
    """The same barrel, whole and with all but a fifth of it beyond the edge."""
    counts = []
    for col in (120, -10):
        picture = sheet(240, 240)
        lay_barrel(picture, 120, col, 0)
        counts.append(len(find_droppings(picture).found))
    assert counts == [1, 0]


def test_what_lies_under_a_hidden_part_is_not_counted(painted):
    hidden = np.zeros(painted.numbers.shape, np.uint8)
    hidden[:, :500] = 1
    left = [one for one in painted.droppings if one.col_px > 500]
    assert 0 < len(left) < len(painted.droppings)
    assert len(find_droppings(painted.pixels, hidden).found) == len(left)


def test_lesions_are_hardly_ever_droppings():
    """Of the 141 dark lesions on six sick leaves, at most three are taken for droppings."""
    found = 0
    for pattern in ("spot", "blight"):
        for seed in (1, 2, 3):
            photo = render(Scene(900, 700, pattern=pattern, severity_pct=15), seed)
            found += len(find_droppings(photo.pixels).found)
    assert found <= 3


def test_droppings_on_a_sheet_without_a_leaf_are_counted(painted):
    reading = measure_day_photo(photo_of(painted.pixels)).reading
    assert reading.leaves == ()
    assert reading.severity_pct is None
    assert reading.frass_count == len(painted.droppings)


def test_soil_that_is_taken_for_a_dead_leaf_does_not_hide_what_lies_on_it():
    seed = 115_077
    painted = render_droppings(draw_dropping_scene(np.random.default_rng(seed)), seed)
    reading = measure_day_photo(photo_of(painted.pixels)).reading
    assert "busy_background" in reading.flags  # else the seed shows no such soil any more
    assert all("all_sick" in leaf.flags for leaf in reading.leaves)
    assert reading.frass_count >= 0.9 * sum(not one.faint for one in painted.droppings) > 10


def test_the_interval_is_wide_only_where_patches_are_doubtful():
    judge = load_judge()
    figures = judge.doubt, judge.missed_share
    assert droppings_interval([30.0] * 5, *figures)[0] == 5
    low, high = droppings_interval([30.0] * 5 + [0.1] * 4, *figures)
    assert low <= 7
    assert high >= 9
    assert droppings_interval([], *figures) == (0, 0)


def test_a_drawn_scene_of_many_grounds_holds_the_true_count():
    rng = np.random.default_rng(5)
    held = 0
    for _ in range(6):
        photo = render_droppings(draw_dropping_scene(rng), int(rng.integers(1 << 31)))
        found = find_droppings(photo.pixels)
        held += found.low <= len(photo.droppings) <= found.high
    assert held >= 5


def test_numbers_learned_for_other_measures_are_refused():
    layer = {"inputs": ["x"], "mean": [0], "spread": [1], "layers": []}
    with pytest.raises(ValueError, match="other measures"):
        judge_of({"alone": layer, "among": layer, "doubt": 1, "missed_share": 0})


def test_size_classes_grow_with_the_length():
    """Classes follow guesses by stage [memory, low]; pea size is the last stage [read, weak]."""
    assert [dropping_size_class(mm) for mm in (0.5, 2.5, 7)] == ["small", "middle", "large"]


def test_the_dark_middle_of_dead_tissue_is_no_dropping_but_one_on_living_tissue_is():
    places = ((100, 60), (100, 240))
    mask = np.zeros((200, 300), np.uint8)
    for row, col in places:
        cv2.circle(mask, (col, row), 6, 1, cv2.FILLED)
    found = tuple(Dropping(row, col, 13.0, 13.0, 120.0, 20.0, 0.9) for row, col in places)
    classes = np.full((200, 300), LEAF, np.uint8)
    cv2.circle(classes, (60, 100), 50, LESION, cv2.FILLED)  # a lesion around the first
    classes[mask > 0] = LESION  # both look dead to the leaf's thresholds
    left = without_dead_tissue(FoundDroppings(found, 2, 5, mask.view(np.bool_)), classes)
    assert [one.col_px for one in left.found] == [240]
    assert (left.low, left.high) == (1, 5)
    assert left.mask[100, 240]
    assert not left.mask[100, 60]


def test_droppings_close_together_do_not_pass_for_dead_tissue():
    mask = np.zeros((200, 300), np.uint8)
    found = []
    for row in (80, 96, 112):
        for col in (120, 136, 152):
            cv2.circle(mask, (col, row), 6, 1, cv2.FILLED)
            found.append(Dropping(row, col, 13.0, 13.0, 120.0, 20.0, 0.9))
    classes = np.where(mask > 0, LESION, LEAF).astype(np.uint8)
    droppings = FoundDroppings(tuple(found), 9, 9, mask.view(np.bool_))
    assert without_dead_tissue(droppings, classes) is droppings


def test_a_leaf_that_is_mostly_a_dropping_is_left_out():
    """Two things of 400 and 100 pixels; half of the smaller one is covered."""
    numbers = np.zeros((60, 60), np.uint8)
    numbers[5:25, 5:25], numbers[40:50, 40:50] = 1, 2
    covered = np.zeros((60, 60), bool)
    covered[40:45, 40:50], covered[5:7, 5:25] = True, True
    leaves = Leaves(numbers, (False, True), (True, False), True, ("touching", "cut_off"))
    left = leaves.without(covered, 0.4)
    assert left.count == 1
    assert np.count_nonzero(left.numbers) == 400
    assert left.flags == ("cut_off",)
    assert leaves.without(covered, 0.6) is leaves
    assert left.without(np.ones((60, 60), bool), 0.4).flags == ("no_leaf",)


@pytest.mark.parametrize(("confidence", "halo_px", "counts"), [
    (0.8, 0, True), (0.8, 16, False), (0.95, 16, True),
])  # fmt: skip
def test_amid_a_yellow_halo_only_a_sure_one_counts(confidence, halo_px, counts):
    mask = np.zeros((120, 120), np.uint8)
    cv2.circle(mask, (60, 60), 6, 1, cv2.FILLED)
    classes = np.full((120, 120), LEAF, np.uint8)
    cv2.circle(classes, (60, 60), halo_px, HALO, cv2.FILLED)
    classes[mask > 0] = LESION
    found = (Dropping(60, 60, 13.0, 13.0, 120.0, 20.0, confidence),)
    left = without_dead_tissue(FoundDroppings(found, 1, 3, mask.view(np.bool_)), classes)
    assert len(left.found) == counts


@pytest.mark.parametrize(("radius", "counts"), [(6, True), (30, False)])
def test_on_a_sick_leaf_a_rather_sure_one_counts_if_it_is_small(radius, counts):
    """A leaf of 400 by 500 pixels, 3 % of it dead far away; 113 or 2,827 pixels of dropping."""
    mask = np.zeros((400, 500), np.uint8)
    cv2.circle(mask, (100, 100), radius, 1, cv2.FILLED)
    classes = np.full((400, 500), LEAF, np.uint8)
    cv2.circle(classes, (400, 300), 45, LESION, cv2.FILLED)
    classes[mask > 0] = LESION
    found = (Dropping(100, 100, 2.0 * radius, 2.0 * radius, 3.14 * radius**2, 20.0, 0.8),)
    left = without_dead_tissue(FoundDroppings(found, 1, 3, mask.view(np.bool_)), classes)
    assert len(left.found) == counts


def test_droppings_are_counted_though_red_and_blue_are_exchanged():
    """The leaf is not measured then; droppings are told by form and darkness."""
    day = Scene(1000, 750, leaves=1, shape="leaflet", pattern="none", gloss=0.1)
    photo = render_droppings(DroppingScene(ground="leaf", droppings=8, dropping_mm=3.5, day=day), 3)
    reading = measure_day_photo(photo_of(photo.pixels[..., ::-1].copy())).reading
    assert "red_blue_swapped" in reading.flags
    assert reading.severity_pct is None
    assert reading.frass_count == pytest.approx(8, abs=1)


@pytest.mark.parametrize(("confidence", "counts"), [(0.9, 0), (0.99, 1)])
def test_within_dead_tissue_only_the_surest_count(confidence, counts):
    mask = np.zeros((200, 200), np.uint8)
    cv2.circle(mask, (100, 100), 6, 1, cv2.FILLED)
    classes = np.full((200, 200), LEAF, np.uint8)
    cv2.circle(classes, (100, 100), 60, LESION, cv2.FILLED)
    found = (Dropping(100, 100, 13.0, 13.0, 120.0, 20.0, confidence),)
    left = without_dead_tissue(FoundDroppings(found, 1, 3, mask.view(np.bool_)), classes)
    assert len(left.found) == counts


NO_LEAF = np.zeros((120, 200), np.uint8)


def chance_finds(*places, sure=()):
    """Return droppings at these columns of row 60, on a picture of 120 by 200 pixels.

    The confidence is 0.95 of the ``sure`` ones, 0.8 of the others.
    """
    mask = NO_LEAF.copy()
    for column in places:
        cv2.circle(mask, (column, 60), 6, 1, cv2.FILLED)
    found = tuple(
        Dropping(60, one, 13.0, 13.0, 120.0, 20.0, 0.95 if one in sure else 0.8) for one in places
    )
    return FoundDroppings(found, len(found), len(found) + 2, mask.view(np.bool_))


def test_beside_a_leaf_in_the_field_nothing_counts_and_on_it_everything_does():
    """Columns 40 and 80 lie on the leaf, 160 beside it; each covers the same pixels."""
    numbers = NO_LEAF.copy()
    numbers[10:110, 10:110] = 1
    droppings = chance_finds(40, 80, 160)
    left = without_chance_finds(droppings, numbers, plain=False)
    assert [one.col_px for one in left.found] == [40, 80]
    assert (left.low, left.high) == (2, droppings.high)
    np.testing.assert_array_equal(left.mask, droppings.mask & (numbers > 0))


def test_on_plain_ground_what_lies_beside_a_leaf_counts():
    numbers = NO_LEAF.copy()
    numbers[10:110, 10:110] = 1
    droppings = chance_finds(40, 160)
    assert without_chance_finds(droppings, numbers, plain=True) is droppings


@pytest.mark.parametrize(
    ("places", "sure", "left"),
    [((60,), (), 0), ((60,), (60,), 1), ((60, 140), (), 0), ((60, 140), (140,), 2)],
)
def test_on_bare_natural_ground_one_at_least_must_be_sure(places, sure, left):
    droppings = chance_finds(*places, sure=sure)
    kept = without_chance_finds(droppings, NO_LEAF, plain=False)
    assert len(kept.found) == left
    assert kept.low <= left <= kept.high
    assert kept.mask.any() == (left > 0)
    assert len(without_chance_finds(droppings, NO_LEAF, plain=True).found) == len(places)
