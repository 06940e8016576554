"""``spotlamp night``: photos read as UV night photos, whatever they look like."""

from pathlib import Path
from typing import Annotated

import typer

from scripts.common.terminal import (
    Cluster,
    GardenFolder,
    Jobs,
    Masks,
    OutPlace,
    Overlays,
    PlantName,
    Tables,
    app,
    one_sentence_errors,
    refuse_photos_as_out,
    require_opencv,
)
from vision.photo.address import place

__all__ = ["night"]


@app.command()
def night(
    paths: Annotated[
        list[str],
        typer.Argument(
            metavar="PATH...", help="UV night photos, or folders of them; also addresses."
        ),
    ],
    out: OutPlace,
    masks: Masks = False,
    overlays: Overlays = False,
    explain: Annotated[
        bool,
        typer.Option(
            "--explain",
            help="Also write DIR/rejected.csv: bright things not counted, each with its reason.",
        ),
    ] = False,
    dark_frame: Annotated[
        Path | None,
        typer.Option(
            "--dark-frame",
            metavar="FILE",
            exists=True,
            dir_okay=False,
            help="Torch-off photo for all photos that have none beside them (phone on a stand).",
        ),
    ] = None,
    torch_nm: Annotated[
        float | None,
        typer.Option(
            "--torch-nm",
            min=100,
            max=1000,
            metavar="NM",
            help="Wavelength printed on your torch, such as 365 or 395: says what it may miss.",
        ),
    ] = None,
    jobs: Jobs = None,
    cluster: Cluster = "",
    table: Tables = "csv",
    garden: GardenFolder = None,
    plant: PlantName = "",
) -> None:
    """Count caterpillars that glow on photos taken in the dark under a UV torch.

    CAUTION: never shine a UV torch at eyes, of people or animals; wear UV-blocking glasses.

    Reads the same kinds of photo as "spotlamp score", which finds UV photos among others by
    itself; here all are read as UV photos, and a day photo is left uncounted, with a flag. A photo
    "plant-off.jpg" beside "plant.jpg", taken from the same place with the torch off, is no photo
    of its own: its light (lamps, moon, screens) is subtracted.

    Writes the tables of "spotlamp score" into DIR, with caterpillar_count and its 95 % interval in
    photos.csv and one row a caterpillar in caterpillars.csv, and the pictures asked for (5 stands
    for caterpillars in masks). None seen is no proof of none: young larvae, eggs and pupae may not
    glow, and torches of 385 to 395 nm show fewer than those of 365 nm. In a garden (see
    "spotlamp new") each photo that was counted is also filed to its plant in the journal.

    Costs about as much as scoring day photos. Ends with 0 when done, 1 when nothing could be
    counted, 2 for wrong usage.
    """
    with one_sentence_errors():
        places, target = [place(one) for one in paths], place(out)
        refuse_photos_as_out(places, target)
        require_opencv()
        from scripts.care.filed_run import run_and_file, tell
        from scripts.score.store import Settings

        done = run_and_file(
            places,
            target,
            garden,
            plant,
            settings=Settings(mode="night"),
            masks=masks,
            overlays=overlays,
            jobs=jobs,
            cluster=cluster,
            parquet=table == "parquet",
            explain=explain,
            dark_frame=dark_frame,
        )
        tell(done, torch_nm, nothing="counted")
