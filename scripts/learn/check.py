"""How well the program agrees with a person: patterns and severities, in figures and plots.

The whole story is ``check_labels``.
"""

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from math import isnan
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from models.agreement import (
    BlandAltman,
    Calls,
    Concordance,
    bland_altman,
    cohen_kappa,
    compare_calls,
    concordance,
)
from models.csv_tables import Digits, csv_bytes
from models.numerals import counted
from models.pattern import CLASSES
from scripts.common.files import write_whole
from scripts.learn.labelled import LabelsError, read_rows
from scripts.score.results import PhotoResult
from scripts.score.run import score_paths
from scripts.score.store import Settings
from vision.errors import SpotlampError
from vision.photo.find import PHOTO_ENDINGS, printable

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Check", "Compared", "NothingComparedError", "check_labels", "report"]

# Okabe–Ito palette; every colour has a second cue: a marker, a line style or a number.
BLUE, VERMILLION, ORANGE, BLACK = "#0072B2", "#D55E00", "#E69F00", "#000000"
ANSWERS = ("spot", "blight", "none", "unsure", "missing")
TRUTHS = ("spot", "blight", "none", "other")
_MOST_MISSING = 10
_DPI = 110


class NothingComparedError(SpotlampError):
    """No photo could be compared; the message is one sentence for people."""


@dataclass(frozen=True)
class Compared:
    """One labelled photo beside what the program says of it.

    Attributes
    ----------
    photo : str
        As it stands in the labels.
    pattern : str
        The person's pattern; empty where none was given.
    called : str
        The program's pattern, or ``missing``.
    severity_pct, measured_pct : float or None
        The person's severity and the program's, in percent.
    problem : str
        Why there is no measurement; empty when there is one.
    """

    photo: str
    pattern: str
    called: str
    severity_pct: float | None
    measured_pct: float | None
    problem: str = ""


@dataclass(frozen=True, eq=False)
class Check:
    """Agreement over all labelled photos; None where nothing of the kind could be compared.

    Attributes
    ----------
    compared : tuple of Compared
        In the order of the labels.
    calls : Calls or None
        Agreement of the patterns.
    kappa : float or None
        Cohen's kappa of the photos to which both gave spot, blight or none.
    concordance : Concordance or None
        Of measured against scored severity.
    differences : BlandAltman or None
        Measured minus scored, percentage points; None below two photos.
    pictures : tuple of Path
        Plots written.
    """

    compared: tuple[Compared, ...] = field(repr=False)
    calls: Calls | None
    kappa: float | None
    concordance: Concordance | None
    differences: BlandAltman | None
    pictures: tuple[Path, ...] = ()


def check_labels(
    labels: Path,
    out: Path,
    *,
    classifier: Path | None = None,
    jobs: int | None = None,
    on_start: Callable[[int | None], None] = lambda total: None,
    on_done: Callable[[object], None] = lambda result: None,
) -> Check:
    """Score labelled photos and compare the readings with the labels.

    Parameters
    ----------
    labels : Path
        CSV with ``photo`` (relative to the file), and ``pattern``, ``severity_pct`` or both.
    out : Path
        Folder of the comparison, the plots and the readings.
    classifier : Path, optional
        Pattern classifier; the program's own by default.
    jobs : int, optional
        Processes; all cores by default.
    on_start, on_done : callable
        Told how many photos there are, then each as it is done.

    Raises
    ------
    LabelsError
        When the labels cannot be used.
    NothingComparedError
        When not one photo could be compared.
    """
    rows = _labels(labels)
    paths = {row["photo"]: labels.parent / row["photo"] for row in rows}
    there = [path for path in dict.fromkeys(paths.values()) if _is_photo(path)]
    found: dict[Path, PhotoResult] = {}
    if there:
        run = score_paths(
            there,
            out,
            jobs=jobs,
            settings=Settings(classifier=classifier),
            on_start=on_start,
            on_done=on_done,
        )
        pairs = zip(run.finding.photos, run.results, strict=True)
        here = [(file.path, result) for file, result in pairs if isinstance(file.path, Path)]
        found = {path.resolve(): result for path, result in here}
    compared = tuple(_compare(row, found.get(paths[row["photo"]].resolve())) for row in rows)
    check = _agreement(compared)
    pictures = _pictures(check)
    write_whole(
        {out / "compared.csv": _table(compared)}
        | {out / name: data for name, data in pictures.items()}
    )
    names = tuple(out / name for name in pictures)
    return Check(compared, check.calls, check.kappa, check.concordance, check.differences, names)


def _is_photo(path: Path) -> bool:
    try:
        return path.is_file() and path.suffix.lower() in PHOTO_ENDINGS
    except OSError:  # such as a name that is too long
        return False


def _labels(path: Path) -> list[dict[str, str]]:
    rows = read_rows(path, ("photo",))
    if not {"pattern", "severity_pct"} & set(rows[0]):
        raise LabelsError(f"“{path}” has neither a column pattern nor a column severity_pct.")
    unknown = sorted({row.get("pattern", "") for row in rows} - {"", *CLASSES})
    if unknown:
        known = ", ".join(CLASSES)
        raise LabelsError(f"{path.name} holds the pattern {unknown[0]!r}; there are {known}.")
    for row in rows:
        _severity(row, path)
    return rows


def _severity(row: dict[str, str], path: Path) -> float | None:
    try:
        value = _percent(row)
    except ValueError:
        value = -1.0
    if value is not None and not 0 <= value <= 100:
        text = row["severity_pct"]
        raise LabelsError(f"{path.name} holds the severity_pct {text!r}; it must be 0 to 100.")
    return value


def _percent(row: dict[str, str]) -> float | None:
    """Return the person's severity; a spreadsheet may have written it with a decimal comma."""
    text = row.get("severity_pct", "").replace(",", ".")
    return float(text) if text else None


def _compare(row: dict[str, str], result: PhotoResult | None) -> Compared:
    severity = _percent(row)
    pattern = row.get("pattern", "")
    if result is None:
        return Compared(row["photo"], pattern, "missing", severity, None, "is not there.")
    reading = result.reading
    measured = None if reading is None else reading.severity_pct
    problem = result.problem or ("" if measured is not None else "shows nothing to measure.")
    called = result.pattern.pattern if result.pattern else "missing"
    return Compared(row["photo"], pattern, called, severity, measured, problem)


def _agreement(compared: tuple[Compared, ...]) -> Check:
    if all(one.problem for one in compared):
        first = compared[0]
        raise NothingComparedError(
            f"No labelled photo could be compared: “{printable(first.photo)}” {first.problem}"
        )
    labelled = [one for one in compared if one.pattern]
    known = [one for one in labelled if one.pattern != "other"]
    both = [one for one in known if one.called not in ("unsure", "missing")]
    scored, measured = _severities(compared)
    return Check(
        compared,
        compare_calls([o.called for o in labelled], [o.pattern for o in labelled])
        if known
        else None,
        cohen_kappa([o.called for o in both], [o.pattern for o in both]) if both else None,
        concordance(measured, scored) if scored else None,
        bland_altman(measured, scored) if len(scored) > 1 else None,
    )


def _severities(compared: Sequence[Compared]) -> tuple[list[float], list[float]]:
    pairs = [
        (one.severity_pct, one.measured_pct)
        for one in compared
        if one.severity_pct is not None and one.measured_pct is not None
    ]
    return [scored for scored, _ in pairs], [measured for _, measured in pairs]


def _table(compared: Sequence[Compared]) -> bytes:
    names = ("photo", "pattern", "called", "severity_pct", "measured_pct", "problem")
    return csv_bytes([names, *(_row(one) for one in compared)])


def _row(one: Compared) -> tuple[str | None, ...]:
    numbers = (_digits(one.severity_pct), _digits(one.measured_pct))
    return (one.photo, one.pattern, one.called, *numbers, one.problem)


def _digits(value: float | None) -> Digits | None:
    return None if value is None else Digits(f"{value:.3f}")


def report(check: Check) -> str:
    """Return the agreement as text for people."""
    parts = [_counts(check)]
    if check.calls:
        parts.append(_patterns(check, check.calls))
    if check.concordance:
        parts.append(_severity_lines(check, check.concordance))
    return "\n\n".join("\n".join(part) for part in parts)


def _counts(check: Check) -> list[str]:
    failed = [one for one in check.compared if one.problem]
    done = len(check.compared) - len(failed)
    lines = [f"{done} of {len(check.compared)} labelled photos compared."]
    lines += [f"  “{printable(one.photo)}” {one.problem}" for one in failed[:_MOST_MISSING]]
    if len(failed) > _MOST_MISSING:
        lines.append(f"  and {len(failed) - _MOST_MISSING} more, in compared.csv")
    return lines


def _patterns(check: Check, calls: Calls) -> list[str]:
    counts, truths, answers = _confusion(check.compared)
    width = max(len(name) for name in (*answers, "your label"))
    head = "  ".join(answer.rjust(7) for answer in answers)
    lines = ["Patterns: your label (down) and what the program called it (across)"]
    lines.append(f"  {'your label'.ljust(width)}  {head}")
    for truth, row in zip(truths, counts, strict=True):
        lines.append(f"  {truth.ljust(width)}  {'  '.join(str(n).rjust(7) for n in row)}")
    lines += [
        f"  balanced accuracy, all photos     {calls.balanced_accuracy:.3f}"
        "  (unsure counts as wrong)",
        f"  balanced accuracy, photos called  {calls.balanced_accuracy_called:.3f}",
        f"  coverage                          {calls.coverage:.3f}",
    ]
    if check.kappa is not None:
        lines.append(f"  Cohen's kappa, photos called      {check.kappa:.3f}")
    if calls.outside_unsure is not None:
        lines.append(f"  other diseases left unsure        {calls.outside_unsure:.3f}")
    return lines


def _parts(found: Concordance) -> str:
    """Return a concordance's two factors, which are none where all of one side are equal."""
    if isnan(found.correlation):
        return " (all of your scores, or all that was measured, are equal: no correlation)"
    return f" = r {found.correlation:.3f} × Cb {found.accuracy:.3f}"


def _severity_lines(check: Check, found: Concordance) -> list[str]:
    scored, _ = _severities(check.compared)
    lines = [
        f"Severity of {counted(len(scored), 'photo')}: measured against your score",
        f"  Lin's concordance  {found.coefficient:.3f}{_parts(found)}",
    ]
    if check.differences:
        low, high = check.differences.limits
        lines.append(
            f"  Bland–Altman: bias {check.differences.bias:+.2f} percentage points, "
            f"95 % of differences from {low:.2f} to {high:.2f}"
        )
    return lines


def _confusion(compared: Sequence[Compared]) -> tuple[list[list[int]], list[str], list[str]]:
    """Count labels (rows) by answers (columns); those that do not occur are left out."""
    pairs = [(one.pattern, one.called) for one in compared if one.pattern]
    truths = [name for name in TRUTHS if any(truth == name for truth, _ in pairs)]
    common = ("spot", "blight", "none", "unsure")
    answers = [name for name in ANSWERS if name in common or any(a == name for _, a in pairs)]
    return [[pairs.count((t, a)) for a in answers] for t in truths], truths, answers


def _pictures(check: Check) -> dict[str, bytes]:
    """Draw what could be compared, each as a PNG by its file name."""
    pictures = {}
    if any(one.pattern for one in check.compared):
        pictures["patterns.png"] = _drawn(lambda axes: _draw_confusion(axes, check))
    if check.concordance:
        pictures["severity.png"] = _drawn(lambda axes: _draw_scatter(axes, check))
    if check.differences:
        pictures["differences.png"] = _drawn(lambda axes: _draw_differences(axes, check))
    return pictures


def _drawn(draw: Callable[["Axes"], None]) -> bytes:
    from matplotlib.figure import Figure

    figure: Figure = Figure(figsize=(6.4, 5.2), dpi=_DPI, layout="constrained")
    draw(figure.add_subplot())
    png = io.BytesIO()
    figure.savefig(png, format="png")
    return png.getvalue()


def _draw_confusion(axes: "Axes", check: Check) -> None:
    from matplotlib.colors import LinearSegmentedColormap

    counts, truths, answers = _confusion(check.compared)
    table = np.array(counts, float)
    share = table / np.maximum(table.sum(axis=1, keepdims=True), 1)
    shades = LinearSegmentedColormap.from_list("blue", ["white", BLUE])
    axes.imshow(share, cmap=shades, vmin=0, vmax=1)
    for row, column in np.ndindex(table.shape):
        ink = "white" if share[row, column] > 0.5 else "black"
        text = f"{counts[row][column]}\n{share[row, column]:.0%}"
        axes.text(column, row, text, ha="center", va="center", color=ink)
    axes.set_xticks(range(len(answers)), answers)
    axes.set_yticks(range(len(truths)), truths)
    axes.set(xlabel="called by the program", ylabel="your label", title="Photos by pattern")


def _draw_scatter(axes: "Axes", check: Check) -> None:
    scored, measured = _severities(check.compared)
    end = 1.05 * max(*scored, *measured, 1.0)
    axes.plot([0, end], [0, end], color=BLACK, linestyle="--", label="equal")
    axes.plot(scored, measured, "o", color=BLUE, markeredgecolor=BLACK, label="a photo")
    axes.set(xlim=(0, end), ylim=(0, end), aspect="equal")
    axes.set(xlabel="your score, % of the leaf", ylabel="measured, % of the leaf")
    axes.set_title("Severity: measured against your score")
    axes.legend(loc="upper left")


def _draw_differences(axes: "Axes", check: Check) -> None:
    scored, measured = (np.array(values) for values in _severities(check.compared))
    found: Any = check.differences
    axes.plot((scored + measured) / 2, measured - scored, "o", color=BLUE, markeredgecolor=BLACK)
    axes.axhline(0, color=BLACK, linewidth=0.8)
    lines = ((found.bias, VERMILLION, "-", "bias"), *((x, ORANGE, "--", "") for x in found.limits))
    for height, colour, style, name in lines:
        axes.axhline(height, color=colour, linestyle=style, label=name or None)
        text = f"{name or '95 % limit'} {height:+.1f}"
        axes.annotate(
            text, (1, height), xycoords=("axes fraction", "data"), ha="right", va="bottom"
        )
    axes.set(xlabel="mean of both, % of the leaf", ylabel="measured minus your score, points")
    axes.set_title("Differences (Bland–Altman)")
