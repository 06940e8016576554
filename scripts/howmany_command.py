"""``spotlamp howmany``: how many leaves and plants to photograph on the next walk."""

from typing import Annotated

import typer

from scripts.terminal import GardenFolder, app, one_sentence_errors, say

__all__ = ["howmany"]


@app.command()
def howmany(
    garden: GardenFolder = None,
    precision: Annotated[
        float,
        typer.Option(
            "--precision",
            metavar="PCT",
            help="Wanted standard error, in percent of the mean; 10 to 20 is usual.",
        ),
    ] = 20.0,
    points: Annotated[
        float | None,
        typer.Option(
            "--points",
            metavar="N",
            help="In its place: how far the mean may be off, in percentage points.",
        ),
    ] = None,
) -> None:
    """Say how many leaves of a plant, and plants of a bed, to photograph on the next walk.

    Reads the last visits in the garden's journal: how much plants differ there, and leaves of one
    plant, decides. Plants and leaves must be chosen by a fixed rule or by lot, not by their looks.

    Writes nothing but the screen. Costs a second.

    Ends with 0 when done, 1 when the journal holds too little to learn from, 2 for wrong usage.
    """
    if not 1 <= precision <= 100:
        raise typer.BadParameter("it lies between 1 and 100.", param_hint="--precision")
    if points is not None and not 0 < points < 100:
        raise typer.BadParameter("it lies between 0 and 100.", param_hint="--points")
    with one_sentence_errors():
        from scripts.gardens import chosen_garden
        from scripts.howmany import advice_lines, advise

        say("\n".join(advice_lines(advise(chosen_garden(garden), precision / 100, points))))
