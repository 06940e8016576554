"""A second run measures what has changed, and nothing else."""

import os
import shutil

import pytest
from PIL import Image

from scripts.score import photo as photo_module
from scripts.score import run


@pytest.fixture
def measured(monkeypatch):
    """Record the name of every photo that is really measured (in this process)."""
    names = []

    def recorded(real):
        def measure(photo, *more):
            names.append(photo.name)
            return real(photo, *more)

        return measure

    for name in ("measure_day", "measure_night"):
        monkeypatch.setattr(photo_module, name, recorded(getattr(photo_module, name)))
    return names


@pytest.fixture
def score(garden, tmp_path, spotlamp, measured):
    """Score the garden and return the names measured now, with what was printed."""

    def again(*options):
        measured.clear()
        shown = spotlamp("score", garden, "--out", tmp_path / "out", "--jobs", 1, *options)
        return sorted(measured), shown.output

    return again


ALL = ["bed-1/a.jpg", "bed-1/b.png", "bed-2/c.jpg", "bed-2/d.webp"]


def table(tmp_path, name="photos"):
    return (tmp_path / "out" / f"{name}.csv").read_bytes()


def test_nothing_is_measured_twice_and_the_tables_are_the_same(score, tmp_path):
    names, shown = score()
    assert names == ALL
    assert "not measured again" not in shown
    first = {name: table(tmp_path, name) for name in ("photos", "leaves", "lesions")}
    names, shown = score()
    assert names == []
    assert "4 photos unchanged since an earlier run: not measured again." in shown
    assert {name: table(tmp_path, name) for name in first} == first


def test_an_edited_photo_alone_is_measured_again(score, garden, paint_photo):
    score()
    paint_photo(garden / "bed-2" / "c.jpg", 77)
    names, shown = score()
    assert names == ["bed-2/c.jpg"]
    assert "3 photos unchanged" in shown


def test_touching_and_renaming_measure_nothing(score, garden, tmp_path, read_table):
    score()
    os.utime(garden / "bed-1" / "a.jpg", (1_720_000_000, 1_720_000_000))
    (garden / "bed-1" / "b.png").rename(garden / "bed-2" / "renamed.png")
    names, _ = score()
    assert names == []
    rows = {row["photo"]: row for row in read_table(tmp_path / "out" / "photos.csv")}
    assert list(rows) == ["bed-1/a.jpg", "bed-2/c.jpg", "bed-2/d.webp", "bed-2/renamed.png"]
    # The time of a photo without EXIF is the file's: it follows the file.
    assert rows["bed-1/a.jpg"]["taken_at"].startswith("2024-07-0")
    assert rows["bed-2/renamed.png"]["plant"] == "bed-2"


def test_a_date_given_by_renaming_is_read_without_measuring(score, garden, tmp_path, read_table):
    score()
    (garden / "bed-1" / "a.jpg").rename(garden / "bed-1" / "20240618_074500.jpg")
    assert score()[0] == []
    row = read_table(tmp_path / "out" / "photos.csv")[0]
    assert (row["taken_at"], row["taken_from"]) == ("2024-06-18T07:45:00", "name")


def test_a_time_inside_the_photo_stays_whatever_happens_to_the_file(
    score, garden, tmp_path, read_table
):
    exif = Image.Exif()
    exif.get_ifd(0x8769)[36867] = "2024:05:04 03:02:01"
    with Image.open(garden / "bed-1" / "b.png") as picture:
        picture.save(garden / "bed-1" / "a.jpg", exif=exif)
    score()
    (garden / "bed-1" / "a.jpg").rename(garden / "bed-1" / "20200101_000000.jpg")
    assert score()[0] == []
    row = read_table(tmp_path / "out" / "photos.csv")[0]
    assert (row["taken_at"], row["taken_from"]) == ("2024-05-04T03:02:01", "exif")


def test_the_same_photo_under_two_names_has_two_rows(score, garden, tmp_path, read_table):
    score()
    shutil.copy(garden / "bed-1" / "a.jpg", garden / "bed-2" / "copy.jpg")
    assert score()[0] == []
    rows = read_table(tmp_path / "out" / "photos.csv")
    twins = [row for row in rows if row["photo"] in ("bed-1/a.jpg", "bed-2/copy.jpg")]
    assert len(rows) == 5
    assert twins[0]["sha256"] == twins[1]["sha256"]
    assert twins[0]["severity_pct"] == twins[1]["severity_pct"]


def test_a_photo_taken_away_leaves_the_tables(score, garden, tmp_path, read_table):
    score()
    (garden / "bed-1" / "a.jpg").unlink()
    score()
    for name in ("photos", "leaves", "lesions"):
        rows = read_table(tmp_path / "out" / f"{name}.csv")
        assert "bed-1/a.jpg" not in {row["photo"] for row in rows}


def test_a_damaged_reading_is_measured_again(score, tmp_path):
    score()
    before = table(tmp_path)
    kept = sorted((tmp_path / "out" / ".readings").iterdir())
    kept[0].write_bytes(kept[0].read_bytes()[:-20])
    kept[1].write_bytes(b"")
    assert len(score()[0]) == 2
    assert score()[0] == []
    assert table(tmp_path) == before


def test_pictures_asked_for_later_are_made_and_then_kept(score, tmp_path):
    score()
    assert score("--masks")[0] == ALL
    assert score("--masks")[0] == []
    (tmp_path / "out" / "masks" / "bed-2" / "c.png").unlink()
    assert score("--masks")[0] == ["bed-2/c.jpg"]
    assert (tmp_path / "out" / "masks" / "bed-2" / "c.png").is_file()
    assert score()[0] == []


def test_a_picture_of_another_photo_is_not_taken_for_this_one(score, garden, tmp_path):
    score("--masks", "--overlays")
    pictures = [tmp_path / "out" / "masks" / "bed-2" / "c.png",
                tmp_path / "out" / "overlays" / "bed-1" / "a.jpg"]  # fmt: skip
    before = [picture.read_bytes() for picture in pictures]
    a, c, between = garden / "bed-1" / "a.jpg", garden / "bed-2" / "c.jpg", garden / "between"
    a.rename(between)
    c.rename(a)
    between.rename(c)
    assert score("--masks", "--overlays")[0] == ["bed-1/a.jpg", "bed-2/c.jpg"]
    assert all(new.read_bytes() != old for new, old in zip(pictures, before, strict=True))


def test_other_settings_measure_everything_again(garden, tmp_path, measured):
    run.score_paths([garden], tmp_path / "out", jobs=1)
    measured.clear()
    run.score_paths([garden], tmp_path / "out", jobs=1, settings=run.Settings(mode="night"))
    assert sorted(measured) == ALL
    measured.clear()
    run.score_paths([garden], tmp_path / "out", jobs=1)
    assert measured == []


def test_a_new_version_of_measuring_measures_everything_again(score, monkeypatch):
    score()
    monkeypatch.setattr("vision.day.measure.MEASURING_VERSION", "another")
    assert score()[0] == ALL


def test_photos_that_could_not_be_read_are_tried_again(score, garden, tmp_path, paint_photo):
    (garden / "bed-1" / "a.jpg").write_bytes(b"")
    score()
    assert "is empty" in (tmp_path / "out" / "problems.txt").read_text(encoding="utf-8")
    paint_photo(garden / "bed-1" / "a.jpg", 5)
    assert score()[0] == ["bed-1/a.jpg"]
    assert not (tmp_path / "out" / "problems.txt").exists()
