"""``spotlamp export`` and ``spotlamp import``: the whole journal as plain tables, and back."""

from pathlib import Path
from typing import Annotated

import typer

from scripts.common.terminal import GardenFolder, Jobs, app, one_sentence_errors, say

__all__ = ["export", "import_tables"]


@app.command()
def export(
    out: Annotated[
        Path, typer.Argument(metavar="DIR", help="Folder of the tables; made if need be.")
    ],
    garden: GardenFolder = None,
    masks: Annotated[
        list[Path] | None,
        typer.Option(
            "--masks",
            metavar="PATH",
            help="Photos or a folder of them: also write masks.json, their leaves and lesions.",
        ),
    ] = None,
    relabelled: Annotated[
        bool,
        typer.Option(
            "--relabelled", help="Also write relabelled.csv, for spotlamp train --corrections."
        ),
    ] = False,
    jobs: Jobs = None,
) -> None:
    """Write the whole journal as CSV tables that any program reads.

    Reads the garden's journal; with --masks also the photos named, which it measures again.

    Writes one CSV file for each table of the journal into DIR, and datapackage.json, which
    describes their columns, types and units (a Frictionless Data Package). Nothing is left out:
    "spotlamp import" makes the same journal of it. masks.json is in the format of COCO. Costs a
    few seconds for a long season, and with --masks as much as scoring the photos.

    Ends with 0 when done, 1 when the journal or a file cannot be used, 2 for wrong usage.
    """
    with one_sentence_errors():
        from scripts.common.which_garden import chosen_garden
        from scripts.garden.export import export_journal

        say(export_journal(chosen_garden(garden), out, masks or [], relabelled, jobs))


@app.command(name="import")
def import_tables(
    source: Annotated[
        Path,
        typer.Argument(
            metavar="DIR", exists=True, file_okay=False, help="Folder that export has written."
        ),
    ],
    garden: GardenFolder = None,
    edited: Annotated[
        bool,
        typer.Option("--edited", help="Take tables that were changed since they were exported."),
    ] = False,
) -> None:
    """Fill a new garden's journal from exported tables.

    Reads datapackage.json and the tables in DIR. The journal must be empty, so that nothing is
    mixed up; make a garden for it with "spotlamp new".

    Writes everything into the garden's journal at once, or nothing. Costs a few seconds for a long
    season.

    Ends with 0 when done, 1 when the tables cannot be used or the journal is not empty.
    """
    with one_sentence_errors():
        from scripts.common.which_garden import chosen_garden
        from scripts.garden.export import import_journal

        say(import_journal(source, chosen_garden(garden), edited=edited))
