"""What a grower reads at the end of a run: the worst first, what could not be used and why."""

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime

from models.care.season import Season, season_of
from models.care.words import DIRECTION_SIGNS, INTERVAL_WORDS, day_words, pattern_words
from models.garden.beds import Garden, Plant
from models.pattern import BRING_IT, NO_DIAGNOSIS, in_words
from models.progress import progress_curve
from scripts.score.filing import loose_entry
from scripts.score.night_summary import counted, night_lines
from scripts.score.results import PhotoResult, slim
from scripts.score.run import PROBLEMS, Run
from vision.flags import FLAGS, explain
from vision.photo.address import Place
from vision.photo.find import printable

__all__ = ["Standing", "measured", "standings", "summary", "worst_overlay"]

SEARCH_HERE = "Search these plants for hornworms. One with white cocoons on its back: leave it."
"""What droppings ask for."""

GONE = "× taken out"
_MOST_LINES = 10
_MOST_COPIES = 3


@dataclass(frozen=True)
class Standing:
    """How sick one plant (or one photo, in a folder without plants) is.

    Attributes
    ----------
    name : str
        Name of the plant or photo.
    severity_pct : float
        At the plant's last visit, percent of the leaf area looked at.
    low_pct, high_pct : float
        Of a plant the 95 % interval of its mean, as `flag` and `trend` have it; of a photo that of
        measuring it.
    photos, leaves, lesions : int
        What it rests on.
    pattern : str
        What its leaves look like, in words; empty where none was called.
    late : bool
        Whether a leaf looks like late blight.
    day : date or None
        Of the last visit; None where its photos have no date of their own, or for a photo.
    going : str
        Where the plant is going, by its last visits; empty for a photo.
    """

    name: str
    severity_pct: float
    low_pct: float
    high_pct: float
    photos: int
    leaves: int
    lesions: int
    pattern: str = ""
    late: bool = False
    day: date | None = None
    going: str = ""


def standings(results: Sequence[PhotoResult], season: Season | None = None) -> list[Standing]:
    """Return plants by their last visit, worst first; photos where none lies in a plant's folder.

    Plants that were taken out stand last.

    Parameters
    ----------
    results : sequence of PhotoResult
        Those without a severity, or that the garden's record leaves out, are passed over.
    season : Season, optional
        That of the garden into which the results were filed: what is said of a plant is then said
        by its whole record. Otherwise the results are all that is known.
    """
    seen = [one for one in results if _severity(one) is not None and not one.left_out]
    if not any(result.plant for result in results):
        found = [_photo_standing(result) for result in _first_of_each(seen)]
    else:
        own = _season_of(_first_of_each(seen, _group))
        found = [_plant_standing(name, season, own) for name in own.visits]
    return sorted(found, key=lambda one: (one.going == GONE, -one.severity_pct))


def _group(result: PhotoResult) -> str:
    """Return what a photo is counted under: its plant as filed, else its whole folder."""
    filed = result.filed_plant
    return result.name.rpartition("/")[0] if filed is None else filed


def _plant_names(folders: Iterable[str]) -> dict[str, str]:
    """Name each folder by its last part, or whole where two beds have a plant of one name."""
    short = {folder: folder.rpartition("/")[2] or "(no plant named)" for folder in folders}
    counts = Counter(short.values())
    return {folder: name if counts[name] == 1 else folder for folder, name in short.items()}


def _season_of(results: Sequence[PhotoResult]) -> Season:
    """Return the results as a season of a garden of which nothing else is known."""
    names = _plant_names({_group(result) for result in results})
    entries = [loose_entry(result, names[_group(result)]) for result in results]
    times = [entry.taken_at for entry in entries] or [datetime.now(UTC)]
    garden = Garden("", "UTC", plants=tuple(Plant(name, "") for name in names.values()))
    return season_of(garden, entries, (), max(times), since=min(times))


def _plant_standing(name: str, season: Season | None, own: Season) -> Standing:
    """Return how a plant stands by the garden's record, else by the photos alone."""
    known = season if season and season.visits.get(name) else own
    visit, day = known.visits[name][-1], known.last_day_photos(name)
    dated = any(photo.taken_from != "file" for photo in day.used)
    return Standing(
        printable(name),
        visit.severity_pct,
        visit.low_pct,
        visit.high_pct,
        len(day.used),
        visit.leaf_count,
        sum(leaf.lesion_count for photo in day.used for leaf in photo.leaves),
        pattern_words(visit) if visit.pattern else "",
        visit.late,
        visit.day if dated else None,
        _going(name, known),
    )


def _going(name: str, season: Season) -> str:
    """Return where a plant is going, with its sign."""
    if name not in season.plants:
        return GONE
    curve = progress_curve(season.courses, name, since=season.first_day)
    if curve is None or curve.course.line is None:
        return _count(len(season.visits[name]), "visit")
    direction = curve.course.direction
    return f"{DIRECTION_SIGNS[direction]} {direction}"


def _photo_standing(result: PhotoResult) -> Standing:
    leaves = result.reading.leaves if result.reading else ()
    pattern = result.pattern
    return Standing(
        printable(result.name),
        _known(result.reading.severity_pct if result.reading else None),
        _known(result.reading.severity_low_pct if result.reading else None),
        _known(result.reading.severity_high_pct if result.reading else None),
        1,
        len(leaves),
        sum(len(leaf.lesions) for leaf in leaves),
        in_words(pattern) if pattern else "",
        pattern is not None and pattern.blight_kind == "late",
    )


def _known(value: float | None) -> float:
    return float("nan") if value is None else value


def measured(results: Iterable[PhotoResult]) -> list[PhotoResult]:
    """Return the results that carry a severity, droppings or a count of caterpillars."""
    return [result for result in results if result.measured]


def _severity(result: PhotoResult) -> float | None:
    return None if result.reading is None else result.reading.severity_pct


def _dropping_count(result: PhotoResult) -> int:
    if result.reading is None or result.left_out:
        return 0
    return result.reading.frass_count or 0


def worst_overlay(run: Run) -> Place | None:
    """Return the overlay of the photo with the highest severity, None without overlays."""
    drawn = list(zip(run.results, run.overlays, strict=True)) if run.overlays else []
    found = [(_severity(result), overlay) for result, overlay in drawn]
    known = [(severity, overlay) for severity, overlay in found if severity is not None]
    return max(known, key=lambda pair: (pair[0], str(pair[1])))[1] if known else None


def summary(run: Run, torch_nm: float | None = None, season: Season | None = None) -> str:
    """Return the closing words of a run, ready to be printed.

    Parameters
    ----------
    run : Run
        What was done.
    torch_nm : float, optional
        The wavelength of the UV torch, where it is known.
    season : Season, optional
        That of the garden, as in `standings`.
    """
    # Gone through many times; of a long run the results lie in a file.
    run = replace(run, results=[slim(result) for result in run.results])
    found = standings(run.results, season)
    parts = (
        _counts(run),
        _worst(run, found),
        _urgent(found),
        night_lines(run.results, torch_nm),
        _droppings(run),
        _unused(run),
        _with_care(run),
        _files(run),
    )
    return "\n\n".join("\n".join(part) for part in parts if part)


def _counts(run: Run) -> list[str]:
    used = len(measured(run.results))
    line = f"{used} of {_photos(len(run.results))} measured."
    kept = sum(result.kept for result in run.results)
    named, paired = len(run.results) - used, run.torch_off_count
    lines = [
        line,
        f"Photos found: {run.photo_count} = {used} measured + {named} named"
        f"{f' in {PROBLEMS}' if named else ''} + {paired} passed over.",
    ]
    if kept:
        lines.append(f"{_photos(kept)} unchanged since an earlier run: not measured again.")
    if passed_over := _passed_over(run):
        lines.append(passed_over)
    return [*lines, *_copies(run), *_undated(run)]


def _first_of_each(
    results: Iterable[PhotoResult], group: Callable[[PhotoResult], str] = lambda result: ""
) -> list[PhotoResult]:
    """Return the results without those of a content that another of the group had before."""
    first: dict[tuple[str, str], PhotoResult] = {}
    for result in results:
        first.setdefault((group(result), result.sha256 or result.name), result)
    return list(first.values())


def _copies(run: Run) -> list[str]:
    """Name the photos that are there under several names: a plant has each leaf but once."""
    names: dict[str, list[str]] = {}
    for result in measured(run.results):
        names.setdefault(result.sha256, []).append(result.name)
    copies = [(other, first) for first, *others in names.values() for other in others]
    if not copies:
        return []
    shown = [f"“{printable(other)}” is “{printable(first)}”" for other, first in copies]
    more = f", and {len(shown) - _MOST_COPIES} more" if len(shown) > _MOST_COPIES else ""
    are = "is a copy" if len(copies) == 1 else "are copies"
    return [
        f"{_photos(len(copies))} {are} of another under a name of its own, and counted once for a "
        f"plant: {', '.join(shown[:_MOST_COPIES])}{more}."
    ]


def _undated(run: Run) -> list[str]:
    """Say how many photos have no date of their own, and what becomes of them."""
    undated = sum(result.taken_from == "file" for result in run.results)
    if not undated:
        return []
    has = "has" if undated == 1 else "have"
    return [
        f"{_photos(undated)} {has} no date of {'its' if undated == 1 else 'their'} own. A file's "
        "date may be that of a copy, so it",
        "  never leads to a spray: give the day in the name, or in a garden with “spotlamp fix "
        "PHOTO --taken DAY”.",
    ]


def _passed_over(run: Run) -> str:
    counts = (
        (run.finding.hidden_count, "hidden entry", "hidden entries"),
        (run.finding.other_count, "file of another kind", "files of other kinds"),
        (run.torch_off_count, "torch-off photo", "torch-off photos"),
        (run.finding.output_count, "folder of results", "folders of results"),
        (
            len(run.finding.unlisted),
            "folder not looked into",
            "folders not looked into",
        ),
    )
    parts = [_count(*count) for count in counts if count[0]]
    return f"Passed over: {', '.join(parts)}." if parts else ""


def _worst(run: Run, found: Sequence[Standing]) -> list[str]:
    if not found:
        return []
    plants = any(result.plant for result in run.results)
    shown = found[:_MOST_LINES]
    width = max(len(standing.name) for standing in shown)
    what = "plants first, by the last visit" if plants else "photos first"
    lines = [f"Worst {what}: spotted or yellowed part of the leaf area looked at"]
    lines += [_standing_line(standing, width) for standing in shown]
    if len(found) > len(shown):
        lines.append(f"  and {len(found) - len(shown)} more in photos.csv")
    called = any(standing.pattern for standing in found)
    note = NO_DIAGNOSIS if called else "It is not a diagnosis."
    of_photo = "In brackets: the 95 % interval of the measurement."
    lines.append(f"{INTERVAL_WORDS if plants else of_photo} {note}")
    return lines


def _urgent(found: Sequence[Standing]) -> list[str]:
    """Name every plant that looks like late blight, and what to do at once."""
    late = [one.name for one in found if one.late and one.going != GONE]
    return [f"Late-blight-like: {', '.join(late)}.", f"  {BRING_IT}."] if late else []


def _droppings(run: Run) -> list[str]:
    """Name the plants under or on which droppings lie, those with the most first."""
    plants = _plant_names({_group(result) for result in run.results if result.plant})
    counts: dict[str, list[int]] = {}
    for result in run.results:
        if droppings := _dropping_count(result):
            name = plants[_group(result)] if result.plant else result.name
            counts.setdefault(printable(name), []).append(droppings)
    if not counts:
        return []
    most = sorted(counts.items(), key=lambda item: -max(item[1]))[:_MOST_LINES]
    named = ", ".join(f"{name} ({max(found)})" for name, found in most)
    return [f"Caterpillar droppings, most in one photo: {named}.", f"  {SEARCH_HERE}"]


def _standing_line(standing: Standing, width: int) -> str:
    name = standing.name.ljust(width)
    interval = f"({standing.low_pct:.1f} to {standing.high_pct:.1f})"
    rests_on = f"{_count(standing.leaves, 'leaf', 'leaves')}, {_count(standing.lesions, 'lesion')}"
    photos = f"{_photos(standing.photos)}, " if standing.photos > 1 else ""
    pattern = f"; {standing.pattern}" if standing.pattern else ""
    when = ""
    if standing.going:
        day = day_words(standing.day) if standing.day else "no date"
        when = f"{day:>10}  "
    going = f"{standing.going:13}  " if standing.going else ""
    share = f"{standing.severity_pct:5.1f} % {interval:15}"
    return f"  {name}  {when}{share}  {going}{photos}{rests_on}{pattern}"


def _unused(run: Run) -> list[str]:
    """Say how many photos could not be used, and why, the commonest reason first."""
    unused = [result for result in run.results if not result.measured]
    if not unused:
        return []
    reasons = Counter(_reason(result) for result in unused)
    lines = [f"{_photos(len(unused))} could not be used:"]
    lines += [f"  {count} × {reason}" for reason, count in reasons.most_common(_MOST_LINES)]
    if len(reasons) > _MOST_LINES:
        lines.append(f"  and {len(reasons) - _MOST_LINES} more reasons in {PROBLEMS}")
    return lines


def _reason(result: PhotoResult) -> str:
    if result.problem:
        return f"a file that {result.problem}"
    stopping = [name for name in result.flags if not FLAGS[name].measurable]
    return explain(stopping[0]) if stopping else "Nothing could be measured."


def _with_care(run: Run) -> list[str]:
    counts = Counter(name for result in measured(run.results) for name in result.flags)
    if not counts:
        return []
    lines = ["Measured, but to be read with care:"]
    return lines + [f"  {count} × {explain(name)}" for name, count in counts.most_common()]


def _files(run: Run) -> list[str]:
    droppings = ", frass.csv" if any(_dropping_count(result) for result in run.results) else ""
    night = ", caterpillars.csv" if counted(run.results) else ""
    names = f"photos.csv, leaves.csv, lesions.csv{droppings}{night}"
    lines = [f"Tables in {run.out}: {names} (their columns: spotlamp columns)"]
    if worst := worst_overlay(run):
        lines.append(f"Look first at {worst}")
    if run.finding.problems or any(result.why_not for result in run.results):
        lines.append(f"What could not be measured, one sentence each: {run.out / PROBLEMS}")
    return lines


def _photos(number: int) -> str:
    return _count(number, "photo")


def _count(number: int, one: str, many: str = "") -> str:
    return f"{number} {one if number == 1 else many or one + 's'}"
