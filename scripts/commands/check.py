"""``spotlamp check``: the program against labels and scores of one's own."""

from pathlib import Path
from typing import Annotated

import typer

from scripts.common.terminal import (
    ClassifierFile,
    Jobs,
    app,
    one_sentence_errors,
    refuse_photos_as_out,
    require_opencv,
    say,
)

__all__ = ["check"]


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
