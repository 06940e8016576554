"""The journal gives back what was filed, once, whatever is filed again."""

import sqlite3
from dataclasses import asdict, replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from models.entries import LeafEntry, LogEntry, PhotoEntry
from models.garden.beds import Plant
from models.garden.clock import Filed, doubtful_dates
from models.journal import JournalError, PhotoState, Wish, open_journal
from models.journal.tables import METADATA, PHOTOS
from vision.records import Lesion

BERLIN = ZoneInfo("Europe/Berlin")
NOON = datetime(2025, 7, 1, 12, 0, 0, 250_000, tzinfo=BERLIN)

LEAF = LeafEntry(
    1, 1e6 / 3, 2, 1.1, 2.2, 3.3, 2.5, 4.1, "spot", 0.7, 0.1, 0.2, "", ("cut_off", "touching"),
    10.5, 20.25, "2 lesions: spot-like.",
)  # fmt: skip
OTHER_LEAF = replace(LEAF, leaf=2, flags=(), p_spot=None, severity_pct=0.0)
PHOTO = PhotoEntry(
    photo="North/A1/x.jpg", sha256="5e" * 32, taken_at=NOON, taken_from="name", plant="A1",
    plant_from="folder", version="7-abc", flags=("small",), leaves=(LEAF, OTHER_LEAF),
    mm_per_px=0.125, lesion_count=2, severity_pct=3.3, severity_low_pct=2.5, severity_high_pct=4.1,
    pattern="spot", p_spot=0.7, p_blight=0.1, p_none=0.2, lesion_pct=1.1, halo_pct=2.2,
    width_px=4000, height_px=3000,
)  # fmt: skip
NIGHT = PhotoEntry(
    "n.jpg", "ab" * 32, NOON + timedelta(hours=10), version="7-abc", mode="night",
    caterpillar_count=2, caterpillar_low=2, caterpillar_high=4, frass_count=0,
)  # fmt: skip
LESIONS = (
    Lesion(1, 1.1, 2.2, 3.3, 4.4, 5.5, 0.6, 1.7, 0.8, -9.9, 0.1, 7.7, True),
    Lesion(1, 10.1, 2.2, 3.3, 4.4, 5.5, 0.6, 1.7, 0.8, -9.9, 0.0, 0.0, False),
    Lesion(2, 100.5, 2.2, 3.3, 4.4, 5.5, 0.6, 1.7, 0.8, -9.9, 0.1, 7.7, False),
)
SPRAY = LogEntry(0, "spray", NOON, ("A2", "A1"), "soda", None, "evening, no wind")


def rows_of(journal) -> dict[str, int]:
    with journal.reading() as connection:
        return {
            name: len(connection.execute(table.select()).all())
            for name, table in METADATA.tables.items()
        }


def test_a_photo_comes_back_as_it_was_filed(journal):
    assert journal.file_reading(PHOTO, LESIONS) == "new"
    assert journal.file_reading(NIGHT) == "new"
    assert journal.photos() == (PHOTO, NIGHT)
    assert [asdict(x) for x in journal.lesions(PHOTO.sha256)] == [asdict(x) for x in LESIONS]
    assert journal.lesions(NIGHT.sha256) == ()


def test_numbers_of_numpy_are_filed_as_numbers(journal):
    odd = replace(PHOTO, severity_pct=np.float64(3.3), lesion_count=np.int64(2))
    journal.file_reading(odd)
    assert journal.photos() == (PHOTO,)
    assert type(journal.photos()[0].lesion_count) is int


def test_filing_again_changes_nothing(journal):
    journal.file_reading(PHOTO, LESIONS)
    before = rows_of(journal)
    assert journal.file_reading(PHOTO, LESIONS) == "known"
    assert journal.file_reading(replace(PHOTO, photo="copy.jpg", severity_pct=9.0)) == "known"
    assert rows_of(journal) == before
    assert journal.photos() == (PHOTO,)


def test_a_new_version_becomes_current_and_the_old_reading_stays(journal):
    journal.file_reading(PHOTO, LESIONS)
    newer = replace(PHOTO, version="8-def", severity_pct=5.0, leaves=(LEAF,))
    assert journal.file_reading(newer, LESIONS[:1]) == "remeasured"
    assert journal.photos() == (newer,)
    assert len(journal.lesions(PHOTO.sha256)) == 1
    assert journal.versions(PHOTO.sha256) == ("7-abc", "8-def")
    counts = rows_of(journal)
    assert (counts["photos"], counts["readings"], counts["leaves"]) == (1, 2, 3)
    assert journal.file_reading(PHOTO, LESIONS) == "known"
    assert journal.photos() == (newer,)


@pytest.mark.parametrize(
    ("first", "then", "filing"),
    [
        ("", "option", "moved"),
        ("option", "name", "moved"),
        ("name", "folder", "moved"),
        ("folder", "tag", "moved"),
        ("folder", "folder", "elsewhere"),
        ("tag", "folder", "elsewhere"),
    ],
)
def test_only_a_surer_name_moves_a_photo(journal, first, then, filing):
    journal.file_reading(replace(PHOTO, plant="A1" if first else "", plant_from=first))
    assert journal.file_reading(replace(PHOTO, plant="A2", plant_from=then)) == filing
    assert journal.photos()[0].plant == ("A2" if filing == "moved" else "A1")


def test_what_is_assigned_by_hand_stays(journal):
    journal.file_reading(replace(PHOTO, plant="", plant_from=""))
    assert [photo.photo for photo in journal.photos(plant="")] == [PHOTO.photo]
    assert journal.assign(PHOTO.photo, "A2") == 1
    assert journal.file_reading(replace(PHOTO, plant_from="tag")) == "known"
    assert journal.photos("A2") == (replace(PHOTO, plant="A2", plant_from="assigned"),)
    assert journal.assign("nowhere.jpg", "A2") == 0


def test_photos_are_found_by_plant_time_and_mode(journal):
    second = replace(PHOTO, sha256="6f" * 32, plant="A2", taken_at=NOON + timedelta(days=1))
    for entry in (second, NIGHT, PHOTO):
        journal.file_reading(entry)
    assert journal.photos() == (PHOTO, NIGHT, second)
    assert journal.photos("A2") == (second,)
    assert journal.photos(since=date(2025, 7, 2)) == (second,)
    assert journal.photos(since=NOON, until=second.taken_at) == (PHOTO, NIGHT)
    assert journal.photos(mode="night") == (NIGHT,)


def test_two_visits_on_one_day_are_two(journal):
    evening = replace(PHOTO, sha256="6f" * 32, taken_at=NOON + timedelta(hours=7))
    journal.file_reading(evening)
    journal.file_reading(PHOTO)
    assert [photo.taken_at for photo in journal.photos("A1")] == [NOON, evening.taken_at]
    assert len({leaf.taken_at for leaf in journal.leaf_severities("A1")}) == 2


def test_leaf_severities_are_those_of_the_photos(journal):
    journal.file_reading(replace(PHOTO, version="6"))
    for entry in (PHOTO, NIGHT):
        journal.file_reading(entry)
    leaves = journal.leaf_severities()
    assert [(leaf.plant, leaf.leaf, leaf.severity_pct) for leaf in leaves] == [
        ("A1", 1, 3.3),
        ("A1", 2, 0.0),
    ]
    assert leaves[0].taken_at == NOON
    assert leaves[0].severity_high_pct == 4.1
    assert journal.leaf_severities("A2") == ()


def test_a_photo_is_filed_whole_or_not_at_all(journal, monkeypatch):
    def fail(*arguments):
        raise RuntimeError

    monkeypatch.setattr("models.journal.rows.lesion_rows", fail)
    with pytest.raises(RuntimeError):
        journal.file_reading(PHOTO, LESIONS)
    assert set(rows_of(journal).values()) == {0}


def test_the_log_comes_back_in_the_order_of_time(journal):
    rain = LogEntry(0, "rain", NOON - timedelta(days=1), amount=12.5)
    assert (journal.log(SPRAY), journal.log(rain)) == (1, 2)
    assert journal.log_entries() == (replace(rain, number=2), replace(SPRAY, number=1))
    assert [e.kind for e in journal.log_entries("A1")] == ["rain", "spray"]
    assert [e.kind for e in journal.log_entries("A9")] == ["rain"]
    assert [e.kind for e in journal.log_entries(kind="spray")] == ["spray"]
    assert [e.kind for e in journal.log_entries(since=NOON)] == ["spray"]
    assert [e.kind for e in journal.log_entries(until=NOON)] == ["rain"]


def test_a_corrected_entry_gives_way_and_is_kept(journal):
    first = journal.log(SPRAY)
    second = journal.correct(first, replace(SPRAY, plants=("A1",)))
    third = journal.correct(second, replace(SPRAY, product="peroxide"))
    assert [(e.number, e.product) for e in journal.log_entries()] == [(third, "peroxide")]
    assert [e.corrects for e in journal.log_entries(with_corrected=True)] == [None, 1, 2]
    journal.withdraw(third)
    assert journal.log_entries() == ()
    assert len(journal.log_entries(with_corrected=True)) == 4


def test_an_entry_is_corrected_once(journal):
    journal.log(SPRAY)
    journal.correct(1, SPRAY)
    with pytest.raises(JournalError, match="corrected already by entry 2"):
        journal.correct(1, SPRAY)
    with pytest.raises(JournalError, match="no entry 7"):
        journal.correct(7, SPRAY)
    with pytest.raises(JournalError, match="no entry 7"):
        journal.withdraw(7)


def test_the_last_correction_of_a_pattern_counts(journal):
    journal.file_reading(PHOTO)
    assert journal.correct_pattern(PHOTO.sha256, "spot") == 1
    assert journal.correct_pattern(PHOTO.photo, "blight", "late", "first walk") == 1
    assert journal.correct_pattern("nowhere.jpg", "none") == 0
    found = (PHOTO.photo, PHOTO.sha256, "blight", "late", "first walk")
    assert journal.pattern_corrections() == (found,)


def test_plants_are_remembered_at_their_last_place(journal):
    journal.record_plants([Plant("A1", "North"), Plant("A2", "North", 1, 2)])
    journal.record_plants([Plant("A1", "South", 2, 3)])
    assert journal.plants() == (Plant("A2", "North", 1, 2), Plant("A1", "South", 2, 3))


def test_texts_that_no_database_takes_are_escaped(journal):
    journal.log(replace(SPRAY, text="a\0b\ud800c"))
    assert journal.log_entries()[0].text == r"a\x00b\ud800c"


@pytest.mark.parametrize("home", [None], ids=["file"])
def test_times_are_kept_as_utc_and_given_back_in_the_gardens_zone(journal, garden_folder):
    journal.file_reading(replace(PHOTO, taken_at=NOON.astimezone(UTC)))
    assert journal.photos()[0].taken_at.tzinfo == BERLIN
    assert journal.photos()[0].taken_at == NOON
    stored = sqlite3.connect(garden_folder / "journal.sqlite")
    assert stored.execute("SELECT taken_at FROM photos").fetchone() == (
        "2025-07-01 10:00:00.250000",
    )
    stored.close()


def test_a_journal_in_memory_works_alike():
    with open_journal("sqlite://", BERLIN) as journal:
        journal.file_reading(PHOTO)
        assert journal.photos() == (PHOTO,)


def all_states(journal) -> list[PhotoState]:
    plants = journal.photo_states().values()
    found = [state for plant in plants for state in plant.states]
    return sorted(found, key=lambda state: (state.taken_at, state.photo, state.sha256))


def states_of(journal) -> dict[str, str]:
    return {state.sha256: state.state for state in all_states(journal)}


@pytest.mark.parametrize(
    "change",
    [
        lambda journal: journal.file_reading(replace(PHOTO, version="8-def"), LESIONS),
        lambda journal: journal.file_reading(replace(PHOTO, plant="A2", plant_from="tag")),
        lambda journal: journal.assign(PHOTO.sha256, "A2"),
        lambda journal: journal.fix_taken(PHOTO.sha256, NOON + timedelta(days=1)),
        lambda journal: journal.correct_pattern(PHOTO.sha256, "blight", "late"),
        lambda journal: journal.put_right(PHOTO.sha256, Wish("unused")),
        lambda journal: journal.undo_fix(PHOTO.sha256),
        # It is half a year from the others then, whose dates are doubtful with it.
        lambda journal: journal.fix_taken(NIGHT.sha256, NOON + timedelta(days=400)),
    ],
)
def test_whatever_changes_of_a_photo_changes_its_state_and_that_of_no_other(journal, change):
    other = replace(PHOTO, sha256="cd" * 32, photo="y.jpg", plant="A2")
    for photo in (PHOTO, other, NIGHT):
        journal.file_reading(photo, LESIONS if photo.leaves else ())
    journal.put_right(PHOTO.sha256, Wish("not_eaten"))
    before, states, known = states_of(journal), all_states(journal), journal.photo_states()
    assert journal.photos_as(states) == journal.photos()
    change(journal)
    after = states_of(journal)
    assert journal.photo_states(known) == journal.photo_states() != known
    changed = {sha256 for sha256 in before if before[sha256] != after[sha256]}
    photos = {photo.sha256: photo for photo in journal.photos()}
    assert PHOTO.sha256 in changed
    assert other.sha256 not in changed or "clock_doubtful" in photos[other.sha256].flags
    assert journal.photos_as(states) is None
    assert journal.photos_as(all_states(journal)[:1]) == journal.photos()[:1]


def test_of_plants_whose_photos_did_not_change_no_photo_is_told_of_anew(journal):
    for photo in (PHOTO, replace(PHOTO, sha256="cd" * 32, photo="y.jpg", plant="A2"), NIGHT):
        journal.file_reading(photo)
    known = journal.photo_states()
    journal.put_right(PHOTO.sha256, Wish("unused"))
    now = journal.photo_states(known)
    assert {plant for plant in known if now[plant] is not known[plant]} == {PHOTO.plant}
    journal.remove("cd" * 32)
    assert now.keys() - journal.photo_states(now).keys() == {"A2"}


def test_a_photo_that_was_taken_out_has_no_state_and_comes_back_with_its_own(journal):
    journal.file_reading(PHOTO, LESIONS)
    journal.file_reading(NIGHT)
    states = all_states(journal)
    assert journal.removed_photos() == ()
    journal.remove(PHOTO.sha256)
    assert [state.sha256 for state in all_states(journal)] == [NIGHT.sha256]
    assert journal.photos_as(states[:1]) is None
    assert journal.removed_photos() == (PHOTO,)
    journal.undo_fix(PHOTO.sha256)
    assert journal.photos_as(all_states(journal)) == (PHOTO, NIGHT)


@pytest.mark.parametrize(
    ("first", "then", "filing", "kept"),
    [
        (("file", 9), ("exif", 12), "dated", 12),
        (("file", 9), ("name", 12), "dated", 12),
        (("file", 9), ("file", 12), "known", 9),
        (("file", 9), ("exif", 9), "known", 9),
        (("name", 12), ("name", 7), "dated", 7),  # only the day was known
        (("name", 11), ("name", 7), "known", 11),
        (("name", 12), ("exif", 7), "known", 12),
        (("exif", 12), ("name", 7), "known", 12),
        (("name", 12), ("name", 31), "known", 12),  # of another day
    ],
)
def test_only_a_surer_date_takes_the_place_of_a_photos(journal, first, then, filing, kept):
    def dated(taken_from, hour):
        at = datetime(2025, 7, 1, tzinfo=BERLIN) + timedelta(hours=hour)
        return replace(PHOTO, taken_at=at, taken_from=taken_from, flags=(f"h{hour}",))

    journal.file_reading(dated(*first))
    assert journal.file_reading(dated(*then)) == filing
    (photo,) = journal.photos()
    assert photo.taken_at == dated("", kept).taken_at
    changed = then if filing == "dated" else first
    assert photo.taken_from == changed[0]
    assert [flag for flag in photo.flags if flag.startswith("h")] == [f"h{changed[1]}"]


def test_a_date_that_somebody_put_right_gives_way_to_none(journal):
    noon = NOON.replace(microsecond=0)
    journal.file_reading(replace(PHOTO, taken_at=noon - timedelta(days=1)))
    journal.fix_taken(PHOTO.sha256, noon)
    morning = replace(PHOTO, taken_at=noon.replace(hour=7))
    assert journal.file_reading(morning) == "known"
    assert journal.filed_as(PHOTO.sha256) == ("A1", noon, "name", True)


def test_flags_of_a_photos_date_go_while_somebody_has_put_it_right_and_no_others(journal):
    flags = ("small", "bad_date", "future_date")
    other = replace(PHOTO, photo="B/y.jpg", sha256="6f" * 32)
    for entry in (PHOTO, other):
        journal.file_reading(replace(entry, flags=flags))
    assert journal.photo(PHOTO.sha256).flags == flags
    journal.fix_taken(PHOTO.sha256, NOON - timedelta(days=1))
    assert journal.photo(PHOTO.sha256).flags == ("small",)
    assert journal.photo(other.sha256).flags == flags
    journal.undo_fix(PHOTO.sha256)
    assert journal.photo(PHOTO.sha256).flags == flags


def test_what_the_record_says_of_a_photo_is_its_own(journal):
    other = replace(PHOTO, photo="B/y.jpg", sha256="6f" * 32, plant="", taken_from="exif")
    for entry in (PHOTO, other):
        journal.file_reading(entry)
    assert journal.filed_as(PHOTO.sha256) == ("A1", NOON, "name", False)
    assert journal.filed_as(other.sha256) == ("", NOON, "exif", False)
    assert journal.filed_as("00" * 32) is None
    assert journal.plant_photo_times() == (NOON,)
    assert journal.known_photos() == {one.sha256: one.photo for one in (PHOTO, other)}
    assert journal.photo(other.sha256) == other
    assert journal.photo("00" * 32) is None


def test_a_photo_taken_out_is_in_no_list_but_its_own_until_it_is_taken_in_again(journal):
    other = replace(PHOTO, photo="B/y.jpg", sha256="6f" * 32, plant="A2")
    for entry in (PHOTO, other):
        journal.file_reading(entry, LESIONS)
    assert journal.remove(PHOTO.photo, "a thumb") == 1
    assert journal.photos() == (other,)
    assert journal.removed_photos() == (PHOTO,)
    assert journal.plant_photo_times() == (other.taken_at,)
    assert {leaf.plant for leaf in journal.leaf_severities()} == {"A2"}
    assert journal.file_reading(PHOTO) == "removed"
    assert PHOTO.sha256 in journal.known_photos()
    journal.undo_fix(PHOTO.photo)
    assert len(journal.photos()) == 2
    assert journal.removed_photos() == ()


def test_of_several_photos_of_one_path_the_one_filed_last_is_meant(journal):
    later = replace(PHOTO, sha256="6f" * 32, severity_pct=9.0)
    for entry in (later, PHOTO):
        journal.file_reading(entry)
    assert journal.corrected(PHOTO.photo).measured == PHOTO
    assert journal.corrected(later.sha256).measured == later
    assert journal.corrected("nowhere.jpg") is None
    assert journal.assign(PHOTO.photo, "A2") == 2


def test_photos_dated_half_a_year_off_the_others_are_named_by_path(journal):
    for number in range(4):
        at = NOON + timedelta(days=number)
        journal.file_reading(
            replace(PHOTO, photo=f"{number}.jpg", sha256=f"{number:064}", taken_at=at)
        )
    for name, number in (("z.jpg", 7), ("y.jpg", 8)):
        at = NOON - timedelta(days=400)
        journal.file_reading(replace(PHOTO, photo=name, sha256=f"{number:064}", taken_at=at))
    doubtful = journal.doubtful_photos()
    flagged = [photo.photo for photo in journal.photos() if "clock_doubtful" in photo.flags]
    assert doubtful == tuple(sorted(flagged)) == ("y.jpg", "z.jpg")
    journal.fix_taken("z.jpg", NOON - timedelta(days=400))
    assert journal.doubtful_photos() == ("y.jpg",)
    journal.remove("y.jpg")
    assert journal.doubtful_photos() == ()


def test_plants_come_bed_by_bed_in_their_places(journal):
    plants = [Plant("C", "South", 1, 1), Plant("B", "North", 2, 1), Plant("A", "North", 1, 2, 7)]
    journal.record_plants(plants)
    before = rows_of(journal)
    journal.record_plants(plants)
    assert rows_of(journal) == before
    assert journal.plants() == (plants[2], plants[1], plants[0])
    journal.record_plants([Plant("A", "North", 1, 2, 8)])
    assert journal.plants()[0].tag == 8


@pytest.mark.parametrize("seed", range(8))
def test_the_first_and_last_of_each_day_tell_whether_any_photo_may_be_out_of_time(journal, seed):
    chance = np.random.default_rng(seed)
    start = datetime(2025, 7, 1, 12)
    days = chance.integers(0, (200, 500)[seed % 2], 8).tolist()
    filed = [start + timedelta(days=day, hours=int(chance.integers(0, 9))) for day in sorted(days)]
    taken = [at - timedelta(days=int(chance.choice([0, 0, 0, 1, 190]))) for at in filed]
    photos = [
        {"sha256": f"{n:064x}", "photo": "x", "plant": "", "plant_from": "", "taken_from": "exif",
         "taken_at": at, "filed_at": on}
        for n, (at, on) in enumerate(zip(taken, filed, strict=True))
    ]  # fmt: skip
    with journal.writing() as connection:
        connection.execute(PHOTOS.insert(), photos)
        known = [
            Filed(n + 1, photo["taken_at"], photo["filed_at"]) for n, photo in enumerate(photos)
        ]
        assert journal.out_of_time(connection) == doubtful_dates(known)
