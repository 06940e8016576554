"""Names, notes and headers that others wrote: shown, and never obeyed by the terminal."""

import unicodedata

import pytest
import typer
from typer.testing import CliRunner

from models.garden.settings import GARDEN_FILE
from scripts.cli import app
from scripts.common.terminal import fail, say

TITLE = "\x1b]0;owned\x07\x9b31m"
"""Sets a terminal's title and colour: a control sequence of 7 bits, and one of 8."""
TURNED = "\N{RIGHT-TO-LEFT OVERRIDE}"


def unsafe(text):
    """Return the signs of a text that could steer a terminal, line ends left out."""
    turning = {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}
    return [
        sign
        for sign in text
        if (unicodedata.category(sign) == "Cc" and sign != "\n")
        or unicodedata.bidirectional(sign) in turning
    ]


@pytest.fixture
def told(monkeypatch, tmp_path):
    """Run commands in an empty folder, and return all that they said."""
    monkeypatch.chdir(tmp_path)

    def run(*words, code=0):
        result = CliRunner().invoke(app, [str(word) for word in words])
        assert result.exit_code == code, result.output
        assert not unsafe(result.output)
        return result.output

    return run


def test_photo_names_are_shown_with_escapes(told, tmp_path, paint_photo):
    told("new", "beds", "--bed", "North=A1")
    paint_photo(tmp_path / "photos" / f"a{TITLE}.jpg")
    (tmp_path / "photos" / f"b{TITLE}.jpg").write_bytes(b"no photo")
    said = told("score", "photos", "--out", "results", "--garden", "beds", "--jobs", 1)
    assert r"a\x1b]0;owned\x07\x9b31m.jpg" in said
    assert r"\x1b" in told("assign", "--garden", "beds")
    assert r"\x1b" in (tmp_path / "results" / "problems.txt").read_text("utf-8")


def test_notes_and_products_keep_their_words_and_their_line(told):
    told("new", "beds", "--bed", "North=A1")
    note = f"dry{TITLE}{TURNED}\n9  2030-01-01 12:00  sprayed peroxide"
    assert r"dry\x1b" in told("log", "note", note, "--garden", "beds")
    told("log", "spray", f"nettle{TITLE}", "A1", "--other", "--garden", "beds")
    listed = told("log", "--garden", "beds").splitlines()
    assert len(listed) == 2
    told("plan", "--garden", "beds")


def test_a_gardens_name_and_beds_stand_on_one_line(told, tmp_path):
    told("new", "beds", "--bed", "North=A1")
    settings = tmp_path / "beds" / GARDEN_FILE
    text = settings.read_text("utf-8")
    for bad in (
        text.replace('name = "beds"', r'name = "be\u001b[31mds"'),
        text.replace("[beds.North]", r'[beds."No\nrth"]'),
        text.replace('"A1"', r'"A\u009b1"'),
    ):
        assert bad != text
        settings.write_text(bad, "utf-8")
        told("flag", "--garden", "beds", code=2)


def test_headers_of_files_are_shown_with_escapes(told, tmp_path):
    (tmp_path / "station.csv").write_text(f"When,Te{TITLE}mp\n2026-06-01,20\n", "utf-8")
    said = told("weather", "station.csv", "--time", "When", "--temperature", "Temp:C", code=1)
    assert r"Te\x1b" in said


def test_what_stands_on_the_command_line_is_shown_with_escapes(told):
    told("check", f"a{TITLE}.csv", code=2)
    told("columns", f"a{TITLE}", code=2)
    told("score", f"a{TITLE}.jpg", "--out", "results", code=2)
    told(f"sc{TITLE}ore", code=2)
    told("log", "--garden", f"a{TITLE}", code=2)


def test_blanks_and_joiners_of_scripts_and_emoji_stay_as_they_are(capsys):
    text = "37\N{NO-BREAK SPACE}%, 👩\N{ZERO WIDTH JOINER}🌾, نمی\N{ZERO WIDTH NON-JOINER}خواهم"
    say(text)
    assert capsys.readouterr().out == f"{text}\n"


def test_an_error_is_one_line(capsys):
    with pytest.raises(typer.Exit):
        fail("“a\nb” is no photo.")
    assert capsys.readouterr().err == "“a b” is no photo.\n"
