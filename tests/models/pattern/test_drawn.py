"""Each measurement on leaves drawn by hand, with the arithmetic.

The leaf is a square of 200 × 200 pixels: its area is 40 000 px, its side 200 px.
"""

import cv2
import numpy as np
import pytest

from models.pattern import MEASURES
from vision.records import HALO, LESION

LN2 = np.log(2)


def test_each_measure_is_named_once_with_its_unit_and_reason():
    names = [measure.name for measure in MEASURES]
    assert len(set(names)) == len(names) == 62
    assert all(measure.unit and measure.reason for measure in MEASURES)


def test_a_healthy_leaf_has_amounts_of_zero_and_no_shapes(drawn_leaf):
    values = drawn_leaf().measured()
    none = {name for name, value in values.items() if np.isnan(value)}
    assert none == {
        "small_roundness", "roundness", "dominance", "size_spread", "small_share", "inner_share",
        "rings", "pale_centre", "lesion_lightness", "lesion_redness", "rim_redness",
        "halo_redness", "large_grain", "depth", "small_edge", "solidity", "halo_width", "tip_reach",
        "off_midrib", "clustering", "lesion_chroma", "rim_yellowness", "effective_lesions",
        "effective_marks",
    }  # fmt: skip
    assert values.pop("leaf_breadth") == pytest.approx(1, abs=0.02)  # a square of leaf
    assert {value for name, value in values.items() if name not in none} == {0.0}


def test_amounts_are_the_logarithm_of_one_plus_percent_of_the_leaf(drawn_leaf):
    leaf = drawn_leaf().halo(100, 100, 60).disc(100, 100, 40)
    values = leaf.measured()
    # A disc of 40 px has 1257 px of 40 000: 3.1 %; its ring up to 60 px another 3.9 %.
    assert leaf.area(LESION) == pytest.approx(np.pi * 20**2, rel=0.01)
    assert values["lesion_amount"] == pytest.approx(np.log1p(leaf.area(LESION) / 400), abs=1e-4)
    assert values["halo_amount"] == pytest.approx(np.log1p(leaf.area(HALO) / 400), abs=1e-4)
    both = leaf.area(LESION) + leaf.area(HALO)
    assert values["sick_amount"] == pytest.approx(np.log1p(both / 400), abs=1e-4)
    # Ring over disc: (60² - 40²) / 60² = 0.556.
    assert values["halo_share"] == pytest.approx(0.556, abs=0.01)


@pytest.mark.parametrize(
    ("diameter", "counted"),
    [(8, "tiny"), (14, "small"), (30, "middle"), (50, "large")],  # 4, 7, 15 and 25 % of the side
)
def test_lesions_are_counted_by_their_diameter_in_leaf_sides(drawn_leaf, diameter, counted):
    leaf = drawn_leaf()
    for row, col in ((50, 50), (50, 150), (150, 100)):
        leaf.disc(row, col, diameter)
    values = leaf.measured()
    found = {name: values[f"{name}_lesions"] for name in ("tiny", "small", "middle", "large")}
    assert found == {name: pytest.approx(np.log(4) * (name == counted)) for name in found}
    assert values["inner_lesions"] == pytest.approx(np.log(4))
    assert values["margin_lesions"] == 0


def test_a_lesion_at_the_margin_is_counted_apart(drawn_leaf):
    values = drawn_leaf().disc(0, 100, 30).disc(100, 100, 30).measured()
    assert values["margin_lesions"] == pytest.approx(LN2)
    assert values["inner_lesions"] == pytest.approx(LN2)
    # Half a disc lies on the leaf: the inner disc has two thirds of the dead tissue.
    assert values["inner_share"] == pytest.approx(2 / 3, abs=0.02)


def test_a_margin_is_three_percent_of_a_side(drawn_leaf):
    # The disc's nearest pixel lies 4 (or 9) px from the outline; 3 % of 200 px are 6 px.
    assert drawn_leaf().disc(100, 18, 30).measured()["margin_lesions"] == pytest.approx(LN2)
    assert drawn_leaf().disc(100, 23, 30).measured()["margin_lesions"] == 0


def test_specks_too_narrow_to_be_judged_are_not_counted(drawn_leaf):
    leaf = drawn_leaf().bar(50, 50, 20, 1).bar(100, 50, 20, 1)
    values = leaf.measured()
    assert values["inner_lesions"] == values["margin_lesions"] == 0
    assert values["lesion_amount"] > 0


def test_sizes_are_diameters_of_equal_discs_in_leaf_sides(drawn_leaf):
    leaf = drawn_leaf().disc(60, 60, 20).disc(140, 140, 60)
    values = leaf.measured()
    assert values["largest_diameter"] == pytest.approx(60 / 200, rel=0.01)
    assert values["median_diameter"] == pytest.approx((20 + 60) / 2 / 200, rel=0.01)
    # By area 400 : 3600: (0.1 × 400 + 0.3 × 3600) / 4000 = 0.28.
    assert values["mean_diameter"] == pytest.approx(0.28, rel=0.01)
    assert values["largest_share"] == pytest.approx(0.9, rel=0.01)
    assert values["dominance"] == pytest.approx(np.log(9), rel=0.02)


def test_small_lesions_are_those_below_a_tenth_of_a_side(drawn_leaf):
    leaf = drawn_leaf().disc(60, 60, 16).disc(140, 140, 32)
    values = leaf.measured()
    # 16² : 32² = 1 : 4, so the small one holds a fifth.
    assert values["small_share"] == pytest.approx(0.2, abs=0.01)
    small_pct = 100 * np.pi * 8**2 / 40_000
    assert values["small_amount"] == pytest.approx(np.log1p(small_pct), rel=0.03)


def test_size_spread_is_zero_for_equal_lesions_and_known_for_two_sizes(drawn_leaf):
    places = [(row, col) for row in (50, 150) for col in (50, 150)]
    equal, unequal = drawn_leaf(), drawn_leaf()
    for number, place in enumerate(places):
        equal.disc(*place, 20)
        unequal.disc(*place, 20 if number % 2 else 40)
    assert equal.measured()["size_spread"] == pytest.approx(0, abs=1e-6)
    # Two of 20 and two of 40: the logarithms lie ± ln(2) / 2 around their mean.
    assert unequal.measured()["size_spread"] == pytest.approx(LN2 / 2, rel=0.03)


def test_a_disc_is_round_and_a_bar_is_not(drawn_leaf):
    disc = drawn_leaf().disc(100, 100, 40).measured()["roundness"]
    bar = drawn_leaf().bar(50, 95, 100, 10).measured()["roundness"]
    assert disc > 0.95
    # A bar of 100 × 10: 4π × 1000 / 220² = 0.26.
    assert bar == pytest.approx(0.26, abs=0.04)
    # Small ones alone: a disc of 20 px beside a long bar.
    both = drawn_leaf().bar(50, 95, 100, 10).disc(50, 50, 20).measured()
    assert both["small_roundness"] > 0.9 > both["roundness"]


def test_thickness_is_the_widest_disc_that_fits_in(drawn_leaf):
    values = drawn_leaf().bar(50, 90, 100, 20).measured()
    assert values["thickest"] == pytest.approx(20 / 200, rel=0.1)
    assert values["thickness"] == values["thickest"]


def test_breadth_is_the_share_that_a_disc_of_the_radius_reaches(drawn_leaf):
    # 9 px is half the bar's width: broader than 4 px (2 %), not than 12 px (6 %).
    bar = drawn_leaf().bar(40, 90, 120, 18).measured()
    assert bar["broad_2"] > 0.97
    assert bar["broad_6"] == bar["broad_9"] == 0
    both = drawn_leaf().bar(20, 20, 160, 10).disc(100, 130, 60).measured()
    disc_share = np.pi * 30**2 / (np.pi * 30**2 + 1600)
    assert both["broad_4"] == pytest.approx(disc_share, abs=0.03)
    assert both["broad_2"] > both["broad_4"] >= both["broad_6"] >= both["broad_9"]


def test_breadth_of_sick_tissue_counts_the_halo(drawn_leaf):
    values = drawn_leaf().halo(100, 100, 60).disc(100, 100, 10).measured()
    assert values["broad_4"] == 0
    assert values["sick_broad_4"] > 0.97
    assert values["sick_broad_6"] > 0.97


def test_scatter_compares_the_spread_of_lesions_with_that_of_the_leaf(drawn_leaf):
    leaf = drawn_leaf()
    for row in (50, 150):
        for col in (50, 150):
            leaf.disc(row, col, 20)
    # Each lesion lies 50 px off the centre in both directions; a square of 200 px has a standard
    # deviation of 200/√12 = 57.7 px. 50/57.7 = 0.87, and a little more for the discs' own size.
    assert leaf.measured()["scatter"] == pytest.approx(0.87, abs=0.02)
    # One disc of 40 px has 40/4 = 10 px: 10/57.7 = 0.17.
    assert drawn_leaf().disc(100, 100, 40).measured()["scatter"] == pytest.approx(0.17, abs=0.01)


def test_covered_is_the_share_of_fields_with_a_lesion(drawn_leaf):
    one = drawn_leaf().disc(100, 100, 10).measured()["covered"]
    leaf = drawn_leaf()
    for row in range(20, 200, 40):
        for col in range(20, 200, 40):
            leaf.disc(row, col, 10)
    # Fields are 33 px wide and begin a little outside the leaf: 7 × 7 of them touch it. 25 lesions
    # that lie farther apart than that are in 25 of them.
    assert one == pytest.approx(1 / 49)
    assert leaf.measured()["covered"] == pytest.approx(25 / 49)


def test_depth_grows_from_the_margin_to_the_middle(drawn_leaf):
    near = drawn_leaf().disc(100, 15, 20).measured()["depth"]
    far = drawn_leaf().disc(100, 100, 20).measured()["depth"]
    # Its centre lies 15 of 100 px deep; in the middle nearly all of them.
    assert near == pytest.approx(0.15, abs=0.03)
    assert far > 0.9


def test_a_pale_centre_in_a_dark_rim_is_positive_and_the_reverse_negative(drawn_leaf):
    pale = drawn_leaf().disc(100, 100, 40).disc(100, 100, 28, (200, 180, 150))
    dark = drawn_leaf().disc(100, 100, 40, (200, 180, 150)).disc(100, 100, 28)
    even = drawn_leaf().disc(100, 100, 40)
    assert pale.measured()["pale_centre"] > 0.5
    assert dark.measured()["pale_centre"] < -0.5
    assert even.measured()["pale_centre"] == pytest.approx(0, abs=0.02)


def test_rings_are_seen_and_an_even_lesion_has_none(drawn_leaf):
    ringed, even = drawn_leaf(), drawn_leaf().disc(100, 100, 80)
    for number, diameter in enumerate(range(80, 0, -12)):
        ringed.disc(100, 100, diameter, ((90, 55, 30), (150, 110, 80))[number % 2])
    assert ringed.measured()["rings"] > 0.1
    assert even.measured()["rings"] < 0.02


def test_colours_are_relative_to_the_healthy_tissue(drawn_leaf):
    dark = drawn_leaf().disc(100, 100, 40, (60, 35, 20)).measured()
    tan = drawn_leaf().disc(100, 100, 40, (170, 130, 90)).measured()
    assert dark["lesion_lightness"] < 0.5 < 1 < tan["lesion_lightness"]
    assert dark["lesion_redness"] > 0.5  # green is far on the other side of a*
    yellow = drawn_leaf().halo(100, 100, 70).disc(100, 100, 40).measured()
    assert yellow["rim_redness"] > drawn_leaf().disc(100, 100, 40).measured()["rim_redness"] + 0.2
    assert yellow["halo_redness"] > 0.2


def test_the_effective_number_counts_equal_lesions_and_passes_over_specks(drawn_leaf):
    places = [(row, col) for row in (50, 150) for col in (50, 150)]
    equal, unlike = drawn_leaf(), drawn_leaf()
    for number, place in enumerate(places):
        equal.disc(*place, 20)
        unlike.disc(*place, 6 if number else 40)
    assert equal.measured()["effective_lesions"] == pytest.approx(np.log(4), abs=1e-3)
    # Areas 1600 : 36 : 36 : 36: 1708² / (1600² + 3 · 36²) = 1.14.
    assert unlike.measured()["effective_lesions"] == pytest.approx(np.log(1.14), abs=0.02)
    assert unlike.measured()["effective_marks"] == pytest.approx(np.log(1.14), abs=0.02)


def test_yellow_beside_a_lesion_and_grey_dead_tissue_are_told(drawn_leaf):
    bare = drawn_leaf().disc(100, 100, 40).measured()
    yellow = drawn_leaf().halo(100, 100, 70).disc(100, 100, 40).measured()
    assert yellow["rim_yellowness"] > bare["rim_yellowness"] + 0.2
    assert bare["rim_yellowness"] == pytest.approx(0, abs=0.02)
    grey = drawn_leaf().disc(100, 100, 40, (120, 120, 120)).measured()
    assert grey["lesion_chroma"] < 0.05 < 0.3 < bare["lesion_chroma"]


def test_spots_that_have_merged_come_apart_when_worn_down(drawn_leaf):
    # Two discs of radius 20 px, 36 px apart: the neck is 2·√(20² - 18²) = 17 px wide, so 2 and
    # 4 px a side (1 and 2 %) leave one piece, and 16 px (8 %) two.
    merged = drawn_leaf().disc(100, 82, 40).disc(100, 118, 40).measured()
    assert merged["inner_lesions"] == pytest.approx(LN2)
    assert merged["pieces_1"] == merged["pieces_2"] == pytest.approx(LN2)
    assert merged["pieces_8"] == pytest.approx(np.log(3))
    assert drawn_leaf().disc(100, 100, 30).measured()["pieces_8"] == 0  # 15 px are less than 16


def test_a_sharp_edge_is_told_from_one_that_fades(drawn_leaf):
    sharp, faded = drawn_leaf().disc(100, 100, 18), drawn_leaf().disc(100, 100, 18)
    faded.pixels = cv2.GaussianBlur(faded.pixels, (0, 0), 3)
    assert sharp.measured()["small_edge"] > 1.5 * faded.measured()["small_edge"]


def test_solidity_is_the_share_of_the_convex_hull(drawn_leaf):
    assert drawn_leaf().disc(100, 100, 60).measured()["solidity"] == pytest.approx(1, abs=0.03)
    cross = drawn_leaf().bar(50, 90, 100, 20).bar(90, 50, 20, 100)
    # Two bars of 100 × 20 crossed have 3600 px; their hull is the square of 100 less its four
    # corners of 40 × 40 / 2: 6800 px. Closing the gaps rounds the inner corners a little.
    assert cross.measured()["solidity"] == pytest.approx(3600 / 6800, abs=0.03)


def test_the_halos_width_is_its_area_by_the_length_of_the_edge(drawn_leaf):
    leaf = drawn_leaf().halo(100, 100, 60).disc(100, 100, 40)
    # The edge of a disc of pixels has about 8 r of them: π(30² - 20²) / (8 · 20) = 9.8 px of 200.
    assert leaf.measured()["halo_width"] == pytest.approx(9.8 / 200, rel=0.05)


@pytest.mark.parametrize("turn", [0, 1], ids=["across", "upright"])
def test_on_a_long_leaf_tip_and_midrib_are_told(drawn_leaf, turn):
    def measured(row, col):
        leaf = drawn_leaf()
        leaf.classes[:70] = leaf.classes[150:] = 0  # leaves 200 × 80 px
        leaf.disc(row, col, 10)
        leaf.pixels, leaf.classes = (np.rot90(a, turn).copy() for a in (leaf.pixels, leaf.classes))
        values = leaf.measured()
        return values["tip_reach"], values["off_midrib"]

    # 80 of 100 px from the middle along the leaf; 25 px across it, where the half breadth of an
    # ellipse of the same spread is 2 · 80/√12 = 46 px.
    assert measured(100, 180) == (pytest.approx(0.8, abs=0.02), pytest.approx(0.04, abs=0.05))
    assert measured(125, 100) == (pytest.approx(0.02, abs=0.02), pytest.approx(25 / 46, abs=0.03))


def test_lesions_in_a_grid_lie_apart_and_crowded_ones_do_not(drawn_leaf):
    places = [(row, col) for row in range(25, 200, 50) for col in range(25, 200, 50)]
    grid, crowd = drawn_leaf(), drawn_leaf()
    for row, col in places:
        grid.disc(row, col, 8)
        crowd.disc(60 + row * 0.3, 60 + col * 0.3, 8)
    # 16 lesions 50 px apart on 40 000 px: 50 / (0.5 · √(40 000/16)) = 2, the most there can be in
    # squares (Clark & Evans 1954; from memory).
    assert grid.measured()["clustering"] == pytest.approx(2, rel=0.02)
    assert crowd.measured()["clustering"] == pytest.approx(0.6, rel=0.05)


def test_turning_and_mirroring_the_leaf_changes_nothing(drawn_leaf):
    leaf = drawn_leaf().halo(60, 70, 40).disc(60, 70, 24).bar(120, 30, 40, 12).disc(2, 150, 30)
    before = leaf.measured()
    for turned in (np.flipud, np.fliplr, np.rot90):
        leaf.pixels = np.ascontiguousarray(turned(leaf.pixels))
        leaf.classes = np.ascontiguousarray(turned(leaf.classes))
        after = leaf.measured()
        for name, value in before.items():
            # The fields of "covered" begin at a corner; a square has no length to go by.
            if name not in ("covered", "tip_reach", "off_midrib"):
                assert after[name] == pytest.approx(value, abs=0.02, nan_ok=True), name


def test_measuring_changes_neither_pixels_nor_masks(drawn_leaf):
    leaf = drawn_leaf().halo(60, 70, 40).disc(60, 70, 24)
    pixels, classes = leaf.pixels.copy(), leaf.classes.copy()
    leaf.measured()
    assert np.array_equal(leaf.pixels, pixels)
    assert np.array_equal(leaf.classes, classes)
