"""What a column's values may be, at each bound and one step beyond it."""

import sqlite3
from datetime import datetime

import pytest

from models.journal.errors import DamagedError, JournalError, explained, trouble_of
from models.journal.limits import ANY, limits_of
from models.journal.tables import METADATA
from models.journal.whole import TABLES

LARGEST = 1e9
# Table, column, kind, unit: the least and the most of it.
NUMBERS = {
    ("readings", "severity_pct", "number", "%"): (0, 100),
    ("leaves", "p_spot", "number", "1"): (0, 1),
    ("leaves", "area_px", "number", "px2"): (0, LARGEST),
    ("leaves", "row_px", "number", "px"): (0, LARGEST),
    ("readings", "mm_per_px", "number", "mm/px"): (0, LARGEST),
    ("redrawn_lesions", "darkness", "number", ""): (-LARGEST, LARGEST),
    ("log", "amount", "number", ""): (0, LARGEST),
    ("plants", "tag", "integer", ""): (1, 586),
    ("readings", "lesion_count", "integer", ""): (0, 2**31 - 1),
    ("photos", "id", "integer", ""): (1, 2**31 - 1),
    ("plants", "row", "integer", ""): (1, 2**31 - 1),
    ("marks", "position", "integer", ""): (1, 2**31 - 1),
    ("readings", "width_px", "integer", "px"): (1, 2**31 - 1),
}


@pytest.mark.parametrize("column", NUMBERS, ids=lambda column: column[1])
def test_a_number_may_be_what_its_column_allows_and_no_more(column):
    least, most = NUMBERS[column]
    limits = limits_of(*column)
    for value in (least, most):
        assert limits.problem(value) == ""
    step = 2 if abs(most) < LARGEST else 0.01 * most
    for value in (least - 1, most + step):
        assert limits.problem(value).startswith(f"it must be from {least:.10g} to ")
    assert limits.problem(None) == ""


def test_what_adding_up_leaves_over_is_within_the_bounds():
    per_cent = limits_of("readings", "severity_pct", "number", "%")
    assert per_cent.problem(100 + 1e-7) == per_cent.problem(-1e-7) == ""
    assert per_cent.problem(100.001) == "it must be from 0 to 100"
    assert per_cent.problem(-0.001)


@pytest.mark.parametrize(
    ("table", "name", "good", "bad", "said"),
    [
        ("photos", "taken_from", "exif", "", "exif, name or file"),
        ("photos", "plant_from", "", "guess", "folder"),
        ("fixes", "old_from", "file", "guess", "exif"),
        ("readings", "mode", "night", "dusk", "day or night"),
        ("log", "kind", "spray", "dance", "spray"),
        ("finds", "kind", "dropping", "spray", "dropping or caterpillar"),
        ("fixes", "what", "taken", "given", "taken"),
        ("leaves", "pattern", "unsure", "other", "spot, blight, none, unsure or empty"),
        ("corrections", "pattern", "other", "unsure", "spot, blight, none or other"),
        ("leaves", "blight_kind", "unsure", "mid", "early, late, unsure or empty"),
        ("corrections", "blight_kind", "", "unsure", "early, late or empty"),
        ("photos", "sha256", "0f" * 32, "0F" * 32, "64 hexadecimal digits"),
        ("photos", "sha256", "0f" * 32, "0f" * 31, "64 hexadecimal digits"),
        ("readings", "flags", "small;cut_off", "small,cut_off", "names of flags"),
        ("readings", "flags", "", ";", "names of flags"),
        ("plants", "name", "A\n1", "", "a name"),
    ],
)
def test_a_text_is_one_of_those_or_of_that_form(table, name, good, bad, said):
    limits = limits_of(table, name, "string", "")
    assert limits.problem(good) == ""
    assert limits.problem(bad).startswith("it must be ")
    assert said in limits.problem(bad)


def test_any_other_text_may_be_anything_and_a_times_year_is_one_of_photos():
    assert limits_of("log", "text", "string", "") is ANY
    assert ANY.problem("") == ANY.problem("anything") == ANY.problem(-1e300) == ""
    for year, good in ((1988, False), (1989, True), (2100, True), (2101, False)):
        said = ANY.problem(datetime(year, 6, 1))
        assert said == ("" if good else "its year must be 1989 to 2100")


def test_every_table_comes_after_those_that_its_rows_point_to():
    assert set(TABLES) == set(METADATA.tables.values())
    for place, table in enumerate(TABLES):
        owners = {key.column.table for key in table.foreign_keys} - {table}
        assert owners <= set(TABLES[:place])


# Errors of the database


@pytest.mark.parametrize(
    ("code", "trouble"),
    [
        (11, "damaged"),
        (26, "damaged"),
        (11 + 256, "damaged"),  # with details
        (5, "locked"),
        (6, "locked"),
        (3, "unreadable"),
        (23, "unreadable"),
        (10, "unreadable"),
        (14, "unreadable"),
        (8, "readonly"),
        (13, "full"),
        (1, "other"),
    ],
)
def test_what_an_error_of_the_database_is_about_is_told_by_its_code(code, trouble):
    """The codes are those of SQLite's own list of results."""
    error = sqlite3.DatabaseError("no word of it")
    error.sqlite_errorcode = code
    assert trouble_of(error) == trouble
    wrapped = RuntimeError("around it")
    wrapped.orig = error
    assert trouble_of(wrapped) == trouble


def test_each_trouble_has_its_sentence_and_a_programs_own_error_passes_through():
    sentences = {
        13: "disk is full",
        5: "in use by another program",
        8: "opened for writing",
        14: "rights of the file",
        1: r"cannot be used: no word of it\.",
    }
    for code, sentence in sentences.items():
        error = sqlite3.OperationalError("no  word\nof it")
        error.sqlite_errorcode = code
        with pytest.raises(JournalError, match=sentence) as caught, explained("“x”", str):
            raise error
        assert not isinstance(caught.value, DamagedError)
    with (
        pytest.raises(DamagedError, match=r"^The journal “x” is damaged\. Go back\.$"),
        explained("“x”", lambda: "Go back."),
    ):
        raise sqlite3.DatabaseError("database disk image is malformed")
    for own in (sqlite3.IntegrityError("a rule"), KeyError("ours")):
        with pytest.raises(type(own)), explained("“x”", str):
            raise own
