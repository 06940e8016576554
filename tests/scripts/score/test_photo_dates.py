"""Nothing is sprayed by a date that nobody gave; days in names of files and folders are read."""

import os
from datetime import datetime
from pathlib import Path

import pytest

from models.journal import open_journal

SEASON = Path(__file__).parents[3] / "sample_images" / "season" / "photos"
WHEN = datetime(2025, 7, 10, 9)
AT = ("--at", "2025-07-10 18:00")


def without_exif(photo: Path) -> bytes:
    """Return a JPEG without the segment that holds its EXIF data, as some programs send photos."""
    data = photo.read_bytes()
    place = data.index(b"\xff\xe1")
    length = int.from_bytes(data[place + 2 : place + 4], "big")
    assert data[place + 4 :].startswith(b"Exif")
    return data[:place] + data[place + 2 + length :]


@pytest.fixture
def garden_of(tmp_path, spotlamp):
    """Return a function that files three plants' photos of one day, under a name of choice."""

    def make(name: str) -> tuple[Path, str]:
        folder = tmp_path / "plot"
        spotlamp("new", folder, "--bed", "North=A1,A2,A3", "--time-zone", "Europe/Berlin")
        for plant in ("A1", "A2", "A3"):
            photo = folder / plant / name
            photo.parent.mkdir(parents=True)
            photo.write_bytes(without_exif(SEASON / plant / f"2025-07-10_{plant}.jpg"))
            os.utime(photo, (WHEN.timestamp(),) * 2)
        said = spotlamp("score", folder, "--out", tmp_path / "out", "--jobs", "1").output
        return folder, said

    return make


def sprays(plan: str) -> list[str]:
    """Return the tasks of a plan that ask for a spray of any product."""
    tasks = [line for line in plan.splitlines() if line.lstrip().startswith("[ ]")]
    return [line for line in tasks if "Spray" in line or "Spot-test" in line or "spray" in line]


@pytest.mark.parametrize("name", ["2025-07-10/leaf.jpg", "10.07.2025.jpg"])
def test_a_day_in_a_folders_or_a_day_month_year_name_is_the_photos(garden_of, spotlamp, name):
    folder, said = garden_of(name)
    assert "no date of" not in said
    with open_journal(folder) as journal:
        found = {(str(p.taken_at.date()), p.taken_from) for p in journal.photos()}
    assert found == {("2025-07-10", "name")}
    plan = spotlamp("plan", *AT, "--garden", folder).output
    assert any("Spot-test A2" in line for line in sprays(plan))


@pytest.mark.parametrize("name", ["leaf.jpg", "2099-06-22.jpg", "12-06-2025.jpg"])
def test_a_files_date_never_leads_to_a_spray_until_somebody_gives_one(garden_of, spotlamp, name):
    folder, said = garden_of(name)
    assert "3 photos have no date of their own" in said
    assert ("still to come" in said) == name.startswith("2099")
    plan = spotlamp("plan", *AT, "--garden", folder).output
    assert sprays(plan) == []
    assert "spotlamp fix PHOTO --taken" in plan
    spotlamp("log", "choose", "A1", *AT, "--garden", folder)
    plan = spotlamp("plan", *AT, "--garden", folder).output
    assert "nobody knows when its photos were taken" in " ".join(plan.split())
    assert sprays(plan) == []
    for command in ("today", "flag"):
        shown = spotlamp(command, *AT, "--garden", folder).output
        assert not any(word in shown for word in ("Spot-test", "Spray", "treat"))
    spotlamp("fix", folder, "--taken", "2025-07-10 09:00", "--garden", folder)
    plan = spotlamp("plan", *AT, "--garden", folder).output
    assert sprays(plan) != []
    assert "no date" not in spotlamp("flag", *AT, "--garden", folder).output
