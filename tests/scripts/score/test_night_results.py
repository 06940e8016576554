"""Night readings in results, kept readings and tables."""

from dataclasses import asdict, replace
from datetime import datetime

from scripts.common.tables import rows
from scripts.score.columns import EXTRA_TABLES, TABLES
from scripts.score.results import PhotoResult, from_json, to_json
from scripts.score.store import ReadingStore, Settings, measuring_fingerprint
from vision.records import Caterpillar, NightReading, RejectedGlow

CONTENT, OFF = "5e" * 32, "6f" * 32


def a_night_result():
    one = Caterpillar(10.0, 20.0, 230.0, 40.0, 9.5, 140.0, 0.98, ((1.0, 2.0), (3.0, 4.5)))
    other = RejectedGlow(5.0, 6.0, 70.0, 60.0, "too_blue", 0.02)
    night = NightReading((one,), (other,), ("shaken",), 1, 1, 2)
    when = datetime(2025, 7, 1, 22, 30)
    return PhotoResult("a/x.jpg", CONTENT, when, "exif", 400, 300, ("shaken",), night=night)


def table(name, *results):
    found = (TABLES | EXTRA_TABLES)[name]
    names = [column.name for column in found.columns]
    return [dict(zip(names, row, strict=True)) for row in rows(found, results)]


def test_a_night_result_comes_back_from_json_with_every_digit():
    result = a_night_result()
    back = from_json(to_json(result))
    assert asdict(back) == {**asdict(result), "kept": True}
    assert (back.mode, back.status) == ("night", "flagged")


def test_a_night_photo_fills_the_count_and_no_cell_of_a_disease():
    (row,) = table("photos", a_night_result())
    found = [row[f"caterpillar_{name}"] for name in ("count", "low", "high")]
    assert (row["mode"], found) == ("night", [1, 1, 2])
    of_disease = ("leaf_count", "lesion_pct", "severity_pct", "pattern", "p_none")
    assert {row[name] for name in of_disease} == {None}


def test_each_caterpillar_and_each_rejected_thing_has_its_row():
    (row,) = table("caterpillars", a_night_result())
    assert (row["length_px"], row["length_mm"], row["instar_hint"]) == (230.0, None, None)
    (other,) = table("rejected", a_night_result())
    assert other["reason"] == "too_blue"
    assert "brightener" in other["reason_in_words"]


def test_millimetres_and_a_rough_stage_stand_where_the_scale_is_known():
    (row,) = table("caterpillars", replace(a_night_result(), mm_per_px=0.2))
    assert (row["length_mm"], row["width_mm"]) == (46.0, 8.0)
    assert row["instar_hint"] == 4  # 49.0 mm is nearest [memory]


def test_a_reading_with_a_torch_off_photo_is_another_reading(tmp_path):
    store = ReadingStore(tmp_path, measuring_fingerprint(Settings()))
    store.put(replace(a_night_result(), torch_off_sha256=OFF))
    assert store.get(CONTENT) is None
    assert store.get(CONTENT, OFF).night.caterpillar_count == 1
