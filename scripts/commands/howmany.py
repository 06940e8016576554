"""``spotlamp howmany``: how many leaves and plants to photograph on the next walk."""

from typing import Annotated

import typer

from scripts.common.terminal import GardenFolder, app, one_sentence_errors, say

__all__ = ["howmany"]


@app.command()
def howmany(
    garden: GardenFolder = None,
    precision: Annotated[
        float | None,
        typer.Option(
            "--precision",
            metavar="PCT",
            help="Wanted standard error, in percent of the mean; 10 to 20 is usual.",
        ),
    ] = None,
    points: Annotated[
        float | None,
        typer.Option(
            "--points",
            metavar="N",
            help="In its place: how far the mean may be off, in percentage points.",
        ),
    ] = None,
) -> None:
    """Say how many leaves of each plant to photograph on the next walk.

    Reads the garden's settings and journal. Says the walk's rule, as the plan has it; the plants of
    which more leaves would settle whether they are sick; and how close that comes, by how much
    plants and leaves differed at the last visits.
    With --precision or --points also what a wanted precision takes. Plants and leaves must be
    chosen by a fixed rule or by lot, not by their looks.

    Writes nothing but the screen. Costs a second.

    Ends with 0 when done, 1 when the journal holds too little to learn from, 2 for wrong usage.
    """
    if precision is not None and not 1 <= precision <= 100:
        raise typer.BadParameter("it lies between 1 and 100.", param_hint="--precision")
    if points is not None and not 0 < points < 100:
        raise typer.BadParameter("it lies between 0 and 100.", param_hint="--points")
    with one_sentence_errors():
        from scripts.common.which_garden import chosen_garden
        from scripts.trend.howmany import advice_lines, advise

        share = None if precision is None else precision / 100
        say("\n".join(advice_lines(advise(chosen_garden(garden), share, points))))
