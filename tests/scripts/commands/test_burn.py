"""``spotlamp burn`` in a garden with its journal, on painted photos."""

from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

from models.care import verdict_of
from models.entries import LogEntry, PhotoEntry
from models.journal import open_journal
from scripts.cli import app
from scripts.garden.make import make_garden
from scripts.workshop.rendered import Scene, render
from vision.photo.decode import content_hash

ZONE = ZoneInfo("UTC")
SCENE = Scene(
    width_px=560, height_px=420, background="grey_board", pattern="spot", severity_pct=6.0
)
BEFORE, SPRAYED, AFTER = (datetime(2026, 6, day, 7, tzinfo=ZONE) for day in (1, 2, 3))


def write(path, **changes):
    path.parent.mkdir(parents=True, exist_ok=True)
    pixels = render(replace(SCENE, **changes), 5).pixels
    cv2.imwrite(str(path), cv2.cvtColor(pixels, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, 92])
    return path


@pytest.fixture(scope="module")
def painted(tmp_path_factory):
    folder = tmp_path_factory.mktemp("painted")
    changes = {"clean": {}, "burnt": {"burn_pct": 6.0}, "grown": {"severity_pct": 12.0}}
    return {name: write(folder / f"{name}.jpg", **those) for name, those in changes.items()}


@pytest.fixture
def garden(tmp_path, painted):
    """Return a maker of a garden in which A1 was sprayed, and B1 was not."""

    def make(after):
        folder = tmp_path / "garden"
        made = make_garden(folder, ["North=A1,B1"], time_zone="UTC")
        shown = [
            ("A1", BEFORE, "clean"),
            ("A1", AFTER, after),
            ("B1", BEFORE, "grown"),
            ("B1", AFTER, "grown"),
        ]
        with open_journal(folder) as journal:
            for plant, at, name in shown:
                path = folder / plant / f"{at:%d}.jpg"
                path.parent.mkdir(exist_ok=True)
                # A comment makes each file its own photo.
                path.write_bytes(painted[name].read_bytes() + f"{plant}{at}".encode())
                entry = PhotoEntry(f"{plant}/{path.name}", content_hash(path), at, plant=plant)
                journal.file_reading(entry)
            journal.log(LogEntry(0, "spray", SPRAYED, ("A1",), product="peroxide"))
        assert made.new
        return folder

    return make


def run(folder, *words):
    return CliRunner().invoke(app, ["burn", "A1", "--garden", str(folder), *words])


def verdicts(folder):
    with open_journal(folder) as journal:
        return [verdict_of(entry) for entry in journal.log_entries(kind="burn_check")]


def test_a_burn_is_found_kept_once_and_shown(garden, tmp_path):
    folder = garden("burnt")
    for _ in range(2):
        result = run(folder, "--out", str(tmp_path / "out"))
        assert result.exit_code == 0, result.output
    assert "A1: burned" in result.output
    assert "Spray no other plant" in result.output
    (kept,) = verdicts(folder)
    assert (kept.verdict, kept.before, kept.after) == ("burned", ("A1/01.jpg",), ("A1/03.jpg",))
    assert kept.figures["unsprayed_plants"] == 1
    picture = cv2.imread(str(tmp_path / "out" / "burn-A1-2026-06-03.jpg"))
    assert picture.shape[1] > picture.shape[0]
    # Vermillion lines go round what was found, in the right half alone.
    near = np.abs(picture.astype(int) - (0, 94, 213)).max(axis=2) < 40
    left, right = np.split(near[:800, : picture.shape[1] // 2 * 2], 2, axis=1)
    assert right.sum() > 10 * left.sum() > -1


def test_a_burn_blocks_the_treatment_of_other_plants(garden, tmp_path):
    folder = garden("burnt")

    def flagged():
        words = ["flag", "--garden", str(folder), "--at", "2026-06-03 12:00"]
        return " ".join(CliRunner().invoke(app, words).output.split())

    assert "check for burn" in flagged()
    run(folder, "--out", str(tmp_path / "out"))
    after = flagged()
    assert "check for burn" not in after
    assert "burned" in after


def test_growing_lesions_are_no_burn(garden, tmp_path):
    folder = garden("grown")
    shown = run(folder, "--out", str(tmp_path / "out")).output
    assert "A1: no burn seen" in shown
    assert "does not mean that the spray is safe" in " ".join(shown.split())


def test_photos_that_were_moved_are_found_where_they_are_named(garden, tmp_path):
    folder = garden("burnt")
    (folder / "A1").rename(tmp_path / "elsewhere")
    lost = run(folder, "--out", str(tmp_path / "out"))
    assert (lost.exit_code, len(lost.stderr.splitlines())) == (1, 1)
    assert "name the folder" in lost.stderr
    found = run(folder, str(tmp_path / "elsewhere"), "--out", str(tmp_path / "out"))
    assert "A1: burned" in found.output


def test_photos_that_cannot_be_read_are_passed_over(garden, tmp_path):
    folder = garden("burnt")
    (folder / "A1" / "gone.jpg").symlink_to(tmp_path / "nowhere.jpg")
    (folder / "B1" / "03.jpg").unlink()
    (folder / "B1" / "03.jpg").symlink_to(tmp_path / "nowhere.jpg")
    damaged = folder / "A1" / "04.jpg"
    damaged.write_bytes((folder / "A1" / "03.jpg").read_bytes()[:2000])
    with open_journal(folder) as journal:
        journal.file_reading(PhotoEntry("A1/04.jpg", content_hash(damaged), AFTER, plant="A1"))
    result = run(folder, str(folder), "--out", str(tmp_path / "out"))
    assert "A1: burned" in result.output
    assert "1 photo before and 1 after" in result.output
    assert verdicts(folder)[0].figures["unsprayed_plants"] == 0


def test_when_no_photo_of_one_side_can_be_read_there_is_one_sentence(garden, tmp_path):
    folder = garden("burnt")
    after = folder / "A1" / "03.jpg"
    after.unlink()
    after.symlink_to(tmp_path / "nowhere.jpg")
    result = run(folder, "--out", str(tmp_path / "out"))
    assert (result.exit_code, len(result.stderr.splitlines())) == (1, 1)
    assert "A1/03.jpg" in result.stderr


def test_without_a_spray_there_is_nothing_to_check(garden):
    result = CliRunner().invoke(app, ["burn", "B1", "--garden", str(garden("clean"))])
    assert result.exit_code == 1
    assert "No peroxide spray on B1" in result.stderr
