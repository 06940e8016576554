"""The closing words: worst first, what could not be used and why, where the files are."""

import re
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import pytest

from models.pattern import PatternCall, combine
from scripts.score.results import PhotoResult
from scripts.score.run import Run
from scripts.score.summary import standings, summary, worst_overlay
from vision.flags import explain
from vision.photo.find import Finding
from vision.records import DayReading, LeafReading, Lesion

LESION = Lesion(1, 1.0, 1.0, 9.0, 3.4, 1.0, 1.0, 1.0, 1.0, 20.0, 0.0, 5.0, False)


def photo(
    name, severity, spread=1.0, flags=(), lesions=1, day=1, taken_from="exif", content="", **more
):
    low, high = severity - spread, severity + spread
    leaf = LeafReading(
        1, 1.0, 1.0, 900.0, (LESION,) * lesions, severity, 0.0, severity, low, high, (50, -20, 30)
    )
    leaves = tuple(replace(leaf, leaf=n + 1) for n in range(len(more.get("leaf_patterns", "1"))))
    reading = DayReading(leaves, flags, 900.0, severity, 0.0, severity, low, high)
    when = datetime(2024, 7, day)
    if "leaf_patterns" in more:
        more["pattern"] = combine(list(more["leaf_patterns"]), 0.5)
    content = content or name
    return PhotoResult(name, content, when, taken_from, 40, 30, flags, reading, **more)


def without_leaf(name):
    return PhotoResult(name, flags=("no_leaf",), reading=DayReading((), ("no_leaf",)))


def broken(name, problem="is empty: copy it again from the phone."):
    return PhotoResult(name, problem=problem)


def run_of(*results, finding=None, overlays=()):
    return Run(Path("out"), finding or Finding(()), results, overlays)


def test_plants_come_worst_first_by_their_last_visit_with_its_day_and_direction():
    """What a plant was like weeks ago does not make it look better, or worse, today."""
    results = [
        photo(f"{plant}/{day}", severity, day=day)
        for plant, course in (("a", (30, 20, 12, 6, 3)), ("b", (1, 2, 5, 12, 25)))
        for day, severity in zip((1, 8, 15, 22, 29), course, strict=True)
    ]
    worst, other = standings(results)
    assert (worst.name, worst.severity_pct, worst.day) == ("b", 25.0, date(2024, 7, 29))
    assert (worst.going, other.going) == ("▲ rising", "▼ falling")
    assert (worst.photos, worst.leaves, worst.lesions) == (1, 1, 1)
    shown = summary(run_of(*results))
    assert "Worst plants first, by the last visit" in shown
    assert re.search(r"b +Mon 29 Jul +25\.0 % .* ▲ rising", shown)


def test_the_photos_of_a_day_are_one_visit_with_the_interval_of_the_plants_mean():
    (found,) = standings([photo("b/1", 10.0), photo("b/2", 20.0)])
    assert found.severity_pct == pytest.approx(15.0)
    # Leaves so unlike each other leave more open than the measuring of each does.
    assert found.low_pct < 9
    assert found.high_pct > 21
    assert (found.photos, found.leaves, found.lesions) == (2, 2, 2)


def test_flagged_photos_of_a_day_count_only_where_there_are_no_others():
    (found,) = standings([photo("b/1", 10.0), photo("b/2", 20.0, flags=("blurred",))])
    assert found.severity_pct == 10.0
    (found,) = standings([photo("b/2", 20.0, flags=("blurred",))])
    assert found.severity_pct == 20.0


def test_a_plant_whose_photos_have_no_date_of_their_own_is_given_none():
    (found,) = standings([photo("b/1", 10.0, taken_from="file")])
    assert found.day is None
    assert "no date" in summary(run_of(photo("b/1", 10.0, taken_from="file")))


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
    assert "= 2 measured + 0 named + 0 passed over." in shown
    assert "problems.txt" not in shown
    assert "one sentence each" not in shown


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


def test_a_plants_pattern_is_that_of_its_last_visit_in_the_words_of_flag():
    results = [
        photo("a/1", 4.0, leaf_patterns=(HEALTHY, SPOT)),
        photo("a/2", 0.0, leaf_patterns=(HEALTHY,)),
        photo("b/1", 1.0, leaf_patterns=(SPOT, LATE)),
        photo("c/1", 0.5),
        photo("d/1", 9.0, leaf_patterns=(SPOT,)),
        photo("d/2", 0.0, day=8, leaf_patterns=(HEALTHY,)),
    ]
    found = {standing.name: standing for standing in standings(results)}
    assert found["a"].pattern == "spot-like"
    assert found["b"].pattern == "late-blight-like"  # one leaf is enough to be named
    assert found["c"].pattern == ""
    assert found["d"].pattern == "no pattern"
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


def test_a_copy_under_another_name_counts_once_for_its_plant_and_is_named():
    first, other = photo("a/1.jpg", 4.0, content="x"), photo("a/2.jpg", 10.0)
    copies = [photo(f"a/copy-{n}.jpg", 4.0, content="x") for n in range(2)]
    (alone,) = standings([first, other])
    (found,) = standings([first, *copies, other])
    assert found == alone
    said = summary(run_of(first, *copies, other))
    assert "4 of 4 photos measured" in said
    assert "2 photos are copies of another" in said
    assert "“a/copy-0.jpg” is “a/1.jpg”, “a/copy-1.jpg” is “a/1.jpg”" in said
    assert "copies" not in summary(run_of(first, other))


def test_a_copy_in_another_plants_folder_is_named_and_counts_for_that_plant():
    results = [photo("a/1.jpg", 4.0, content="x"), photo("b/1.jpg", 4.0, content="x")]
    assert {one.name for one in standings(results)} == {"a", "b"}
    assert "“b/1.jpg” is “a/1.jpg”" in summary(run_of(*results))


def test_without_plants_a_copy_has_no_line_of_its_own():
    results = [photo("1.jpg", 4.0, content="x"), photo("2.jpg", 4.0, content="x")]
    assert [one.name for one in standings(results)] == ["1.jpg"]
