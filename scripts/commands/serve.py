"""``spotlamp serve``: the garden page."""

from typing import Annotated

import typer

from scripts.common.terminal import GardenFolder, app, one_sentence_errors, require_opencv

__all__ = ["serve"]


@app.command()
def serve(
    garden: GardenFolder = None,
    port: Annotated[
        int, typer.Option("--port", min=1024, max=65535, metavar="N", help="Where it listens.")
    ] = 8440,
    phone: Annotated[
        bool,
        typer.Option("--phone", help="Let phones of the home network in, each with a code."),
    ] = False,
    at: Annotated[
        str | None,
        typer.Option("--at", metavar="TIME", help="Show the garden as of a time; now by default."),
    ] = None,
    season: Annotated[
        str,
        typer.Option(
            "--season",
            metavar="YEAR",
            help='Show an earlier season as it ended; "spotlamp season" lists them.',
        ),
    ] = "",
) -> None:
    """Open the garden page: beds, plants, photos, today's tasks, the log, in a browser.

    Reads and writes what the other commands do: the garden's settings, journal and photos. Photos
    added on the page are scored as by "spotlamp score", and kept in the garden's folder. The page
    is served by this computer to itself; with --phone also to the home network, where every device
    gives a code that the terminal shows. Nothing is loaded from elsewhere, and nothing is sent
    anywhere.

    Costs a second to start, and runs until Ctrl-C.

    Ends with 0 when interrupted, 1 when the port or the garden cannot be used, 2 for wrong usage.
    """
    if season and at:
        raise typer.BadParameter("a season has its own days: leave --at out.")
    with one_sentence_errors():
        require_opencv()
        from scripts.care.seasons import season_end
        from scripts.common.which_garden import chosen_garden
        from scripts.page.serve import serve_garden

        serve_garden(
            garden, port, season_end(chosen_garden(garden), season) if season else at, phone=phone
        )
