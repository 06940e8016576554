"""``spotlamp fix``: a photo's date or plant put right, or the photo taken out of the record."""

from typing import Annotated

import typer

from scripts.common.terminal import GardenFolder, app, one_sentence_errors, say

__all__ = ["fix"]


@app.command()
def fix(
    photos: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[PHOTO...]", help="Photos: files, folders, or paths as they were filed."
        ),
    ] = None,
    taken: Annotated[
        str | None,
        typer.Option(
            "--taken", metavar="TIME", help='When it was taken, as "2026-06-01 07:30" or a day.'
        ),
    ] = None,
    plant: Annotated[
        str | None, typer.Option("--plant", metavar="PLANT", help="Which plant it shows.")
    ] = None,
    remove: Annotated[
        bool, typer.Option("--remove", help="Take it out of the record; the file stays.")
    ] = False,
    undo: Annotated[
        bool, typer.Option("--undo", help="Take back the last thing put right of it.")
    ] = False,
    reason: Annotated[
        str, typer.Option("--reason", metavar="TEXT", help="Why, in your own words.")
    ] = "",
    garden: GardenFolder = None,
) -> None:
    """Put right when a photo was taken or what it shows; alone, list what was put right.

    Reads the garden's journal, and the photos named, to know them again. What you say holds at
    once for trend, plan and burn check, and stays when the photo is scored again.

    Writes into the journal. Nothing is ever lost: the old value stays beside, and "--undo" brings
    it back. Answers at once.

    Ends with 0 when done, 1 when a photo is not in the journal, 2 for wrong usage.
    """
    wishes = [taken is not None, plant is not None, remove, undo]
    if sum(wishes) > 1:
        raise typer.BadParameter("one of --taken, --plant, --remove and --undo at a time.")
    if any(wishes) and not photos:
        raise typer.BadParameter("name the photos.", param_hint="PHOTO")
    with one_sentence_errors():
        from scripts.common.which_garden import chosen_garden
        from scripts.garden.fix import (
            date_photos,
            fix_lines,
            plant_photos,
            remove_photos,
            undo_fixes,
        )

        folder, named = chosen_garden(garden), photos or []
        if taken is not None:
            lines = date_photos(folder, named, taken, reason)
        elif plant is not None:
            lines = plant_photos(folder, named, plant, reason)
        elif remove:
            lines = remove_photos(folder, named, reason)
        elif undo:
            lines = undo_fixes(folder, named)
        else:
            lines = fix_lines(folder, named)
        say("\n".join(lines))
