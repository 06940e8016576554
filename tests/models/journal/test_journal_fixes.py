"""What people put right is kept beside what was measured, and whatever reads the record follows."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from models.corrections import Mark, Redrawn
from models.entries import Find, LeafEntry, PhotoEntry
from models.journal import JournalError, Wish
from models.journal.errors import StaleError
from vision.records import Lesion

NOON = datetime(2025, 7, 1, 12, tzinfo=UTC)
LEAF = LeafEntry(1, 5000.0, 2, 1.1, 2.2, 3.3, 2.5, 4.1, row_px=30.0, col_px=60.0)
FAR = {"leaf": 2, "row_px": 400.0, "col_px": 500.0}
FIRST = PhotoEntry(
    "A1/x.jpg", "5e" * 32, NOON, plant="A1", plant_from="folder", version="7",
    leaves=(LEAF, replace(LEAF, **FAR, severity_pct=8.0)), severity_pct=5.0, width_px=4000,
)  # fmt: skip
SECOND = replace(
    FIRST, photo="A2/y.jpg", sha256="6f" * 32, plant="A2", taken_at=NOON + timedelta(days=1),
    leaves=(replace(LEAF, severity_pct=1.0), replace(LEAF, **FAR, lesion_count=0)),
)  # fmt: skip
THIRD = replace(FIRST, photo="A3/z.jpg", sha256="70" * 32, plant="A3", severity_pct=9.0)
LESION = Lesion(1, 1.1, 2.2, 3.3, 4.4, 5.5, 0.6, 1.7, 0.8, -9.9, 0.1, 7.7, True)
OUTLINE = (Mark(0, 0), Mark(0, 99), Mark(99, 99))
INSIDE = Redrawn(0, "7", replace(LEAF, severity_pct=6.5), (LESION, replace(LESION, area_px=2.0)))


@pytest.fixture
def filed(journal):
    """Make a journal of three photos."""
    for number, photo in enumerate((FIRST, SECOND, THIRD), start=1):
        found = Find("dropping", 1, 5.5, 6.6, 3.3, 2.2, 0.1 * number)
        journal.file_reading(photo, [replace(LESION, area_px=float(number))], [found])
    return journal


def redraw(journal, photo):
    return journal.put_right(photo.sha256, Wish("outline", marks=OUTLINE, redrawn=INSIDE))[0]


def stored(journal, query):
    with journal.reading() as connection:
        return connection.exec_driver_sql(query).all()


def test_the_severities_of_leaves_are_those_that_hold_with_what_was_put_right(filed):
    filed.correct_pattern(FIRST.sha256, "blight", "late")
    redraw(filed, SECOND)
    rows = filed.leaf_severities()
    held = [
        (photo.plant, photo.taken_at, leaf.lesion_count, leaf.severity_pct)
        for photo in filed.photos()
        for leaf in photo.leaves
    ]
    assert sorted((one.plant, one.taken_at, *one[5:7]) for one in rows) == sorted(held)
    assert 6.5 in [one.severity_pct for one in rows]
    assert {row.plant for row in rows} == {"A1", "A2", "A3"}
    assert len(rows) == 6  # the redrawn outline is a leaf in the place of one


def test_a_photo_has_its_own_lesions_and_finds_and_no_others(filed):
    for number, photo in enumerate((FIRST, SECOND, THIRD), start=1):
        held = filed.corrected(photo.sha256)
        assert [seen.lesion.area_px for seen in held.lesions] == [number]
        assert [seen.find.confidence for seen in held.things] == [0.1 * number]
    filed.put_right(SECOND.sha256, Wish("not_lesion", marks=(Mark(1.1, 2.2, 2.0),)))
    for photo, state in ((FIRST, "measured"), (SECOND, "rejected"), (THIRD, "measured")):
        assert [seen.state for seen in filed.corrected(photo.sha256).lesions] == [state]


def test_leaves_are_found_by_plant_and_time_whether_put_right_or_not(filed):
    redraw(filed, SECOND)
    for photo in (FIRST, SECOND, THIRD):
        found = filed.leaf_severities(photo.plant)
        assert {leaf.sha256 for leaf in found} == {photo.sha256}
    late = filed.leaf_severities(since=SECOND.taken_at)
    assert {leaf.plant for leaf in late} == {"A2"}
    assert sorted(leaf.severity_pct for leaf in late) == [3.3, 6.5]


def test_an_outline_is_measured_again_for_another_version_while_it_holds(filed):
    fix = redraw(filed, FIRST)
    redraw(filed, SECOND)
    assert filed.redrawn_since(FIRST.sha256, "7") == ()
    assert [one.number for one in filed.redrawn_since(FIRST.sha256, "8")] == [fix.number]
    for _ in range(2):  # by two runs perhaps
        filed.add_redrawn(replace(INSIDE, fix=fix.number, version="8"))
    assert filed.redrawn_since(FIRST.sha256, "8") == ()
    filed.undo_fix(FIRST.sha256)
    assert filed.redrawn_since(FIRST.sha256, "9") == ()
    filed.correct_pattern(THIRD.sha256, "spot")
    assert filed.redrawn_since(THIRD.sha256, "9") == ()


def test_the_outlines_own_version_is_what_holds_in_it(filed):
    fix = redraw(filed, FIRST)
    other = replace(LEAF, severity_pct=60.0)
    for version in ("6", "8"):
        filed.add_redrawn(replace(INSIDE, fix=fix.number, version=version, leaf=other))
    assert [leaf.severity_pct for leaf in filed.leaf_severities("A1")] == [6.5, 8.0]


def test_places_and_lesions_are_numbered_from_one_in_their_order(filed):
    fix = redraw(filed, FIRST)
    assert fix.marks == OUTLINE
    places = stored(filed, "SELECT position, col_px FROM marks ORDER BY position")
    assert places == [(1, 0.0), (2, 99.0), (3, 99.0)]
    lesions = stored(filed, "SELECT lesion, area_px FROM redrawn_lesions ORDER BY lesion")
    assert lesions == [(1, 3.3), (2, 2.0)]


def test_what_was_looked_at_before_another_word_is_stale(filed):
    seen = filed.corrected(FIRST.sha256).edition
    filed.refuse_stale(FIRST.sha256, seen)
    filed.correct_pattern(FIRST.sha256, "none")
    for _ in range(2):  # taken back, it is still not what was looked at
        for act in (
            lambda: filed.refuse_stale(FIRST.sha256, seen),
            lambda: filed.put_right(FIRST.sha256, Wish("removed"), seen),
            lambda: filed.undo_fix(FIRST.sha256, seen=seen),
        ):
            with pytest.raises(StaleError, match="Nothing was changed"):
                act()
        filed.undo_fix(FIRST.sha256)
    assert len(filed.photos()) == 3
    fresh = filed.corrected(FIRST.sha256).edition
    filed.refuse_stale(FIRST.sha256, fresh)
    assert filed.put_right(FIRST.sha256, Wish("removed"), fresh)


def test_a_photo_measured_anew_since_is_stale(filed):
    seen = filed.corrected(FIRST.sha256).edition
    filed.file_reading(replace(FIRST, version="8"))
    with pytest.raises(StaleError, match=r"since you looked at it: look again"):
        filed.refuse_stale(FIRST.sha256, seen)


def test_who_looked_too_early_is_told_when_the_last_word_on_that_photo_was_said(filed, monkeypatch):
    class Clock(datetime):
        hours = iter(range(24))

        @classmethod
        def now(cls, tz=None):
            return datetime(2025, 7, 3, next(cls.hours), tzinfo=tz)

    seen = filed.corrected(FIRST.sha256).edition
    monkeypatch.setattr("models.journal.fixes.datetime", Clock)
    for photo, pattern in ((FIRST, "spot"), (FIRST, "none"), (FIRST, "spot"), (SECOND, "none")):
        filed.correct_pattern(photo.sha256, pattern)
    *_, before, last = filed.fixes(FIRST.sha256)
    assert before.at < last.at
    with pytest.raises(StaleError, match=rf"\(last at {last.at:%Y-%m-%d %H:%M}\)"):
        filed.refuse_stale(FIRST.sha256, seen)


def test_fixes_of_one_date_are_taken_back_the_last_one_first(filed):
    for days in (1, 2):
        filed.fix_taken(FIRST.sha256, NOON - timedelta(days=days))
    filed.assign(FIRST.sha256, "A9")
    with pytest.raises(JournalError, match="Take back fix 2 first"):
        filed.undo_fix(FIRST.sha256, 1)
    with pytest.raises(JournalError, match="no fix 4 of this photo"):
        filed.undo_fix(FIRST.sha256, 4)
    filed.undo_fix(FIRST.sha256, 3)
    assert filed.photo(FIRST.sha256).plant == "A1"
    filed.undo_fix(FIRST.sha256, 2)
    assert filed.photo(FIRST.sha256).taken_at == NOON - timedelta(days=1)
    filed.undo_fix(FIRST.sha256)
    assert filed.photo(FIRST.sha256) == filed.photos(as_measured=True, sha256=FIRST.sha256)[0]
    assert filed.photo(FIRST.sha256).taken_at == NOON
    assert filed.undo_fix(FIRST.sha256) == ()


def test_words_on_single_lesions_are_taken_back_in_any_order(filed):
    for row in (10.0, 20.0):
        filed.put_right(FIRST.sha256, Wish("not_lesion", marks=(Mark(row, 5.0, 3.0),)))
    filed.undo_fix(FIRST.sha256, 1)
    assert [fix.number for fix in filed.fixes(FIRST.photo) if not fix.undone] == [2]


def test_the_fixes_of_one_photo_are_its_own(filed):
    filed.fix_taken(FIRST.photo, NOON - timedelta(days=1), "a wrong clock")
    filed.correct_pattern(SECOND.sha256, "spot", session="walk")
    (first,), (second,) = filed.fixes(FIRST.sha256), filed.fixes(SECOND.photo)
    assert (first.what, first.reason, first.session, first.marks) == (
        "taken", "a wrong clock", "", (),
    )  # fmt: skip
    assert (second.what, second.value, second.session) == ("pattern", "spot", "walk")
    assert filed.fixes() == (first, second)
