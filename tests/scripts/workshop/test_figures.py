"""The documents' figures: counted by hand, on painted photos, and put into their place."""

import cv2
import numpy as np
import pytest

from scripts.score.results import PhotoResult
from scripts.workshop.figures.agreement import compare, masked_set, outline_row, row
from scripts.workshop.figures.speed import score, score_plainly
from scripts.workshop.figures.write import as_table, fill
from scripts.workshop.rendered import Scene, render
from vision.records import DayReading


def result(severity, low, high):
    reading = DayReading((), (), 1.0, severity, 0.0, severity, low, high)
    return PhotoResult("a.jpg", reading=reading)


def test_a_photo_is_compared_pixel_by_pixel():
    """Truth: 8 leaf px, of these 4 sick. Found: 8 leaf px, 6 of them shared; 3 sick, 2 shared."""
    truth = np.array([[1, 1, 9, 9, 0], [1, 1, 9, 9, 0]], np.uint8)
    found = np.array([[0, 1, 1, 3, 2], [0, 1, 1, 2, 1]], np.uint8)
    pair = compare(result(37.5, 30.0, 60.0), found, truth)
    assert pair.leaf_overlap == 6 / 10
    assert (pair.both_px, pair.either_px) == (2, 5)
    assert pair.true_pct == 50
    assert pair.held


def test_a_leaf_that_was_not_found_counts_as_a_miss():
    truth = np.array([[1, 9, 9, 1]], np.uint8)
    pair = compare(PhotoResult("a.jpg", reading=DayReading(())), np.zeros_like(truth), truth)
    assert (pair.leaf_overlap, pair.read_pct) == (0, 0)
    assert not pair.held


@pytest.fixture(scope="module")
def photos(tmp_path_factory):
    """Three painted photos with their truth, laid out as a masked set."""
    folder = tmp_path_factory.mktemp("set")
    for kind in ("images", "masks"):
        (folder / kind).mkdir()
    for seed in (3, 4, 5):
        scene = Scene(pattern="spot", kind="septoria", severity_pct=6.0 * seed, noise=0.1)
        painted = render(scene, seed)
        pixels = cv2.cvtColor(painted.pixels, cv2.COLOR_RGB2BGR)
        cv2.imwrite(str(folder / "images" / f"{seed}.jpg"), pixels)
        cv2.imwrite(str(folder / "masks" / f"{seed}.png"), painted.mask)
    return folder


def test_a_masked_set_is_scored_and_compared(photos, tmp_path):
    pairs = masked_set(photos, tmp_path)
    assert [round(pair.true_pct) for pair in pairs] == sorted(
        round(pair.true_pct) for pair in pairs
    )
    assert min(pair.leaf_overlap for pair in pairs) > 0.93
    assert max(abs(pair.read_pct - pair.true_pct) for pair in pairs) < 8
    line = row("painted", pairs)
    assert line[:2] == ["painted", "3"]
    assert float(line[2]) == pytest.approx(np.mean([p.leaf_overlap for p in pairs]), abs=0.001)


def test_photos_may_lie_beside_their_masks_that_know_outlines_only(photos, tmp_path):
    folder = tmp_path / "set"
    (folder / "masks").mkdir(parents=True)
    for path in (photos / "images").iterdir():
        (folder / path.name).write_bytes(path.read_bytes())
        mask = cv2.imread(str(photos / "masks" / f"{path.stem}.png"), cv2.IMREAD_UNCHANGED)
        cv2.imwrite(str(folder / "masks" / f"{path.stem}.png"), (mask > 0).astype(np.uint8))
    pairs = masked_set(folder, tmp_path / "out")
    line = outline_row("outlines", pairs)
    assert line[:2] == ["outlines", "3"]
    assert float(line[2]) > 0.93
    assert line[3:] == [""] * 6  # nothing is said of symptoms that the truth does not know


def test_the_plain_version_of_the_benchmark_measures_much_the_same(photos):
    """Otherwise its time would say nothing."""
    for path in sorted((photos / "images").iterdir()):
        assert score_plainly(path) == pytest.approx(score(path), rel=0.3)


def test_a_table_is_laid_out_in_columns():
    assert as_table(("what", "n"), [("leaves", "3"), ("", "12")]).split("\n") == [
        "| what   | n  |",
        "| ------ | -- |",
        "| leaves | 3  |",
        "|        | 12 |",
    ]


def test_figures_replace_what_stood_in_their_place_only(tmp_path):
    readme = tmp_path / "README.md"
    readme.write_text(
        "a\n<!-- figures:x -->\nold\n<!-- /figures -->\nb\n<!-- figures:y -->\n<!-- /figures -->\n"
    )
    fill("x", "new", [readme])
    fill("x", "newer", [readme])
    assert readme.read_text() == (
        "a\n<!-- figures:x -->\nnewer\n<!-- /figures -->\nb\n"
        "<!-- figures:y -->\n<!-- /figures -->\n"
    )
    with pytest.raises(ValueError, match="No document has a place"):
        fill("z", "text", [readme])


def test_a_mask_with_colours_is_refused(photos, tmp_path):
    folder = tmp_path / "set"
    (folder / "masks").mkdir(parents=True)
    (folder / "images").symlink_to(photos / "images")
    for path in (photos / "masks").iterdir():
        mask = cv2.imread(str(path))
        cv2.imwrite(str(folder / "masks" / path.name), mask)
    with pytest.raises(SystemExit, match="single channel"):
        masked_set(folder, tmp_path / "out")
