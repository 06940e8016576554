"""The garden's settings: what people may write, one sentence for each mistake, remarks kept."""

from dataclasses import fields

import pytest

from models.care import Thresholds, thresholds_of
from models.garden.beds import Plant
from models.garden.settings import (
    GARDEN_FILE,
    GardenError,
    find_garden,
    garden_text,
    read_garden,
    with_beds,
    with_tags,
)


@pytest.fixture
def read(tmp_path):
    def written(text: str):
        (tmp_path / GARDEN_FILE).write_text(text, "utf-8")
        return read_garden(tmp_path)

    return written


def test_a_new_garden_reads_back(read):
    beds = {"North bed": [["A1", "A2"], ["", "A3"]]}
    garden = read(garden_text('Back "yard"', "Europe/Berlin", "US", beds))
    assert (garden.name, garden.time_zone, garden.units) == ('Back "yard"', "Europe/Berlin", "US")
    assert garden.plants == (
        Plant("A1", "North bed", 1, 1), Plant("A2", "North bed", 1, 2),
        Plant("A3", "North bed", 2, 2),
    )  # fmt: skip
    assert garden.settings == {"care": {}}
    assert garden.journal == "journal.sqlite"


def test_each_setting_of_a_new_garden_is_explained():
    lines = garden_text("x", "UTC").splitlines()
    for name in ("time_zone", "units", "spacing_m", "journal"):
        (at,) = [n for n, line in enumerate(lines) if line.startswith(f"{name} =")]
        assert lines[at - 1].startswith("# ")


def test_the_thresholds_stand_in_a_new_garden_with_their_usual_values(read):
    text = garden_text("x", "UTC")
    names = [field.name for field in fields(Thresholds)]
    # Without the sign of a remark, each line sets what holds anyway.
    for name in names:
        text = text.replace(f"# {name} = ", f"{name} = ")
    garden = read(text)
    assert list(garden.settings["care"]) == names
    assert thresholds_of(garden) == Thresholds()


def test_an_empty_file_is_a_garden_without_plants(read):
    assert read("").plants == ()


def test_feet_become_metres(read):
    assert read("spacing_ft = 2").spacing_m == pytest.approx(0.6096)


def test_other_tables_are_handed_on(read):
    assert read("[care]\nrain_mm = 5").settings == {"care": {"rain_mm": 5}}


def test_a_further_bed_leaves_all_else_as_it_was(read):
    text = garden_text("x", "UTC", beds={"North": [["A1"]]}).replace(
        '["A1"],', '["A1"],  # under the roof'
    )
    longer = with_beds(text, {"South": [["B1", "B2"]], "North": [["A2"]]})
    assert [plant.name for plant in read(longer).plants] == ["A1", "A2", "B1", "B2"]
    assert set(text.splitlines()) - set(longer.splitlines()) == set()


def test_tags_stay_with_their_plants(read):
    text = with_tags(garden_text("x", "UTC", beds={"North": [["A1", "A2"]]}), {"A2": 7})
    assert [plant.tag for plant in read(text).plants] == [None, 7]
    longer = with_tags(with_beds(text, {"North": [["A0"]]}), {"A0": 8})
    assert {plant.name: plant.tag for plant in read(longer).plants} == {
        "A1": None, "A2": 7, "A0": 8,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("text", "line", "problem"),
    [
        ('name = "x', 1, "unterminated string"),
        ('name = "a"\nunits = metric', 2, "invalid value"),
        ("[beds.North]\nrows = [", 2, ""),
        ('units = "imperial"', 1, "metric"),
        ("name = 5", 1, "text in quotes"),
        ('\n\ntime_zone = "Berlin"', 3, "no time zone"),
        ("spacing_m = -1", 1, "above 0"),
        ("spacing_m = true", 1, "above 0"),
        ('colour = "red"', 1, "no setting"),
        ("beds = 3", 1, "beds"),
        ("[beds.North]\nrows = 'A1'", 1, "rows of names"),
        ("[beds.North]\nrows = [['A1', 7]]", 1, "rows of names"),
        ("[beds.North]\nrows = [['A1']]\n[beds.South]\nrows = [['a2', 'a1']]", 4, "two plants"),
        ("[beds.North]\nrows = [['A/1']]", 2, "slashes"),
        ("[beds.N]\nrows = [['A1']]\n[tags]\nA2 = 1", 4, "in no bed"),
        ("[beds.N]\nrows = [['A1']]\n[tags]\nA1 = 0", 4, "1 to 586"),
        ("[beds.N]\nrows = [['A1', 'A2']]\n[tags]\nA1 = 3\nA2 = 3", 5, "one tag, 3"),
        ("[beds.North]\nrows = [['" + "A" * 61 + "']]", 2, "60 signs"),
    ],
)
def test_a_mistake_gives_one_sentence_with_its_line(read, text, line, problem):
    with pytest.raises(GardenError, match=f"{GARDEN_FILE}”, line {line}: ") as error:
        read(text)
    assert problem in str(error.value)
    assert "\n" not in str(error.value)


def test_a_file_of_another_encoding_gives_a_sentence(tmp_path):
    (tmp_path / GARDEN_FILE).write_bytes('name = "Gärten"'.encode("latin-1"))
    with pytest.raises(GardenError, match="UTF-8"):
        read_garden(tmp_path)


def test_a_folder_without_the_file_is_no_garden(tmp_path):
    with pytest.raises(GardenError, match="spotlamp new"):
        read_garden(tmp_path)


def test_a_garden_is_found_from_below(tmp_path):
    (tmp_path / "garden" / "photos" / "A1").mkdir(parents=True)
    (tmp_path / "garden" / GARDEN_FILE).touch()
    assert find_garden(tmp_path / "garden" / "photos" / "A1" / "x.jpg") == tmp_path / "garden"
    assert find_garden(tmp_path / "garden") == tmp_path / "garden"
    assert find_garden(tmp_path) is None
