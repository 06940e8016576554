"""Photos put right by hand, and what that made of them, in lines for the terminal."""

import re
from collections.abc import Sequence
from pathlib import Path

import typer

from models.corrections import (
    ADDED,
    OF_READING,
    REJECTED,
    CorrectedReading,
    Fix,
    Fixed,
    Mark,
    Target,
)
from models.entries import PhotoEntry
from models.garden.settings import read_garden
from models.journal import Journal, JournalError, Wish, open_journal
from scripts.common.which_garden import known_plant
from scripts.garden.assign import for_each
from scripts.garden.correct import (
    fix_words,
    held,
    holds,
    seen_places,
    shown_time,
    taken_at,
    undo,
    wished,
)
from vision.photo.find import printable

__all__ = ["Word", "fix_lines", "fix_photos", "undo_fixes"]

Word = tuple[Fixed, str]
"""What is put right, and how or where, as it was typed; see `fix_photos`."""

_SOURCES = {
    "exif": "from inside the photo",
    "name": "from its name, or by hand",
    "file": "from its file",
    "assigned": "given by hand",
    "option": "from --plant",
    "tag": "from its tag",
    "folder": "from its folder",
}
_PLACED: frozenset[Fixed] = frozenset({*REJECTED, *ADDED, "outline"})
_WITH_VALUE: frozenset[Fixed] = frozenset({"taken", "plant", "pattern"})
_NUMBER = re.compile(r"(?:(\d{1,6})\.)?(\d{1,6})")
_PLACE = re.compile(r"(\d+(?:\.\d+)?),(\d+(?:\.\d+)?)(?:,(\d+(?:\.\d+)?))?")


def fix_photos(
    folder: Path, photos: Sequence[str], words: Sequence[Word], reason: str = "", leaf: str = ""
) -> list[str]:
    """Put photos right, and say what was there before and what holds now.

    Parameters
    ----------
    folder : Path
        The garden's.
    photos : sequence of str
        Files, folders, or paths as filed.
    words : sequence of Word
        With a time, a plant, a pattern, or a place: ``ROW,COL`` in pixels of the full-size photo
        (with a size where something is added), the number of a leaf, a lesion (``1.3``), a dropping
        or a caterpillar, or the points of an outline.
    reason : str
        The grower's own words.
    leaf : str
        The leaf that a pattern or an outline is about, likewise; the largest, or the one inside,
        where it is empty.

    Raises
    ------
    typer.BadParameter
        When a word cannot be read.
    GardenError, JournalError
        With one sentence; what was said before of other photos then holds.
    """
    garden = read_garden(folder)
    for what, text in words:
        if what == "taken":
            taken_at(text, garden.time_zone)
        elif what == "plant":
            known_plant(garden, text)
    lines: list[str] = []
    with open_journal(folder) as journal:
        known = {fix.number for fix in journal.fixes()}
        contents = _contents(journal, photos)
        if len(contents) > 1 and (leaf or any(what in _PLACED for what, _ in words)):
            raise typer.BadParameter("a place is one of a single photo: name one at a time.")
        found = [held(journal, content) for content in contents]
        # All is understood before anything is written.
        wishes = [_wishes(journal, folder, one, words, reason, leaf) for one in found]
        for before, wanted in zip(found, wishes, strict=True):
            lines += _put_right(journal, before, wanted, known)
    if not lines:
        return ["Nothing changed: it stands in the journal so already."]
    return [*lines, "Taken back with: spotlamp fix PHOTO --undo"]


def _contents(journal: Journal, photos: Sequence[str]) -> list[str]:
    """Return the hashes of photos that are all filed, each once."""
    keys: list[str] = []
    known = journal.known_photos()

    def note(key: str) -> int:
        keys.extend(sha256 for sha256, name in known.items() if key in {sha256, name})
        return 1

    for_each(journal, photos, note)
    return list(dict.fromkeys(keys))


def _wishes(
    journal: Journal,
    folder: Path,
    found: CorrectedReading,
    words: Sequence[Word],
    reason: str,
    leaf: str,
) -> list[Wish]:
    return [
        wished(
            journal,
            folder,
            found,
            what,
            value=text if what in _WITH_VALUE else "",
            marks=_marks(found, what, text, leaf),
            reason=reason,
        )
        for what, text in words
    ]


def _put_right(
    journal: Journal, before: CorrectedReading, wishes: Sequence[Wish], known: set[int]
) -> list[str]:
    """Put one photo right, and return a line for each thing that changed."""
    content = before.measured.sha256
    fixes = [fix for wish in wishes for fix in journal.put_right(content, wish)]
    lines = [_line(fix) for fix in fixes if fix.number not in known]
    known.update(fix.number for fix in fixes)
    return lines + (_effect(before.photo, held(journal, content).photo) if lines else [])


def _marks(found: CorrectedReading, what: Fixed, text: str, leaf: str) -> list[Mark]:
    if what in REJECTED:
        return [_pointed(found, REJECTED[what], text)]
    if what in ADDED:
        return [_place(text, sized=True)]
    named = [_pointed(found, "leaf", leaf)] if leaf and what in {"pattern", "outline"} else []
    if what == "outline":
        return named + [_place(point) for point in text.replace(";", " ").split()]
    return named


def _place(text: str, *, sized: bool = False) -> Mark:
    """Return the place that a text such as ``640,480`` or ``640,480,25`` names."""
    place = _PLACE.fullmatch(text.strip())
    if place is None or (place[3] and not sized):
        form = "ROW,COL or ROW,COL,SIZE" if sized else "ROW,COL"
        raise typer.BadParameter(
            f"“{text}” is no place: write it as {form}, in pixels from the photo's top left corner."
        )
    row, col, size = (float(part) if part else None for part in place.groups())
    return Mark(row or 0.0, col or 0.0, size)


def _pointed(found: CorrectedReading, target: Target, text: str) -> Mark:
    """Return the place of what a text names, such as ``1.3`` or ``640,480``."""
    number = _NUMBER.fullmatch(text.strip())
    if number is None:
        return _place(text)
    leaf, own = int(number[1] or 0), int(number[2])
    places = [place for place, _, _ in seen_places(found, target)]
    hit = [p for p in places if p.number == own and (not leaf or p.leaf == leaf)]
    if target == "lesion" and len(hit) > 1:
        raise JournalError(f"Several leaves have a lesion {own}: name the leaf too, as 1.{own}.")
    if not hit:
        raise JournalError(f"There is no {target} {text} in the reading of this photo.")
    return hit[0].mark


def undo_fixes(folder: Path, photos: Sequence[str], number: int | None = None) -> list[str]:
    """Take back the last thing that was put right of each photo, and say what holds again.

    Parameters
    ----------
    folder : Path
        The garden's.
    photos : sequence of str
        Files, folders, or paths as filed.
    number : int, optional
        Of the fix, as the list shows it.

    Raises
    ------
    GardenError, JournalError
        With one sentence.
    """
    lines: list[str] = []
    with open_journal(folder) as journal:
        for content in _contents(journal, photos):
            before = held(journal, content)
            fix = undo(journal, content, number)
            if fix is not None:
                lines.append(f"{printable(fix.photo)}: {_again(fix)}.")
                lines += _effect(before.photo, held(journal, content).photo)
    return lines or ["Nothing of this was put right by hand, so there is nothing to take back."]


def fix_lines(folder: Path, photos: Sequence[str] = ()) -> list[str]:
    """Return what was put right, of some photos or of all, ready to be printed.

    Raises
    ------
    GardenError, JournalError
        With one sentence.
    """
    with open_journal(folder) as journal:
        chosen = set(_contents(journal, photos))
        found = [fix for fix in journal.fixes() if not photos or fix.sha256 in chosen]
        idle = _idle(journal, found)
    if not found:
        return ["Nothing was put right by hand."]
    return [_line(fix) + _standing(fix, idle) for fix in found]


def _idle(journal: Journal, fixes: Sequence[Fix]) -> set[int]:
    """Return the fixes that find nothing at their place in the reading of now."""
    photos = {fix.sha256 for fix in fixes if fix.what in OF_READING and not fix.undone}
    readings = (journal.corrected(photo) for photo in sorted(photos))
    return {number for reading in readings if reading for number in reading.idle}


def _standing(fix: Fix, idle: set[int]) -> str:
    if fix.undone:
        return " Taken back since."
    return " Changes nothing now: nothing of the kind lies there." if fix.number in idle else ""


def _line(fix: Fix) -> str:
    said = f" {printable(fix.reason)}" if fix.reason else ""
    return f"{fix.number:>3}  {printable(fix.photo)}: {_now(fix)}.{said}"


def _now(fix: Fix) -> str:
    before = f" (before: {_source(fix)})" if fix.what in {"taken", "plant"} else ""
    return fix_words(fix) + before


def _again(fix: Fix) -> str:
    if fix.what == "removed":
        return "in the record again"
    if fix.what in OF_READING:
        return f"taken back: {fix_words(fix)}"
    return f"{holds(fix, fix.old)} again"


def _source(fix: Fix) -> str:
    value = shown_time(fix.old) if fix.what == "taken" else fix.old or "no plant"
    return f"{value}, {_SOURCES[fix.old_from]}" if fix.old_from in _SOURCES else value


def _effect(before: PhotoEntry, after: PhotoEntry) -> list[str]:
    """Say which numbers of a photo are others now."""
    parts = [
        (_severity(before), _severity(after)),
        (_pattern(before), _pattern(after)),
        (_count(before.frass_count, "dropping"), _count(after.frass_count, "dropping")),
        (
            _count(before.caterpillar_count, "caterpillar"),
            _count(after.caterpillar_count, "caterpillar"),
        ),
        (_eaten(before), _eaten(after)),
    ]
    changed = [f"{now} (before: {then})" for then, now in parts if now != then]
    return [f"     Now {'; '.join(changed)}."] if changed else []


def _severity(photo: PhotoEntry) -> str:
    if photo.severity_pct is None:
        return "no severity"
    ends = f"{photo.severity_low_pct or 0.0:.1f} to {photo.severity_high_pct or 0.0:.1f}"
    return f"severity {photo.severity_pct:.1f} % ({ends})"


def _pattern(photo: PhotoEntry) -> str:
    kind = f"{photo.blight_kind} " if photo.blight_kind in {"early", "late"} else ""
    return f"pattern {kind}{photo.pattern}" if photo.pattern else "no pattern called"


def _count(count: int | None, thing: str) -> str:
    return "no count" if count is None else f"{count} {thing}{'' if count == 1 else 's'}"


def _eaten(photo: PhotoEntry) -> str:
    return "eaten area unknown" if photo.chewed_pct is None else f"{photo.chewed_pct:.0f} % eaten"
