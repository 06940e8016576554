"""``spotlamp train``: a pattern classifier from photos of one's own."""

from pathlib import Path
from typing import Annotated

import typer

from scripts.common.terminal import Jobs, app, one_sentence_errors, require_opencv, say

__all__ = ["train"]


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
