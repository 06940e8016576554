"""The closing words: worst first, what could not be used and why, where the files are."""

from datetime import datetime
from pathlib import Path

import pytest

from models.pattern import PatternCall
from scripts.batch import Run
from scripts.results import PhotoResult
from scripts.summary import standings, summary, worst_overlay
from vision.find import Finding
from vision.flags import explain
from vision.records import DayReading, LeafReading, Lesion

LESION = Lesion(1, 1.0, 1.0, 9.0, 3.4, 1.0, 1.0, 1.0, 1.0, 20.0, 0.0, 5.0, False)


def photo(name, severity, spread=1.0, flags=(), lesions=1, **more):
    low, high = severity - spread, severity + spread
    leaf = LeafReading(
        1, 1.0, 1.0, 900.0, (LESION,) * lesions, severity, 0.0, severity, low, high, (50, -20, 30)
    )
    reading = DayReading((leaf,), flags, 900.0, severity, 0.0, severity, low, high)
    when = datetime(2024, 7, 1)
    return PhotoResult(name, "ab", when, "file", 40, 30, flags, reading, **more)


def without_leaf(name):
    return PhotoResult(name, flags=("no_leaf",), reading=DayReading((), ("no_leaf",)))


def broken(name, problem="is empty: copy it again from the phone."):
    return PhotoResult(name, problem=problem)


def run_of(*results, finding=None, overlays=()):
    return Run(Path("out"), finding or Finding(()), results, overlays)


def test_plants_come_worst_first_with_the_mean_of_their_photos():
    found = standings([photo("a/1", 4.0), photo("b/1", 10.0), photo("b/2", 20.0, spread=3.0)])
    assert [standing.name for standing in found] == ["b", "a"]
    worst = found[0]
    # (10 + 20) / 2 = 15; lows 9 and 17 give 13, highs 11 and 23 give 17.
    assert worst.severity_pct == pytest.approx(15.0)
    assert (worst.low_pct, worst.high_pct) == (pytest.approx(13.0), pytest.approx(17.0))
    assert (worst.photos, worst.leaves, worst.lesions) == (2, 2, 2)


def test_without_folders_the_photos_themselves_come_worst_first():
    found = standings([photo("a.jpg", 1.0), photo("b.jpg", 2.0)])
    assert [standing.name for standing in found] == ["b.jpg", "a.jpg"]
    assert "Worst photos first" in summary(run_of(photo("a.jpg", 1.0)))
    assert "Worst plants first" in summary(run_of(photo("p/a.jpg", 1.0)))


def test_plants_of_one_name_in_two_beds_stay_apart():
    results = [photo("bed-1/tom/x", 2.0), photo("bed-2/tom/x", 6.0), photo("bed-2/ann/x", 1.0)]
    found = standings(results)
    assert [standing.name for standing in found] == ["bed-2/tom", "bed-1/tom", "ann"]
    assert [standing.severity_pct for standing in found] == [6.0, 2.0, 1.0]


def test_a_photo_that_was_not_measured_does_not_count_as_healthy():
    found = standings([photo("p/1", 8.0), without_leaf("p/2"), broken("p/3"), broken("q/1")])
    assert [(standing.name, standing.severity_pct) for standing in found] == [("p", 8.0)]


def test_what_could_not_be_used_is_counted_by_its_reason():
    shown = summary(
        run_of(photo("a", 1.0), broken("b"), broken("c"), without_leaf("d"), broken("e", "is odd."))
    )
    assert "1 of 5 photos measured." in shown
    assert "4 photos could not be used:" in shown
    assert "2 × a file that is empty: copy it again from the phone." in shown
    assert "1 × a file that is odd." in shown
    assert f"1 × {explain('no_leaf')}" in shown
    assert "problems.txt" in shown


def test_flags_of_measured_photos_are_explained_and_counted():
    shown = summary(run_of(photo("a", 1.0, flags=("blurred",)), photo("b", 1, flags=("blurred",))))
    assert f"2 × {explain('blurred')}" in shown
    assert "could not be used" not in shown
    assert "problems.txt" not in shown


def test_a_long_list_ends_after_ten_and_says_how_many_more_there_are():
    shown = summary(run_of(*(photo(f"p{number}/x", float(number)) for number in range(25))))
    lines = [line for line in shown.splitlines() if "lesion," in line or line.endswith("lesion")]
    assert len(lines) == 10
    assert lines[0].split()[0] == "p24"
    assert "and 15 more in photos.csv" in shown


def test_kept_readings_are_counted():
    shown = summary(run_of(photo("a", 1.0, kept=True), photo("b", 1.0)))
    assert "1 photo unchanged since an earlier run: not measured again." in shown
    assert "not measured again" not in summary(run_of(photo("b", 1.0)))


def test_what_was_passed_over_is_counted():
    finding = Finding((), hidden_count=1, other_count=2, output_count=1)
    shown = summary(run_of(photo("a", 1.0), finding=finding))
    assert "Passed over: 1 hidden entry, 2 files of other kinds, 1 folder of results." in shown


def test_the_words_promise_no_diagnosis():
    shown = summary(run_of(photo("a", 12.34)))
    assert "of the leaf area looked at" in shown
    assert "not a diagnosis" in shown
    assert "12.3 % (11.3 to 13.3)" in shown


def call(pattern, kind="", **chances):
    known = {"spot": 0.0, "blight": 0.0, "none": 0.0} | chances
    return PatternCall(pattern, *known.values(), kind, 0.5, "Because.")


SPOT, HEALTHY = call("spot", spot=0.8), call("none", none=0.9)
LATE = call("blight", "late", blight=0.8)


def test_a_plants_pattern_is_that_of_all_its_leaves_together():
    results = [
        photo("a/1", 4.0, leaf_patterns=(HEALTHY, SPOT)),
        photo("a/2", 0.0, leaf_patterns=(HEALTHY,)),
        photo("b/1", 1.0, leaf_patterns=(SPOT, LATE)),
        photo("c/1", 0.5),
    ]
    found = {standing.name: standing.pattern for standing in standings(results)}
    assert found["a"].pattern == "spot"
    assert found["b"].pattern == "unsure"  # (0.8 + 0) / 2 for each
    assert found["c"] is None
    shown = summary(run_of(*results))
    assert "lesion; spot-like" in shown or "lesions; spot-like" in shown
    assert "A pattern says what lesions look like. It is not a diagnosis." in shown


def test_late_blight_like_plants_are_all_named_with_what_to_do():
    late = [photo(f"p{n}/x", float(n), leaf_patterns=(LATE,)) for n in range(12)]
    shown = summary(run_of(*late))
    (line,) = [line for line in shown.splitlines() if line.startswith("Late-blight-like: ")]
    assert all(f"p{n}" in line for n in range(12))
    assert "Isolate, do not compost, show it to an extension service or plant clinic." in shown
    assert "Late-blight-like" not in summary(run_of(photo("a/1", 4.0, leaf_patterns=(SPOT,))))


def test_the_overlay_named_is_that_of_the_worst_photo_measured():
    overlays = tuple(Path(f"{number}.jpg") for number in range(4))
    run = run_of(
        photo("a", 1.0), broken("b"), photo("c", 9.0), without_leaf("d"), overlays=overlays
    )
    assert worst_overlay(run) == Path("2.jpg")
    assert "Look first at 2.jpg" in summary(run)
    assert worst_overlay(run_of(photo("a", 1.0))) is None
    assert worst_overlay(run_of(broken("a"), overlays=overlays[:1])) is None


def test_a_name_with_control_signs_cannot_paint_the_terminal():
    assert "\x1b" not in summary(run_of(photo("\x1b[2Jx/y", 1.0)))
