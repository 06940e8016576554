"""Tables as Parquet beside CSV: the same values, in parts of which a reader takes a few."""

import math
from datetime import datetime

import pyarrow.dataset
import pyarrow.parquet
import pytest

from scripts.common import parquet
from scripts.common.parquet import ParquetError, Part, gardens_in, read_rows, write_parquet
from scripts.common.tables import Column, Table
from scripts.score.columns import TABLES

PLANTS = ("Oak/A1", "Oak/A2", "Elm & Son/B1")
DAYS = ("2026-05-30", "2026-06-06", "2026-06-13")


@pytest.fixture(scope="module")
def region(tmp_path_factory):
    return tmp_path_factory.mktemp("region")


@pytest.fixture
def scored(region, paint_photo, spotlamp):
    """Three plants of two gardens on three days, scored once for all tests."""
    out = region / "out"
    if not out.exists():
        for number, plant in enumerate(PLANTS):
            for week, day in enumerate(DAYS):
                name = f"{plant}/{day}_0800.jpg"
                paint_photo(region / "in" / name, 10 * number + week, (160, 120), 3 + 3 * week)
        spotlamp("score", region / "in", "--out", out, "--table", "parquet")
    return out


def test_the_parts_together_hold_what_the_csv_tables_hold(scored, read_table):
    for name, table in TABLES.items():
        csv = read_table(scored / f"{name}.csv")
        folder = scored / "parquet" / name
        rows = [row for one in gardens_in(folder) for row in rows_of(folder, table, one)]
        rows.sort(key=lambda row: [line["photo"] for line in csv].index(row["photo"]))
        assert len(rows) == len(csv)
        for row, line in zip(rows, csv, strict=True):
            for column in table.columns:
                assert same(row[column.name], line[column.name], column.decimals)


def rows_of(folder, table, garden):
    return read_rows(folder, [column.name for column in table.columns], garden)


def same(value, cell, decimals):
    if value is None or value == "":
        return cell == ""
    if isinstance(value, str):
        return value == cell
    return math.isclose(value, float(cell), abs_tol=0.51 * 10.0**-decimals)


def test_other_programs_see_garden_and_month_as_columns(scored):
    photos = pyarrow.dataset.dataset(scored / "parquet" / "photos", partitioning="hive")
    rows = photos.to_table(columns=["garden", "month", "photo", "leaf_count"]).to_pylist()
    assert len(rows) == len(PLANTS) * len(DAYS)
    for row in rows:
        garden, _, name = row["photo"].split("/")
        assert (row["garden"], row["month"]) == (garden, name[:7])
        assert isinstance(row["leaf_count"], int)


def test_csv_alone_is_written_by_default(region, paint_photo, spotlamp):
    paint_photo(region / "one" / "a.jpg", size=(160, 120))
    spotlamp("score", region / "one", "--out", region / "plain")
    assert not (region / "plain" / "parquet").exists()


def test_a_trend_is_told_from_the_files_and_columns_that_it_needs(
    scored, spotlamp, tmp_path, read_table
):
    tables = scored / "parquet"
    at = ("--at", "2026-06-14")
    said = spotlamp("trend", "--tables", tables, *at, code=1).output
    assert said == "Name one garden with --of; the tables hold “Elm & Son”, “Oak”.\n"
    asked = ("trend", "--tables", tables, "--of", "Oak", "--since", "2026-06-01", *at)
    spotlamp(*asked, "--out", tmp_path / "before")
    visits = read_table(tmp_path / "before" / "visits.csv")
    assert {(row["plant"], row["day"]) for row in visits} == {
        (plant, day) for plant in ("A1", "A2") for day in DAYS[1:]
    }
    photos = {row["photo"]: row["severity_pct"] for row in read_table(scored / "photos.csv")}
    for row in visits:
        photo = photos[f"Oak/{row['plant']}/{row['day']}_0800.jpg"]
        assert float(row["severity_pct"]) == pytest.approx(float(photo), abs=0.002)
    # Whatever else lies there is not looked at: another garden's files, an earlier month's columns.
    for name in ("photos", "leaves"):
        for file in (tables / name).rglob("*.parquet"):
            if "Oak" not in str(file):
                file.write_bytes(b"not looked at")
            elif "2026-06" in str(file):
                kept = pyarrow.parquet.ParquetFile(file).read()
                unneeded = {"width_px", "mm_per_px", "row_px", "col_px", "pattern_reason"}
                kept = kept.drop_columns(sorted(unneeded & set(kept.column_names)))
                pyarrow.parquet.write_table(kept, file)
    spotlamp(*asked, "--out", tmp_path / "after")
    assert read_table(tmp_path / "after" / "visits.csv") == visits


NUMBERS = Table(
    "numbers",
    "one number",
    lambda count: range(count),
    (Column("number", "A number.", lambda row: row, type=int),),
)


def test_many_rows_go_into_several_files_and_old_ones_go(tmp_path, monkeypatch):
    monkeypatch.setattr(parquet, "_ROWS_HELD", 5)
    june, july = (Part.of("Oak", datetime(2026, month, 1)) for month in (6, 7))
    write_parquet(tmp_path, NUMBERS, [(june, 4), (july, 3), (june, 4)])
    found = sorted(row["number"] for row in read_rows(tmp_path, ["number"], "Oak"))
    assert found == [0, 0, 0, 1, 1, 1, 2, 2, 2, 3, 3]
    assert len(list(tmp_path.rglob("*.parquet"))) == 3
    write_parquet(tmp_path, NUMBERS, [(july, 1), (Part.of("", None), 2)])
    names = {path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*.parquet")}
    assert names == {
        "garden=Oak/month=2026-07/part-00000.parquet",
        "garden=none/month=none/part-00000.parquet",
    }


def test_a_damaged_file_is_named(tmp_path):
    write_parquet(tmp_path, NUMBERS, [(Part("Oak", "2026-06"), 1)])
    (file,) = tmp_path.rglob("*.parquet")
    file.write_bytes(file.read_bytes()[:-9])
    with pytest.raises(ParquetError, match=r"part-00000\.parquet” cannot be read"):
        list(read_rows(tmp_path, ["number"], "Oak"))


def test_without_the_library_the_extra_is_named_before_any_work(tmp_path, spotlamp, monkeypatch):
    def missing(name):
        raise ImportError(name)

    monkeypatch.setattr(parquet, "import_module", missing)
    given = (tmp_path, "--out", tmp_path / "out", "--table", "parquet")
    assert "pip install 'spotlamp[parquet]'" in spotlamp("score", *given, code=1).output
    assert not (tmp_path / "out").exists()
