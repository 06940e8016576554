"""The burn check's verdict: figures in, a verdict with its reason out."""

import json
from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.care import entry_of, verdict_of
from models.care.burn import (
    BURNED_FROM_PCT,
    BurnCheckError,
    BurnPhoto,
    gather_test,
    judge_burn,
    worst,
)
from models.entries import LogEntry, PhotoEntry
from vision.day.burn import BurnReading
from vision.flags import explain

ZONE = ZoneInfo("Europe/Berlin")
SPRAYED = datetime(2026, 6, 2, 7, 30, tzinfo=ZONE)
SPRAY = LogEntry(4, "spray", SPRAYED, ("A3",), product="peroxide")


def photo(bleached=0.0, unsure=0.0, glare=0.0, flags=(), hours=25.0, name="a.jpg"):
    reading = BurnReading(9e4, bleached, unsure, glare, 1, np.zeros((2, 2), np.uint8), flags)
    return BurnPhoto(name, SPRAYED + timedelta(hours=hours), reading)


def judged(before, after, *others):
    pairs = [((photo(*was),), (photo(*now),)) for was, now in others]
    return judge_burn("A3", SPRAY, (photo(*before, hours=-20),), (photo(*after),), pairs)


@pytest.mark.parametrize(
    ("before", "after", "verdict"),
    [
        ((0.0,), (4.0,), "burned"),
        ((0.0,), (0.05,), "no burn seen"),
        ((3.0,), (3.0,), "no burn seen"),  # old damage is not this spray's
        ((3.0,), (3.2,), "cannot tell"),
        ((0.0, 0.0), (0.0, 1.5), "cannot tell"),  # holes or burn
        ((0.0, 0.0), (0.0, 0.3), "cannot tell"),  # more than light alone changes
        ((0.0, 1.5), (0.0, 1.5), "no burn seen"),  # the holes were there before
        ((0.0,), (0.0, 0.0, 9.0), "cannot tell"),  # glare hides
    ],
)
def test_the_change_of_the_tested_plant_decides(before, after, verdict):
    assert judged(before, after).verdict == verdict


def test_holes_that_were_others_before_may_hide_a_burn():
    assert judged((0.0, 2.5), (0.0, 0.9)).verdict == "cannot tell"
    assert judged((0.0, 2.5), (0.0, 0.0)).verdict == "no burn seen"


def test_on_a_pale_and_rough_ground_no_burn_is_never_said():
    def lying(rough):
        reading = replace(photo().reading, ground_pale=0.5, ground_rough=rough)
        return replace(photo(), reading=reading)

    for rough, verdict in ((7.0, "cannot tell"), (1.0, "no burn seen")):
        assert judge_burn("A3", SPRAY, (photo(hours=-2),), (lying(rough),)).verdict == verdict


def test_what_changed_on_unsprayed_plants_as_well_is_no_burn():
    sunburnt = ((0.0,), (3.0,))
    assert judged((0.0,), (3.0,), sunburnt, sunburnt).verdict == "cannot tell"
    assert judged((0.0,), (3.0,), ((0.0,), (0.0,))).verdict == "burned"


def test_unsprayed_plants_that_stay_as_they_were_change_nothing():
    assert judged((0.0,), (3.0,), ((1.0,), (1.0,))).figures["unsprayed_change_points"] == 0
    drifting = judged((0.0,), (3.0,), ((1.0,), (1.5,)), ((1.0,), (1.5,)), ((0.0,), (9.0,)))
    assert drifting.figures["unsprayed_change_points"] == 0.5
    assert drifting.figures["new_points"] == 2.5
    assert drifting.figures["unsprayed_plants"] == 3


def test_unsprayed_plants_that_recover_do_not_make_a_burn():
    assert judged((0.0,), (0.1,), ((5.0,), (0.0,))).verdict == "no burn seen"


@given(st.floats(0, 5), st.floats(0, 20), st.floats(0.01, 20))
def test_more_bleached_tissue_never_turns_a_burn_into_less(before, after, more):
    order = ["no burn seen", "cannot tell", "burned"]
    less, rather = (judged((before,), (value,)).verdict for value in (after, after + more))
    assert order.index(less) <= order.index(rather)


def test_no_burn_seen_never_reads_as_safe():
    seen = judged((0.0,), (0.0,))
    assert "does not mean that the spray is safe" in seen.reason


def test_the_worst_leaf_of_several_photos_counts():
    leaves = (photo(0.0), photo(2.0, name="worst.jpg"), photo(0.0))
    assert worst(leaves).photo == "worst.jpg"
    assert judge_burn("A3", SPRAY, (photo(hours=-2),), leaves).verdict == "burned"


@pytest.mark.parametrize("flag", ["blurred", "too_dark", "over_exposed"])
def test_photos_on_which_a_burn_could_not_be_seen_carry_no_verdict(flag):
    unclear = judge_burn("A3", SPRAY, (photo(hours=-2),), (photo(0.0, flags=(flag,)),))
    assert unclear.verdict == "cannot tell"
    assert "after" in unclear.reason
    nothing = BurnPhoto("x.jpg", SPRAYED + timedelta(hours=30), None)
    assert judge_burn("A3", SPRAY, (photo(hours=-2),), (nothing,)).verdict == "cannot tell"


def test_only_the_flags_that_hide_a_burn_are_told_as_the_reason():
    unclear = photo(flags=("blurred", "cut_off"))
    seen = judge_burn("A3", SPRAY, (photo(hours=-2),), (unclear,))
    assert seen.reason == f"No photo from after the spray can be used: {explain('blurred')}"
    usable = replace(unclear, reading=replace(unclear.reading, flags=("cut_off",)))
    assert judge_burn("A3", SPRAY, (usable,), (usable,)).verdict == "no burn seen"
    nothing = replace(unclear, reading=None)
    seen = judge_burn("A3", SPRAY, (nothing,), (photo(),))
    assert seen.reason == f"No photo from before the spray can be used: {explain('no_leaf')}"


def test_a_verdict_survives_the_log():
    verdict = judged((0.2,), (4.0,), ((0.0,), (0.1,)))
    assert verdict_of(entry_of(verdict)) == verdict
    kept = json.loads(entry_of(verdict).text)
    assert list(kept) == sorted(kept)  # the same check is the same text, whatever made it
    assert verdict.figures["new_points"] == pytest.approx(4.0 - 0.2 - 0.1)
    assert verdict.figures["since_spray_h"] == 25


def filed(plant, hours, name=""):
    at = SPRAYED + timedelta(hours=hours)
    return PhotoEntry(name or f"{plant}{hours:+}", f"{plant}{hours}", at, plant=plant)


PHOTOS = [filed(plant, hours) for plant in ("A3", "B1", "B2") for hours in (-200, -20, 3, 25, 49)]


def gathered(after_hours, photos=PHOTOS, log=(SPRAY,)):
    return gather_test(photos, log, "A3", SPRAYED + timedelta(hours=after_hours))


def test_a_burn_is_not_judged_before_24_hours_and_may_be_from_then_on():
    # Check 6f [garden rule; 24 to 48 h read, anecdote]
    with pytest.raises(BurnCheckError, match=r"23 hours ago.*2026-06-03 07:30"):
        gathered(23)
    with pytest.raises(BurnCheckError, match="photograph the sprayed leaves"):
        gathered(24)
    assert [p.photo for p in gathered(25).after] == ["A3+25"]


def test_24_hours_are_real_hours_when_the_clocks_change():
    # Clocks go back at 03:00 on 25 October 2026: 24 hours are over at 06:30 on the clock.
    spray = LogEntry(1, "spray", datetime(2026, 10, 24, 7, 30, tzinfo=ZONE), ("A3",), "peroxide")
    with pytest.raises(BurnCheckError, match="2026-10-25 06:30"):
        gather_test(PHOTOS, (spray,), "A3", datetime(2026, 10, 25, 6, 0, tzinfo=ZONE))


def test_photos_of_the_last_days_before_and_of_the_last_day_after_are_compared():
    test = gathered(60)
    assert [p.photo for p in test.before] == ["A3-20"]
    assert [p.photo for p in test.after] == ["A3+49"]


def test_photos_count_from_three_days_before_the_spray_until_four_after_the_wait():
    """Four days after 24 hours: 120 hours after the spray."""
    early = [filed("A3", hours) for hours in (-72.1, -72, 0, 24, 25)]
    test = gathered(200, early)
    assert [p.photo for p in test.before] == ["A3-72"]
    assert [p.photo for p in test.after] == ["A3+24", "A3+25"]
    late = [filed("A3", hours) for hours in (-1, 119, 120, 120.1, 140)]
    assert [p.photo for p in gathered(200, late).after] == ["A3+119", "A3+120"]


def test_a_photo_with_no_date_but_its_files_is_no_witness():
    undated = [replace(p, taken_from="file") if p.photo == "A3+25" else p for p in PHOTOS]
    with pytest.raises(BurnCheckError, match="photograph the sprayed leaves"):
        gathered(25, undated)


def test_only_plants_that_were_not_sprayed_stand_beside():
    soda = LogEntry(5, "spray", SPRAYED + timedelta(hours=1), ("B1",), product="soda")
    test = gathered(30, log=(SPRAY, soda))
    assert [before[0].plant for before, _ in test.others] == ["B2"]
    whole = LogEntry(5, "spray", SPRAYED + timedelta(hours=1), (), product="soda")
    assert gathered(30, log=(SPRAY, whole)).others == ()


def test_sprays_at_another_time_and_other_entries_leave_a_plant_beside():
    note = LogEntry(5, "note", SPRAYED + timedelta(hours=1), ("B1",), text="looks well")
    early = LogEntry(6, "spray", SPRAYED - timedelta(days=9), ("B2",), product="soda")
    beside = gathered(30, log=(early, SPRAY, note)).others
    assert [before[0].plant for before, _ in beside] == ["B1", "B2"]


def test_photos_of_no_plant_stand_beside_nothing():
    unassigned = [filed("", hours) for hours in (-20, 25)]
    assert gathered(30, [*PHOTOS, *unassigned]).others == gathered(30).others


def test_a_photo_that_cannot_be_used_counts_on_neither_side():
    pale = photo(9.0, flags=("blurred",))
    usable = (photo(0.0), photo(0.0))
    for others in (((pale,), (photo(),)), ((photo(),), (pale,))):
        seen = judge_burn("A3", SPRAY, (*usable, pale), (*usable, pale), [others])
        assert seen.verdict == "no burn seen"
        assert seen.figures["bleached_before_pct"] == seen.figures["bleached_after_pct"] == 0
        assert seen.figures["unsprayed_plants"] == 0


def test_missing_photos_and_sprays_are_named():
    with pytest.raises(BurnCheckError, match="before the spray"):
        gathered(30, photos=[filed("A3", 25)])
    with pytest.raises(BurnCheckError, match="No peroxide spray on A3"):
        gathered(30, log=())
    withdrawn = LogEntry(5, "spray", SPRAYED, ("A3",), "peroxide", corrects=4, withdrawn=True)
    with pytest.raises(BurnCheckError, match="No peroxide spray on A3"):
        gathered(30, log=(SPRAY, withdrawn))


def test_the_limit_of_a_burn_is_where_it_is_documented():
    assert judged((0.0,), (BURNED_FROM_PCT,)).verdict == "burned"
    assert judged((0.0,), (BURNED_FROM_PCT - 0.01,)).verdict == "cannot tell"


@pytest.mark.parametrize(("glare", "verdict"), [(3.0, "no burn seen"), (3.1, "cannot tell")])
def test_glare_on_more_than_three_percent_of_the_leaf_could_hide_a_burn(glare, verdict):
    seen = replace(photo(), reading=replace(photo().reading, glare_pct=glare))
    assert judge_burn("A3", SPRAY, (photo(hours=-2),), (seen,)).verdict == verdict


@pytest.mark.parametrize(
    ("ground_pale", "ground_rough", "verdict"),
    [(0.2, 9.0, "no burn seen"), (0.21, 9.0, "cannot tell"), (0.9, 4.0, "no burn seen")],
)
def test_a_ground_hides_a_burnt_margin_where_over_a_fifth_is_pale_and_rough(
    ground_pale, ground_rough, verdict
):
    reading = replace(photo().reading, ground_pale=ground_pale, ground_rough=ground_rough)
    seen = replace(photo(), reading=reading)
    assert judge_burn("A3", SPRAY, (photo(hours=-2),), (seen,)).verdict == verdict


@pytest.mark.parametrize(
    ("before", "after", "verdict"),
    [
        (0.0, 0.12, "no burn seen"),
        (0.0, 0.13, "cannot tell"),
        (0.0, 0.34, "cannot tell"),
        (0.0, 0.35, "burned"),
        (1.0, 1.35, "burned"),
    ],
)
def test_new_bleached_tissue_is_nothing_then_doubtful_then_a_burn(before, after, verdict):
    assert judged((before,), (after,)).verdict == verdict
