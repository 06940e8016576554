"""``spotlamp new``: a garden's folder with its settings file and an empty journal."""

from pathlib import Path
from typing import Annotated

import typer

from scripts.common.terminal import app, one_sentence_errors, say

__all__ = ["new"]


@app.command()
def new(
    folder: Annotated[
        Path, typer.Argument(metavar="DIR", help="Folder of the garden; made if need be.")
    ],
    bed: Annotated[
        list[str] | None,
        typer.Option(
            "--bed",
            metavar="NAME=PLANTS",
            help="A bed, as North=A1,A2/A3,A4: a comma between plants, a slash between rows.",
        ),
    ] = None,
    name: Annotated[
        str, typer.Option("--name", metavar="NAME", help="Your name for the garden.")
    ] = "",
    units: Annotated[
        str, typer.Option("--units", metavar="UNITS", help="What you want to read: metric or US.")
    ] = "metric",
    time_zone: Annotated[
        str,
        typer.Option(
            "--time-zone", metavar="ZONE", help="As Europe/Berlin; this computer's by default."
        ),
    ] = "",
) -> None:
    """Make a garden: a settings file to read and edit, and an empty journal.

    Reads DIR/garden.toml when it is there already, and then adds the beds to it; all else in the
    file stays as it is, remarks included.

    Writes garden.toml and the journal into DIR. Answers at once.

    Ends with 0 when done, 2 when a bed or the settings cannot be used.
    """
    with one_sentence_errors():
        from scripts.garden.make import make_garden, report

        say(report(make_garden(folder, bed or [], name, units, time_zone)))
