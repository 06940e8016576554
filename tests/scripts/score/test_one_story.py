"""Scoring, the export of masks, the burn check and training measure one photo alike."""

import json
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from PIL import Image

from models.entries import LogEntry
from models.journal import open_journal
from models.pattern import load_classifier
from scripts.care import burn_check
from scripts.learn.labelled import LabelledPhoto, measure_labelled
from scripts.workshop.rendered import PaintedTag, Scene, render
from vision.day.measure import measure_day_photo
from vision.photo.decode import read_photo
from vision.photo.find import PhotoFile

CASTS = {"neutral": (1.0, 1.0, 1.0), "warm": (1.45, 1.0, 0.65), "cold": (0.65, 1.0, 1.45)}
DAYS = ("2026-05-31", "2026-06-01", "2026-06-03")
SPRAYED, NOW = datetime(2026, 6, 2, 4, tzinfo=UTC), datetime(2026, 6, 3, 15, tzinfo=UTC)
SCENE = Scene(
    leaf_size=0.6, tag=PaintedTag(3, span_px=90), pattern="spot", kind="septoria",
    severity_pct=14, direct=0.5, exposure=0.8, vignette=0,
)  # fmt: skip


@pytest.fixture(scope="module")
def painted():
    """Return tagged photos in differently coloured light, by the name of the light."""
    return {name: render(replace(SCENE, cast=cast), 3).pixels for name, cast in CASTS.items()}


@pytest.fixture
def scored(painted, tmp_path, spotlamp, read_table):
    """Return a garden with the photos scored and filed, and each one's row of photos.csv."""
    folder = tmp_path / "plot"
    spotlamp("new", folder, "--bed", "North=A1", "--time-zone", "UTC")
    (folder / "A1").mkdir()
    for day, (name, pixels) in zip(DAYS, painted.items(), strict=True):
        path = folder / "A1" / f"{day}_{name}.jpg"
        Image.fromarray(pixels).save(path, quality=92)
    spotlamp("score", folder, "--out", tmp_path / "results", "--jobs", 1)
    return folder, {row["photo"]: row for row in read_table(tmp_path / "results" / "photos.csv")}


def test_each_tagged_photo_is_among_the_masks_with_the_severity_that_was_scored(
    scored, tmp_path, spotlamp
):
    folder, rows = scored
    said = spotlamp("export", tmp_path / "out", "--garden", folder, "--masks", folder)
    assert "on 3 photos" in said.output
    assert "left out" not in said.output
    document = json.loads((tmp_path / "out" / "masks.json").read_text())
    names = {image["id"]: image["file_name"] for image in document["images"]}
    severities = {
        names[one["image_id"]]: one["severity_pct"]
        for one in document["annotations"]
        if "severity_pct" in one
    }
    assert severities.keys() == rows.keys()
    for name, severity in severities.items():
        assert severity == pytest.approx(float(rows[name]["severity_pct"]), abs=0.01)


def test_training_measures_what_scoring_called(scored):
    folder, rows = scored
    photos = [LabelledPhoto(folder / name, name, "one", "spot") for name in rows]
    leaves, unusable = measure_labelled(photos, jobs=1)
    assert not unusable
    classifier = load_classifier()
    for name, measured in zip(rows, leaves.measured, strict=True):
        call = classifier.call(measured.astype(np.float32))
        assert call.p_spot == pytest.approx(float(rows[name]["p_spot"]), abs=1e-3)
        assert call.p_blight == pytest.approx(float(rows[name]["p_blight"]), abs=1e-3)


def test_the_burn_check_looks_at_the_leaf_that_was_scored(scored, monkeypatch):
    folder, rows = scored
    looked = {}

    def recorded(photo, measurement):
        looked[photo.name] = measurement.reading
        return real(photo, measurement)

    real = burn_check.read_burn
    monkeypatch.setattr(burn_check, "read_burn", recorded)
    with open_journal(folder) as journal:
        journal.log(LogEntry(0, "spray", SPRAYED, ("A1",), product="peroxide"))
    burn_check.check_burn(folder, "A1", now=NOW)
    assert looked.keys() == rows.keys()
    for name, reading in looked.items():
        assert reading.severity_pct == pytest.approx(float(rows[name]["severity_pct"]), abs=0.01)
        assert reading.leaf_area_px == pytest.approx(float(rows[name]["leaf_area_px"]), rel=1e-4)


def test_the_photos_of_these_tests_are_measured_otherwise_without_their_tag(scored):
    """Else the other tests could not fail."""
    folder, rows = scored
    for name, row in rows.items():
        if "neutral" not in name:
            alone = measure_day_photo(read_photo(PhotoFile(folder / name, name))).reading
            assert abs(alone.severity_pct - float(row["severity_pct"])) > 0.3
