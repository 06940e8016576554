"""The command line. Only light modules are imported here: ``--help`` must answer at once."""

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from scripts.common.terminal import (
    LINE,
    ClassifierFile,
    GardenFolder,
    Jobs,
    Masks,
    Out,
    Overlays,
    PlantName,
    app,
    fail,
    one_sentence_errors,
    refuse_filled,
    refuse_photos_as_out,
    require_opencv,
    sample_garden,
    sample_season,
    say,
)
from scripts.score.columns import EXTRA_TABLES, TABLES, TEXT_ESCAPE, Table
from scripts.trend.tables import TREND_TABLES
from vision.photo.find import OUTPUT_MARKER

if TYPE_CHECKING:
    from collections.abc import Callable

    from models.care.season import Season
    from scripts.score.results import PhotoResult
    from scripts.score.run import Run
    from scripts.score.store import Settings

__all__ = ["app"]

_SHOWN = TABLES | EXTRA_TABLES | TREND_TABLES


@app.command()
def score(
    paths: Annotated[
        list[Path],
        typer.Argument(metavar="PATH...", help="Photos, or folders of photos."),
    ],
    out: Out,
    masks: Masks = False,
    overlays: Overlays = False,
    classifier: ClassifierFile = None,
    jobs: Jobs = None,
    garden: GardenFolder = None,
    plant: PlantName = "",
) -> None:
    """Measure the sick part of the leaves on photos taken by day.

    Reads JPEG, PNG, WebP, TIFF and HEIC photos; folders with all their sub-folders. A sub-folder
    is taken for a plant of that name. The photos are never changed. Says of each leaf whether its
    lesions look like spot or like blight; that is a pattern, not a diagnosis.

    Writes photos.csv, leaves.csv, lesions.csv, frass.csv and caterpillars.csv into DIR (see
    "spotlamp columns"), problems.txt when photos could not be measured, and the pictures
    asked for.
    In a garden (see "spotlamp new") it also files each photo to its plant in the journal.

    Costs less than a second for a photo of 12 megapixels on one core, and 0.1 s more for the
    pictures. Photos that have not changed since the last run into DIR are not measured again.

    Ends with 0 when done, 1 when nothing could be measured, 2 for wrong usage.
    """
    refuse_photos_as_out(paths, out)
    with one_sentence_errors():
        run, filed, season = _score_and_file(
            paths,
            out,
            garden,
            plant,
            masks=masks,
            overlays=overlays,
            jobs=jobs,
            classifier=classifier,
        )
        _close(run, filed, season)


@app.command()
def demo(
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            metavar="DIR",
            help="Folder of the results; spotlamp-demo, or spotlamp-season, by default.",
        ),
    ] = None,
    season: Annotated[
        bool,
        typer.Option(
            "--season", help="Build a whole season instead: a garden with its journal, in DIR."
        ),
    ] = False,
    jobs: Jobs = None,
) -> None:
    """Score the sample garden, its night round and its droppings, to see what you would get.

    Reads the sample photos (invented and painted, no real garden). Writes tables, masks and
    overlays into DIR, then names the files to open first. Costs a few seconds.

    With --season, DIR becomes a garden of twelve plants: photos of ten mornings are scored into
    its journal, sprays and rain are logged, and every other command can be tried on it. Costs
    about ten seconds.
    """
    with one_sentence_errors():
        if season:
            _demo_season(out or Path("spotlamp-season"), jobs)
        else:
            _demo_garden(out or Path("spotlamp-demo"), jobs)


def _demo_garden(out: Path, jobs: int | None) -> None:
    garden = sample_garden()
    if garden is None:
        fail("The sample garden is missing from this installation: install spotlamp again.")
    if not (out / OUTPUT_MARKER).exists():
        refuse_filled(out, "spotlamp-demo")
    further = [garden.parent / name / "garden" for name in ("night", "droppings")]
    rounds = [garden, *(folder for folder in further if folder.is_dir())]
    run = _score(rounds, out, masks=True, overlays=True, jobs=jobs)
    _close(run)
    say(f"Then open {out / 'photos.csv'} in a spreadsheet, and look through {out / 'overlays'}.")


def _demo_season(folder: Path, jobs: int | None) -> None:
    source = sample_season()
    if source is None:
        fail("The sample season is missing from this installation: install spotlamp again.")
    from scripts.garden.season_demo import is_the_season, log_season, plant_season, season_told

    if not is_the_season(source, folder):
        refuse_filled(folder, "spotlamp-season")
    photos = plant_season(source, folder)
    results = folder / "results"
    _, filed, _ = _score_and_file([photos], results, folder, "", jobs=jobs, classifier=None)
    log_season(source, folder)
    say(f"{filed}\n\n{season_told(folder)}")


@app.command()
def train(
    source: Annotated[
        Path,
        typer.Argument(
            metavar="LABELLED", exists=True, help="Folder of labelled photos, or a features.csv."
        ),
    ],
    out: Annotated[
        Path, typer.Option("--out", metavar="FILE", help="File of the new classifier.")
    ] = Path("classifier.json"),
    features: Annotated[
        Path | None,
        typer.Option("--features", metavar="FILE", help="Also keep the measurements as a table."),
    ] = None,
    corrections: Annotated[
        Path | None,
        typer.Option(
            "--corrections",
            metavar="FILE",
            exists=True,
            dir_okay=False,
            help="CSV of further leaves: photo, pattern, session, with or without measurements.",
        ),
    ] = None,
    jobs: Jobs = None,
) -> None:
    """Train a pattern classifier on photos that you labelled.

    Reads a folder that holds labels.csv (photo, pattern, session; blight_kind if you like), or
    sub-folders named spot, blight, none or other with a folder for each session inside; or a table
    of measurements that an earlier run kept. Of each photo the largest leaf is taken. A session is
    one round of photos: one day, place and phone.

    Writes the classifier, which "spotlamp score --classifier FILE" then uses, and prints how well
    sessions that were left out in turn were called. Costs about as much as scoring the photos.

    Ends with 0 when done, 1 when the labels cannot be used, 2 for wrong usage.
    """
    with one_sentence_errors():
        require_opencv()
        from scripts.common.progress import PhotoProgress
        from scripts.learn.train import report, train_classifier

        with PhotoProgress() as progress:
            training = train_classifier(
                source,
                out,
                features=features,
                corrections=corrections,
                jobs=jobs,
                on_start=progress.start,
                on_done=progress.done,
            )
        say(report(training))
        say(f"\nWritten to {out}; use it with: spotlamp score PATH --out DIR --classifier {out}")


@app.command()
def check(
    labelled: Annotated[
        Path,
        typer.Argument(
            metavar="LABELLED.csv", exists=True, dir_okay=False, help="CSV of your own labels."
        ),
    ],
    out: Annotated[
        Path, typer.Option("--out", metavar="DIR", help="Folder of the comparison and the plots.")
    ] = Path("spotlamp-check"),
    classifier: ClassifierFile = None,
    jobs: Jobs = None,
) -> None:
    """Compare the program with your own labels and scores.

    Reads a CSV with the column photo (relative to the CSV), and pattern (spot, blight, none or
    other), severity_pct (0 to 100) or both; an empty cell is left out.

    Writes compared.csv and plots into DIR beside the tables of "spotlamp score", and prints how
    well patterns and severities agree. Costs as much as scoring the photos, and 2 s for the plots.

    Ends with 0 when done, 1 when nothing could be compared, 2 for wrong usage.
    """
    refuse_photos_as_out([labelled], out)
    with one_sentence_errors():
        require_opencv()
        from scripts.common.progress import PhotoProgress
        from scripts.learn.check import check_labels, report

        with PhotoProgress() as progress:
            checked = check_labels(
                labelled,
                out,
                classifier=classifier,
                jobs=jobs,
                on_start=progress.start,
                on_done=progress.done,
            )
        say(report(checked))
        shown = ", ".join(path.name for path in checked.pictures)
        say(f"\nIn {out}: compared.csv, {shown}")


@app.command()
def columns(
    table: Annotated[
        str | None, typer.Argument(metavar="TABLE", help=f"One of {', '.join(_SHOWN)}.")
    ] = None,
) -> None:
    """Explain the columns of the tables, with their units.

    Reads nothing and writes nothing but the screen; answers at once.
    """
    if table is not None and table not in _SHOWN:
        raise typer.BadParameter(f"there is no table {table!r}; there are {', '.join(_SHOWN)}.")
    for shown in [_SHOWN[table]] if table else _SHOWN.values():
        say(_definitions(shown))
    say("An empty cell means: not measured. It never means 0.")
    say(textwrap.fill(TEXT_ESCAPE, LINE))


def _definitions(table: Table[Any]) -> str:
    margin = max(len(column.name) for column in table.columns) + 4
    lines = [
        textwrap.fill(
            column.meaning,
            LINE,
            initial_indent=f"  {column.name}".ljust(margin),
            subsequent_indent=" " * margin,
        )
        for column in table.columns
    ]
    return "\n".join([f"{table.name}.csv, one row for {table.one_row}", *lines, ""])


def _score(
    paths: list[Path],
    out: Path,
    *,
    masks: bool = False,
    overlays: bool = False,
    jobs: int | None = None,
    classifier: Path | None = None,
    on_result: "Callable[[PhotoResult], PhotoResult] | None" = None,
) -> "Run":
    require_opencv()
    from scripts.common.progress import PhotoProgress
    from scripts.score.run import score_paths

    with PhotoProgress() as progress:
        return score_paths(
            paths,
            out,
            masks=masks,
            overlays=overlays,
            jobs=jobs,
            settings=_settings(classifier),
            on_start=progress.start,
            on_done=progress.done,
            on_result=on_result or (lambda result: result),
        )


def _score_and_file(
    paths: list[Path],
    out: Path,
    garden: Path | None,
    plant: str,
    **options: Any,  # noqa: ANN401  handed on as they are
) -> tuple["Run", str, "Season | None"]:
    """Score, and file into the garden's journal; return also what to say, and its season."""
    require_opencv()
    from scripts.score.filing import filing

    with filing(paths, _settings(options["classifier"]), garden, plant) as filer:
        run = _score(paths, out, **options, on_result=filer.file if filer else None)
        return (run, filer.report(), filer.season()) if filer else (run, "", None)


def _settings(classifier: Path | None) -> "Settings":
    from scripts.score.store import Settings

    return Settings(classifier=classifier)


def _close(run: "Run", filed: str = "", season: "Season | None" = None) -> None:
    """Print the summary; end with 1 if no photo at all could be measured."""
    from scripts.score.summary import measured, summary

    say(summary(run, season=season))
    if filed:
        say(f"\n{filed}")
    if not measured(run.results):
        fail("No photo could be measured.")


# Commands with modules of their own join the app when they are imported.
from scripts.commands import assign as _assign_command  # noqa: E402, F401
from scripts.commands import burn as _burn_command  # noqa: E402, F401
from scripts.commands import export as _export_command  # noqa: E402, F401
from scripts.commands import fix as _fix_command  # noqa: E402, F401
from scripts.commands import flag as _flag_command  # noqa: E402, F401
from scripts.commands import howmany as _howmany_command  # noqa: E402, F401
from scripts.commands import log as _log_command  # noqa: E402, F401
from scripts.commands import mix as _mix_command  # noqa: E402, F401
from scripts.commands import new as _new_command  # noqa: E402, F401
from scripts.commands import night as _night_command  # noqa: E402, F401
from scripts.commands import plan as _plan_command  # noqa: E402, F401
from scripts.commands import relabel as _relabel_command  # noqa: E402, F401
from scripts.commands import restore as _restore_command  # noqa: E402, F401
from scripts.commands import serve as _serve_command  # noqa: E402, F401
from scripts.commands import tags as _tags_command  # noqa: E402, F401
from scripts.commands import today as _today_command  # noqa: E402, F401
from scripts.commands import trend as _trend_command  # noqa: E402, F401
from scripts.commands import weather as _weather_command  # noqa: E402, F401
