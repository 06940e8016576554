"""``spotlamp report``: the garden in one file, to be printed or handed on."""

from pathlib import Path
from typing import Annotated

import typer

from scripts.common.terminal import (
    AsOf,
    GardenFolder,
    Jobs,
    app,
    one_sentence_errors,
    require_opencv,
    say,
)

__all__ = ["report"]


@app.command()
def report(
    out: Annotated[
        Path, typer.Option("--out", metavar="FILE.html", help="The file; replaced as a whole.")
    ],
    plant: Annotated[
        str,
        typer.Option(
            "--plant", metavar="NAME", help="A page about this plant alone, for a plant clinic."
        ),
    ] = "",
    season: Annotated[
        str,
        typer.Option(
            "--season",
            metavar="YEAR",
            help='An earlier season, as it ended; "spotlamp season" lists them.',
        ),
    ] = "",
    at: AsOf = None,
    jobs: Jobs = None,
    garden: GardenFolder = None,
) -> None:
    """Write the garden as one file that opens anywhere and prints on A4 or Letter.

    It holds what to do today, the beds as they stand, each plant's photos and course, the rounds
    by night, what changed since the last report, and the limits of all that. With --plant it holds
    one plant, for somebody who can tell what it has. Nothing in it comes from elsewhere: send it,
    keep it, or print it from a browser.

    Reads the garden's journal, weather file and photos; a photo that is gone is named. Writes the
    file, and keeps in the garden's folder what it said, for the next report to compare with.

    Costs about half a second for each photo shown that was not drawn before.

    Ends with 0 when done, 1 when it cannot be written, 2 for wrong usage.
    """
    if season and at:
        raise typer.BadParameter("a season has its own days: leave --at out.")
    with one_sentence_errors():
        require_opencv()
        from scripts.common.progress import PhotoProgress
        from scripts.common.which_garden import chosen_garden
        from scripts.page.report import Wishes, write_report

        with PhotoProgress() as progress:
            said = write_report(
                chosen_garden(garden),
                out,
                Wishes(plant, season, at, jobs),
                on_start=progress.start,
                on_done=progress.done,
            )
        say(said)
