"""The real command on real files, its tables read completely."""

import hashlib
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from scripts.score.columns import TABLES

ROOT = Path(__file__).parents[3]


def files_in(folder):
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def results_in(folder):
    """Return what a run wrote for people and programs, without the readings it keeps."""
    return {name: data for name, data in files_in(folder).items() if not name.startswith(".")}


def run(*arguments, **named):
    return subprocess.run(
        [sys.executable, "-m", "scripts", *map(str, arguments)],
        cwd=ROOT, capture_output=True, text=True, encoding="utf-8", timeout=240, **named,
    )  # fmt: skip


def test_a_folder_gives_all_tables_with_one_row_a_photo(garden, tmp_path, spotlamp, read_table):
    out = tmp_path / "out"
    spotlamp("score", garden, "--out", out)
    assert {path.name for path in out.iterdir()} == {
        *(f"{name}.csv" for name in TABLES), ".readings", ".spotlamp-out",
    }  # fmt: skip
    photos = read_table(out / "photos.csv")
    assert [row["photo"] for row in photos] == [
        "bed-1/a.jpg", "bed-1/b.png", "bed-2/c.jpg", "bed-2/d.webp",
    ]  # fmt: skip
    for name, table in TABLES.items():
        rows = read_table(out / f"{name}.csv")
        header = (out / f"{name}.csv").read_bytes().split(b"\r\n")[0].decode()
        assert header.split(",") == [column.name for column in table.columns]
        assert all(None not in row and None not in row.values() for row in rows)
        assert {row["photo"] for row in rows} <= {row["photo"] for row in photos}


def test_a_row_tells_what_the_photo_is(garden, tmp_path, spotlamp, read_table):
    os.utime(garden / "bed-1" / "a.jpg", (1_720_000_000, 1_720_000_000))
    spotlamp("score", garden, "--out", tmp_path / "out")
    row = read_table(tmp_path / "out" / "photos.csv")[0]
    file = garden / "bed-1" / "a.jpg"
    assert row["sha256"] == hashlib.sha256(file.read_bytes()).hexdigest()
    assert (row["width_px"], row["height_px"]) == ("320", "240")
    assert (row["plant"], row["mode"]) == ("bed-1", "day")
    assert row["taken_from"] == "file"
    assert row["taken_at"].startswith("2024-07-0")
    assert row["status"] in ("ok", "flagged")
    assert (row["status"] == "flagged") == bool(row["flags"])
    low, mid, high = (float(row[f"severity_{end}pct"]) for end in ("low_", "", "high_"))
    assert 0 <= low <= mid <= high <= 100
    assert int(row["leaf_count"]) >= 1


def test_the_leaves_add_up_to_the_photo(garden, tmp_path, spotlamp, read_table):
    spotlamp("score", garden, "--out", tmp_path / "out")
    leaves = read_table(tmp_path / "out" / "leaves.csv")
    lesions = read_table(tmp_path / "out" / "lesions.csv")
    for photo in read_table(tmp_path / "out" / "photos.csv"):
        own = [leaf for leaf in leaves if leaf["photo"] == photo["photo"]]
        assert len(own) == int(photo["leaf_count"])
        area = sum(float(leaf["area_px"]) for leaf in own)
        assert area == pytest.approx(float(photo["leaf_area_px"]), abs=0.01 * len(own))
        assert sum(int(leaf["lesion_count"]) for leaf in own) == int(photo["lesion_count"])
        counted = [lesion for lesion in lesions if lesion["photo"] == photo["photo"]]
        assert len(counted) == int(photo["lesion_count"])


def test_photos_without_folders_have_no_plant(tmp_path, paint_photo, spotlamp, read_table):
    photo = paint_photo(tmp_path / "in" / "x.jpg")
    for given in (photo, photo.parent):
        spotlamp("score", given, "--out", tmp_path / "out")
        (row,) = read_table(tmp_path / "out" / "photos.csv")
        assert (row["photo"], row["plant"]) == ("x.jpg", "")


def test_masks_have_the_photos_own_size_and_the_values_of_the_contract(
    garden, tmp_path, spotlamp, read_table
):
    out = tmp_path / "out"
    spotlamp("score", garden, "--out", out, "--masks")
    for row in read_table(out / "photos.csv"):
        with Image.open(out / "masks" / Path(row["photo"]).with_suffix(".png")) as picture:
            assert picture.mode == "L"
            assert picture.size == (int(row["width_px"]), int(row["height_px"]))
            mask = np.asarray(picture)
        assert set(np.unique(mask)) <= {0, 1, 2, 3}
        # The photo is small, so it is measured at its full size: the mask is the measurement.
        assert np.count_nonzero(mask) == pytest.approx(float(row["leaf_area_px"]), abs=0.01)
        share = 100 * np.isin(mask, (2, 3)).sum() / np.count_nonzero(mask)
        assert share == pytest.approx(float(row["severity_pct"]), abs=0.1)
    assert len(list((out / "masks").rglob("*.png"))) == 4
    assert not (out / "overlays").exists()


def test_the_mask_of_a_photo_lying_on_its_side_stands_upright(
    tmp_path, paint_photo, spotlamp, read_table
):
    upright = Image.open(paint_photo(tmp_path / "x.png", size=(320, 240)))
    exif = Image.Exif()
    exif[274] = 6  # to be turned a quarter clockwise
    (tmp_path / "in").mkdir()
    upright.save(tmp_path / "in" / "x.jpg", exif=exif)
    spotlamp("score", tmp_path / "in", "--out", tmp_path / "out", "--masks")
    (row,) = read_table(tmp_path / "out" / "photos.csv")
    assert (row["width_px"], row["height_px"]) == ("240", "320")
    with Image.open(tmp_path / "out" / "masks" / "x.png") as mask:
        assert mask.size == (240, 320)


def test_the_mask_of_a_large_photo_has_its_full_and_odd_size(tmp_path, paint_photo, spotlamp):
    paint_photo(tmp_path / "in" / "x.jpg", size=(2677, 1501))
    spotlamp("score", tmp_path / "in", "--out", tmp_path / "out", "--masks", "--overlays")
    with Image.open(tmp_path / "out" / "masks" / "x.png") as mask:
        assert mask.size == (2677, 1501)
    with Image.open(tmp_path / "out" / "overlays" / "x.jpg") as overlay:
        assert max(overlay.size) <= 1600


def test_two_photos_that_differ_by_the_ending_alone_keep_it_in_their_pictures(
    tmp_path, paint_photo, spotlamp
):
    for seed, name in enumerate(("p/x.jpg", "p/x.png", "p/y.jpg")):
        paint_photo(tmp_path / "in" / name, seed)
    spotlamp("score", tmp_path / "in", "--out", tmp_path / "out", "--masks", "--overlays")
    assert set(files_in(tmp_path / "out" / "masks")) == {"p/x.jpg.png", "p/x.png.png", "p/y.png"}
    assert set(files_in(tmp_path / "out" / "overlays")) == {
        "p/x.jpg.jpg", "p/x.png.jpg", "p/y.jpg",
    }  # fmt: skip


def test_the_number_of_processes_changes_no_byte(garden, tmp_path, spotlamp):
    (garden / "bed-1" / "empty.jpg").write_bytes(b"")
    for jobs in ("1", "2"):
        out = tmp_path / f"out-{jobs}"
        spotlamp("score", garden, "--out", out, "--masks", "--overlays", "--jobs", jobs)
    assert results_in(tmp_path / "out-1") == results_in(tmp_path / "out-2")
    assert len(results_in(tmp_path / "out-1")) == len(TABLES) + 1 + 4 + 4


WEIRD = ["=1+1.jpg", "-x, 'y' \"z\".jpg", "葉 лист é.png", "@a;b.jpg", "+ +.jpg", "#%&.jpg"]


def test_odd_file_names_come_back_from_the_table(tmp_path, paint_photo, spotlamp, read_table):
    for seed, name in enumerate(WEIRD):
        paint_photo(tmp_path / "in" / name, seed)
    out = tmp_path / "out"
    spotlamp("score", tmp_path / "in", "--out", out, "--masks", "--overlays")
    shown = [row["photo"] for row in read_table(out / "photos.csv")]
    assert not any(name.startswith(("=", "+", "-", "@")) for name in shown)
    assert {re.sub(r"^'(?=[=+@-])", "", name) for name in shown} == set(WEIRD)
    assert {Path(name).stem for name in files_in(out / "masks")} == {Path(n).stem for n in WEIRD}


@pytest.mark.skipif(sys.platform != "linux", reason="other systems refuse names that are no text")
def test_a_name_that_is_no_text_is_scored_and_shown_with_escapes(
    tmp_path, paint_photo, spotlamp, read_table
):
    photo = paint_photo(tmp_path / "in" / "x.jpg")
    photo.rename(os.fsdecode(os.fsencode(photo.parent) + b"/bad\xff.jpg"))
    spotlamp("score", tmp_path / "in", "--out", tmp_path / "out", "--overlays")
    (row,) = read_table(tmp_path / "out" / "photos.csv")
    assert row["photo"] == "bad\\xff.jpg"
    assert row["status"] != "unreadable"


def test_the_photos_are_not_touched(garden, tmp_path, spotlamp):
    before = files_in(garden)
    spotlamp("score", garden, "--out", tmp_path / "out", "--masks", "--overlays")
    assert files_in(garden) == before


def test_results_inside_the_photo_folder_are_not_scored(garden, spotlamp, read_table):
    out = garden / "results"
    for _ in range(2):
        spotlamp("score", garden, "--out", out, "--masks", "--overlays")
        assert len(read_table(out / "photos.csv")) == 4


def test_the_folder_of_the_photos_cannot_take_the_results(garden, spotlamp):
    before = files_in(garden)
    for out in (garden, garden.parent):
        assert "holds the photos" in spotlamp("score", garden, "--out", out, code=2).output
    photo = garden / "bed-1" / "a.jpg"
    spotlamp("score", photo, "--out", photo.parent, code=2)
    assert files_in(garden) == before


def test_several_paths_are_scored_together(garden, tmp_path, paint_photo, spotlamp, read_table):
    extra = paint_photo(tmp_path / "other" / "z.jpg", 9)
    out = tmp_path / "out"
    spotlamp("score", garden / "bed-1", garden / "bed-2", extra, "--out", out)
    names = [row["photo"] for row in read_table(out / "photos.csv")]
    assert names == ["a.jpg", "b.png", "c.jpg", "d.webp", "z.jpg"]


def test_the_module_runs_as_a_command_of_its_own(garden, tmp_path):
    done = run("score", garden, "--out", tmp_path / "out", "--jobs", "2")
    assert done.returncode == 0, done.stderr
    assert "4 of 4 photos measured." in done.stdout
    # Not a terminal: plain lines, no bar.
    assert done.stderr.splitlines()[-1] == "4 of 4 photos done"
    assert "\x1b" not in done.stderr + done.stdout


def test_a_terminal_that_knows_ascii_alone_is_no_reason_to_fail(tmp_path, paint_photo):
    paint_photo(tmp_path / "in" / "葉" / "é.jpg")
    environment = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    done = run("score", tmp_path / "in", "--out", tmp_path / "out", env=environment)
    assert done.returncode == 0, done.stderr


HEAVY = ("numpy", "cv2", "sklearn", "skimage", "scipy", "matplotlib", "joblib", "PIL", "rich")


@pytest.mark.parametrize(
    "arguments", [["--help"], ["score", "--help"], ["train", "--help"], ["columns"], ["--version"]]
)
def test_help_imports_nothing_heavy(arguments):
    code = (
        "import sys; sys.argv[1:] = sys.argv[1:]; from scripts.__main__ import main\n"
        "try: main()\nexcept SystemExit as end: print('ENDED', end.code)\n"
        f"print('HEAVY', [name for name in {HEAVY} if name in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        cwd=ROOT, capture_output=True, text=True, encoding="utf-8", timeout=240,
    )  # fmt: skip
    assert "ENDED 0" in done.stdout, done.stderr
    assert "HEAVY []" in done.stdout


@pytest.mark.parametrize("command", ["score", "demo", "columns"])
def test_help_says_what_is_read_written_and_how_long_it_takes(spotlamp, command):
    shown = spotlamp(command, "--help").output
    assert "Reads" in shown
    assert "rites" in shown
    assert "Costs" in shown or "at once" in shown
    assert "--out" in shown or command == "columns"


def test_help_of_score_names_every_option_file_and_exit_code(spotlamp):
    shown = " ".join(spotlamp("score", "--help").output.split())
    names = ("--out", "--masks", "--overlays", "--jobs", "problems.txt", "DIR/masks")
    for word in (*names, *(f"{name}.csv" for name in TABLES)):
        assert word in shown, word
    assert "0 when done, 1 when nothing could be measured, 2 for wrong usage" in shown


@pytest.mark.parametrize(
    "arguments",
    [["score"], ["score", "x.jpg"], ["score", "--out", "x"], ["dance"], ["score", "--jobs", "0"]],
)
def test_wrong_usage_ends_with_2(spotlamp, arguments):
    assert "rror" in spotlamp(*arguments, code=2).output


def test_the_demo_scores_the_sample_garden_and_names_what_to_open(
    garden, tmp_path, spotlamp, read_table, monkeypatch
):
    monkeypatch.setattr("scripts.commands.demo.sample_garden", lambda: garden)
    monkeypatch.chdir(tmp_path)
    shown = spotlamp("demo").output
    out = Path("spotlamp-demo")
    assert len(read_table(out / "photos.csv")) == 4
    assert len(list((out / "masks").rglob("*.png"))) == 4
    (named,) = re.findall(r"Look first at “?(.*\.jpg)", shown)
    assert Path(named).is_file()


def test_a_missing_sample_garden_is_one_sentence(spotlamp, monkeypatch, tmp_path):
    monkeypatch.setattr("scripts.commands.demo.sample_garden", lambda: None)
    result = spotlamp("demo", "--out", tmp_path / "out", code=1)
    assert result.stderr.count("\n") == 1
    assert "sample garden" in result.stderr


def test_scoring_goes_on_without_the_checkout_as_working_folder(garden, tmp_path):
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-m", "scripts", "score", "garden", "--out", "out", "--jobs", "2"],
        cwd=tmp_path, env=environment, capture_output=True, text=True, timeout=240,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    shutil.rmtree(tmp_path / "out")


def test_scoring_imports_no_library_that_only_training_and_checking_need():
    code = (
        "import sys, scripts.score.run; "
        "print([n for n in ('sklearn', 'skimage', 'scipy', 'matplotlib') if n in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)
    assert done.stdout.strip() == "[]", done.stderr


def test_each_leaf_has_its_pattern_with_the_measurements_behind_it(
    garden, tmp_path, spotlamp, read_table
):
    spotlamp("score", garden, "--out", tmp_path / "out", "--jobs", 1)
    leaves = read_table(tmp_path / "out" / "leaves.csv")
    assert len(leaves) == 4
    for row in leaves:
        assert row["pattern"] in ("spot", "blight", "none", "unsure")
        chances = [float(row[name]) for name in ("p_spot", "p_blight", "p_none")]
        assert all(re.fullmatch(r"\d\.\d{4}", row[name]) for name in ("p_spot", "p_blight"))
        assert 0 < sum(chances) <= 1.0002
        assert re.search(r"\d.*: .*\.$", row["pattern_reason"])
    photos = read_table(tmp_path / "out" / "photos.csv")
    for photo, leaf in zip(photos, leaves, strict=True):  # one leaf a photo
        assert (photo["pattern"], photo["p_spot"]) == (leaf["pattern"], leaf["p_spot"])


def test_a_classifier_that_does_not_fit_ends_with_one_sentence(garden, tmp_path, spotlamp):
    (tmp_path / "own.json").write_text("{}", encoding="utf-8")
    out = tmp_path / "out"
    result = spotlamp("score", garden, "--out", out, "--classifier", tmp_path / "own.json", code=1)
    assert "own.json is not a pattern classifier." in result.output
    assert not (out / "photos.csv").exists()
