"""Lesions are measured: masks drawn by hand, with the arithmetic written out."""

import cv2
import numpy as np
import pytest

from scripts.workshop.rendered import Scene, render
from vision.day.lesion import Symptoms, classify, lesions_of, roundness, without_droppings
from vision.day.symptom_network import interval_in_the_field, see_symptoms
from vision.day.tissue import Healthy, healthy_colour, leaf_lab
from vision.records import BACKGROUND, DROPPING, HALO, LEAF, LESION

GREEN = Healthy((45.0, -18.0, 28.0), 0.9)


def leaf(rows=120, columns=180):
    """Return a rectangle of leaf with ten pixels of background around it."""
    classes = np.zeros((rows, columns), np.uint8)
    classes[10:-10, 10:-10] = LEAF
    return classes


def disc(classes, row, column, radius, value):
    y, x = np.ogrid[: classes.shape[0], : classes.shape[1]]
    classes[(y - row) ** 2 + (x - column) ** 2 <= radius**2] = value


def lightness(classes, inside=20.0):
    return np.where(classes == LESION, inside, 45.0).astype(np.float32)


def measured(classes):
    return lesions_of(classes, lightness(classes), GREEN)


@pytest.mark.parametrize("turned", [False, True])
def test_a_lesion_that_lies_slantwise_is_as_elongated_as_it_is_long(turned):
    """Three squares of 4 × 4 px corner to corner: 12 rows and 12 columns, each 4 px long.

    Second moments 12² ÷ 12 = 12 across and down, and 2 × 4² ÷ 3 = 32 ÷ 3 between the two. Along the
    slant 12 + 32 ÷ 3 = 68 ÷ 3, across it 4 ÷ 3: elongation √17.
    """
    classes = leaf()
    for step in (0, 4, 8):
        column = 68 - step if turned else 60 + step
        classes[40 + step : 44 + step, column : column + 4] = LESION
    (lesion,) = measured(classes)
    assert lesion.elongation == pytest.approx(np.sqrt(17))


def test_a_line_one_pixel_wide_is_as_elongated_as_it_is_long():
    classes = leaf()
    classes[40, 60:90] = LESION
    (lesion,) = measured(classes)
    assert lesion.elongation == pytest.approx(30)


def test_no_lesion_gives_none():
    assert measured(leaf()) == ()


def test_a_rectangle_by_hand():
    """10 × 20 px at rows 40 to 49, columns 60 to 79 on a leaf of 100 × 160 px.

    Area 200 px², 200 ÷ 16,000 = 1.25 % of the leaf. Second moments (n² − 1) ÷ 12 + 1 ÷ 12 =
    n² ÷ 12, so elongation 20 ÷ 10 = 2. Healthy L* 45 − 20 = 25 darker.
    """
    classes = leaf()
    classes[40:50, 60:80] = LESION
    (lesion,) = measured(classes)
    assert lesion.area_px == 200
    assert lesion.share_of_leaf_pct == pytest.approx(1.25)
    assert (lesion.row_px, lesion.col_px) == (44.5, 69.5)
    assert lesion.elongation == pytest.approx(2.0)
    assert lesion.darkness == pytest.approx(25.0)
    assert lesion.solidity == pytest.approx(1.0, abs=0.01)
    assert lesion.equivalent_diameter_px == pytest.approx(np.sqrt(800 / np.pi))
    assert lesion.margin_distance_px == pytest.approx(35, abs=1.5)
    assert not lesion.at_margin
    assert lesion.halo_width_px == 0
    assert lesion.leaf == 1


def test_a_disc_of_3_2_mm_at_ten_pixels_a_millimetre():
    """Area 804 px, diameter 3.20 mm, ± 2 %.

    Calc; the size from Univ. Illinois Extension in Quad-City Times 2018-07-22 (read).
    """
    classes = leaf()
    disc(classes, 60, 90, 16, LESION)
    (lesion,) = measured(classes)
    assert lesion.area_px == pytest.approx(804, rel=0.02)
    assert lesion.equivalent_diameter_px / 10 == pytest.approx(3.20, rel=0.02)


def test_a_share_of_ten_thousand_leaf_pixels_by_hand():
    """1,250 lesion and 500 halo px of 10,000: 12.5 % necrotic, 17.5 % symptomatic (calc)."""
    classes = np.full((100, 100), LEAF, np.uint8)
    classes[:25, :50] = LESION
    classes[25:35, :50] = HALO
    (lesion,) = measured(classes)
    assert lesion.share_of_leaf_pct == 12.5
    assert 100 * np.isin(classes, (HALO, LESION)).sum() / (classes != BACKGROUND).sum() == 17.5


@pytest.mark.parametrize(("radius", "least"), [(4, 0.85), (7, 0.91), (12, 0.93), (25, 0.93)])
def test_discs_are_round(radius, least):
    """The steps of the pixels lengthen the outline of a small disc."""
    classes = leaf()
    disc(classes, 60, 90, radius, LESION)
    (lesion,) = measured(classes)
    assert lesion.roundness > least
    assert lesion.elongation == pytest.approx(1.0, abs=0.02)
    assert lesion.solidity > 0.88


def test_a_thread_is_not_round_and_a_cross_is_not_solid():
    classes = leaf()
    classes[20, 20:120] = LESION
    classes[60:63, 40:100] = LESION
    classes[40:90, 68:71] = LESION
    cross, thread = measured(classes)
    assert thread.roundness < 0.1
    assert thread.elongation > 50
    assert cross.solidity < 0.3


@pytest.mark.parametrize("width", [3, 5])
def test_the_width_of_a_halo_is_its_area_by_the_perimeter(width):
    """Rim of a disc of radius r: π((r + w)² − r²) ÷ 2πr = w + w² ÷ 2r."""
    classes = leaf()
    disc(classes, 60, 90, 20 + width, HALO)
    disc(classes, 60, 90, 20, LESION)
    (lesion,) = measured(classes)
    assert lesion.halo_width_px == pytest.approx(width + width**2 / 40, rel=0.06)


def test_each_lesion_has_its_own_halo():
    classes = leaf()
    disc(classes, 60, 50, 14, HALO)
    disc(classes, 60, 50, 10, LESION)
    disc(classes, 60, 120, 8, LESION)
    with_halo, bare = measured(classes)
    assert with_halo.halo_width_px > 3
    assert bare.halo_width_px == 0


def test_yellow_tissue_far_from_any_lesion_is_nobodys_halo():
    classes = leaf()
    disc(classes, 60, 50, 10, LESION)
    disc(classes, 60, 140, 10, HALO)
    (lesion,) = measured(classes)
    assert lesion.halo_width_px == 0


def test_a_lesion_at_the_edge_of_the_leaf_is_told():
    classes = leaf()
    classes[10:20, 60:70] = LESION
    classes[50:60, 60:70] = LESION
    told = {lesion.row_px: lesion.at_margin for lesion in measured(classes)}
    assert told == {14.5: True, 54.5: False}


def test_lesions_come_largest_first():
    classes = leaf()
    for column, radius in ((30, 5), (70, 12), (120, 8)):
        disc(classes, 60, column, radius, LESION)
    areas = [lesion.area_px for lesion in measured(classes)]
    assert areas == sorted(areas, reverse=True)
    assert len(areas) == 3


def test_double_scale_gives_four_times_the_area_and_the_same_shape():
    classes = leaf()
    classes[40:52, 60:90] = LESION
    large = cv2.resize(classes, None, fx=2, fy=2, interpolation=cv2.INTER_NEAREST)
    (one,), (two,) = measured(classes), measured(large)
    assert two.area_px == 4 * one.area_px
    assert two.elongation == pytest.approx(one.elongation)
    assert two.roundness == pytest.approx(one.roundness, rel=0.05)
    assert two.share_of_leaf_pct == pytest.approx(one.share_of_leaf_pct)


@pytest.fixture(scope="module")
def sick_leaf():
    photo = render(Scene(pattern="spot", kind="septoria", severity_pct=15, noise=0.1), 12)
    lab, inside = leaf_lab(photo.pixels), photo.mask > 0
    length = float(max(cv2.boundingRect(photo.mask)[2:]))
    return lab, inside, healthy_colour(lab, inside), length, photo.mask


def test_tissue_is_sorted_inside_the_leaf_only(sick_leaf):
    *given, truth = sick_leaf
    classes = classify(*given).classes
    np.testing.assert_array_equal(classes > BACKGROUND, truth > BACKGROUND)
    both = (classes >= HALO) & (truth >= HALO)
    assert both.sum() / ((classes >= HALO) | (truth >= HALO)).sum() > 0.7


def test_dead_tissue_is_told_from_yellow(sick_leaf):
    *given, truth = sick_leaf
    classes = classify(*given).classes
    agreed = (classes >= HALO) & (truth >= HALO)
    assert (classes == truth)[agreed].mean() > 0.75


def test_seeing_symptoms_changes_nothing_that_is_given(sick_leaf):
    lab, inside, healthy, *_ = sick_leaf
    before = lab.copy(), inside.copy()
    seen = see_symptoms(lab, inside, healthy)
    np.testing.assert_array_equal(lab, before[0])
    np.testing.assert_array_equal(inside, before[1])
    assert seen.sick.shape == seen.dead.shape == inside.shape


def test_a_dark_brown_spot_on_an_even_green_leaf_is_sick_and_dead():
    lab = np.zeros((260, 400, 3), np.float32) + np.array(GREEN.lab, np.float32)
    leaf, spot = np.zeros((2, 260, 400), np.uint8)
    cv2.ellipse(leaf, (200, 130), (180, 110), 0, 0, 360, 1, -1)
    cv2.circle(spot, (230, 120), 18, 1, -1)
    lab[spot > 0] = (25, 8, 15)
    lab = cv2.GaussianBlur(lab, (0, 0), 1.2)
    sound = (leaf > 0) & (cv2.dilate(spot, np.ones((13, 13), np.uint8)) == 0)
    seen = see_symptoms(lab, leaf > 0, GREEN)
    assert (seen.sick[spot > 0] > 0).mean() > 0.8
    assert (seen.dead[spot > 0] > 0).mean() > 0.8
    assert (seen.sick[sound] > 0).mean() < 0.01


@pytest.mark.parametrize("turns", range(4))
@pytest.mark.parametrize("mirrored", [False, True])
def test_a_leaf_shows_the_same_symptoms_however_it_is_held(sick_leaf, turns, mirrored):
    lab, inside, healthy, *_ = sick_leaf

    def held(plane):
        return np.ascontiguousarray(np.rot90(plane[:, ::-1] if mirrored else plane, turns))

    seen, again = see_symptoms(lab, inside, healthy), see_symptoms(held(lab), held(inside), healthy)
    np.testing.assert_allclose(again.sick, held(seen.sick), atol=1e-3)
    np.testing.assert_allclose(again.dead, held(seen.dead), atol=1e-3)


def test_the_interval_grows_with_doubt_and_stays_a_percentage():
    ends = [interval_in_the_field(30.0, doubt) for doubt in (0.0, 1.0, 5.0)]
    widths = [high - low for low, high in ends]
    assert widths == sorted(widths)
    assert widths[0] < widths[-1]
    assert interval_in_the_field(0.0, 2.0)[0] == 0.0
    assert interval_in_the_field(100.0, 2.0)[1] == 100.0


class Told:
    """Thresholds that say of each pixel what the test says: how surely it is sick, and dead."""

    threshold = 0.5

    def __init__(self, leaf, sick, dead=None):
        self.sick = np.asarray(sick, float)[leaf]
        self.killed = np.zeros(leaf.sum(), bool) if dead is None else dead[leaf]

    def symptom_probability(self, _described):
        """Return how surely each of the leaf's pixels is sick."""
        return self.sick

    def dead(self, _described):
        """Return which are dead."""
        return self.killed


def sorted_as_told(leaf, sick, dead=None, length=400.0):
    """Return the symptoms of an even green leaf on which exactly this is sick, and dead."""
    lab = np.zeros((*leaf.shape, 3), np.float32) + np.array(GREEN.lab, np.float32)
    return classify(lab, leaf, GREEN, length, Told(leaf, sick, dead))


def block(shape, rows, columns):
    mask = np.zeros(shape, bool)
    mask[slice(*rows), slice(*columns)] = True
    return mask


SHEET = (200, 400)
INSIDE = block(SHEET, (20, 180), (20, 380))


@pytest.mark.parametrize(("length", "least"), [(1000.0, 13), (2000.0, 51), (100.0, 5), (10.0, 5)])
def test_a_patch_as_wide_as_a_250th_of_the_leaf_is_kept_and_a_smaller_one_is_noise(length, least):
    """π ÷ 4 × (0.004 × 1000 px)² = 12.6 px, and (0.004 × 2000 px)² … = 50.3 px; never below 5."""
    for area, kept in ((least - 1, False), (least, True)):
        patch = block(SHEET, (100, 104), (100, 100 + area // 4))
        patch[104, 100 : 100 + area % 4] = True
        assert patch.sum() == area
        for dead in (None, patch):
            classes = sorted_as_told(INSIDE, patch, dead, length).classes
            found = classes == (HALO if dead is None else LESION)
            np.testing.assert_array_equal(found, patch & kept)


def test_dead_tissue_is_part_of_the_symptoms_and_the_rest_is_halo():
    sick, dead = block(SHEET, (80, 120), (100, 160)), block(SHEET, (90, 130), (110, 140))
    classes = sorted_as_told(INSIDE, sick, dead).classes
    np.testing.assert_array_equal(classes == LESION, sick & dead)
    np.testing.assert_array_equal(classes == HALO, sick & ~dead)
    np.testing.assert_array_equal(classes == LEAF, INSIDE & ~sick)


def test_doubt_is_the_mean_distance_from_sure():
    """Half the leaf 10 % sick, a quarter 70 %, a quarter 100 %: (½·10 + ¼·30 + 0) % = 12.5 %."""
    sick = np.full(SHEET, 0.1)
    sick[20:100, 200:], sick[100:, 200:] = 0.7, 1.0
    assert sorted_as_told(INSIDE, sick).doubtful_pct == pytest.approx(12.5)


def strip(width, start=20):
    """Return a strip along the leaf's upper margin, which begins in row 20."""
    return block(SHEET, (start, start + width), (100, 300))


@pytest.mark.parametrize(
    ("told", "kept"),
    [
        (strip(4), False),  # pale margins are natural
        (strip(5), True),  # 0.005 × 400 px to each side, and the middle
        (strip(3, start=24), False),
        (strip(3, start=26), True),  # deeper than 0.02 × 400 px
        (block(SHEET, (20, 40), (100, 103)), True),  # narrow, but it goes inwards
    ],
)
def test_a_thin_strip_along_the_margin_is_no_symptom(told, kept):
    classes = sorted_as_told(INSIDE, told).classes
    assert (classes >= HALO).any() == kept


def test_the_outermost_pixels_follow_those_inside_of_them():
    ring = INSIDE & ~block(SHEET, (21, 179), (21, 379))
    assert not (sorted_as_told(INSIDE, ring).classes >= HALO).any()
    inner = block(SHEET, (21, 50), (100, 160))
    classes = sorted_as_told(INSIDE, inner).classes
    assert (classes[20, 102:158] == HALO).all()
    assert (classes[20, 20:98] == LEAF).all()
    assert (classes[21, 20:100] == LEAF).all()


def symptoms_of(classes):
    return Symptoms(classes, 3.0)


@pytest.mark.parametrize(
    ("columns", "gone"),
    [((45, 46), False), ((44, 46), False), ((44, 47), True), ((10, 11), False)],
)
def test_a_patch_that_is_mostly_a_droppings_edge_goes_as_a_whole(columns, gone):
    """20 columns of a lesion; a dropping's edge reaches 4 px: 9, 10, 11 and 0 of them."""
    classes = leaf(120, 120)
    lesion = block(classes.shape, (40, 50), (40, 60))
    classes[lesion] = LESION
    dropping = block(classes.shape, (30, 60), columns)
    symptoms = without_droppings(symptoms_of(classes), dropping)
    assert symptoms.doubtful_pct == 3.0
    np.testing.assert_array_equal(symptoms.classes == DROPPING, dropping)
    left = np.zeros_like(lesion) if gone else lesion & ~dropping
    np.testing.assert_array_equal(symptoms.classes == LESION, left)
    assert (symptoms.classes[lesion & ~dropping & ~left] == LEAF).all()


def test_droppings_beside_the_leaf_change_nothing():
    classes = leaf()
    disc(classes, 60, 90, 20, LESION)
    symptoms = symptoms_of(classes)
    assert without_droppings(symptoms, block(classes.shape, (0, 8), (0, 40))) is symptoms


def test_a_lesion_reaches_the_margin_within_two_pixels():
    told = []
    for start in (10, 11, 12):
        classes = leaf()
        classes[start : start + 10, 60:70] = LESION
        (lesion,) = measured(classes)
        told.append(lesion.at_margin)
    assert told == [True, True, False]


@pytest.mark.parametrize(("columns", "reach"), [(400, 12), (800, 24), (40, 2)])
def test_a_halo_reaches_three_hundredths_of_the_leaf_and_two_pixels_at_least(columns, reach):
    def halo_px(begin, end):
        classes = np.full((30, columns), LEAF, np.uint8)
        classes[5:25, 5:10] = LESION
        classes[5:25, 10 + begin : 10 + end] = HALO
        (lesion,) = measured(classes)
        return lesion.halo_width_px

    assert halo_px(0, reach + 5) == pytest.approx(halo_px(0, reach))
    assert halo_px(0, reach - 1) < halo_px(0, reach)
    assert halo_px(reach, reach + 5) == 0


def test_roundness_and_solidity_by_hand():
    """The outline runs through the centres of the pixels, half a pixel inside the patch.

    10 × 20 px: 2 × (9 + 19) = 56, × 0.95 + π for the steps and the half pixel. An L of two bars of
    10 × 30 px: 500 px²; hull of the centres 29² − 20² ÷ 2 = 641 px², around it
    29 + 9 + √800 + 9 + 29 = 104.3 px, of which half, and 1, make up for the half pixel.
    """
    classes = leaf()
    classes[40:50, 60:80] = LESION
    (bar,) = measured(classes)
    around = 56 * 0.95 + np.pi
    assert bar.roundness == pytest.approx(4 * np.pi * 200 / around**2)
    assert bar.roundness == pytest.approx(roundness(classes[35:55, 50:90] == LESION))
    classes = leaf()
    classes[40:70, 60:70] = classes[40:50, 60:90] = LESION
    (bent,) = measured(classes)
    assert bent.area_px == 500
    assert bent.solidity == pytest.approx(500 / (641 + (76 + np.sqrt(800)) / 2 + 1))


def test_the_width_of_a_halo_by_hand():
    """Rows above and below a bar of 10 × 20 px: 2 × 20 px of halo by its perimeter."""
    classes = leaf()
    classes[39:51, 60:80] = HALO
    classes[40:50, 60:80] = LESION
    (lesion,) = measured(classes)
    assert lesion.halo_width_px == pytest.approx(40 / (56 * 0.95 + np.pi))
