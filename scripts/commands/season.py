"""``spotlamp season``: the seasons of a garden's record, and the beginning of a new one."""

from typing import Annotated, Literal

import typer

from scripts.common.terminal import GardenFolder, app, one_sentence_errors, say

__all__ = ["season"]


@app.command()
def season(
    new: Annotated[
        Literal["new"] | None,
        typer.Argument(metavar="[new]", help="Close the season, and begin a new one."),
    ] = None,
    at: Annotated[
        str | None,
        typer.Option("--at", metavar="TIME", help="When the new season begins; now by default."),
    ] = None,
    undo: Annotated[bool, typer.Option("--undo", help="Take the last “season new” back.")] = False,
    garden: GardenFolder = None,
) -> None:
    """List the seasons of the record; with "new", close this one and begin another.

    In a new season plants of the same names are other plants: flag, plan, today and trend start
    afresh, waits and isolation end, and plants that were taken out stand again. Nothing is lost:
    "spotlamp trend --season 2026" and "spotlamp report --season 2026" show an earlier season as it
    ended. Without your word a season ends after 100 days without any photo or entry.

    Reads the garden's journal; "new" writes one entry into its log, which "--undo" takes back.
    Answers at once.

    Ends with 0 when done, 1 when there is nothing to close or to take back, 2 for wrong usage.
    """
    if undo and (new or at):
        raise typer.BadParameter("--undo goes alone.", param_hint="--undo")
    if at and not new:
        raise typer.BadParameter("--at belongs to “season new”.", param_hint="--at")
    with one_sentence_errors():
        from scripts.care.seasons import new_season, season_lines, undo_season
        from scripts.common.which_garden import chosen_garden

        folder = chosen_garden(garden)
        if undo:
            say(undo_season(folder))
        elif new:
            say(new_season(folder, at))
        else:
            say("\n".join(season_lines(folder)))
