"""Files are whole, replaced at once, and read the same by every program."""

import csv
import errno
import io
import os

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.csv_tables import escape_formula, unescape_formula
from scripts.common import files
from scripts.common.files import CannotWriteError, remove_leftovers, write_whole
from scripts.common.tables import Column, Table, table_bytes
from scripts.score.columns import TABLES
from scripts.score.results import PhotoResult

STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", " =", "\n=", "\N{NO-BREAK SPACE}@", "\x0b+")
STARTS += ("＝", "＋", "－", "＠", "﹦", " ＝", "\N{ZERO WIDTH SPACE}=", "\N{MINUS SIGN}")


def table_of(*values, decimals=3):
    columns = tuple(
        Column(f"c{number}", "A test.", lambda _, value=value: value, decimals)
        for number, value in enumerate(values)
    )
    return Table("test", "one photo", lambda photo: (photo,), columns)


def cells(*values, decimals=3):
    text = table_bytes(table_of(*values, decimals=decimals), [PhotoResult("x")]).decode()
    return list(csv.reader(io.StringIO(text, newline=""), strict=True))[1]


@pytest.mark.parametrize("start", STARTS)
def test_a_text_that_a_spreadsheet_would_run_gets_an_apostrophe(start):
    assert escape_formula(f"{start}1+1.jpg") == f"'{start}1+1.jpg"


@pytest.mark.parametrize("text", ["", "a=b.jpg", " a=1", "1-2.jpg", "'quoted'.jpg", "é.jpg", " "])
def test_other_texts_stay_as_they_are(text):
    assert escape_formula(text) == text


@given(st.text(alphabet=st.sampled_from("'=+-@＝\t\r\nab ")))
def test_taking_one_apostrophe_away_gives_every_escaped_text_back(text):
    escaped = escape_formula(text)
    assert escaped == text or escaped == f"'{text}"
    assert not escaped.lstrip(" \t\r\n").startswith(("=", "+", "-", "@", "＝"))
    assert unescape_formula(escaped) == text


def test_negative_numbers_are_numbers_and_not_escaped():
    assert cells(-1.5, -3) == ["-1.500", "-3"]


def test_numbers_have_fixed_decimals_and_what_is_not_measured_is_empty():
    assert cells(1 / 3, None, 7, -0.0) == ["0.333", "", "7", "0.000"]
    assert cells(float("nan"), float("inf")) == ["", ""]
    assert cells(1234.5678, decimals=2) == ["1234.57"]


@given(st.text(st.characters(codec="utf-8"), min_size=1))
def test_any_text_comes_back_from_the_file(text):
    assert cells(text) == [escape_formula(text)]


def test_lines_end_as_rfc_4180_says_and_the_header_comes_first():
    data = table_bytes(table_of('a, "b"', 1), [PhotoResult("x")])
    assert data == b'c0,c1\r\n"a, ""b""",1\r\n'


def test_a_table_without_rows_is_its_header():
    data = table_bytes(TABLES["frass"], [PhotoResult("x")])
    assert data.count(b"\r\n") == 1
    assert data.startswith(b"photo,dropping,row_px,col_px")


def test_bytes_that_are_no_text_still_give_a_utf_8_file():
    assert table_bytes(table_of("a\udcff"), [PhotoResult("x")]).decode("utf-8")


def test_files_are_replaced_and_folders_made(tmp_path):
    path = tmp_path / "deep" / "x.csv"
    write_whole({path: b"old"})
    write_whole({path: b"new"})
    assert path.read_bytes() == b"new"
    assert list(path.parent.iterdir()) == [path]


def test_new_files_have_the_rights_that_other_new_files_have(tmp_path):
    (tmp_path / "usual").write_bytes(b"")
    write_whole({tmp_path / "ours": b""})
    assert (tmp_path / "ours").stat().st_mode == (tmp_path / "usual").stat().st_mode


def fail_at_call(monkeypatch, name, number, code):
    """Let the n-th call of an os function fail with this error."""
    calls = []
    real = getattr(os, name)

    def sometimes(*arguments, **named):
        calls.append(arguments)
        if len(calls) == number:
            raise OSError(code, os.strerror(code))
        return real(*arguments, **named)

    monkeypatch.setattr(files.os, name, sometimes)


@pytest.mark.parametrize("number", [1, 2])
def test_a_full_disk_leaves_all_old_files_and_no_part(tmp_path, monkeypatch, number):
    first, second = tmp_path / "1.csv", tmp_path / "2.csv"
    write_whole({first: b"old 1", second: b"old 2"})
    fail_at_call(monkeypatch, "fsync", number, errno.ENOSPC)
    with pytest.raises(CannotWriteError, match=rf"disk is full.*{number}\.csv") as caught:
        write_whole({first: b"new 1", second: b"new 2"})
    assert "\n" not in str(caught.value)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {
        "1.csv": b"old 1",
        "2.csv": b"old 2",
    }


def test_a_file_where_the_folder_should_be_is_named(tmp_path):
    (tmp_path / "x").write_text("")
    with pytest.raises(CannotWriteError, match="there is a file there"):
        write_whole({tmp_path / "x" / "photos.csv": b""})
    with pytest.raises(CannotWriteError, match="there is a file there"):
        write_whole({tmp_path / "x" / "deeper" / "photos.csv": b""})


def test_an_interrupted_write_leaves_no_part(tmp_path, monkeypatch):
    def interrupted(descriptor):
        raise KeyboardInterrupt

    monkeypatch.setattr(files.os, "fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_whole({tmp_path / "x.csv": b"new"})
    assert list(tmp_path.iterdir()) == []


def test_leftovers_of_a_killed_run_go_and_nothing_else_does(tmp_path):
    kept = [tmp_path / "x.csv", tmp_path / "masks" / "my.part", tmp_path / ".hidden"]
    for path in [*kept, tmp_path / "masks" / ".0af3.part"]:
        path.parent.mkdir(exist_ok=True)
        path.write_text("")
    remove_leftovers(tmp_path)
    assert {path for path in tmp_path.rglob("*") if path.is_file()} == set(kept)
