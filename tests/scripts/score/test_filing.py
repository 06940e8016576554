"""Scored photos are filed in the garden they belong to, to the right plant, once."""

import os
import shutil
import subprocess
import sys
import threading
from collections.abc import Callable
from dataclasses import fields, replace
from datetime import datetime
from pathlib import Path

import pytest
from PIL import Image

from models.garden.beds import Plant
from models.garden.settings import read_garden
from models.journal import Wish, open_journal
from models.pattern import PatternCall
from scripts.score.columns import TABLES
from scripts.score.filing import entry_of, filing, reading_version
from scripts.score.results import PhotoResult
from scripts.score.store import Settings
from vision.photo.taken import EXIF_CHANGED_AT
from vision.records import DayReading, LeafReading, NightReading


@pytest.fixture
def planted(tmp_path, spotlamp) -> Path:
    """Make a garden with plants A1, A2 and B1."""
    folder = tmp_path / "plot"
    spotlamp(
        "new", folder, "--bed", "North=A1,A2", "--bed", "South=B1", "--time-zone", "Asia/Tokyo"
    )
    return folder


@pytest.fixture
def score(tmp_path, spotlamp) -> Callable[..., str]:
    """Score and give back what is said about the filing."""

    def run(*arguments: object) -> str:
        shown = spotlamp("score", *arguments, "--out", tmp_path / "out", "--jobs", "1").output
        return shown[shown.find("\nFiled") :] if "\nFiled" in shown else ""

    return run


def filed(folder: Path) -> dict[str, tuple[str, str]]:
    with open_journal(folder) as journal:
        return {photo.photo: (photo.plant, photo.plant_from) for photo in journal.photos()}


def dated(path: Path, when: datetime) -> Path:
    """Write the capture time into a photo, as a camera does, without a time zone."""
    picture = Image.open(path)
    exif = picture.getexif()
    exif[EXIF_CHANGED_AT] = when.strftime("%Y:%m:%d %H:%M:%S")
    picture.save(path, exif=exif, quality=95)
    return path


def test_photos_go_to_the_plants_that_folder_name_and_option_tell(planted, paint_photo, score):
    names = ("A1/x.jpg", "June/A2/x.jpg", "A2_1.jpg", "A1/B1.jpg", "other.jpg", "walk/y.jpg")
    for seed, name in enumerate(names):
        paint_photo(planted / "photos" / name, seed)
    said = score(planted / "photos")
    assert "6 photos, all new" in said
    assert "2 photos without a plant" in said
    assert filed(planted) == {
        "photos/A1/x.jpg": ("A1", "folder"),
        "photos/June/A2/x.jpg": ("A2", "folder"),
        "photos/A2_1.jpg": ("A2", "name"),
        "photos/A1/B1.jpg": ("A1", "folder"),
        "photos/other.jpg": ("", ""),
        "photos/walk/y.jpg": ("", ""),
    }
    assert "2 given to a plant" in score(planted / "photos", "--plant", "b1")
    assert filed(planted)["photos/other.jpg"] == ("B1", "option")


def test_scoring_again_changes_nothing(planted, paint_photo, score):
    paint_photo(planted / "A1" / "x.jpg")
    score(planted)
    before = (planted / "journal.sqlite").read_bytes()
    assert "1 photo, all known already" in score(planted)
    assert (planted / "journal.sqlite").read_bytes() == before


def test_what_was_measured_is_what_is_filed(planted, paint_photo, score, read_table, tmp_path):
    paint_photo(planted / "A1" / "x.jpg")
    score(planted)
    (row,) = read_table(tmp_path / "out" / "photos.csv")
    leaves = read_table(tmp_path / "out" / "leaves.csv")
    lesions = read_table(tmp_path / "out" / "lesions.csv")
    with open_journal(planted) as journal:
        (photo,) = journal.photos()
        kept = journal.lesions(photo.sha256)
    assert (photo.sha256, photo.mode, photo.pattern) == (row["sha256"], "day", row["pattern"])
    for name in ("lesion_pct", "halo_pct", "severity_pct", "severity_low_pct", "severity_high_pct"):
        assert getattr(photo, name) == pytest.approx(float(row[name]), abs=6e-4)
    assert photo.lesion_count == int(row["lesion_count"]) == len(kept) > 0
    assert [leaf.severity_pct for leaf in photo.leaves] == [
        pytest.approx(float(leaf["severity_pct"]), abs=6e-4) for leaf in leaves
    ]
    assert [lesion.area_px for lesion in kept] == [
        pytest.approx(float(lesion["area_px"]), abs=6e-3) for lesion in lesions
    ]
    assert photo.leaves[0].pattern_reason == leaves[0]["pattern_reason"]


def test_an_entry_holds_whatever_the_tables_show_of_a_photo_and_its_leaves(planted):
    call = PatternCall("spot", 0.7, 0.2, 0.05, "", 0.4, "Many small lesions.")
    leaf = LeafReading(
        1,
        15.0,
        25.0,
        1000.0,
        (),
        15.0,
        1.0,
        16.0,
        14.0,
        18.0,
        (50.0, -20.0, 30.0),
        (),
        ("blurred",),
    )
    day = DayReading(
        (leaf,), ("blurred",), 1000.0, 15.0, 1.0, 16.0, 14.0, 18.0, (), 3, 2, 5, 4.0, 1.0, 9.0
    )
    night = NightReading((), (), (), 3, 2, 5)
    at = datetime(2025, 7, 1, 9)
    some = {"mm_per_px": 0.1, "pattern": call, "leaf_patterns": (call,), "flags": ("blurred",)}
    for reading in ({"reading": day, **some}, {"night": night}):
        result = PhotoResult("A1/n.jpg", "ab" * 32, at, "exif", 400, 300, **reading)
        entry = entry_of(result, planted / "A1" / "n.jpg", planted, read_garden(planted), "1-abc")
        assert alike(entry, "photos", result) > 15
        assert len(entry.leaves) == len(list(TABLES["leaves"].described(result)))
        for held, shown in zip(entry.leaves, TABLES["leaves"].described(result), strict=True):
            assert alike(held, "leaves", shown) > 12


def alike(entry, table, shown) -> int:
    """Hold an entry against a table's row, and return how many of its values are in it."""
    names = {field.name for field in fields(entry)} - {"taken_at", "flags"}
    columns = [column for column in TABLES[table].columns if column.name in names]
    for column in columns:
        assert getattr(entry, column.name) == none_as_kept(column.value(shown), entry, column.name)
    return len(columns)


def none_as_kept(value, entry, name):
    """Return a cell as an entry holds it, which has an empty text where a cell is empty."""
    return "" if value is None and isinstance(getattr(entry, name), str) else value


def test_tables_and_summary_name_the_plants_as_filed(
    planted, paint_photo, spotlamp, tmp_path, read_table
):
    for seed, name in enumerate(("A1/x.jpg", "June/A1_y.jpg", "June/z.jpg")):
        paint_photo(planted / name, seed)
    for _ in range(2):  # measured, then kept
        shown = spotlamp("score", planted, "--out", tmp_path / "out", "--jobs", "1").output
        plants = {row["photo"]: row["plant"] for row in read_table(tmp_path / "out" / "photos.csv")}
        assert plants == {"A1/x.jpg": "A1", "June/A1_y.jpg": "A1", "June/z.jpg": ""}
        assert "(no plant named)" in shown
        assert "June" not in shown
    spotlamp("assign", planted / "June", "B1", "--garden", planted)
    spotlamp("score", planted, "--out", tmp_path / "out", "--jobs", "1")
    plants = {row["photo"]: row["plant"] for row in read_table(tmp_path / "out" / "photos.csv")}
    assert plants == {"A1/x.jpg": "A1", "June/A1_y.jpg": "B1", "June/z.jpg": "B1"}


def test_a_night_photo_is_filed_with_its_count(planted):
    night = NightReading((), (), ("blurred",), 3, 2, 5)
    taken_at = datetime(2025, 7, 1, 23)
    result = PhotoResult("n.jpg", "ab" * 32, taken_at, "exif", 400, 300, night=night)
    entry = entry_of(result, planted / "A1" / "n.jpg", planted, read_garden(planted), "1-abc")
    with open_journal(planted) as journal:
        journal.file_reading(entry)
        (photo,) = journal.photos("A1", mode="night")
        assert journal.leaf_severities() == ()
    counts = (photo.caterpillar_count, photo.caterpillar_low, photo.caterpillar_high)
    assert counts == (3, 2, 5)
    assert (photo.severity_pct, photo.lesion_count, photo.leaves) == (None, None, ())


def test_it_is_told_of_how_many_photos_the_reading_is_put_right_and_stands(planted):
    """Not of those whose date was put right, nor of those of which it was taken back."""
    results = [
        PhotoResult(
            f"A1/{name}.jpg", name * 64, datetime(2025, 7, 1, 23), "exif", 400, 300,
            night=NightReading((), (), (), 3, 2, 5),
        )
        for name in "abcde"
    ]  # fmt: skip

    def said() -> str:
        with filing([planted], Settings(), planted) as filer:
            for result in results:
                filer.file(result, planted / result.name)
            return filer.report()

    first = said()
    assert "5 photos, all new." in first
    with open_journal(planted) as journal:
        for name in "abc":
            journal.put_right(name * 64, Wish("unused"))
        journal.undo_fix("c" * 64)
        journal.fix_taken("d" * 64, datetime(2025, 7, 2, 23))
        journal.remove("e" * 64)
    second = said()
    assert "put something right" not in first
    assert "5 photos, all known already." in second
    assert "\n  2 photos on which you put something right" in second
    assert "\n  1 photo taken out of the record earlier" in second


def test_a_day_photo_read_as_one_of_the_night_keeps_its_day_reading(
    planted, paint_photo, score, spotlamp, tmp_path
):
    paint_photo(planted / "A1" / "x.jpg")
    score(planted)
    with open_journal(planted) as journal:
        before = journal.photos()
    out = tmp_path / "night"
    said = spotlamp("night", planted, "--out", out, "--jobs", "1", code=1).output
    assert "Filed in “plot”: 0 photos." in said
    with open_journal(planted) as journal:
        assert journal.photos() == before


def test_another_torch_off_photo_makes_another_version():
    assert len({reading_version("ab" * 32, off) for off in ("", "1" * 64, "2" * 64)}) == 3


def test_a_garden_is_found_where_we_stand(planted, paint_photo, score, tmp_path, monkeypatch):
    paint_photo(tmp_path / "phone" / "A1" / "x.jpg")
    assert score(tmp_path / "phone") == ""
    monkeypatch.chdir(planted)
    assert "1 photo, all new" in score(tmp_path / "phone")
    assert filed(planted) == {"../phone/A1/x.jpg": ("A1", "folder")}


def test_the_folder_that_is_scored_may_be_a_plants(planted, paint_photo, score, tmp_path):
    paint_photo(tmp_path / "phone" / "A1" / "x.jpg")
    score(tmp_path / "phone" / "A1", "--garden", planted)
    assert filed(planted) == {"../phone/A1/x.jpg": ("A1", "folder")}


def test_a_photo_that_is_named_otherwise_now_stays_and_is_told(planted, paint_photo, score):
    photo = paint_photo(planted / "A1" / "x.jpg")
    score(planted)
    (planted / "A2").mkdir()
    photo.rename(planted / "A2" / "x.jpg")
    assert "1 photo filed earlier to another plant" in score(planted)
    assert filed(planted) == {"A1/x.jpg": ("A1", "folder")}


def test_a_link_that_leads_nowhere_is_one_sentence_and_nothing_is_assigned(
    planted, paint_photo, score, spotlamp
):
    paint_photo(planted / "walk" / "x.jpg", 30)
    score(planted)
    before = filed(planted)
    broken = planted / "walk" / "gone.jpg"
    broken.symlink_to(planted / "nowhere.jpg")
    for given in (planted / "walk", broken):
        said = spotlamp("assign", given, "A1", "--garden", planted, code=1).stderr
        assert "gone.jpg" in said
        assert said.count("\n") == 1
    assert filed(planted) == before


def test_photos_are_assigned_by_hand(planted, paint_photo, score, spotlamp):
    for seed, name in enumerate(("walk/x.jpg", "walk/y.jpg", "z.jpg")):
        paint_photo(planted / name, seed)
    score(planted)
    assert "3 without a plant" in spotlamp("assign", "--garden", planted).output
    said = spotlamp("assign", planted / "walk", "z.jpg", "a2", "--garden", planted).output
    assert said == "3 photos given to A2.\n"
    assert set(filed(planted).values()) == {("A2", "assigned")}
    assert "has its plant" in spotlamp("assign", "--garden", planted).output
    score(planted, "--plant", "B1")
    assert set(filed(planted).values()) == {("A2", "assigned")}


def test_a_photo_is_known_by_the_end_of_its_path_if_no_other_ends_so(
    planted, paint_photo, score, spotlamp
):
    for seed, name in enumerate(("walk/x.jpg", "walk/y.jpg", "June/y.jpg")):
        paint_photo(planted / name, seed)
    score(planted)
    spotlamp("assign", "x.jpg", "A1", "--garden", planted)
    assert filed(planted)["walk/x.jpg"] == ("A1", "assigned")
    said = spotlamp("assign", "y.jpg", "A1", "--garden", planted, code=1).output
    assert "may be 2 photos, such as “June/y.jpg” and “walk/y.jpg”" in said


def test_wrong_names_give_a_sentence_and_change_nothing(planted, paint_photo, score, spotlamp):
    paint_photo(planted / "x.jpg")
    score(planted)
    unknown = spotlamp("assign", "x.jpg", "A11", "--garden", planted, code=2).output
    assert "no plant “A11”; there is A1" in unknown
    assert "not in the journal" in spotlamp(
        "assign", "x.jpg", "q.jpg", "A1", "--garden", planted, code=1
    ).output  # fmt: skip
    spotlamp("assign", "A1", "--garden", planted, code=2)
    spotlamp("relabel", "x.jpg", "mildew", "--garden", planted, code=2)
    assert filed(planted) == {"x.jpg": ("", "")}


def test_a_plant_without_a_garden_is_refused(paint_photo, spotlamp, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    paint_photo(tmp_path / "photos" / "x.jpg")
    said = spotlamp("score", "photos", "--out", "out", "--plant", "A1", code=2).output
    assert "needs a garden" in said
    assert "stand in no garden" in spotlamp("assign", code=2).output


def test_a_new_classifier_makes_a_reading_of_its_own(planted, paint_photo, score):
    from models.pattern import CLASSIFIER_FILE

    paint_photo(planted / "A1" / "x.jpg")
    score(planted)
    other = planted / "classifier.json"
    other.write_bytes(CLASSIFIER_FILE.read_bytes() + b"\n")
    assert "1 measured again" in score(planted, "--classifier", other)
    with open_journal(planted) as journal:
        (photo,) = journal.photos()
        versions = journal.versions(photo.sha256)
    assert (len(versions), versions[-1]) == (2, photo.version)


def test_a_photo_without_zone_is_in_the_gardens_time(planted, paint_photo, score):
    dated(paint_photo(planted / "A1" / "x.jpg"), datetime(2025, 7, 1, 23, 30))
    score(planted)
    with open_journal(planted) as journal:
        (photo,) = journal.photos()
    assert photo.taken_at.isoformat() == "2025-07-01T23:30:00+09:00"


def test_a_camera_a_year_behind_is_flagged(planted, paint_photo, score):
    for day in (1, 8, 15):
        dated(paint_photo(planted / "A1" / f"{day}.jpg", day), datetime(2025, 7, day, 9))
    assert "half a year" not in score(planted)
    dated(paint_photo(planted / "A1" / "old.jpg", 99), datetime(2024, 7, 15, 9))
    assert "check the camera's clock: “A1/old.jpg”" in score(planted)
    with open_journal(planted) as journal:
        flagged = [p.photo for p in journal.photos() if "clock_doubtful" in p.flags]
    assert flagged == ["A1/old.jpg"]


def test_a_photo_that_cannot_be_read_is_not_filed(planted, paint_photo, score):
    paint_photo(planted / "A1" / "x.jpg")
    (planted / "A1" / "empty.jpg").touch()
    assert "1 photo, all new" in score(planted)


def test_two_runs_at_once_neither_lose_nor_double(planted, paint_photo, tmp_path, score):
    for seed in range(4):
        paint_photo(planted / "A1" / f"{seed}.jpg", seed)
    score(planted, "--garden", planted)
    with open_journal(planted) as journal:
        expected = journal.photos()
    (planted / "journal.sqlite").unlink()
    shutil.rmtree(planted / "backups")
    command = [sys.executable, "-m", "scripts", "score", planted, "--jobs", "1", "--out"]
    runs = [
        subprocess.Popen(
            [*command, tmp_path / name], stdout=subprocess.PIPE, stderr=subprocess.PIPE
        )
        for name in ("first", "second")
    ]
    outputs = [run.communicate(timeout=180) for run in runs]
    assert [run.returncode for run in runs] == [0, 0], outputs
    with open_journal(planted) as journal:
        assert journal.photos() == expected


def test_many_writers_at_once_neither_lose_nor_double(planted):
    from models.entries import PhotoEntry

    entry = PhotoEntry("x.jpg", "0" * 64, datetime(2025, 7, 1), version="1")
    entries = [replace(entry, sha256=f"{number:064}") for number in range(12)]

    def file_all() -> None:
        with open_journal(planted) as journal:
            for one in entries:
                journal.file_reading(one)

    threads = [threading.Thread(target=file_all) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with open_journal(planted) as journal:
        assert [photo.sha256 for photo in journal.photos()] == [one.sha256 for one in entries]


def test_a_new_garden_is_made_once_and_beds_are_added(tmp_path, spotlamp):
    folder = tmp_path / "plot"
    said = spotlamp("new", folder, "--name", "My plot", "--units", "US", "--bed", "N=A1,,A3/A4")
    assert "New garden “My plot”" in said.output
    assert "3 plants in 1 bed," in said.output
    assert "garden already" in spotlamp("new", folder, code=2).output
    text = (folder / "garden.toml").read_text("utf-8")
    (folder / "garden.toml").write_text(f"# mine\n{text}", "utf-8")
    spotlamp("new", folder, "--bed", "South=B1")
    assert (folder / "garden.toml").read_text("utf-8").startswith("# mine\n")
    with open_journal(folder) as journal:
        assert journal.plants() == (
            Plant("A1", "N", 1, 1), Plant("A3", "N", 1, 3), Plant("A4", "N", 2, 1),
            Plant("B1", "South", 1, 1),
        )  # fmt: skip


@pytest.mark.parametrize("bed", ["North", "=A1", "North=", "North=A1,A1", "North=a/b,"])
def test_a_bed_that_cannot_be_used_makes_no_garden(tmp_path, spotlamp, bed):
    spotlamp("new", tmp_path / "plot", "--bed", bed, code=2 if bed != "North=a/b," else 0)
    assert (tmp_path / "plot" / "garden.toml").exists() == (bed == "North=a/b,")


def test_a_damaged_journal_is_put_back(planted, paint_photo, score, spotlamp):
    paint_photo(planted / "A1" / "x.jpg")
    score(planted)
    paint_photo(planted / "A2" / "y.jpg", 1)
    score(planted)
    assert "is sound" in spotlamp("restore", "--garden", planted).output
    file = planted / "journal.sqlite"
    file.write_bytes(b"\0" * 4096 + file.read_bytes()[4096:])
    said = spotlamp("score", planted, "--out", planted / "out", code=1).output
    assert "is damaged. “spotlamp restore” puts back the backup backups/journal-" in said
    assert "Put back" in spotlamp("restore", "--garden", planted).output
    assert set(filed(planted)) == {"A1/x.jpg", "A2/y.jpg"}


def test_help_stays_instant(tmp_path):
    code = "import sys, scripts.cli; print(*sys.modules)"
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[3])}
    command = [sys.executable, "-c", code]
    shown = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
    heavy = {"sqlalchemy", "alembic", "tomlkit", "numpy", "cv2", "tzlocal"}
    assert not heavy & set(shown.stdout.split())
