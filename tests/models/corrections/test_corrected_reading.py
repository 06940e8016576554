"""What holds of a photo after people put it right, worked out by hand on tiny readings."""

from dataclasses import replace
from datetime import UTC, datetime
from math import pi

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.corrections import Fix, Mark, Redrawn, aimed_at, corrected_reading, leaf_place
from models.corrections.arithmetic import halo_pct, usual_size_px, with_lesions
from models.corrections.places import Place, diameter_px, lying_at
from models.entries import Find, LeafEntry, PhotoEntry
from vision.records import Lesion

NOON = datetime(2025, 7, 1, 12, tzinfo=UTC)
DISC = 100 * pi / 4  # px² of a disc 10 px across


def lesion(leaf, row, col, share, area=DISC, halo_width=0.0) -> Lesion:
    size = diameter_px(area)
    return Lesion(leaf, row, col, area, size, share, 1.0, 1.0, 1.0, 20.0, halo_width, 9.0, False)


def leaf(number, area, lesion_pct, halo=0.0, count=0, row=100.0, col=100.0, **more) -> LeafEntry:
    severity = lesion_pct + halo
    ends = severity - 2 if severity > 2 else 0.0, severity + 2
    return LeafEntry(
        number, area, count, lesion_pct, halo, severity, *ends, row_px=row, col_px=col, **more
    )


def photo(*leaves, **more) -> PhotoEntry:
    area = sum(one.area_px for one in leaves)
    names = ("lesion_pct", "halo_pct", "severity_pct", "severity_low_pct", "severity_high_pct")
    sums = {
        name: sum(getattr(one, name) * one.area_px for one in leaves) / area for name in names
    } if leaves else {}  # fmt: skip
    count = {"lesion_count": sum(one.lesion_count for one in leaves)} if leaves else {}
    given = {**sums, **count, "version": "13-a", **more}
    return PhotoEntry("A1/x.jpg", "5e" * 32, NOON, plant="A1", leaves=leaves, **given)


def fix(number, what, *marks, value="", undone=False) -> Fix:
    return Fix(
        *(number, "A1/x.jpg", "5e" * 32, what, value, "13-a", "", "", NOON, undone, ""),
        tuple(Mark(*mark) for mark in marks),
    )


# A leaf of 10,000 px²: 3 % and 1 % dead, 2 % yellow; and a smaller one, whole but for its rim.
SICK = leaf(
    1, 10_000, 4.0, 2.0, 2, pattern="spot", p_spot=0.9, p_blight=0.05, p_none=0.05,
    flags=("cut_off",),
)  # fmt: skip
WELL = leaf(2, 5_000, 0.0, 1.0, 0, 100, 400, pattern="none", p_spot=0.0, p_blight=0.0, p_none=1.0)
LARGE, SMALL = lesion(1, 90, 90, 3.0, 300), lesion(1, 120, 120, 1.0, 100)
BOTH = photo(SICK, WELL, pattern="spot", flags=("cut_off", "small"))


def held(*fixes, measured=BOTH, lesions=(LARGE, SMALL), finds=(), redrawn=()):
    return corrected_reading(measured, lesions, finds, fixes, redrawn)


def test_without_corrections_a_photo_is_as_it_was_measured():
    assert held().photo == BOTH
    assert held(fix(1, "not_lesion", (90, 90, 20), undone=True)).photo == BOTH


def test_a_rejected_lesion_takes_its_area_and_rim_along():
    # Perimeter of a disc of 100π/4 px²: 10π px; a rim 2 px wide on it is 20π px² = 62.83 px².
    rimmed = lesion(1, 90, 90, 1.0, DISC, halo_width=2.0)
    assert halo_pct(rimmed) == pytest.approx(100 * 20 * pi / (100 * DISC))
    before = leaf(1, 100 * DISC, 1.0, 1.0, 1)
    after = with_lesions(before, [rimmed])
    assert after.lesion_count == 0
    assert (after.lesion_pct, after.halo_pct) == (0.0, pytest.approx(0.2))
    assert after.severity_pct == pytest.approx(0.2)
    # Both ends go down with it, by 1.8, but not below nothing: from 0 to 4 - 1.8.
    assert after.severity_low_pct == 0.0
    assert after.severity_high_pct == pytest.approx(2.2)


def test_one_lesion_of_two_rejected_changes_leaf_and_photo():
    found = held(fix(1, "not_lesion", (121, 119, 11.3)))
    first = found.photo.leaves[0]
    assert (first.lesion_count, first.severity_pct) == (1, pytest.approx(5.0))
    # (5 % of 10,000 + 1 % of 5,000) / 15,000
    assert found.photo.severity_pct == pytest.approx(100 * 550 / 15_000)
    assert found.photo.lesion_count == 1
    assert found.photo.pattern == "spot"  # as it was called
    assert [(one.number, one.state, one.fix) for one in found.lesions] == [
        (1, "measured", None),
        (2, "rejected", 1),
    ]
    assert found.measured == BOTH


def test_a_leaf_that_loses_its_last_lesion_has_no_pattern_left():
    found = held(fix(1, "not_lesion", (90, 90, 20)), fix(2, "not_lesion", (120, 120, 11)))
    assert found.photo.leaves[0].lesion_pct == 0.0
    assert (found.photo.leaves[0].pattern, found.photo.pattern) == ("none", "none")
    assert found.photo.p_none == 1.0


def test_a_missed_lesion_is_a_disc_and_widens_the_interval():
    before = leaf(1, 1000, 10.0, 0.0, 3)
    # 20 px² of 1000 are 2 %: from 8 + 2/4 to 12 + 2 * 9/4.
    after = with_lesions(before, [], [diameter_px(20)])
    assert after.severity_pct == pytest.approx(12.0)
    assert (after.severity_low_pct, after.severity_high_pct) == pytest.approx((8.5, 16.5))
    assert after.lesion_count == 4


def test_a_missed_lesion_goes_to_the_leaf_that_it_lies_on():
    found = held(fix(1, "lesion", (100, 380, diameter_px(50))))
    assert found.photo.leaves[0] == SICK
    assert found.photo.leaves[1].lesion_pct == pytest.approx(1.0)
    assert found.photo.leaves[1].pattern == "unsure"  # it was called without it
    (added,) = [one for one in found.lesions if one.state == "added"]
    assert (added.leaf, added.number, added.lesion) == (2, 1, None)


def test_the_usual_size_is_that_of_the_leafs_middle_lesion_or_a_small_spot():
    assert usual_size_px(SICK, [SMALL, LARGE]) == pytest.approx(diameter_px(300))
    assert usual_size_px(WELL, [SMALL, LARGE]) == pytest.approx(0.04 * 5_000**0.5)


def test_what_is_no_leaf_goes_with_its_lesions_and_its_flags():
    found = held(fix(1, "not_leaf", (100, 100, diameter_px(10_000))))
    assert found.photo.leaves == (WELL,)
    assert found.photo.severity_pct == pytest.approx(1.0)
    assert (found.photo.lesion_count, found.photo.pattern) == (0, "none")
    assert found.photo.flags == ("small",)
    assert [leaf.state for leaf in found.leaves] == ["rejected", "measured"]
    assert {one.state for one in found.lesions} == {"rejected"}


def test_a_photo_without_any_leaf_left_has_no_severity():
    marks = [leaf_place(one).mark for one in BOTH.leaves]
    found = held(fix(1, "not_leaf", marks[0]), fix(2, "not_leaf", marks[1])).photo
    assert found.leaves == ()
    assert found.severity_pct is found.severity_low_pct is found.lesion_count is None
    assert (found.pattern, found.blight_kind, found.p_spot) == ("", "", None)


def test_a_redrawn_leaf_stands_in_the_place_of_the_one_it_was_drawn_for():
    inside = Redrawn(1, "13-a", leaf(1, 20_000, 1.0, 0.0, 1, 105, 105), (lesion(1, 90, 90, 1.0),))
    square = [(0, 0), (0, 200), (200, 200), (200, 0)]
    found = held(fix(1, "outline", (100, 100, 113), *square), redrawn=[inside])
    assert [(one.entry.leaf, one.state) for one in found.leaves] == [
        (1, "redrawn"),
        (2, "measured"),
    ]
    assert found.photo.severity_pct == pytest.approx((1.0 * 20_000 + 1.0 * 5_000) / 25_000)
    assert len(found.leaves[0].outline_px) == 4
    # A lesion inside it can be rejected like any other.
    again = held(
        fix(1, "outline", (100, 100, 113), *square), fix(2, "not_lesion", (90, 90, 10)),
        redrawn=[inside],
    )  # fmt: skip
    assert again.photo.leaves[0].severity_pct == 0.0


def test_a_leaf_drawn_where_none_was_found_is_measured():
    empty = photo(flags=("no_leaf", "small"))
    inside = Redrawn(1, "13-a", leaf(1, 1000, 3.0))
    found = held(
        fix(1, "outline", (0, 0), (0, 9), (9, 9)), measured=empty, lesions=(), redrawn=[inside]
    ).photo
    assert (found.severity_pct, found.flags) == (3.0, ("small",))


def test_the_growers_word_stands_above_what_was_called():
    late = held(fix(1, "pattern", value="blight late")).photo
    assert (late.pattern, late.blight_kind, late.leaves[0].blight_kind) == (
        "blight",
        "late",
        "late",
    )
    assert late.leaves[1] == WELL
    other = held(fix(1, "pattern", value="spot"), fix(2, "pattern", value="other")).photo
    assert (other.pattern, other.blight_kind) == ("unsure", "")
    second = held(fix(1, "pattern", leaf_place(WELL).mark, value="blight early")).photo
    assert (second.pattern, second.leaves[1].pattern) == ("spot", "blight")


def test_a_label_is_a_word_on_the_largest_leaf_as_the_program_sees_it():
    mark = leaf_place(SICK).mark
    assert held(fix(1, "pattern", mark, value="spot")).label.value == "spot"
    assert held(fix(1, "pattern", leaf_place(WELL).mark, value="spot")).label is None
    assert held(fix(1, "pattern", mark, value="spot"), fix(2, "not_leaf", mark)).label is None


def test_rejected_and_missed_droppings_and_caterpillars_are_counted():
    finds = [Find("dropping", n, 10.0 * n, 50, 4, 3, 0.9) for n in (1, 2, 3)]
    ground = photo(frass_count=3)
    found = held(
        fix(1, "not_dropping", (20, 50, 4)), fix(2, "dropping", (70, 70, 4)),
        fix(3, "dropping", (80, 70, 4)), measured=ground, lesions=(), finds=finds,
    )  # fmt: skip
    assert found.photo.frass_count == 4
    assert [one.state for one in found.things] == ["measured", "rejected", "measured"] + [
        "added"
    ] * 2
    night = photo(mode="night", caterpillar_count=2, caterpillar_low=1, caterpillar_high=4)
    bodies = [Find("caterpillar", n, 100.0 * n, 50, 60, 8, 0.9) for n in (1, 2)]
    one = held(fix(1, "not_caterpillar", (200, 50, 60)), measured=night, finds=bodies).photo
    assert (one.caterpillar_count, one.caterpillar_low, one.caterpillar_high) == (1, 0, 3)
    three = held(fix(1, "caterpillar", (400, 50, 60)), measured=night, finds=bodies).photo
    assert (three.caterpillar_count, three.caterpillar_low, three.caterpillar_high) == (3, 2, 5)


def test_a_photo_that_is_not_used_says_nothing_and_why():
    found = held(fix(1, "unused"), measured=replace(BOTH, frass_count=3, chewed_pct=5.0)).photo
    assert (found.severity_pct, found.leaves, found.frass_count, found.chewed_pct) == (
        *(None, (), None, None),
    )
    assert found.flags == ("small", "cut_off", "set_aside")
    assert (found.photo, found.plant, found.taken_at) == (BOTH.photo, BOTH.plant, BOTH.taken_at)


def test_what_was_not_eaten_is_nothing():
    eaten = replace(BOTH, chewed_pct=12.0)
    assert held(fix(1, "not_eaten"), measured=eaten).photo.chewed_pct == 0.0


def test_corrections_find_again_what_lies_at_their_place_in_a_newer_reading():
    # Numbered otherwise, and its middle moved by less than its own size.
    newer = (lesion(1, 120, 120, 1.5, 150), lesion(1, 92, 91, 3.0, 300))
    reject, add = fix(1, "not_lesion", (90, 90, 20)), fix(2, "lesion", (121, 119, 11))
    found = held(reject, add, lesions=newer)
    assert [(one.number, one.state) for one in found.lesions] == [(1, "measured"), (2, "rejected")]
    assert found.idle == {2}  # what had been missed is measured now
    gone = held(reject, lesions=(SMALL,), measured=photo(leaf(1, 10_000, 1.0, 0.0, 1)))
    assert gone.idle == {1}
    assert gone.photo == gone.measured


def test_where_only_the_number_is_known_each_word_counts_for_one():
    old = photo(frass_count=2)
    assert held(fix(1, "not_dropping", (5, 5, 4)), measured=old, lesions=()).photo.frass_count == 1


def test_the_edition_changes_with_each_word_and_each_new_reading():
    editions = {
        held().edition,
        held(fix(1, "unused")).edition,
        held(fix(1, "unused", undone=True)).edition,
        held(measured=replace(BOTH, version="14-b")).edition,
    }
    assert len(editions) == 4


def test_a_tap_means_the_nearest_thing_within_a_fingers_breadth():
    places = [Place(1, 1, 100, 100, 40), Place(1, 2, 100, 130, 6)]
    assert aimed_at(Mark(101, 129), places, "lesion", 1000) == 1
    assert aimed_at(Mark(90, 95), places, "lesion", 1000) == 0
    assert aimed_at(Mark(300, 300), places, "lesion", 1000) is None
    assert lying_at(Mark(100, 131, 6), places) == 1
    assert lying_at(Mark(100, 140, 6), places) is None


WHAT = st.sampled_from(
    [
        ("not_lesion", (90, 90, 20)), ("not_lesion", (120, 120, 11)), ("not_eaten",),
        ("lesion", (100, 390, 9)), ("lesion", (60, 60, 5)), ("not_leaf", (100, 400, 80)),
        ("not_leaf", (100, 100, 113)), ("dropping", (5, 5, 4)), ("not_dropping", (10, 50, 4)),
    ]
)  # fmt: skip


@given(st.lists(st.tuples(WHAT, st.booleans()), max_size=9), st.randoms(use_true_random=False))
def test_only_the_fixes_in_force_count_and_not_their_order(said, chance):
    finds = [Find("dropping", 1, 10, 50, 4, 3, 0.9)]
    fixes = [fix(n, *what, undone=undone) for n, (what, undone) in enumerate(said, start=1)]
    measured = replace(BOTH, frass_count=1, chewed_pct=2.0)
    found = held(*fixes, measured=measured, finds=finds).photo
    holding = [one for one in fixes if not one.undone]
    chance.shuffle(holding)
    alone = held(*holding, measured=measured, finds=finds).photo
    assert found.leaves == alone.leaves or [
        (one.leaf, pytest.approx(one.severity_pct), one.lesion_count) for one in alone.leaves
    ] == [(one.leaf, one.severity_pct, one.lesion_count) for one in found.leaves]
    assert (found.pattern, found.frass_count, found.chewed_pct, found.flags) == (
        *(alone.pattern, alone.frass_count, alone.chewed_pct, alone.flags),
    )
    for one in found.leaves:
        ends = one.severity_low_pct, one.severity_pct, one.severity_high_pct
        assert 0 <= ends[0] <= ends[1] <= ends[2] <= 100
