"""``spotlamp plan``: what to do in the coming days."""

from pathlib import Path
from typing import Annotated

import typer

from scripts.common.terminal import AsOf, GardenFolder, WeatherFile, app, one_sentence_errors, say

__all__ = ["plan"]


@app.command()
def plan(
    days: Annotated[
        int,
        typer.Option("--days", min=1, max=90, metavar="N", help="How many days to look ahead."),
    ] = 14,
    at: AsOf = None,
    weather: WeatherFile = None,
    ics: Annotated[
        Path | None,
        typer.Option("--ics", metavar="FILE", help="Also write the plan as a calendar file."),
    ] = None,
    garden: GardenFolder = None,
) -> None:
    """List what to do in the coming days: what, which plants, when and why.

    Reads the garden's settings, journal and weather file. The plan follows from them alone: the
    same record gives the same plan. Also lists what was logged against a rule, habits that may
    help, and the cautions.

    Writes the screen, and with --ics a calendar that phones import: importing the next one moves
    events instead of doubling them. Answers at once. The sprays are home remedies, not registered
    products: labels and local rules come first.

    Ends with 0 when done, 1 when the journal cannot be used, 2 for wrong usage.
    """
    with one_sentence_errors():
        from scripts.care.views import plan_view

        say(plan_view(garden, days, at, weather, ics))
