"""``spotlamp score``: day photos measured, and filed in a garden."""

from typing import Annotated

import typer

from scripts.common.terminal import (
    ClassifierFile,
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

__all__ = ["score"]


@app.command()
def score(
    paths: Annotated[
        list[str],
        typer.Argument(metavar="PATH...", help="Photos, or folders of photos; also addresses."),
    ],
    out: OutPlace,
    masks: Masks = False,
    overlays: Overlays = False,
    classifier: ClassifierFile = None,
    jobs: Jobs = None,
    cluster: Cluster = "",
    table: Tables = "csv",
    garden: GardenFolder = None,
    plant: PlantName = "",
) -> None:
    """Measure the sick part of the leaves on photos taken by day.

    Reads JPEG, PNG, WebP, TIFF and HEIC photos; folders with all their sub-folders, and addresses
    such as s3://bucket/photos (see "spotlamp guide region"). A sub-folder is taken for a plant of
    that name. The photos are never changed. Says of each leaf whether its lesions look like spot
    or like blight; that is a pattern, not a diagnosis.

    Writes photos.csv, leaves.csv, lesions.csv, frass.csv and caterpillars.csv into DIR (see
    "spotlamp columns"), problems.txt when photos could not be measured, and the pictures
    asked for; with --table parquet the same tables also into DIR/parquet.
    In a garden (see "spotlamp new") it also files each photo to its plant in the journal.

    Costs less than a second for a photo of 12 megapixels on one core, and 0.1 s more for the
    pictures. Photos that have not changed since the last run into DIR are not measured again.
    With --cluster the workers of a Dask cluster measure. One of two machines is started with
    "dask scheduler" on the first, and "dask worker tcp://FIRST:8786" on both; "spotlamp guide
    region" tells the rest.

    Ends with 0 when done, 1 when nothing could be measured, 2 for wrong usage.
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
            settings=Settings(classifier=classifier),
            masks=masks,
            overlays=overlays,
            jobs=jobs,
            cluster=cluster,
            parquet=table == "parquet",
        )
        tell(done)
