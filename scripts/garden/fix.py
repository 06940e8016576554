"""Photos put right by hand: when they were taken, what they show, whether they belong here."""

from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path

import typer

from models.garden.settings import read_garden
from models.journal import Fix, Journal, open_journal
from scripts.common.moments import moment, now_in
from scripts.common.which_garden import known_plant
from scripts.garden.assign import for_each
from vision.photo.find import printable
from vision.photo.taken import EARLIEST_YEAR

__all__ = ["date_photos", "fix_lines", "plant_photos", "remove_photos", "undo_fixes"]

_SOURCES = {
    "exif": "from inside the photo",
    "name": "from its name, or by hand",
    "file": "from its file",
    "assigned": "given by hand",
    "option": "from --plant",
    "tag": "from its tag",
    "folder": "from its folder",
}


def date_photos(folder: Path, photos: Sequence[str], taken: str, reason: str = "") -> list[str]:
    """Settle when photos were taken, and say what was there before.

    Raises
    ------
    typer.BadParameter
        When the time cannot be read, or cannot be one of a photo.
    GardenError, JournalError
        With one sentence.
    """
    zone = read_garden(folder).time_zone
    if not taken.strip():
        raise typer.BadParameter("say when: 2026-06-01 07:30 or 2026-06-01.", param_hint="--taken")
    taken_at = moment(taken, zone, option="--taken")
    now = now_in(zone)
    # A day alone is noon, which may still be to come today.
    if taken_at > now and taken_at.date() != now.date():
        raise typer.BadParameter(f"“{taken}” is still to come.", param_hint="--taken")
    if taken_at.year < EARLIEST_YEAR:
        raise typer.BadParameter(
            f"“{taken}” is before the first digital photos.", param_hint="--taken"
        )
    return _put_right(
        folder, photos, lambda journal, photo: journal.fix_taken(photo, taken_at, reason)
    )


def plant_photos(folder: Path, photos: Sequence[str], plant: str, reason: str = "") -> list[str]:
    """Settle which plant photos show, and say what was there before.

    Raises
    ------
    GardenError, JournalError
        With one sentence.
    """
    name = known_plant(read_garden(folder), plant)
    return _put_right(folder, photos, lambda journal, photo: journal.assign(photo, name, reason))


def remove_photos(folder: Path, photos: Sequence[str], reason: str = "") -> list[str]:
    """Take photos out of the record, and say so.

    Raises
    ------
    GardenError, JournalError
        With one sentence.
    """
    return _put_right(folder, photos, lambda journal, photo: journal.remove(photo, reason))


def _put_right(
    folder: Path, photos: Sequence[str], work: Callable[[Journal, str], int]
) -> list[str]:
    with open_journal(folder) as journal:
        before = {fix.number for fix in journal.fixes()}
        for_each(journal, photos, lambda photo: work(journal, photo))
        made = [fix for fix in journal.fixes() if fix.number not in before]
    if not made:
        return ["Nothing changed: it stands in the journal so already."]
    return [_line(fix) for fix in made] + ["Taken back with: spotlamp fix PHOTO --undo"]


def undo_fixes(folder: Path, photos: Sequence[str]) -> list[str]:
    """Take back the last thing that was put right of each photo, and say what holds again.

    Raises
    ------
    GardenError, JournalError
        With one sentence.
    """
    undone: list[Fix] = []

    def undo(photo: str) -> int:
        undone.extend(journal.undo_fix(photo))
        return 1

    with open_journal(folder) as journal:
        for_each(journal, photos, undo)
    if not undone:
        return ["Nothing of this was put right by hand, so there is nothing to take back."]
    return [f"{printable(fix.photo)}: {_again(fix)}." for fix in undone]


def fix_lines(folder: Path, photos: Sequence[str] = ()) -> list[str]:
    """Return what was put right, of some photos or of all, ready to be printed.

    Raises
    ------
    GardenError, JournalError
        With one sentence.
    """
    keys: list[str] = []

    def note(photo: str) -> int:
        keys.append(photo)
        return 1

    with open_journal(folder) as journal:
        for_each(journal, photos, note)
        found = [fix for fix in journal.fixes() if not photos or {fix.sha256, fix.photo} & {*keys}]
    if not found:
        return ["Nothing was put right by hand."]
    return [_line(fix) + (" Taken back since." if fix.undone else "") for fix in found]


def _line(fix: Fix) -> str:
    said = f" {printable(fix.reason)}" if fix.reason else ""
    return f"{printable(fix.photo)}: {_now(fix)}.{said}"


def _now(fix: Fix) -> str:
    if fix.what == "removed":
        return "taken out of the record"
    return f"{_holds(fix, fix.value)} (before: {_source(fix)})"


def _again(fix: Fix) -> str:
    if fix.what == "removed":
        return "in the record again"
    return f"{_holds(fix, fix.old)} again"


def _holds(fix: Fix, value: str) -> str:
    if fix.what == "taken":
        return f"taken {_shown(value)}"
    return f"shows {value}" if value else "given to no plant"


def _source(fix: Fix) -> str:
    value = _shown(fix.old) if fix.what == "taken" else fix.old or "no plant"
    return f"{value}, {_SOURCES[fix.old_from]}" if fix.old_from in _SOURCES else value


def _shown(moment_text: str) -> str:
    return f"{datetime.fromisoformat(moment_text):%Y-%m-%d %H:%M}"
