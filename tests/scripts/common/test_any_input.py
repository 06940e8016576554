"""Whatever stands in a file that the program reads: a sentence, never a traceback.

Sound files are damaged by chance, by bytes and by values. Photos and the journal have tests of
their own.
"""

import json
import shutil
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
import typer
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from models.care.records import Task
from models.entries import LeafEntry, LogEntry, PhotoEntry
from models.garden.beds import Garden
from models.garden.settings import GARDEN_FILE, read_garden
from models.journal import open_journal
from models.pattern import CLASSIFIER_FILE, MEASURES, load_classifier
from models.pattern.training import LabelledLeaves, labelled_csv
from models.weather import parse_columns
from scripts.care.calendar_file import calendar_bytes
from scripts.care.weather_file import station_of
from scripts.cli import app
from scripts.garden.data_package import DESCRIPTION, journal_files
from scripts.learn.check import check_labels
from scripts.learn.labelled import read_labels
from scripts.learn.train import train_classifier
from vision.errors import SpotlampError

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
ODD = (
    *(b"", b"\0", b"\xff", "ä".encode("latin-1"), "ä".encode("utf-16"), b"\xef\xbb\xbf", b"\r"),
    *(b"[" * 5000, b'{"a":' * 5000, b"a=[" * 3, b"9" * 5000, b"x" * 4000, b"[a.b]\n", b"#"),
    *(b"1e400", b"-1e400", b"NaN", b"inf", b"-1", b"0", str(2**63).encode(), b"1_0", b"1e-400"),
    *(b'"', b"'", b"\n", b",", b";", b"\t", b":", b"=1+1", "＝".encode(), b"\x1b[31m", b"''' "),
    *(b"0001-01-01", b"9999-12-31 23:59", b"2026-06-01T00:00+23:59", b"24:00", b"%", b"Europe"),
    *(b"true", b"null", b"[]", b"{}", b"[[]]", b"../../x", b"/dev/null"),
)
JSON_VALUES = (
    *(None, True, -1, 2**63, 10**400, 1e308, float("nan"), float("inf"), "", "x", "1", "\0"),
    *([], {}, [[]], [1], {"a": 1}, ["x"] * 3),
)
TOML_VALUES = (
    *("1", "-1", "0", str(2**63), "1e400", "nan", "inf", "true", "2026-06-01", "07:30:00", '""'),
    *('"x"', '" "', "[]", "{}", "[[]]", "[1]", '[["A1"], 1]', '[["A1", "A1"]]', "{a = {b = 1}}"),
    *(
        '"../x"',
        '"/dev/null"',
        '"."',
        '"sqlite:///:memory:"',
        '"nothing://x"',
        '"Europe"',
        '"\\u0000"',
    ),
    *(f'"{"x" * 300}"', '["\\u001b[31m"]', '[["\\u001b[31m"]]'),
)
usual = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


@st.composite
def damaged(draw, data: bytes) -> bytes:
    """Return the bytes with some of them replaced by odd ones, up to three times."""
    for _ in range(draw(st.integers(1, 3))):
        start = draw(st.integers(0, len(data)))
        gone = draw(st.integers(0, 12) | st.just(len(data)))
        piece = draw(st.sampled_from(ODD) | st.binary(max_size=6))
        data = data[:start] + piece + data[start + gone :]
    return data


@st.composite
def other_values(draw, text: bytes) -> bytes:
    """Return JSON in which one value, wherever it stands, is another, or is gone."""
    whole = json.loads(text)
    holder, key = None, None
    here = whole
    while isinstance(here, dict | list) and here and draw(st.integers(0, 4)):
        keys = list(here) if isinstance(here, dict) else range(len(here))
        holder, key = here, draw(st.sampled_from(keys))
        here = holder[key]
    if holder is None:
        return json.dumps(draw(st.sampled_from(JSON_VALUES))).encode()
    if isinstance(holder, dict) and draw(st.booleans()):
        del holder[key]
    else:
        holder[key] = draw(st.sampled_from(JSON_VALUES))
    return json.dumps(whole).encode()


@st.composite
def other_cells(draw, table: bytes, delimiter: bytes = b",") -> bytes:
    """Return a table in which one cell, that of the header included, is another."""
    lines = table.splitlines()
    number = draw(st.integers(0, len(lines) - 1))
    cells = lines[number].split(delimiter)
    cells[draw(st.integers(0, len(cells) - 1))] = draw(st.sampled_from(ODD))
    lines[number] = delimiter.join(cells)
    return b"\r\n".join(lines)


@st.composite
def other_settings(draw, text: bytes) -> bytes:
    """Return settings in which one value, or the name of a table, is another."""
    lines = text.decode().splitlines()
    number = draw(st.integers(0, len(lines) - 1))
    name, equals, _ = lines[number].partition(" = ")
    other = f"{name} = {draw(st.sampled_from(TOML_VALUES))}"
    lines[number] = other if equals else draw(st.sampled_from(("[x]", "[beds]", "[tags.A]", "")))
    return "\n".join(lines).encode()


def always_a_sentence(call, *arguments, **options) -> None:
    """Call a function that may raise nothing but what ends a command with one sentence."""
    said = "done"
    try:
        call(*arguments, **options)
    except (SpotlampError, typer.BadParameter) as error:
        said = str(error)
    assert said.strip()


def always_ends(*words) -> None:
    """Run a command, which must end by itself with what it has to say."""
    result = CliRunner().invoke(app, [str(word) for word in words])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert result.exit_code in (0, 1, 2)
    if result.exit_code:
        assert result.stderr.strip()
        assert "\x1b" not in result.stderr


SETTINGS = b"""\
name = "Beds"
time_zone = "Europe/Berlin"
units = "metric"
spacing_m = 0.6
journal = "journal.sqlite"
[care]
sick_pct = 10.0
morning_from = 05:00:00
declined = ["lime"]
[weather]
file = "station.csv"
time = "When"
temperature = "Out:C"
[beds.North]
rows = [["A1", "A2"], ["A3", ""]]
[tags]
A1 = 7
"""


@pytest.fixture(scope="module")
def garden_folder(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("any") / "beds"
    CliRunner().invoke(app, ["new", str(folder), "--bed", "North=A1,A2/A3,A4"])
    (folder / "station.csv").write_text("When,Out\n2026-06-01 07:00,20\n")
    return folder


@usual
@given(damaged(SETTINGS) | other_settings(SETTINGS))
@example(b"a = " + b"[" * 20_000)
@example(b"name = " + b"9" * 5000)
@example(SETTINGS.replace(b"Beds", "B\xe4der".encode("latin-1")))
@example(SETTINGS.replace(b"journal.sqlite", b"x" * 300))
def test_a_gardens_settings(garden_folder, data):
    (garden_folder / GARDEN_FILE).write_bytes(data)
    always_a_sentence(read_garden, garden_folder)
    always_ends("new", garden_folder, "--bed", "South=B1")


@settings(usual, max_examples=15)
@given(damaged(SETTINGS) | other_settings(SETTINGS))
@example(SETTINGS.replace(b"Beds", "B\xe4der".encode("latin-1")))
@example(SETTINGS.replace(b"10.0", b"1e400"))
@example(SETTINGS.replace(b'"Out:C"', b"[1]"))
@example(SETTINGS.replace(b"[weather]", b'[weather]\nzone = "Europe"'))
def test_a_gardens_settings_as_the_commands_need_them(garden_folder, data):
    (garden_folder / GARDEN_FILE).write_bytes(data)
    for words in (["flag"], ["plan"], ["log", "rain", "5mm"], ["weather"], ["assign"]):
        always_ends(*words, "--garden", garden_folder)
    always_ends("tags", "--garden", garden_folder, "--out", garden_folder / "tags.pdf")


STATION = b"""\
When;Out;Hum;Wet;Rain
2026-06-01 07:00;20,5;80;30;0
2026-06-01 08:00;21;81;60;0,2
2026-10-25 02:30;21;81;60;0,2
"""
COLUMNS = {"temperature": "Out:C", "humidity": "Hum:%", "wetness": "Wet:min", "rain": "Rain:mm"}


@usual
@given(damaged(STATION) | other_cells(STATION, b";"), st.sampled_from(["", "%Y-%m-%d %H:%M"]))
@example(STATION.replace(b"20,5", b"x" * 140_000), "")
@example(STATION.replace(b"2026-06-01 07:00", b"0001-01-01"), "")
@example(STATION.replace(b"2026-06-01 07:00", b"9999-12-31 23:59"), "")
def test_a_stations_file(tmp_path, data, form):
    path = tmp_path / "station.csv"
    path.write_bytes(data)
    named = {**COLUMNS, "time": "When", "time_format": form, "zone": "Europe/Berlin"}
    always_a_sentence(station_of, None, None, path, named)


@usual
@given(st.text() | st.sampled_from(["%Y %Y", "%", "%Q", "%Y-%m-%d", "%H:%M", "%s", "(", "%d %e"]))
@example("%Y %Y")
def test_a_form_of_a_stations_times(tmp_path, form):
    path = tmp_path / "station.csv"
    path.write_bytes(STATION)
    always_a_sentence(
        station_of, None, None, path, {**COLUMNS, "time": "When", "time_format": form}
    )


def test_a_form_that_names_a_part_twice_is_named():
    with pytest.raises(SpotlampError, match="“%Y %Y” is no form of a time"):
        parse_columns("When", {"rain": "Rain:mm"}, "%Y %Y")


LABELS = b"photo,pattern,session,blight_kind,severity_pct\na.jpg,spot,day,,10\nb.jpg,none,,,0\n"


@usual
@given(damaged(LABELS) | other_cells(LABELS))
@example(LABELS.replace(b"a.jpg", b"a\0.jpg"))
@example(LABELS.replace(b"a.jpg", b"a" * 300 + b".jpg"))
def test_labels_of_photos(tmp_path, data):
    path = tmp_path / "labels.csv"
    path.write_bytes(data)
    always_a_sentence(read_labels, path)
    always_a_sentence(check_labels, path, tmp_path / "out")


def measured_leaves() -> bytes:
    rng = np.random.default_rng(0)
    patterns = np.array(["spot", "blight", "none", "spot", "blight", "none"])
    sessions = np.array(["1", "1", "1", "2", "2", "2"])
    names = np.array([f"{n}.png" for n in range(6)])
    return labelled_csv(
        LabelledLeaves(
            names, sessions, patterns, np.array([""] * 6), rng.random((6, len(MEASURES)))
        )
    )


FEATURES = measured_leaves()


@settings(usual, max_examples=25)
@given(damaged(FEATURES) | other_cells(FEATURES))
@example(FEATURES.replace(b"spot", b"blight"))
@example(FEATURES.splitlines()[0])
def test_a_table_of_measurements(tmp_path, data):
    path = tmp_path / "features.csv"
    path.write_bytes(data)
    always_a_sentence(train_classifier, path, tmp_path / "own.json", corrections=path)


CLASSIFIER = json.dumps(
    {**json.loads(CLASSIFIER_FILE.read_bytes()), "summary": {"source": "x"}}
).encode()


@usual
@given(damaged(CLASSIFIER) | other_values(CLASSIFIER))
@example(b"[" * 100_000)
@example(b"9" * 5000)
def test_a_classifier(tmp_path, data):
    path = tmp_path / "own.json"
    path.write_bytes(data)
    measured = np.zeros(len(MEASURES), np.float32)
    always_a_sentence(lambda: load_classifier(path).call(measured))


def small_calendar() -> bytes:
    task = Task(
        "night:A1", "night", "Look at A1.", "Droppings.", ("A1",), date(2026, 6, 2), "night"
    )
    series = Task("p", "prevent", "Spray A1.", "Due.", ("A1",), date(2026, 6, 3), "morning",
                  repeat_days=14)  # fmt: skip
    return calendar_bytes(Garden("Beds", "Europe/Berlin"), [task, series], NOW)


CALENDAR = small_calendar()


@usual
@given(damaged(CALENDAR))
@example(CALENDAR.replace(b"SEQUENCE:", b"SEQUENCE:x"))
@example(CALENDAR.replace(b"COUNT=", b"COUNT=x"))
@example(CALENDAR.replace(b"SUMMARY", b"SUMMAR"))
def test_a_calendar_to_be_replaced(data):
    garden = Garden("Beds", "Europe/Berlin")
    always_a_sentence(calendar_bytes, garden, [], NOW, earlier=[data])


def package_files() -> dict[str, bytes]:
    zone = ZoneInfo("Europe/Berlin")
    leaf = LeafEntry(1, 500.0, 1, 5.0, 2.0, 7.0, 6.0, 8.0, "spot", 0.8, 0.1, 0.1)
    taken = datetime(2026, 6, 1, 8, tzinfo=zone)
    photo = PhotoEntry("A1/a.jpg", "a" * 64, taken, plant="A1", version="1", leaves=(leaf,))
    with open_journal("sqlite://") as journal:
        journal.record_plants(read_garden_text().plants)
        journal.file_reading(photo)
        journal.log(LogEntry(0, "spray", taken, ("A1",), product="soda"))
        journal.log(LogEntry(0, "rain", taken, amount=5.0))
        return journal_files(journal)


def read_garden_text() -> Garden:
    from models.garden.settings import check_garden

    return check_garden(Path(GARDEN_FILE), SETTINGS.decode())


PACKAGE = package_files()
LARGE = b"\r\n%d," % 2**63


@st.composite
def other_file(draw) -> tuple[str, bytes]:
    """Return the name of a file of the package, and other bytes for it."""
    name = draw(st.sampled_from(sorted(PACKAGE)))
    ways = [damaged(PACKAGE[name])]
    if name == DESCRIPTION:
        ways.append(other_values(PACKAGE[name]))
    elif PACKAGE[name].count(b"\r\n") > 1:
        ways += [other_cells(PACKAGE[name])] * 3
    return name, draw(st.one_of(ways))


@pytest.fixture(scope="module")
def fresh_garden(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("fresh") / "beds"
    always_ends("new", folder, "--bed", "North=A1,A2/A3")
    return folder


@settings(usual, max_examples=25)
@given(other_file(), st.booleans())
@example((DESCRIPTION, b'{"resources": [1, [], {"path": []}]}'), False)
@example((DESCRIPTION, b"[" * 100_000), False)
@example(("photos.csv", PACKAGE["photos.csv"].replace(b"\r\n1,", LARGE, 1)), True)
def test_a_data_package(tmp_path, fresh_garden, file, edited):
    """What was imported can also be shown."""
    source, folder = tmp_path / "package", tmp_path / "beds"
    for old in (source, folder):
        shutil.rmtree(old, ignore_errors=True)
    source.mkdir()
    for name, data in [*PACKAGE.items(), file]:
        (source / name).write_bytes(data)
    shutil.copytree(fresh_garden, folder)
    always_ends("import", source, "--garden", folder, *(["--edited"] if edited else []))
    for words in (["log"], ["flag", "--at", "2026-06-02 12:00"], ["assign"]):
        always_ends(*words, "--garden", folder)
