"""What a grower reads at the end of a run: the worst first, what could not be used and why."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from models.pattern import BRING_IT, NO_DIAGNOSIS, PatternCall, combine, in_words
from scripts.batch import PROBLEMS, Run
from scripts.night_summary import counted, night_lines
from scripts.results import PhotoResult
from vision.find import printable
from vision.flags import FLAGS, explain

__all__ = ["Standing", "measured", "standings", "summary", "worst_overlay"]

SEARCH_HERE = "Search these plants for hornworms. One with white cocoons on its back: leave it."
"""What droppings ask for."""

_MOST_LINES = 10


@dataclass(frozen=True)
class Standing:
    """How sick one plant (or one photo, in a folder without plants) was found to be.

    Attributes
    ----------
    name : str
        Name of the plant or photo.
    severity_pct : float
        Mean over the photos, percent of the leaf area looked at.
    low_pct, high_pct : float
        Means of the photos' interval ends: as wide as if all photos erred the same way, for
        what errs is mostly the light and the variety, which the photos of a plant share.
    photos, leaves, lesions : int
        What it rests on.
    pattern : PatternCall or None
        What all its leaves together look like; None where none was called.
    """

    name: str
    severity_pct: float
    low_pct: float
    high_pct: float
    photos: int
    leaves: int
    lesions: int
    pattern: PatternCall | None = None


def standings(results: Sequence[PhotoResult], least_probability: float = 0.5) -> list[Standing]:
    """Return plants, worst first; photos where no photo lies in a plant's folder.

    Parameters
    ----------
    results : sequence of PhotoResult
        Those without a severity are passed over.
    least_probability : float
        Below it a plant's pattern is ``unsure``.
    """
    by_plant = any(result.plant for result in results)
    groups: dict[str, list[PhotoResult]] = {}
    for result in results:
        if _severity(result) is None:
            continue
        key = _group(result) if by_plant else result.name
        groups.setdefault(key, []).append(result)
    names = _plant_names(groups) if by_plant else {key: key for key in groups}
    found = [
        _standing(printable(names[key]), members, least_probability)
        for key, members in groups.items()
    ]
    return sorted(found, key=lambda standing: -standing.severity_pct)


def _group(result: PhotoResult) -> str:
    """Return what a photo is counted under: its plant as filed, else its whole folder."""
    filed = result.filed_plant
    return result.name.rpartition("/")[0] if filed is None else filed


def _plant_names(folders: Iterable[str]) -> dict[str, str]:
    """Name each folder by its last part, or whole where two beds have a plant of one name."""
    short = {folder: folder.rpartition("/")[2] or "(no plant named)" for folder in folders}
    counts = Counter(short.values())
    return {folder: name if counts[name] == 1 else folder for folder, name in short.items()}


def _standing(name: str, members: Sequence[PhotoResult], least_probability: float) -> Standing:
    readings = [result.reading for result in members if result.reading is not None]
    leaves = [leaf for reading in readings for leaf in reading.leaves]
    return Standing(
        name,
        _mean(reading.severity_pct for reading in readings),
        _mean(reading.severity_low_pct for reading in readings),
        _mean(reading.severity_high_pct for reading in readings),
        len(members),
        len(leaves),
        sum(len(leaf.lesions) for leaf in leaves),
        combine([call for result in members for call in result.leaf_patterns], least_probability),
    )


def _mean(values: Iterable[float | None]) -> float:
    known = [value for value in values if value is not None]
    return sum(known) / len(known) if known else float("nan")


def measured(results: Iterable[PhotoResult]) -> list[PhotoResult]:
    """Return the results that carry a severity, droppings or a count of caterpillars."""
    return [result for result in results if result.measured]


def _severity(result: PhotoResult) -> float | None:
    return None if result.reading is None else result.reading.severity_pct


def _frass(result: PhotoResult) -> int:
    return 0 if result.reading is None else result.reading.frass_count or 0


def worst_overlay(run: Run) -> Path | None:
    """Return the overlay of the photo with the highest severity, None without overlays."""
    drawn = list(zip(run.results, run.overlays, strict=True)) if run.overlays else []
    found = [(_severity(result), overlay) for result, overlay in drawn]
    known = [(severity, overlay) for severity, overlay in found if severity is not None]
    return max(known)[1] if known else None


def summary(run: Run, torch_nm: float | None = None) -> str:
    """Return the closing words of a run, ready to be printed.

    ``torch_nm`` is the wavelength of the UV torch, where it is known.
    """
    found = standings(run.results, run.least_probability)
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
        f"Photos found: {len(run.finding.photos)} = {used} measured + {named} named in {PROBLEMS}"
        f" + {paired} passed over.",
    ]
    if kept:
        lines.append(f"{_photos(kept)} unchanged since an earlier run: not measured again.")
    if passed_over := _passed_over(run):
        lines.append(passed_over)
    return [*lines, *_undated(run)]


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
            "folder that cannot be opened",
            "folders that cannot be opened",
        ),
    )
    parts = [_count(*count) for count in counts if count[0]]
    return f"Passed over: {', '.join(parts)}." if parts else ""


def _worst(run: Run, found: Sequence[Standing]) -> list[str]:
    if not found:
        return []
    what = "plants" if any(result.plant for result in run.results) else "photos"
    shown = found[:_MOST_LINES]
    width = max(len(standing.name) for standing in shown)
    lines = [f"Worst {what} first: spotted or yellowed part of the leaf area looked at"]
    lines += [_standing_line(standing, width) for standing in shown]
    if len(found) > len(shown):
        lines.append(f"  and {len(found) - len(shown)} more in photos.csv")
    called = any(standing.pattern for standing in found)
    note = NO_DIAGNOSIS if called else "It is not a diagnosis."
    lines.append(f"In brackets: the 95 % interval of the measurement. {note}")
    return lines


def _urgent(found: Sequence[Standing]) -> list[str]:
    """Name every plant that looks like late blight, and what to do at once."""
    late = [one.name for one in found if one.pattern and one.pattern.blight_kind == "late"]
    return [f"Late-blight-like: {', '.join(late)}.", f"  {BRING_IT}."] if late else []


def _droppings(run: Run) -> list[str]:
    """Name the plants under or on which droppings lie, those with the most first."""
    plants = _plant_names({_group(result) for result in run.results if result.plant})
    counts: dict[str, list[int]] = {}
    for result in run.results:
        if frass := _frass(result):
            name = plants[_group(result)] if result.plant else result.name
            counts.setdefault(printable(name), []).append(frass)
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
    pattern = f"; {in_words(standing.pattern)}" if standing.pattern else ""
    return f"  {name}  {standing.severity_pct:5.1f} % {interval:15}  {photos}{rests_on}{pattern}"


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
    droppings = ", frass.csv" if any(_frass(result) for result in run.results) else ""
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
