"""The command line. Only light modules are imported here: ``--help`` must answer at once."""

import sys
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

from scripts.columns import TABLES, TEXT_ESCAPE, Table

if TYPE_CHECKING:
    from scripts.batch import Run

__all__ = ["app"]

NOTHING_MEASURED, WRONG_USAGE, INTERRUPTED = 1, 2, 130
_LINE = 100  # signs a line

app = typer.Typer(
    name="spotlamp",
    help="Measures spots, blight and yellowing on tomato leaves from phone photos.",
    no_args_is_help=True,
    add_completion=False,
    # Plain help: the coloured one costs a tenth of a second at every start.
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)

Out = Annotated[
    Path, typer.Option("--out", metavar="DIR", help="Folder of the results; made if need be.")
]
Masks = Annotated[
    bool,
    typer.Option(
        "--masks",
        help="Also write DIR/masks: a PNG a photo, 1 leaf, 2 halo, 3 lesion in each pixel.",
    ),
]
Overlays = Annotated[
    bool,
    typer.Option("--overlays", help="Also write DIR/overlays: each photo with what was counted."),
]
Jobs = Annotated[
    int | None,
    typer.Option("--jobs", min=1, metavar="N", help="Processes at work; all cores by default."),
]
ClassifierFile = Annotated[
    Path | None,
    typer.Option(
        "--classifier",
        metavar="FILE",
        help='Pattern classifier of your own, made by "spotlamp train".',
    ),
]


def _show_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import PackageNotFoundError, version

        try:
            print(f"spotlamp {version('spotlamp')}")
        except PackageNotFoundError:
            print("spotlamp (not installed: run from its source folder)")
        raise typer.Exit


@app.callback()
def _common(
    version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_show_version, is_eager=True, help="Show the version and exit."
        ),
    ] = False,
) -> None:
    """Take the options that stand before any command."""


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
) -> None:
    """Measure the sick part of the leaves on photos taken by day.

    Reads JPEG, PNG, WebP, TIFF and HEIC photos; folders with all their sub-folders. A sub-folder
    is taken for a plant of that name. The photos are never changed. Says of each leaf whether its
    lesions look like spot or like blight; that is a pattern, not a diagnosis.

    Writes photos.csv, leaves.csv, lesions.csv, frass.csv and caterpillars.csv into DIR (see
    "spotlamp columns"), problems.txt when files could not be read, and the pictures asked for.

    Costs less than a second for a photo of 12 megapixels on one core, and 0.1 s more for the
    pictures. Photos that have not changed since the last run into DIR are not measured again.

    Ends with 0 when done, 1 when nothing could be measured, 2 for wrong usage.
    """
    _refuse_photos_as_out(paths, out)
    with _one_sentence_errors():
        run = _score(paths, out, masks=masks, overlays=overlays, jobs=jobs, classifier=classifier)
        _close(run)


@app.command()
def demo(
    out: Out = Path("spotlamp-demo"),
    jobs: Jobs = None,
) -> None:
    """Score the sample garden that comes with the program, to see what you would get.

    Reads the sample photos (invented and painted, no real garden). Writes tables, masks and
    overlays into DIR, then names the files to open first. Costs a few seconds.
    """
    with _one_sentence_errors():
        garden = sample_garden()
        if garden is None:
            _fail("The sample garden is missing from this installation: install spotlamp again.")
        run = _score([garden], out, masks=True, overlays=True, jobs=jobs)
        _close(run)
        _say(
            f"Then open {out / 'photos.csv'} in a spreadsheet, and look through {out / 'overlays'}."
        )


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
    with _one_sentence_errors():
        _require_opencv()
        from scripts.progress import PhotoProgress
        from scripts.train import report, train_classifier

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
        _say(report(training))
        _say(f"\nWritten to {out}; use it with: spotlamp score PATH --out DIR --classifier {out}")


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
    _refuse_photos_as_out([labelled], out)
    with _one_sentence_errors():
        _require_opencv()
        from scripts.check import check_labels, report
        from scripts.progress import PhotoProgress

        with PhotoProgress() as progress:
            checked = check_labels(
                labelled,
                out,
                classifier=classifier,
                jobs=jobs,
                on_start=progress.start,
                on_done=progress.done,
            )
        _say(report(checked))
        shown = ", ".join(path.name for path in checked.pictures)
        _say(f"\nIn {out}: compared.csv, {shown}")


@app.command()
def columns(
    table: Annotated[
        str | None, typer.Argument(metavar="TABLE", help=f"One of {', '.join(TABLES)}.")
    ] = None,
) -> None:
    """Explain the columns of the tables, with their units.

    Reads nothing and writes nothing but the screen; answers at once.
    """
    if table is not None and table not in TABLES:
        raise typer.BadParameter(f"there is no table {table!r}; there are {', '.join(TABLES)}.")
    for shown in [TABLES[table]] if table else TABLES.values():
        _say(_definitions(shown))
    _say("An empty cell means: not measured. It never means 0.")
    _say(textwrap.fill(TEXT_ESCAPE, _LINE))


def _definitions(table: Table[Any]) -> str:
    margin = max(len(column.name) for column in table.columns) + 4
    lines = [
        textwrap.fill(
            column.meaning,
            _LINE,
            initial_indent=f"  {column.name}".ljust(margin),
            subsequent_indent=" " * margin,
        )
        for column in table.columns
    ]
    return "\n".join([f"{table.name}.csv, one row for {table.one_row}", *lines, ""])


def sample_garden() -> Path | None:
    """Return the folder of the bundled sample photos: inside the package, or in the checkout."""
    here = Path(__file__).resolve().parent
    places = (here / "sample_images" / "garden", here.parent / "sample_images" / "garden")
    return next((place for place in places if place.is_dir()), None)


def _score(
    paths: list[Path],
    out: Path,
    *,
    masks: bool = False,
    overlays: bool = False,
    jobs: int | None = None,
    classifier: Path | None = None,
) -> "Run":
    _require_opencv()
    from scripts.batch import score_paths
    from scripts.progress import PhotoProgress
    from scripts.store import Settings

    with PhotoProgress() as progress:
        return score_paths(
            paths,
            out,
            masks=masks,
            overlays=overlays,
            jobs=jobs,
            settings=Settings(classifier=classifier),
            on_start=progress.start,
            on_done=progress.done,
        )


def _require_opencv() -> None:
    from vision.opencv import require_opencv

    require_opencv()


def _close(run: "Run") -> None:
    """Print the summary; end with 1 if no photo at all could be measured."""
    from scripts.summary import measured, summary

    _say(summary(run))
    if not measured(run.results):
        _fail("No photo could be measured.")


def _refuse_photos_as_out(paths: list[Path], out: Path) -> None:
    """Refuse results among the photos: the next run would take the pictures for photos."""
    target = out.resolve()
    for path in paths:
        folder = path.resolve() if path.is_dir() else path.resolve().parent
        if target == folder or target in folder.parents:
            raise typer.BadParameter(
                f"{out} holds the photos; name a folder of its own, as {out / 'results'}.",
                param_hint="--out",
            )


@contextmanager
def _one_sentence_errors() -> Iterator[None]:
    """Turn foreseen errors into one sentence on standard error and an exit code."""
    try:
        yield
    except KeyboardInterrupt:
        _fail("Stopped. Whole files stay; photos already measured are kept.", INTERRUPTED)
    except Exception as error:
        code = _FORESEEN.get(type(error).__name__)
        if code is None:
            raise
        _fail(str(error), code)


# Names instead of classes: importing the classes would import NumPy and OpenCV for every --help.
_FORESEEN = {
    "CannotWriteError": NOTHING_MEASURED,
    "LabelsError": NOTHING_MEASURED,
    "MissingSystemLibrary": NOTHING_MEASURED,
    "NothingComparedError": NOTHING_MEASURED,
    "NoPhotosError": NOTHING_MEASURED,
    "PathNotFound": WRONG_USAGE,
    "UnfitClassifier": NOTHING_MEASURED,
    "WorkersLostError": NOTHING_MEASURED,
}


def _fail(sentence: str, code: int = NOTHING_MEASURED) -> NoReturn:
    print(_printable(sentence, sys.stderr.encoding), file=sys.stderr)
    raise typer.Exit(code)


def _say(text: str) -> None:
    print(_printable(text, sys.stdout.encoding))


def _printable(text: str, encoding: str | None) -> str:
    """Return the text with signs that the terminal cannot show replaced."""
    encoding = encoding or "utf-8"
    return text.encode(encoding, errors="backslashreplace").decode(encoding)
