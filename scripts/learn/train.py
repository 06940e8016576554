"""Train the pattern classifier on labelled photos, and say how it does on sessions not seen.

The whole story is ``train_classifier``. Nothing in it is left to chance, so the same table gives
the same classifier.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from models.pattern import MEASURES, Classifier
from models.pattern.figures import UnseenFigures, unseen_figures
from models.pattern.training import (
    LabelledLeaves,
    labelled_csv,
    leave_sessions_out,
    read_labelled,
    session_table,
    train,
)
from scripts.common.files import write_whole
from scripts.common.workers import use_one_thread
from scripts.learn.labelled import (
    LabelledPhoto,
    LabelsError,
    Unusable,
    join_leaves,
    measure_labelled,
    read_folder,
    read_labels,
    read_rows,
)
from vision.day.measure import MEASURING_VERSION
from vision.photo.find import printable

__all__ = ["Training", "report", "train_classifier"]

_NO_SESSION = "(no session)"
_MOST_UNUSABLE = 10
_NAMES = {
    "spot_against_blight": "balanced accuracy, spot against blight, all leaves",
    "spot_against_blight_called": "balanced accuracy, spot against blight, leaves called",
    "three_patterns": "balanced accuracy, spot, blight and none, all leaves",
    "three_patterns_called": "balanced accuracy, spot, blight and none, leaves called",
    "coverage": "share of leaves called (coverage)",
    "other_unsure": "share of other diseases left unsure",
    "healthy_called_sick": "share of healthy leaves called spot or blight",
    "calibration_error": "expected calibration error",
}


@dataclass(frozen=True, eq=False)
class Training:
    """What a training gave.

    Attributes
    ----------
    classifier : Classifier
        With its summary.
    table : list of dict
        One row a session and pattern, as in ``models.pattern.training.session_table``.
    figures : UnseenFigures or None
        None where no session could be left out.
    unusable : list of Unusable
        Photos that could not be measured.
    """

    classifier: Classifier
    table: list[dict[str, Any]] = field(repr=False)
    figures: UnseenFigures | None
    unusable: list[Unusable] = field(repr=False)


def train_classifier(
    source: Path,
    out: Path,
    *,
    features: Path | None = None,
    corrections: Path | None = None,
    jobs: int | None = None,
    on_start: Callable[[int], None] = lambda total: None,
    on_done: Callable[[object], None] = lambda result: None,
) -> Training:
    """Train on a folder of labelled photos or a table of measurements, and write the classifier.

    Parameters
    ----------
    source : Path
        The folder or the table.
    out : Path
        File of the classifier.
    features : Path, optional
        Where the measurements are kept as a table, corrections included.
    corrections : Path, optional
        Further leaves: a table of measurements, or of photos with their labels.
    jobs : int, optional
        Processes that measure photos; all cores by default.
    on_start, on_done : callable
        Told how many photos are to be measured, then each as it is done.

    Raises
    ------
    LabelsError
        When the labels cannot be used.
    CannotWriteError
        When a file cannot be written.
    """
    use_one_thread()

    def measured(photos: Sequence[LabelledPhoto]) -> tuple[LabelledLeaves, list[Unusable]]:
        on_start(len(photos))
        return measure_labelled(photos, jobs, on_done)

    leaves, unusable = measured(read_folder(source)) if source.is_dir() else (_table(source), [])
    summary: dict[str, Any] = {"source": source.name, "corrections": None}
    if corrections is not None:
        more, failed = _corrections(corrections, measured)
        leaves, unusable = join_leaves([leaves, more]), unusable + failed
        summary["corrections"] = {"source": corrections.name, "leaves": len(more.photo)}
    leaves = replace(leaves, session=np.where(leaves.session == "", _NO_SESSION, leaves.session))
    training = _train(leaves, unusable, summary)
    files = {out: training.classifier.to_json().encode()}
    if features is not None:
        files[features] = labelled_csv(leaves)
    write_whole(files)
    return training


def _table(path: Path) -> LabelledLeaves:
    try:
        return read_labelled(path)
    except (OSError, UnicodeDecodeError) as error:
        raise LabelsError(f"“{path}” cannot be read as a table of measurements.") from error
    except ValueError as error:
        raise LabelsError(str(error)) from error


def _corrections(
    path: Path,
    measured: Callable[[Sequence[LabelledPhoto]], tuple[LabelledLeaves, list[Unusable]]],
) -> tuple[LabelledLeaves, list[Unusable]]:
    """Read corrections that carry their measurements, or measure their photos."""
    rows = read_rows(path, ("photo", "pattern", "session"))
    if all(measure.name in rows[0] for measure in MEASURES):
        return _table(path), []
    return measured(read_labels(path))


def _train(leaves: LabelledLeaves, unusable: list[Unusable], summary: dict[str, Any]) -> Training:
    _refuse_too_few(leaves, unusable)
    results = leave_sessions_out(leaves)
    classifier = train(leaves, results)
    at = (classifier.temperature, classifier.least_probability)
    table = [_rounded(row) for row in session_table(results, *at)]
    figures = unseen_figures(results, *at) if results else None
    photographed = leaves.session[~leaves.rendered]
    summary |= {
        "leaves": len(leaves.photo),
        "photographed": len(photographed),
        "sessions": len(np.unique(photographed)),
        "patterns": dict(Counter(str(name) for name in leaves.pattern)),
        "unusable_photos": len(unusable),
        "measuring_version": MEASURING_VERSION,
        "sessions_left_out": table,
        "unseen": _rounded(asdict(figures)) if figures else None,
    }
    return Training(replace(classifier, summary=summary), table, figures, unusable)


def _refuse_too_few(leaves: LabelledLeaves, unusable: list[Unusable]) -> None:
    if not len(leaves.photo):
        why = f": “{printable(unusable[0].name)}” {unusable[0].why}" if unusable else "."
        raise LabelsError(f"No labelled leaf could be measured{why}")
    known = sorted(set(leaves.pattern.tolist()) - {"other"})
    if len(known) < 2:
        found = known[0] if known else "other"
        raise LabelsError(
            f"At least two of the patterns spot, blight and none are needed; only {found} is there."
        )


def _rounded(values: dict[str, Any]) -> dict[str, Any]:
    return {k: round(v, 4) if isinstance(v, float) else v for k, v in values.items()}


def report(training: Training) -> str:
    """Return what a training gave, ready to be printed."""
    summary = training.classifier.summary
    lines = [
        f"Trained on {summary['leaves']} leaves, {summary['photographed']} of them photographed "
        f"in {summary['sessions']} sessions."
    ]
    if summary["corrections"]:
        lines.append(f"{summary['corrections']['leaves']} of them are corrections.")
    lines += ["", *_unseen(training), *_left_over(training)]
    return "\n".join(lines)


def _unseen(training: Training) -> list[str]:
    if training.figures is None:
        return [
            "Nothing can be said about sessions it has not seen: without any one session, fewer "
            "than two patterns are left.",
            "Its probabilities are not calibrated. Label photos of another day, place or phone.",
        ]
    head = ("session", "pattern", "leaves", "recall", "of called", "unsure")
    rows = [head, *(_row(row) for row in training.table)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(head))]
    lines = ["Each session tried by a classifier that was trained without it:"]
    for row in rows:
        words = (word.ljust(width) for word, width in zip(row[:2], widths[:2], strict=True))
        numbers = (word.rjust(width) for word, width in zip(row[2:], widths[2:], strict=True))
        lines.append("  " + "  ".join((*words, *numbers)))
    figures = asdict(training.figures).items()
    return [*lines, "", *(f"  {_share(value)}  {_NAMES[name]}" for name, value in figures)]


def _row(row: dict[str, Any]) -> tuple[str, ...]:
    shares = (_share(row[name]) for name in ("recall", "recall_called", "unsure"))
    return (printable(str(row["session"])), str(row["pattern"]), str(row["leaves"]), *shares)


def _share(value: float | None) -> str:
    return "    -" if value is None else f"{value:.3f}"


def _left_over(training: Training) -> list[str]:
    if not training.unusable:
        return []
    shown = training.unusable[:_MOST_UNUSABLE]
    lines = ["", f"{len(training.unusable)} labelled photos could not be used:"]
    lines += [f"  “{printable(one.name)}” {one.why}" for one in shown]
    if len(training.unusable) > len(shown):
        lines.append(f"  and {len(training.unusable) - len(shown)} more")
    return lines
