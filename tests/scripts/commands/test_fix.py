"""A wrong date or plant is put right, everything follows at once, and it can be taken back."""

import os
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest
from PIL import Image

from models.journal import open_journal
from scripts.garden.data_package import journal_files
from vision.photo.taken import EXIF_CHANGED_AT

ZONE = "Europe/Berlin"


@pytest.fixture
def planted(tmp_path, spotlamp) -> Path:
    """Make a garden with plants A1, A2 and B1."""
    folder = tmp_path / "plot"
    spotlamp("new", folder, "--bed", "North=A1,A2", "--bed", "South=B1", "--time-zone", ZONE)
    return folder


@pytest.fixture
def score(tmp_path, spotlamp, planted) -> Callable[[], str]:
    def run() -> str:
        return spotlamp("score", planted, "--out", tmp_path / "out", "--jobs", "1").output

    return run


def filed(folder: Path) -> dict[str, tuple[str, str, str]]:
    with open_journal(folder) as journal:
        photos = journal.photos()
    return {p.photo: (p.plant, f"{p.taken_at:%Y-%m-%d %H:%M}", p.taken_from) for p in photos}


def with_exif(path: Path, when: datetime) -> Path:
    picture = Image.open(path)
    exif = picture.getexif()
    exif[EXIF_CHANGED_AT] = when.strftime("%Y:%m:%d %H:%M:%S")
    picture.save(path, exif=exif, quality=95)
    return path


def test_a_date_is_put_right_kept_when_scored_again_and_taken_back(
    planted, paint_photo, score, spotlamp, tmp_path, read_table
):
    photo = with_exif(paint_photo(planted / "A1" / "x.jpg"), datetime(2026, 1, 1, 0, 5))
    score()
    assert filed(planted) == {"A1/x.jpg": ("A1", "2026-01-01 00:05", "exif")}
    said = spotlamp(
        "fix", photo, "--taken", "2026-07-10 07:30", "--reason", "clock reset", "--garden", planted
    ).output
    assert "A1/x.jpg: taken 2026-07-10 07:30 (before: 2026-01-01 00:05" in said
    assert "clock reset" in said
    fixed = {"A1/x.jpg": ("A1", "2026-07-10 07:30", "name")}
    assert filed(planted) == fixed
    score()
    assert filed(planted) == fixed
    (row,) = read_table(tmp_path / "out" / "photos.csv")
    assert row["taken_at"].startswith("2026-07-10T07:30")
    assert "A1/x.jpg: taken 2026-01-01 00:05 again" in spotlamp(
        "fix", "A1/x.jpg", "--undo", "--garden", planted
    ).output  # fmt: skip
    assert filed(planted) == {"A1/x.jpg": ("A1", "2026-01-01 00:05", "exif")}
    assert "nothing to take back" in spotlamp("fix", photo, "--undo", "--garden", planted).output
    assert "Taken back since." in spotlamp("fix", "--garden", planted).output


def test_a_plant_is_put_right_by_fix_or_assign_and_either_is_taken_back(
    planted, paint_photo, score, spotlamp
):
    photo = paint_photo(planted / "A1" / "2026-07-10_0731.jpg")
    score()
    spotlamp("assign", photo, "A2", "--garden", planted)
    spotlamp("fix", photo, "--plant", "b1", "--garden", planted)
    score()
    plants = []
    for _ in range(2):
        plants += [plant for plant, *_ in filed(planted).values()]
        spotlamp("fix", photo, "--undo", "--garden", planted)
    assert plants == ["B1", "A2"]
    with open_journal(planted) as journal:
        (entry,) = journal.photos()
    assert (entry.plant, entry.plant_from) == ("A1", "folder")


def test_a_photo_taken_out_of_the_record_stays_out_until_it_is_taken_in_again(
    planted, paint_photo, score, spotlamp
):
    names = ("2026-07-10_0731.jpg", "2026-07-11_0731.jpg")
    photo, _ = (paint_photo(planted / "A1" / name, seed) for seed, name in enumerate(names))
    score()
    both = filed(planted)
    assert "taken out of the record" in spotlamp(
        "fix", photo, "--remove", "--garden", planted
    ).output  # fmt: skip
    assert set(filed(planted)) == {"A1/2026-07-11_0731.jpg"}
    assert "1 photo taken out of the record earlier" in score()
    assert set(filed(planted)) == {"A1/2026-07-11_0731.jpg"}
    assert "so already" in spotlamp("fix", photo, "--remove", "--garden", planted).output
    spotlamp("fix", photo, "--undo", "--garden", planted)
    assert filed(planted) == both


def test_trend_and_flag_follow_at_once(planted, paint_photo, score, spotlamp):
    photo = paint_photo(planted / "A1" / "x.jpg", spots=9)
    with_exif(photo, datetime(2026, 7, 10, 7, 31))
    score()
    at = ("--at", "2026-07-20 08:00", "--garden", planted)

    def trend() -> str:
        return spotlamp("trend", "--since", "2026-06-01", "--garden", planted).output

    assert "10 Jul" in spotlamp("flag", "A1", *at).output
    assert "10 Jul" in trend()
    spotlamp("fix", photo, "--taken", "2026-07-19 07:31", "--garden", planted)
    assert "10 Jul" not in spotlamp("flag", "A1", *at).output
    assert "19 Jul" in spotlamp("flag", "A1", *at).output
    assert "10 Jul" not in trend()
    assert "19 Jul" in trend()
    spotlamp("fix", photo, "--plant", "A2", "--garden", planted)
    assert "19 Jul" not in spotlamp("flag", "A1", *at).output
    assert "19 Jul" in spotlamp("flag", "A2", *at).output
    spotlamp("fix", photo, "--remove", "--garden", planted)
    assert "19 Jul" not in spotlamp("flag", "A2", *at).output


def test_fixes_go_out_and_come_back(planted, paint_photo, score, spotlamp, tmp_path):
    photo = paint_photo(planted / "A1" / "2026-07-10_0731.jpg")
    score()
    spotlamp("fix", photo, "--taken", "2026-07-09", "--garden", planted)
    spotlamp("fix", photo, "--remove", "--garden", planted)
    spotlamp("export", tmp_path / "record", "--garden", planted)
    spotlamp("new", tmp_path / "other", "--bed", "North=A1,A2", "--time-zone", ZONE)
    spotlamp("import", tmp_path / "record", "--garden", tmp_path / "other")
    with open_journal(planted) as one, open_journal(tmp_path / "other") as other:
        assert journal_files(one) == journal_files(other)
    for expected in ("2026-07-09 12:00", "2026-07-10 07:31"):
        spotlamp("fix", "A1/2026-07-10_0731.jpg", "--undo", "--garden", tmp_path / "other")
        assert filed(tmp_path / "other") == {"A1/2026-07-10_0731.jpg": ("A1", expected, "name")}


@pytest.mark.parametrize(
    ("arguments", "problem"),
    [
        (("--taken", "soon"), "is no time"),
        (("--taken", ""), "say when"),
        (("--taken", "2031-01-01"), "still to come"),
        (("--taken", "1970-01-01"), "before the first digital photos"),
        (("--plant", "Z9"), "has no plant"),
        (("--remove", "--undo"), "at a time"),
    ],
)
def test_what_cannot_be_put_right_gives_a_sentence_and_changes_nothing(
    planted, paint_photo, score, spotlamp, arguments, problem
):
    photo = paint_photo(planted / "A1" / "2026-07-10_0731.jpg")
    score()
    before = filed(planted)
    said = spotlamp("fix", photo, *arguments, "--garden", planted, code=2).output
    assert problem in " ".join(said.replace("│", " ").split())
    assert filed(planted) == before
    stranger = paint_photo(planted.parent / "stranger.jpg", 7)
    assert "not in the journal" in spotlamp(
        "fix", stranger, "--remove", "--garden", planted, code=1
    ).output  # fmt: skip


def test_a_name_given_later_dates_a_photo_that_had_only_its_files_date(
    planted, paint_photo, score, spotlamp
):
    photo = paint_photo(planted / "A1" / "x.jpg")
    os.utime(photo, (datetime(2026, 7, 1, 9).timestamp(),) * 2)
    said = score()
    assert "1 photo has no date of its own" in said
    assert filed(planted)["A1/x.jpg"][2] == "file"
    named = photo.rename(photo.with_name("12.06.2026.jpg"))
    said = score()
    assert "1 given a better date" in said
    assert "no date of" not in said
    assert filed(planted) == {"A1/x.jpg": ("A1", "2026-06-12 12:00", "name")}
    named.rename(photo.with_name("13.06.2026.jpg"))
    said = score()
    assert "1 photo filed earlier with another date than now named" in said
    assert filed(planted)["A1/x.jpg"][1] == "2026-06-12 12:00"
