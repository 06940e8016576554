"""What a result says of itself: how it was read, what was counted, and why it was not measured."""

from dataclasses import replace
from datetime import datetime

import pytest

from scripts.score.results import PhotoResult, from_json, to_json
from vision.flags import explain
from vision.records import DayReading, LeafReading, Lesion, NightReading

LESION = Lesion(1, 1.1, 2.2, 3.3, 4.4, 5.5, 0.6, 1.7, 0.8, -9.9, 0.1, 7.7, True)


def leaf(number, lesions):
    return LeafReading(number, 5.0, 6.0, 700, (LESION,) * lesions, 1, 2, 3, 2, 4, (45, -18, 28))


TWO_LEAVES = DayReading((leaf(1, 2), leaf(2, 1)), severity_pct=3.0, frass_count=0)
NO_LEAF = DayReading((), ("no_leaf",))
NONE, DAY = PhotoResult("x.jpg", problem="is empty."), PhotoResult("x.jpg", reading=TWO_LEAVES)
NIGHT = PhotoResult("x.jpg", night=NightReading(caterpillar_count=0))
READ_AS_NIGHT = PhotoResult("x.jpg", night=NightReading(), flags=("not_uv_photo",))
WITHOUT_LEAF = PhotoResult("x.jpg", reading=NO_LEAF, flags=NO_LEAF.flags)
ONE_DROPPING = replace(WITHOUT_LEAF, reading=replace(NO_LEAF, frass_count=1))


@pytest.mark.parametrize(
    ("result", "mode", "leaves", "lesions", "measured", "status"),
    [
        (NONE, None, None, None, False, "unreadable"),
        (DAY, "day", 2, 3, True, "ok"),
        (NIGHT, "night", None, None, True, "ok"),
        (READ_AS_NIGHT, "night", None, None, False, "flagged"),
        (WITHOUT_LEAF, "day", 0, None, False, "flagged"),
        (ONE_DROPPING, "day", 0, None, True, "flagged"),
        (replace(WITHOUT_LEAF, reading=replace(NO_LEAF, frass_count=0)), "day", 0, None, False,
         "flagged"),
        (replace(DAY, flags=("small",)), "day", 2, 3, True, "flagged"),
    ],
)  # fmt: skip
def test_what_a_result_says_of_itself(result, mode, leaves, lesions, measured, status):
    assert (result.mode, result.leaf_count, result.lesion_count) == (mode, leaves, lesions)
    assert (result.measured, result.status) == (measured, status)
    assert bool(result.why_not) != measured


def test_why_a_photo_was_not_measured_is_its_problem_or_the_flags_that_stop_it():
    assert NONE.why_not == "is empty."
    assert WITHOUT_LEAF.why_not == f"could not be measured. {explain('no_leaf')}"
    assert replace(WITHOUT_LEAF, flags=("small", "no_leaf")).why_not == WITHOUT_LEAF.why_not
    nothing = replace(WITHOUT_LEAF, flags=())
    assert nothing.why_not == "could not be measured. Nothing was found on it."


@pytest.mark.parametrize(
    ("name", "filed", "plant"),
    [("A1/x.jpg", None, "A1"), ("x.jpg", None, ""), ("A1/x.jpg", "B2", "B2"), ("A1/x.jpg", "", "")],
)
def test_its_plant_is_the_filed_one_or_the_folders(name, filed, plant):
    assert PhotoResult(name, filed_plant=filed).plant == plant


@pytest.mark.parametrize("result", [DAY, NIGHT, ONE_DROPPING])
def test_what_comes_back_from_json_is_the_same_and_marked_as_kept(result):
    result = replace(result, taken_at=datetime(2025, 7, 1, 12))
    assert not result.kept
    back = from_json(to_json(result))
    assert back.kept
    assert to_json(replace(back, kept=False)) == to_json(result)
