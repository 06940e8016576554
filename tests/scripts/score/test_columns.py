"""The registry of columns is the file contract."""

from dataclasses import fields, replace
from datetime import datetime

import pytest

from models.pattern import PatternCall
from scripts.common.tables import rows
from scripts.score.columns import TABLES
from scripts.score.results import PhotoResult
from vision.records import DayReading, LeafReading, Lesion

PHOTO_COLUMNS = [
    "photo",
    "sha256",
    "taken_at",
    "taken_from",
    "plant",
    "mode",
    "status",
    "flags",
    "width_px",
    "height_px",
    "mm_per_px",
    "leaf_count",
    "leaf_area_px",
    "leaf_area_mm2",
    "lesion_count",
    "lesion_pct",
    "halo_pct",
    "severity_pct",
    "severity_low_pct",
    "severity_high_pct",
    "pattern",
    "p_spot",
    "p_blight",
    "p_none",
    "blight_kind",
    "frass_count",
    "chewed_pct",
    "caterpillar_count",
    "caterpillar_low",
    "caterpillar_high",
    "frass_low",
    "frass_high",
    "chewed_low_pct",
    "chewed_high_pct",
]

LEAF_COLUMNS = [
    "photo",
    "leaf",
    "row_px",
    "col_px",
    "area_px",
    "area_mm2",
    "lesion_count",
    "lesion_pct",
    "halo_pct",
    "severity_pct",
    "severity_low_pct",
    "severity_high_pct",
    "flags",
    "pattern",
    "p_spot",
    "p_blight",
    "p_none",
    "blight_kind",
    "pattern_reason",
    "chewed_pct",
    "chewed_low_pct",
    "chewed_high_pct",
]


def lesion(**changed):
    values = {
        "leaf": 1, "row_px": 10.0, "col_px": 20.0, "area_px": 100.0,
        "equivalent_diameter_px": 11.284, "share_of_leaf_pct": 10.0, "roundness": 0.9,
        "elongation": 1.2, "solidity": 0.95, "darkness": 20.0, "halo_width_px": 2.0,
        "margin_distance_px": 5.0, "at_margin": False,
    }  # fmt: skip
    return Lesion(**{**values, **changed})


def photo_with_two_lesions(mm_per_px=None):
    small = lesion(area_px=50.0, at_margin=True)
    leaf = LeafReading(
        1, 15.0, 25.0, 1000.0, (lesion(), small), 15.0, 1.0, 16.0, 14.0, 18.0, (50.0, -20.0, 30.0)
    )
    reading = DayReading((leaf,), (), 1000.0, 15.0, 1.0, 16.0, 14.0, 18.0)
    return PhotoResult(
        "bed/x.jpg",
        "ab" * 32,
        datetime(2024, 7, 1, 8, 30),
        "exif",
        400,
        300,
        (),
        reading,
        mm_per_px,
    )


def table_rows(name, *results):
    names = [column.name for column in TABLES[name].columns]
    return [dict(zip(names, row, strict=True)) for row in rows(TABLES[name], results)]


def test_the_columns_of_photos_and_leaves_are_the_contract_in_its_order():
    assert [column.name for column in TABLES["photos"].columns] == PHOTO_COLUMNS
    assert [column.name for column in TABLES["leaves"].columns] == LEAF_COLUMNS
    assert list(TABLES) == ["photos", "leaves", "lesions", "frass", "caterpillars"]


@pytest.mark.parametrize("table", TABLES.values(), ids=list(TABLES))
def test_every_column_is_named_once_and_explained_with_its_unit(table):
    names = [column.name for column in table.columns]
    assert len(set(names)) == len(names)
    for column in table.columns:
        assert column.meaning.endswith(".")
        assert len(column.meaning) > 20
        unit = column.name.rsplit("_", 1)[-1]
        words = {"px": "pixel", "mm": "mm", "mm2": "mm²", "pct": "percent"}
        if unit in words:
            assert words[unit] in column.meaning, column.name


@pytest.mark.parametrize("table", TABLES)
def test_the_command_explains_every_column_of_a_table(spotlamp, table):
    shown = " ".join(spotlamp("columns", table).output.split())
    for column in TABLES[table].columns:
        assert f"{column.name} {column.meaning}" in shown


def test_the_command_explains_all_tables_and_the_escaped_texts(spotlamp):
    shown = spotlamp("columns").output
    assert all(f"{name}.csv" in shown for name in TABLES)
    assert "apostrophe" in shown
    assert "not measured" in shown


def test_a_table_that_does_not_exist_is_wrong_usage(spotlamp):
    result = spotlamp("columns", "fruits", code=2)
    assert "fruits" in result.output
    assert "lesions" in result.output


def test_every_field_of_a_lesion_has_its_column():
    names = {column.name for column in TABLES["lesions"].columns}
    assert {field.name for field in fields(Lesion)} <= names


def test_every_length_and_area_of_a_lesion_has_a_twin_in_mm():
    names = {column.name for column in TABLES["lesions"].columns}
    lengths = {name for name in names if name.endswith("_px")} - {"row_px", "col_px", "area_px"}
    assert {name.removesuffix("_px") + "_mm" for name in lengths} <= names
    assert "area_mm2" in names


def test_lesions_are_one_row_each_and_numbered_from_one():
    found = table_rows("lesions", photo_with_two_lesions())
    assert [row["lesion"] for row in found] == [1, 2]
    assert [row["area_px"] for row in found] == [100.0, 50.0]
    assert [row["at_margin"] for row in found] == ["no", "yes"]


def test_millimetres_are_empty_without_a_scale():
    (row, _) = table_rows("lesions", photo_with_two_lesions())
    assert row["area_mm2"] is None
    assert row["halo_width_mm"] is None
    assert table_rows("photos", photo_with_two_lesions())[0]["leaf_area_mm2"] is None


def test_lengths_grow_with_the_scale_and_areas_with_its_square():
    # 0.5 mm a pixel: 100 px² are 100 × 0.25 = 25 mm², 2 px are 1 mm, 1000 px² are 250 mm².
    (row, _) = table_rows("lesions", photo_with_two_lesions(0.5))
    assert row["area_mm2"] == pytest.approx(25.0)
    assert row["halo_width_mm"] == pytest.approx(1.0)
    assert table_rows("leaves", photo_with_two_lesions(0.5))[0]["area_mm2"] == pytest.approx(250.0)
    photo = table_rows("photos", photo_with_two_lesions(0.5))[0]
    assert photo["leaf_area_mm2"] == pytest.approx(250.0)


def test_an_unreadable_photo_has_a_row_and_nothing_measured_in_it():
    (row,) = table_rows("photos", PhotoResult("x.jpg", problem="is empty."))
    assert row["status"] == "unreadable"
    filled = {name for name, value in row.items() if value not in (None, "")}
    assert filled == {"photo", "status"}
    assert table_rows("leaves", PhotoResult("x.jpg", problem="is empty.")) == []


def test_a_photo_without_a_leaf_has_no_severity_and_no_lesion_count_rather_than_zero():
    nothing = PhotoResult("x.jpg", flags=("no_leaf",), reading=DayReading((), ("no_leaf",)))
    (row,) = table_rows("photos", nothing)
    assert row["status"] == "flagged"
    assert row["leaf_count"] == 0
    assert row["severity_pct"] is None
    assert row["lesion_count"] is None


def test_the_plant_is_the_folder_of_the_photo():
    assert PhotoResult("bed/tom-1/x.jpg").plant == "tom-1"
    assert PhotoResult("x.jpg").plant == ""


def test_patterns_are_written_for_the_photo_and_for_each_of_its_leaves():
    photo_call = PatternCall("spot", 0.7, 0.2, 0.05, "", 0.4, "Photo.")
    leaf_call = PatternCall("blight", 0.1, 0.6, 0.05, "late", 0.4, "1 lesion: blight-like.")
    result = replace(photo_with_two_lesions(), pattern=photo_call, leaf_patterns=(leaf_call,))
    (row,) = table_rows("photos", result)
    assert (row["pattern"], row["p_spot"], row["blight_kind"]) == ("spot", 0.7, "")
    (row,) = table_rows("leaves", result)
    assert (row["pattern"], row["p_blight"], row["p_none"]) == ("blight", 0.6, 0.05)
    assert (row["blight_kind"], row["pattern_reason"]) == ("late", "1 lesion: blight-like.")


def test_patterns_are_empty_where_there_is_no_leaf():
    nothing = PhotoResult("x.jpg", flags=("no_leaf",), reading=DayReading((), ("no_leaf",)))
    (row,) = table_rows("photos", nothing)
    assert {row[name] for name in ("pattern", "p_spot", "p_blight", "p_none", "blight_kind")} == {
        None
    }
