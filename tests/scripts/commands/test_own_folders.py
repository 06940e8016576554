"""What a command writes never lies among what people put there, nor is it taken for theirs."""

import pytest

from models.garden.settings import GARDEN_FILE
from vision.photo.find import find_photos, holds_photos


def everything(folder):
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize(
    ("more", "name"), [([], "spotlamp-demo"), (["--season"], "spotlamp-season")]
)
def test_a_demo_goes_into_a_folder_of_its_own(garden, spotlamp, more, name):
    before = everything(garden)
    said = spotlamp("demo", *more, "--out", garden, code=2).output
    assert "is not empty" in said
    assert name in "".join(said.split())
    assert everything(garden) == before


def test_a_demo_may_run_again_into_its_own_folder(garden, tmp_path, spotlamp, monkeypatch):
    monkeypatch.setattr("scripts.commands.demo.sample_garden", lambda: garden)
    (tmp_path / "demo").mkdir()
    for _ in range(2):
        spotlamp("demo", "--out", tmp_path / "demo", "--jobs", 1)


def test_a_season_that_was_stopped_goes_on_and_another_garden_is_left_alone(
    tmp_path, spotlamp, monkeypatch, paint_photo
):
    source = tmp_path / "source"
    paint_photo(source / "photos" / "A1" / "2026-06-01_12-00.jpg")
    (source / "log.csv").write_text("at,log\n2026-06-01 12:00,water A1\n", "utf-8")
    (source / GARDEN_FILE).write_text('name = "x"\n[beds.N]\nrows = [["A1"]]\n', "utf-8")
    monkeypatch.setattr("scripts.commands.demo.sample_season", lambda: source)
    folder = tmp_path / "season"
    folder.mkdir()
    (folder / GARDEN_FILE).write_bytes((source / GARDEN_FILE).read_bytes())
    spotlamp("demo", "--season", "--out", folder, "--jobs", 1)
    spotlamp("demo", "--season", "--out", folder, "--jobs", 1)
    with (folder / GARDEN_FILE).open("a", encoding="utf-8") as settings:
        settings.write("# mine\n")
    assert "a garden already" in spotlamp("demo", "--season", "--out", folder, code=2).output


@pytest.mark.parametrize(
    "words",
    [
        ("score", "elsewhere", "--out"),
        ("night", "elsewhere", "--out"),
        ("trend", "--out"),
        ("burn", "A1", "--out"),
    ],
)
def test_results_do_not_go_among_photos_that_are_not_even_scored(
    garden, tmp_path, spotlamp, paint_photo, monkeypatch, words
):
    """A folder of results is passed over: the photos in it would never be scored again."""
    monkeypatch.chdir(tmp_path)
    paint_photo(tmp_path / "elsewhere" / "a.jpg")
    before = everything(garden)
    assert "holds photos" in " ".join(spotlamp(*words, garden, code=2).output.split())
    assert everything(garden) == before


def test_results_may_go_beside_other_files_and_into_results_again(garden, tmp_path, spotlamp):
    out = tmp_path / "notes"
    out.mkdir()
    (out / "notes.txt").write_text("mine")
    for _ in range(2):
        spotlamp("score", garden, "--out", out, "--overlays", "--jobs", 1)
    assert (out / "notes.txt").read_text() == "mine"
    assert not holds_photos(tmp_path / "notes" / "masks")
    assert len(find_photos([tmp_path]).photos) == 4
