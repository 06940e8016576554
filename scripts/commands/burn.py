"""``spotlamp burn``: did a spray burn the tested plant."""

from pathlib import Path
from typing import Annotated

import typer

from scripts.common.terminal import (
    GardenFolder,
    app,
    one_sentence_errors,
    refuse_photos_as_out,
    require_opencv,
    say,
)

__all__ = ["burn"]


@app.command()
def burn(
    plant: Annotated[str, typer.Argument(metavar="PLANT", help="The plant that was sprayed.")],
    photos: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="[PHOTOS...]",
            exists=True,
            help="Where the photos lie, unless in the garden's folder.",
        ),
    ] = None,
    out: Annotated[
        Path, typer.Option("--out", metavar="DIR", help="Folder of the picture.")
    ] = Path("burn-check"),
    garden: GardenFolder = None,
) -> None:
    """Say whether the last peroxide spray burned a plant, from photos before and after it.

    Reads the journal and the photos filed in it: of this plant, from the three days before the
    spray and from 24 hours after it on, and of plants that were not sprayed, over the same time.
    Before 24 hours are over nothing is said.

    Writes the verdict into the journal, and a picture of before and after into DIR: burned, no
    burn seen (which does not mean safe), or cannot tell. Costs about a second for each photo.

    Ends with 0 when judged, 1 when it is too early or photos are missing, 2 for wrong usage.
    """
    refuse_photos_as_out([], out)
    with one_sentence_errors():
        require_opencv()
        from scripts.care.burn_check import check_burn, report
        from scripts.common.which_garden import chosen_garden

        say(report(check_burn(chosen_garden(garden), plant, photos or (), out)))
