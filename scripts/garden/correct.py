"""Something on a photo put right: what a tap means, and what lies inside an outline that was drawn.

The page and ``spotlamp fix`` both come through `correct`.
"""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from pathlib import Path

import typer

from models.corrections import (
    ADDED,
    PATTERNS,
    REJECTED,
    CorrectedReading,
    Fix,
    Fixed,
    Mark,
    Place,
    State,
    Target,
    aimed_at,
    leaf_place,
    lesion_place,
    lying_at,
    thing_place,
    usual_size_px,
)
from models.garden.settings import read_garden
from models.journal import Journal, JournalError, Wish
from scripts.common.moments import moment, now_in
from scripts.common.which_garden import known_plant
from vision.photo.taken import EARLIEST_YEAR

__all__ = [
    "correct",
    "fix_words",
    "held",
    "holds",
    "seen_places",
    "shown_time",
    "taken_at",
    "undo",
    "wished",
]

_USUAL = {"dropping": 0.01, "caterpillar": 0.05}
"""Length of one that was only tapped, of the photo's long side, where there is no other."""

_LONGEST = 12_000  # px, of photos whose size is not known
_MOST_POINTS = 2_000  # of an outline; a finger's stroke has some hundreds


def correct(
    journal: Journal,
    folder: Path,
    photo: str,
    what: Fixed,
    *,
    value: str = "",
    marks: Sequence[Mark] = (),
    reason: str = "",
    seen: str | None = None,
) -> Fix:
    """Put something right of a photo, or of what was read on it.

    Parameters
    ----------
    journal : Journal
        The garden's.
    folder : Path
        The garden's.
    photo : str
        Hash of the photo, or its path as filed.
    what : str
        See ``models.corrections.Fixed``.
    value : str
        A time as people type it, a plant, or one of `PATTERNS`.
    marks : sequence of Mark
        Where on the photo. What is taken out, or gets a pattern, need only be hit; without a mark
        the largest leaf is meant. What is added has one mark, of the usual size where none is
        given. An outline has three or more.
    reason : str
        The grower's own words.
    seen : str, optional
        ``CorrectedReading.edition`` that the word is about.

    Returns
    -------
    Fix
        The new one, or the one that says the same already.

    Raises
    ------
    StaleError
        When something else was put right since, or the photo was measured anew.
    JournalError
        When the photo is not filed, or nothing of the kind lies there; nothing is changed then.
    GardenError
        When there is no such plant.
    """
    found = held(journal, photo)
    content = found.measured.sha256
    if seen is not None:
        journal.refuse_stale(content, seen)
    wish = wished(journal, folder, found, what, value=value, marks=marks, reason=reason)
    # What was aimed at is that of the edition that was just read.
    return journal.put_right(content, wish, found.edition)[0]


def held(journal: Journal, photo: str) -> CorrectedReading:
    """Return what holds of a photo.

    Raises
    ------
    JournalError
        When it is not filed.
    """
    found = journal.corrected(photo)
    if found is None:
        raise JournalError(f"“{photo}” is not in the journal: score it first, in this garden.")
    return found


def wished(
    journal: Journal,
    folder: Path,
    found: CorrectedReading,
    what: Fixed,
    *,
    value: str = "",
    marks: Sequence[Mark] = (),
    reason: str = "",
) -> Wish:
    """Return what `correct` would write of a photo; arguments and errors as there."""
    _refuse_outside(found, marks)
    wish = _wish(journal, folder, found, what, value, tuple(marks))
    return wish._replace(reason=reason)


def undo(
    journal: Journal, photo: str, number: int | None = None, *, seen: str | None = None
) -> Fix | None:
    """Take back a fix of a photo, the last one that holds by default; None where none does.

    Raises
    ------
    StaleError, JournalError
        As ``Journal.undo_fix`` says.
    """
    return next(iter(journal.undo_fix(photo, number, seen)), None)


def _wish(
    journal: Journal,
    folder: Path,
    found: CorrectedReading,
    what: Fixed,
    value: str,
    marks: tuple[Mark, ...],
) -> Wish:
    if what == "taken":
        try:
            when = taken_at(value, read_garden(folder).time_zone)
        except typer.BadParameter as error:
            raise JournalError(error.message) from error
        return Wish(what, journal.stored_time(when))
    if what == "plant":
        return Wish(what, known_plant(read_garden(folder), value) if value else "")
    if what == "pattern":
        return _pattern(found, value, marks)
    if what == "outline":
        return _outline(folder, found, marks)
    if what in REJECTED:
        return Wish(what, marks=_hit(found, REJECTED[what], marks))
    if what in ADDED:
        return Wish(what, marks=(_missed(found, what, _only(marks)),))
    return Wish(what)


def taken_at(text: str, zone: str) -> datetime:
    """Return when a photo was taken, as somebody typed it.

    Raises
    ------
    typer.BadParameter
        When it cannot be read, or cannot be the time of a photo.
    """
    if not text.strip():
        raise typer.BadParameter("say when: 2026-06-01 07:30 or 2026-06-01.", param_hint="--taken")
    when = moment(text, zone, option="--taken")
    now = now_in(zone)
    # A day alone is noon, which may still be to come today.
    if when > now and when.date() != now.date():
        raise typer.BadParameter(f"“{text}” is still to come.", param_hint="--taken")
    if when.year < EARLIEST_YEAR:
        raise typer.BadParameter(
            f"“{text}” is before the first digital photos.", param_hint="--taken"
        )
    return when


def _pattern(found: CorrectedReading, value: str, marks: tuple[Mark, ...]) -> Wish:
    if value not in PATTERNS:
        raise JournalError(f"“{value}” is no pattern: say {', '.join(PATTERNS)}.")
    day = str(found.photo.taken_at.date())
    leaves = [place for place, _, _ in seen_places(found, "leaf")]
    if not marks and not leaves:
        return Wish("pattern", value, session=day)
    (mark,) = _hit(found, "leaf", marks)
    # Only a word on the largest leaf is a label to learn from: it is the leaf that is learned from.
    return Wish("pattern", value, (mark,), session=day if mark == leaves[0].mark else "")


def _hit(found: CorrectedReading, target: Target, marks: Sequence[Mark]) -> tuple[Mark]:
    """Return the mark of what a tap hits.

    Raises
    ------
    JournalError
        When nothing of the kind lies there.
    """
    seen = seen_places(found, target)
    places = [place for place, _, _ in seen]
    if target == "leaf" and not marks:
        if not places:
            raise JournalError("No leaf was measured on this photo.")
        return (places[0].mark,)
    mark = _only(marks)
    if not places and _count(found, target):
        # An earlier release kept only how many there are.
        return (mark._replace(size_px=mark.size_px or _usual(found, target, mark)),)
    hit = aimed_at(mark, places, target, _long_side(found))
    if hit is None:
        raise JournalError(f"No {target} that was counted lies there ({_at(mark)}).")
    place, state, fix = seen[hit]
    if state == "added":
        raise JournalError(f"That {target} was added by hand: take back fix {fix} instead.")
    return (place.mark,)


def seen_places(found: CorrectedReading, target: Target) -> list[tuple[Place, State, int | None]]:
    """Return where things of a kind lie, each with its state and the fix behind it."""
    if target == "leaf":
        leaves = [leaf for leaf in found.leaves if leaf.state != "rejected"]
        return [(leaf_place(leaf.entry), leaf.state, leaf.fix) for leaf in leaves]
    if target == "lesion":
        return [(lesion_place(one), one.state, one.fix) for one in found.lesions]
    things = [one for one in found.things if one.kind == target]
    return [(thing_place(one), one.state, one.fix) for one in things]


def _count(found: CorrectedReading, target: Target) -> int:
    counts = {
        "dropping": found.measured.frass_count,
        "caterpillar": found.measured.caterpillar_count,
    }
    return counts.get(target) or 0


def _missed(found: CorrectedReading, what: Fixed, mark: Mark) -> Mark:
    """Return the mark of something that was not counted, with its size.

    Raises
    ------
    JournalError
        When it was counted, or cannot be on this photo.
    """
    target = ADDED[what]
    if (target == "caterpillar") != (found.measured.mode == "night"):
        raise JournalError(_OTHER_MODE[target])
    size = mark.size_px or _usual(found, target, mark)
    mark = mark._replace(size_px=size)
    seen = seen_places(found, target)
    hit = lying_at(mark, [place for place, _, _ in seen])
    if hit is not None:
        place, state, fix = seen[hit]
        name = f"{place.leaf}.{place.number}" if target == "lesion" else str(place.number)
        held = f"was taken out by fix {fix}: take that back" if state == "rejected" else "counts"
        raise JournalError(f"There lies {target} {name} already, which {held}.")
    return mark


_OTHER_MODE = {
    "lesion": "This is a night photo: lesions are counted on photos taken by day.",
    "dropping": "This is a night photo: droppings are counted on photos taken by day.",
    "caterpillar": (
        "This is no night photo: caterpillars are counted under the torch. Log one that you saw "
        "by day with “spotlamp log”."
    ),
}


def _usual(found: CorrectedReading, target: Target, mark: Mark) -> float:
    """Return the usual size of what was only tapped.

    Raises
    ------
    JournalError
        When a lesion is to lie on no leaf.
    """
    if target == "lesion":
        leaves = [leaf.entry for leaf in found.leaves if leaf.state != "rejected"]
        hit = aimed_at(mark, [leaf_place(leaf) for leaf in leaves], "leaf", 0.0)
        if hit is None:
            raise JournalError("No leaf that was measured lies there: redraw its outline first.")
        measured = [one.lesion for one in found.lesions if one.state == "measured" and one.lesion]
        return usual_size_px(leaves[hit], measured)
    lengths = sorted(one.length_px for one in found.things if one.find and one.kind == target)
    return lengths[len(lengths) // 2] if lengths else _USUAL[target] * _long_side(found)


def _outline(folder: Path, found: CorrectedReading, marks: tuple[Mark, ...]) -> Wish:
    """Measure inside an outline."""
    from scripts.score.redraw import measured_inside  # OpenCV

    points = tuple(mark._replace(size_px=None) for mark in marks if mark.size_px is None)
    if not 3 <= len(points) <= _MOST_POINTS:
        raise JournalError(
            f"An outline has 3 to {_MOST_POINTS} points, and this has {len(points)}."
        )
    if found.measured.mode == "night":
        raise JournalError("This is a night photo: leaves are measured on photos taken by day.")
    named = tuple(mark for mark in marks if mark.size_px is not None)[:1]
    inside = measured_inside(folder, found.measured, points)
    if not named:
        place = leaf_place(inside.leaf)
        leaves = [place for place, _, _ in seen_places(found, "leaf")]
        hit = lying_at(place.mark, leaves)
        named = () if hit is None else (leaves[hit].mark,)
    return Wish("outline", marks=named + points, redrawn=inside)


def _only(marks: Sequence[Mark]) -> Mark:
    if len(marks) != 1:
        raise JournalError(f"One place on the photo is needed, and {len(marks)} were given.")
    return marks[0]


def _refuse_outside(found: CorrectedReading, marks: Sequence[Mark]) -> None:
    rows, cols = found.measured.height_px or _LONGEST, found.measured.width_px or _LONGEST
    for mark in marks:
        if not (0 <= mark.row_px <= rows and 0 <= mark.col_px <= cols):
            raise JournalError(
                f"The place {_at(mark)} lies outside the photo, which has {rows} rows and {cols} "
                "columns of pixels."
            )
        if mark.size_px is not None and not 0 < mark.size_px <= max(rows, cols):
            raise JournalError(f"Nothing on this photo is {mark.size_px:g} pixels across.")


def _long_side(found: CorrectedReading) -> float:
    return max(found.measured.height_px or 0, found.measured.width_px or 0) or _LONGEST


def _at(mark: Mark) -> str:
    return f"{mark.row_px:.0f},{mark.col_px:.0f}"


def _here(words: str) -> Callable[[Fix], str]:
    return lambda fix: " at ".join([words, *map(_at, fix.marks[:1])])


_PATTERN_WORDS = {
    "spot": "leaf looks spot-like",
    "blight": "leaf looks blight-like",
    "blight early": "leaf looks early-blight-like",
    "blight late": "leaf looks late-blight-like",
    "none": "leaf shows no pattern",
    "other": "leaf shows something else",
}
_WORDS: Mapping[Fixed, Callable[[Fix], str]] = {
    "removed": lambda fix: "taken out of the record",
    "unused": lambda fix: "not to be used",
    "pattern": lambda fix: _PATTERN_WORDS[fix.value],
    "not_leaf": _here("no leaf"),
    "outline": lambda fix: f"outline redrawn with {len(fix.outline)} points",
    "not_lesion": _here("no lesion"),
    "lesion": _here("a missed lesion"),
    "not_dropping": _here("no dropping"),
    "dropping": _here("a missed dropping"),
    "not_caterpillar": _here("no caterpillar"),
    "caterpillar": _here("a missed caterpillar"),
    "not_eaten": lambda fix: "not eaten",
}


def fix_words(fix: Fix) -> str:
    """Return what a fix says, in one line without the photo's name."""
    if fix.what in _WORDS:
        return _WORDS[fix.what](fix)
    return holds(fix, fix.value)


def holds(fix: Fix, value: str) -> str:
    """Return a value of a photo's date or plant in words."""
    if fix.what == "taken":
        return f"taken {shown_time(value)}"
    return f"shows {value}" if value else "given to no plant"


def shown_time(moment_text: str) -> str:
    """Return a time of a fix as people write it."""
    return f"{datetime.fromisoformat(moment_text):%Y-%m-%d %H:%M}"
