"""One writer and one reader of CSV tables, held against Python's own and against odd files."""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.csv_tables import Digits, TableError, csv_bytes, read_table, unescape_formula

TEXT = st.text(st.characters(codec="utf-8"))


@given(st.lists(st.lists(TEXT, min_size=2, max_size=2)))
def test_every_text_comes_back_through_a_strict_reader(rows):
    read = csv.reader(io.StringIO(csv_bytes(rows).decode(), newline=""), strict=True)
    assert [[unescape_formula(cell) for cell in row] for row in read] == rows


def test_numbers_are_not_escaped_and_what_is_none_is_empty():
    data = csv_bytes([["n", "text"], [-1, "-1"], [Digits("-1.50"), None], [float("nan"), "＝1"]])
    assert data.decode() == "n,text\r\n-1,'-1\r\n-1.50,\r\n,'＝1\r\n"


def test_bytes_of_a_name_that_are_no_text_are_escaped():
    assert csv_bytes([["a\udcff"]]) == b"a\\udcff\r\n"


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_cells_may_be_parted_by_what_spreadsheets_write(tmp_path, delimiter):
    path = tmp_path / "x.csv"
    lines = (f"photo{delimiter} pattern ", "", f'"a{delimiter}b"{delimiter}spot', "c")
    path.write_bytes("\r\n".join(lines).encode("utf-8-sig"))
    table = read_table(path)
    assert table.names == ("photo", "pattern")
    expected = [(f"a{delimiter}b", "spot"), ("c", "")]
    assert [tuple(row.values()) for _, row in table.records()] == expected


def test_rows_know_their_line():
    table = read_table("x.csv", b'a,b\n"1\n1",2\n\n3,4\n')
    assert [line for line, _ in table.rows] == [3, 5]


def test_a_cell_may_be_as_long_as_it_likes(tmp_path):
    (tmp_path / "x.csv").write_text(f"a,b\n{'x' * 200_000},1\n")
    ((_, row),) = read_table(tmp_path / "x.csv").records()
    assert len(row["a"]) == 200_000


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"a,b\n1,\xe9\n", "line 2"),
        ("a,b\n1,2\n".encode("utf-16"), "UTF-8"),
        (b'a,b\n"1"x,2\n', "line 2"),
    ],
)
def test_what_is_no_table_is_named_with_its_line(tmp_path, data, said):
    path = tmp_path / "x.csv"
    path.write_bytes(data)
    with pytest.raises(TableError, match=said) as caught:
        list(read_table(path, strict=True).rows)
    assert "x.csv" in str(caught.value)


def test_a_file_that_is_not_there_is_named(tmp_path):
    with pytest.raises(TableError, match=r"x\.csv.*No such file"):
        read_table(tmp_path / "x.csv")


def test_an_empty_file_is_a_table_without_columns():
    table = read_table("x.csv", b"")
    assert (table.names, list(table.rows)) == ((), [])
