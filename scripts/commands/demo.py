"""``spotlamp demo``: the sample garden or the sample season, to try everything on."""

from pathlib import Path
from typing import Annotated

import typer

from scripts.common.terminal import (
    Jobs,
    app,
    fail,
    one_sentence_errors,
    refuse_filled,
    require_opencv,
    sample_garden,
    sample_season,
    say,
)
from vision.photo.find import OUTPUT_MARKER

__all__ = ["demo"]


@app.command()
def demo(
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            metavar="DIR",
            help="Folder of the results; spotlamp-demo, or spotlamp-season, by default.",
        ),
    ] = None,
    season: Annotated[
        bool,
        typer.Option(
            "--season", help="Build a whole season instead: a garden with its journal, in DIR."
        ),
    ] = False,
    jobs: Jobs = None,
) -> None:
    """Score the sample garden, its night round and its droppings, to see what you would get.

    Reads the sample photos (invented and painted, no real garden). Writes tables, masks and
    overlays into DIR, then names the files to open first. Costs a few seconds.

    With --season, DIR becomes a garden of twelve plants: photos of ten mornings are scored into
    its journal, sprays and rain are logged, and every other command can be tried on it. Costs
    about ten seconds.
    """
    with one_sentence_errors():
        if season:
            _demo_season(out or Path("spotlamp-season"), jobs)
        else:
            _demo_garden(out or Path("spotlamp-demo"), jobs)


def _demo_garden(out: Path, jobs: int | None) -> None:
    garden = sample_garden()
    if garden is None:
        fail("The sample garden is missing from this installation: install spotlamp again.")
    if not (out / OUTPUT_MARKER).exists():
        refuse_filled(out, "spotlamp-demo")
    further = [garden.parent / name / "garden" for name in ("night", "droppings")]
    rounds = [garden, *(folder for folder in further if folder.is_dir())]
    require_opencv()
    from scripts.care.filed_run import run_and_file, tell

    tell(run_and_file(rounds, out, in_garden=False, masks=True, overlays=True, jobs=jobs))
    say(f"Then open {out / 'photos.csv'} in a spreadsheet, and look through {out / 'overlays'}.")


def _demo_season(folder: Path, jobs: int | None) -> None:
    source = sample_season()
    if source is None:
        fail("The sample season is missing from this installation: install spotlamp again.")
    require_opencv()
    from scripts.care.filed_run import run_and_file
    from scripts.trend.sample_season import is_the_season, log_season, plant_season, season_told

    if not is_the_season(source, folder):
        refuse_filled(folder, "spotlamp-season")
    photos = plant_season(source, folder)
    results = folder / "results"
    filed = run_and_file([photos], results, folder, jobs=jobs).filed
    log_season(source, folder)
    say(f"{filed}\n\n{season_told(folder)}")
