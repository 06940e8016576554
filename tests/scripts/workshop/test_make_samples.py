"""The sample garden: what is bundled is what the script paints, and the truth fits the photos."""

import csv
import io

import numpy as np
import pytest
from PIL import Image, ImageOps
from typer.testing import CliRunner

from scripts.workshop.paint.garden import HERE, SAMPLES, app, encode_jpeg, make_samples, paint

BYTES_ALLOWED = 6_000_000  # as DEVELOPERS.md says
AGAIN = [sample for sample in SAMPLES if sample.seed % 8 == 3]


@pytest.fixture(scope="module")
def truth():
    with (HERE / "truth" / "truth.csv").open(encoding="utf-8", newline="") as table:
        return {row["photo"]: row for row in csv.DictReader(table)}


def _upright(source):
    with Image.open(source) as image:
        return np.asarray(ImageOps.exif_transpose(image)).astype(int)


def _mask(name):
    with Image.open(HERE / "truth" / f"{name}.png") as image:
        return np.asarray(image)


@pytest.mark.parametrize("sample", AGAIN, ids=lambda sample: sample.name)
def test_a_sample_painted_again_is_the_bundled_photo(sample):
    photo = paint(sample)
    bundled = _upright(HERE / "garden" / f"{sample.name}.jpg")
    again = _upright(io.BytesIO(encode_jpeg(photo, sample.taken_at)))
    assert bundled.shape == again.shape == photo.pixels.shape
    assert np.abs(bundled - again).mean() < 1.0  # 0 with the versions that made them
    assert np.mean(_mask(sample.name) != photo.mask) < 0.001
    # JPEG itself costs a few grey levels on so rough a texture.
    assert np.abs(bundled - photo.pixels.astype(int)).mean() < 8


def test_every_photo_has_its_mask_and_its_row(truth):
    photos = {p.relative_to(HERE / "garden") for p in (HERE / "garden").rglob("*.jpg")}
    masks = {p.relative_to(HERE / "truth") for p in (HERE / "truth").rglob("*.png")}
    assert {p.with_suffix("") for p in photos} == {p.with_suffix("") for p in masks}
    assert {p.as_posix() for p in photos} == set(truth) == {f"{s.name}.jpg" for s in SAMPLES}


def test_masks_are_upright_and_give_the_tables_percentages(truth):
    for sample in SAMPLES:
        mask, row = _mask(sample.name), truth[f"{sample.name}.jpg"]
        assert mask.shape == _upright(HERE / "garden" / f"{sample.name}.jpg").shape[:2]
        counts = np.bincount(mask.ravel(), minlength=4)
        leaf = counts[1:].sum()
        assert int(row["leaf_area_px"]) == leaf
        severity = f"{100 * counts[2:].sum() / leaf:.3f}" if leaf else ""
        assert row["severity_pct"] == severity


def test_the_garden_has_each_case_it_promises(truth):
    def of(plant):
        return [
            float(r["severity_pct"])
            for r in truth.values()
            if r["plant"] == plant and r["severity_pct"]
        ]

    assert of("plant-A1")[-1] > 8 * of("plant-A1")[0]
    # Nothing new grows on B1, and what is dead stays: leaves differ, the plant does not change.
    assert max(of("plant-B1")) < 1.2 * min(of("plant-B1"))
    assert max(of("plant-A3")) > 30
    assert set(of("plant-A2")) == set(of("plant-B2")) == {0.0}
    assert sum(row["severity_pct"] == "" for row in truth.values()) == 1
    assert any(int(row["leaf_count"]) > 1 for row in truth.values())


def test_capture_times_are_inside_the_photos():
    for sample in SAMPLES:
        with Image.open(HERE / "garden" / f"{sample.name}.jpg") as image:
            taken = image.getexif().get_ifd(0x8769)[36867]
        assert taken == f"{sample.taken_at:%Y:%m:%d %H:%M:%S}"


def test_one_photo_is_far_more_blurred_than_the_rest():
    """Mean step between neighbouring pixels within the leaf, as a share of its brightness."""
    steps = {}
    for sample in SAMPLES:
        leaf = _mask(sample.name) > 0
        if leaf.any():
            grey = _upright(HERE / "garden" / f"{sample.name}.jpg").mean(axis=2)
            steps[sample.name] = np.abs(np.diff(grey, axis=1))[leaf[:, 1:]].mean()
    blurred, second = sorted(steps, key=steps.get)[:2]
    assert "plant-B2" in blurred
    assert steps[blurred] < 0.5 * steps[second]


def test_the_bundle_stays_small_and_file_names_have_no_spaces():
    files = [path for path in HERE.rglob("*") if path.is_file()]
    assert sum(path.stat().st_size for path in files) < BYTES_ALLOWED
    assert not any(" " in path.name for path in files)


def test_the_script_writes_photos_masks_and_table(tmp_path, monkeypatch):
    monkeypatch.setattr("scripts.workshop.paint.garden.SAMPLES", SAMPLES[:1])
    rows = make_samples(tmp_path)
    written = sorted(p.relative_to(tmp_path).as_posix() for p in tmp_path.rglob("*") if p.is_file())
    assert written == sorted(
        [f"garden/{SAMPLES[0].name}.jpg", f"truth/{SAMPLES[0].name}.png", "truth/truth.csv"]
    )
    assert rows[0]["photo"] == f"{SAMPLES[0].name}.jpg"


def test_the_command_paints_into_the_folder_it_is_given(tmp_path, monkeypatch):
    monkeypatch.setattr("scripts.workshop.paint.garden.SAMPLES", SAMPLES[-1:])
    result = CliRunner().invoke(app, [str(tmp_path / "new")])
    assert result.exit_code == 0
    assert "photos painted" in result.output
    assert (tmp_path / "new" / "garden" / f"{SAMPLES[-1].name}.jpg").is_file()
