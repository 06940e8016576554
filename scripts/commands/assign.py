"""``spotlamp assign``: which plant a photo shows, settled by hand."""

from typing import Annotated

import typer

from scripts.common.terminal import GardenFolder, app, one_sentence_errors, say

__all__ = ["assign"]


@app.command()
def assign(
    words: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[PHOTO... PLANT]",
            help="Photos (files, folders, or paths as filed), and the plant that they show.",
        ),
    ] = None,
    garden: GardenFolder = None,
) -> None:
    """Give photos to a plant by hand; alone, list the photos without a plant.

    Reads the garden's journal, and the photos named, to know them again. What is assigned by hand
    goes before tag, folder and file name, now and whenever the photo is scored again.

    Writes the plant into the journal. Answers at once.

    Ends with 0 when done, 1 when a photo is not in the journal, 2 for an unknown plant.
    """
    with one_sentence_errors():
        from scripts.common.which_garden import chosen_garden
        from scripts.garden.assign import assign_photos, unassigned_lines

        folder = chosen_garden(garden)
        if not words:
            say("\n".join(unassigned_lines(folder)))
            return
        *photos, plant = words
        if not photos:
            raise typer.BadParameter("name the photos first, then the plant.", param_hint="PHOTO")
        say(assign_photos(folder, photos, plant))
