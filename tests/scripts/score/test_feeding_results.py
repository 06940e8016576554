"""Droppings and eaten leaf area in results, kept readings, tables, masks, overlays and summary."""

from dataclasses import asdict, replace
from datetime import datetime

import cv2
import numpy as np
from PIL import Image

from scripts.common.tables import rows
from scripts.score.columns import TABLES
from scripts.score.results import PhotoResult, from_json, to_json
from scripts.workshop.rendered.droppings import DroppingScene, render_droppings
from vision.drawing import PURPLE
from vision.records import DROPPING, DayReading, Dropping


def a_day_result():
    droppings = (
        Dropping(10.0, 20.0, 32.0, 25.0, 640.0, 60.5, 0.98),
        Dropping(50.0, 60.0, 14.0, 11.0, 120.0, 55.0, 0.71),
    )
    reading = DayReading(
        (), ("no_leaf",), droppings=droppings, frass_count=2, frass_low=1, frass_high=3,
        chewed_pct=4.5, chewed_low_pct=2.0, chewed_high_pct=9.0,
    )  # fmt: skip
    when = datetime(2025, 7, 1, 9, 30)
    return PhotoResult("a/x.jpg", "7a" * 32, when, "exif", 400, 300, ("no_leaf",), reading)


def table(name, *results):
    names = [column.name for column in TABLES[name].columns]
    return [dict(zip(names, row, strict=True)) for row in rows(TABLES[name], results)]


def test_droppings_come_back_from_json_with_every_digit():
    result = a_day_result()
    assert asdict(from_json(to_json(result))) == {**asdict(result), "kept": True}


def test_a_photo_of_a_sheet_fills_the_count_and_its_interval():
    (row,) = table("photos", a_day_result())
    assert [row[f"frass_{name}"] for name in ("count", "low", "high")] == [2, 1, 3]
    assert [row[f"chewed_{n}pct"] for n in ("", "low_", "high_")] == [4.5, 2.0, 9.0]
    assert row["severity_pct"] is None


def test_each_dropping_has_its_row_and_a_size_class_where_a_scale_is_known():
    without, _ = table("frass", a_day_result())
    assert (without["length_px"], without["length_mm"], without["size_class"]) == (32.0, None, None)
    first, second = table("frass", replace(a_day_result(), mm_per_px=0.125))
    assert (first["length_mm"], first["width_mm"], first["area_mm2"]) == (4.0, 3.125, 10.0)
    assert (first["size_class"], second["size_class"]) == ("large", "small")
    assert (first["dropping"], second["dropping"]) == (1, 2)


def test_score_counts_a_sheet_draws_it_and_says_where_to_search(spotlamp, tmp_path):
    photo = render_droppings(DroppingScene(droppings=6), 5)
    folder = tmp_path / "photos" / "plant-B2"
    folder.mkdir(parents=True)
    Image.fromarray(photo.pixels).save(folder / "sheet.png")
    out = tmp_path / "out"
    printed = spotlamp("score", folder.parent, "--out", out, "--masks", "--overlays").output
    assert "1 of 1 photo measured" in printed
    assert "plant-B2 (6)" in printed
    assert "white cocoons" in printed
    assert (out / "frass.csv").read_text("utf-8").count("sheet.png") == 6
    mask = cv2.imread(str(out / "masks" / "plant-B2" / "sheet.png"), cv2.IMREAD_UNCHANGED)
    assert mask.shape == photo.numbers.shape
    assert np.mean(mask[photo.numbers > 0] == DROPPING) > 0.8
    overlay = cv2.imread(str(out / "overlays" / "plant-B2" / "sheet.jpg"))
    purple = np.abs(overlay[..., ::-1].astype(int) - PURPLE).max(axis=2) < 40
    assert np.count_nonzero(purple) > 6 * 50
