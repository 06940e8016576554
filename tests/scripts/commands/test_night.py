"""The real command on painted night photos, its tables read completely."""

import cv2
import numpy as np
import pytest
from PIL import Image

from models.journal import open_journal
from scripts.common.terminal import sample_night_round

FOLIAGE, LARVA, TAG = (40, 15, 60), (60, 230, 150), (170, 200, 255)


def night_photo(path, bodies=2, tag=True, seed=0):
    """Paint dark purple foliage with bent green bodies and a blue-white tag."""
    rng = np.random.default_rng(seed)
    canvas = np.full((300, 420, 3), FOLIAGE, np.uint8)
    for number in range(bodies):
        turn = np.linspace(0, 0.7, 20) + number
        line = np.cumsum(np.stack([np.cos(turn), np.sin(turn)], axis=1), axis=0) * 2.6
        points = line - line[10] + (90 + 120 * number, 90 + 60 * number)
        cv2.polylines(canvas, [np.round(points).astype(np.int32)], False, LARVA, 10, cv2.LINE_AA)
    if tag:
        box = cv2.boxPoints(((330.0, 70.0), (80.0, 30.0), 20.0)).astype(np.int32)
        cv2.fillPoly(canvas, [box], TAG)
    noisy = cv2.GaussianBlur(canvas, (0, 0), 0.8) + rng.normal(0, 2, canvas.shape)
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(np.clip(noisy, 0, 255).astype(np.uint8)).save(path)
    return path


@pytest.fixture
def mixed(tmp_path, paint_photo):
    """One plant by day, two by night."""
    folder = tmp_path / "round"
    paint_photo(folder / "A1" / "day.jpg")
    night_photo(folder / "A1" / "night.png")
    night_photo(folder / "A2" / "night.png", bodies=0, seed=1)
    return folder


def rows_of(read_table, out, name="photos"):
    return {row["photo"]: row for row in read_table(out / f"{name}.csv")}


def test_score_parts_day_from_night_by_itself(mixed, tmp_path, spotlamp, read_table):
    shown = spotlamp("score", mixed, "--out", tmp_path / "out", "--masks", "--overlays").output
    rows = rows_of(read_table, tmp_path / "out")
    assert {name: row["mode"] for name, row in rows.items()} == {
        "A1/day.jpg": "day", "A1/night.png": "night", "A2/night.png": "night",
    }  # fmt: skip
    day, night = rows["A1/day.jpg"], rows["A1/night.png"]
    assert (day["caterpillar_count"], night["severity_pct"]) == ("", "")
    assert (night["caterpillar_count"], rows["A2/night.png"]["caterpillar_count"]) == ("2", "0")
    low, high = int(night["caterpillar_low"]), int(night["caterpillar_high"])
    assert low <= 2 <= high
    assert "none seen on A2" in shown
    with Image.open(tmp_path / "out" / "masks" / "A1" / "night.png") as picture:
        mask = np.asarray(picture)
    assert set(np.unique(mask)) == {0, 5}
    assert cv2.connectedComponents((mask == 5).astype(np.uint8))[0] == 3
    assert (tmp_path / "out" / "overlays" / "A1" / "night.jpg").stat().st_size > 5000


def test_each_caterpillar_has_a_row_and_each_rejected_thing_its_reason(
    mixed, tmp_path, spotlamp, read_table
):
    spotlamp("night", mixed, "--out", tmp_path / "out", "--explain")
    found = read_table(tmp_path / "out" / "caterpillars.csv")
    assert [row["photo"] for row in found] == ["A1/night.png"] * 2
    assert all(35 < float(row["length_px"]) < 80 for row in found)
    assert all(row["length_mm"] == row["instar_hint"] == "" for row in found)
    rejected = read_table(tmp_path / "out" / "rejected.csv")
    assert {row["reason"] for row in rejected if row["photo"] == "A1/night.png"} == {"too_blue"}


def test_a_day_photo_is_left_uncounted_with_a_flag(mixed, tmp_path, spotlamp, read_table):
    spotlamp("night", mixed, "--out", tmp_path / "out")
    day = rows_of(read_table, tmp_path / "out")["A1/day.jpg"]
    assert (day["mode"], day["caterpillar_count"], day["severity_pct"]) == ("night", "", "")
    assert "not_uv_photo" in day["flags"].split(";")
    assert not (tmp_path / "out" / "rejected.csv").exists()


def test_day_photos_alone_end_with_one(tmp_path, paint_photo, spotlamp):
    paint_photo(tmp_path / "in" / "a.jpg")
    shown = spotlamp("night", tmp_path / "in", "--out", tmp_path / "out", code=1).output
    assert "no photo of plants under a UV torch" in shown


def test_the_summary_carries_the_cautions(mixed, tmp_path, spotlamp):
    shown = spotlamp("night", mixed, "--out", tmp_path / "out", "--torch-nm", 395).output
    flat = " ".join(shown.split())
    assert "never shine it at eyes" in flat
    assert "UV-blocking glasses" in flat
    assert "eggs and pupae may not glow" in flat
    assert "may miss" in flat
    assert "white cocoons" in flat


def test_a_torch_off_photo_is_subtracted_and_no_photo_of_its_own(tmp_path, spotlamp, read_table):
    photo = night_photo(tmp_path / "in" / "x.png", bodies=1, tag=False)
    lamp = np.zeros((300, 420, 3), np.uint8)
    cv2.ellipse(lamp, (300, 220), (30, 6), 30, 0, 360, LARVA, -1, cv2.LINE_AA)
    with Image.open(photo) as picture:
        both = np.maximum(np.asarray(picture), lamp)
    Image.fromarray(both).save(photo)
    out = tmp_path / "out"
    spotlamp("night", tmp_path / "in", "--out", out)
    assert rows_of(read_table, out)["x.png"]["caterpillar_count"] == "2"
    Image.fromarray(lamp).save(tmp_path / "in" / "x-off.png")
    shown = spotlamp("night", tmp_path / "in", "--out", out).output
    (row,) = read_table(out / "photos.csv")
    assert (row["photo"], row["caterpillar_count"]) == ("x.png", "1")
    assert "1 torch-off photo" in shown
    again = spotlamp("night", tmp_path / "in", "--out", out).output
    assert "not measured again" in again


def test_night_photos_are_filed_with_their_counts(mixed, tmp_path, spotlamp):
    garden = tmp_path / "plot"
    spotlamp("new", garden, "--bed", "North=A1,A2")
    said = spotlamp("night", mixed, "--out", tmp_path / "out", "--garden", garden).output
    assert "Filed in “plot”: 2 photos, all new." in said
    with open_journal(garden) as journal:
        counts = {photo.plant: photo.caterpillar_count for photo in journal.photos(mode="night")}
        assert counts == {"A1": 2, "A2": 0}
        assert journal.photos(mode="day") == ()
    spotlamp("score", mixed, "--out", tmp_path / "score", "--garden", garden)
    with open_journal(garden) as journal:
        assert sorted(photo.mode for photo in journal.photos()) == ["day", "night", "night"]


def test_the_sample_night_round_is_counted_as_it_was_painted(tmp_path, spotlamp, read_table):
    """All but the photo whose torch was too weak on purpose, which is flagged.

    One count may be off, for a body that a leaf cuts in two; its interval must hold the truth.
    """
    exact = []
    rounds = sample_night_round()
    spotlamp("score", rounds, "--out", tmp_path / "out", "--jobs", 1)
    found = rows_of(read_table, tmp_path / "out")
    for truth in read_table(rounds.parent / "truth" / "truth.csv"):
        row = found[truth["photo"]]
        assert row["mode"] == "night"
        if truth["trouble"] == "weak":
            assert "torch_weak" in row["flags"].split(";")
        else:
            exact.append(row["caterpillar_count"] == truth["caterpillar_count"])
            low, high = int(row["caterpillar_low"]), int(row["caterpillar_high"])
            assert low <= int(truth["caterpillar_count"]) <= high
    assert exact.count(False) <= 1
