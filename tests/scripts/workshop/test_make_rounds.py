"""The sample rounds: what is bundled is what the script paints, and the truth fits the photos."""

import csv
import io
import shutil

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from scripts.cli import app as spotlamp
from scripts.workshop.paint.garden import HERE, jpeg_bytes
from scripts.workshop.paint.rounds import (
    DROPPINGS,
    NIGHT,
    app,
    dropping_mask,
    night_mask,
    paint_droppings,
    paint_night,
)
from vision.records import CATERPILLAR, DROPPING

ROUNDS = {"night": NIGHT, "droppings": DROPPINGS}


def _pixels(source):
    with Image.open(source) as image:
        return np.asarray(image).astype(int)


def _table(path):
    with (HERE / path).open(encoding="utf-8", newline="") as table:
        return list(csv.DictReader(table))


@pytest.mark.parametrize(("round_", "number"), [("night", 4), ("night", 7), ("droppings", 1)])
def test_a_photo_of_a_round_painted_again_is_the_bundled_one(round_, number):
    sample = ROUNDS[round_][number]
    paint, mask = {
        "night": (paint_night, night_mask),
        "droppings": (paint_droppings, dropping_mask),
    }[round_]
    photo = paint(sample)
    bundled = _pixels(HERE / round_ / "garden" / f"{sample.name}.jpg")
    again = _pixels(io.BytesIO(jpeg_bytes(photo.pixels, sample.taken_at, 76)))
    assert np.abs(bundled - again).mean() < 1.0  # 0 with the versions that made them
    truth = _pixels(HERE / round_ / "truth" / f"{sample.name}.png")
    assert np.mean(truth != mask(photo)) < 0.001
    assert (HERE / round_ / "garden" / f"{sample.name}-off.jpg").exists() == sample.torch_off


@pytest.mark.parametrize("round_", ROUNDS)
def test_every_photo_of_a_round_has_its_mask_and_its_row(round_):
    photos = {
        path.relative_to(HERE / round_ / "garden").as_posix()
        for path in (HERE / round_ / "garden").rglob("*.jpg")
        if not path.stem.endswith("-off")
    }
    masks = {
        p.relative_to(HERE / round_ / "truth") for p in (HERE / round_ / "truth").rglob("*.png")
    }
    assert {mask.with_suffix(".jpg").as_posix() for mask in masks} == photos
    assert {row["photo"] for row in _table(f"{round_}/truth/truth.csv")} == photos
    assert {f"{sample.name}.jpg" for sample in ROUNDS[round_]} == photos


def test_the_night_table_counts_the_caterpillars_of_the_other_table():
    bodies = [row["photo"] for row in _table("night/truth/caterpillars.csv")]
    for row in _table("night/truth/truth.csv"):
        assert int(row["caterpillar_count"]) == bodies.count(row["photo"])
        mask = _pixels(HERE / "night" / "truth" / row["photo"].replace(".jpg", ".png"))
        assert (CATERPILLAR in mask) == (int(row["caterpillar_count"]) > 0)


def test_masks_of_droppings_hold_droppings_where_some_were_counted():
    for row in _table("droppings/truth/truth.csv"):
        mask = _pixels(HERE / "droppings" / "truth" / row["photo"].replace(".jpg", ".png"))
        assert (DROPPING in mask) == (int(row["frass_count"]) > 0)


def test_the_rounds_have_each_case_they_promise():
    night = _table("night/truth/truth.csv")
    counts = [int(row["caterpillar_count"]) for row in night]
    assert {0, 1, 2, 3} <= set(counts)
    assert [row["trouble"] for row in night if row["trouble"]] == ["weak"]
    assert sum(int(row["frass_count"]) == 0 for row in _table("droppings/truth/truth.csv")) == 1


def test_photos_of_the_rounds_are_small():
    sizes = [path.stat().st_size for name in ROUNDS for path in (HERE / name).rglob("*.jpg")]
    assert max(sizes) <= 75_000


def test_the_demo_counts_the_caterpillars_and_droppings_of_the_rounds_beside_the_garden(
    tmp_path, monkeypatch
):
    on_leaf, on_paper = (HERE / "droppings" / "garden" / f"{DROPPINGS[n].name}.jpg" for n in (1, 0))
    photos = {
        tmp_path / "garden" / "day.jpg": on_leaf,
        tmp_path / "night" / "garden" / "uv.jpg": HERE / "night/garden" / f"{NIGHT[1].name}.jpg",
        tmp_path / "droppings" / "garden" / "sheet.jpg": on_paper,
    }
    for target, source in photos.items():
        target.parent.mkdir(parents=True)
        shutil.copy(source, target)
    monkeypatch.setattr("scripts.commands.demo.sample_garden", lambda: tmp_path / "garden")
    result = CliRunner().invoke(spotlamp, ["demo", "--out", str(tmp_path / "out"), "--jobs", "1"])
    assert result.exit_code == 0, result.exception
    with (tmp_path / "out" / "photos.csv").open(encoding="utf-8", newline="") as table:
        rows = {row["photo"]: row for row in csv.DictReader(table)}
    assert (rows["day.jpg"]["mode"], rows["day.jpg"]["caterpillar_count"]) == ("day", "")
    assert (rows["uv.jpg"]["mode"], rows["uv.jpg"]["caterpillar_count"]) == ("night", "1")
    true = int(_table("droppings/truth/truth.csv")[0]["frass_count"])
    counted = int(rows["sheet.jpg"]["frass_count"])
    assert abs(counted - true) <= 1
    assert f"sheet.jpg ({counted})" in result.output
    assert "frass.csv" in result.output


def test_the_command_paints_into_the_folder_it_is_given(tmp_path, monkeypatch):
    monkeypatch.setattr("scripts.workshop.paint.rounds.NIGHT", NIGHT[1:2])
    monkeypatch.setattr("scripts.workshop.paint.rounds.DROPPINGS", DROPPINGS[:1])
    result = CliRunner().invoke(app, [str(tmp_path)])
    assert result.exit_code == 0, result.exception
    assert "2 photos painted" in result.output
    assert (tmp_path / "night" / "garden" / f"{NIGHT[1].name}.jpg").is_file()
    assert (tmp_path / "droppings" / "truth" / f"{DROPPINGS[0].name}.png").is_file()
