"""``spotlamp flag``: every plant's status, and the rules behind it."""

from typing import Annotated

import typer

from scripts.common.terminal import AsOf, GardenFolder, WeatherFile, app, one_sentence_errors, say

__all__ = ["flag"]


@app.command()
def flag(
    plants: Annotated[
        list[str] | None,
        typer.Argument(metavar="PLANT...", help="Only these plants; all by default."),
    ] = None,
    rules: Annotated[
        bool, typer.Option("--rules", help="Show the rules and thresholds instead.")
    ] = False,
    at: AsOf = None,
    weather: WeatherFile = None,
    garden: GardenFolder = None,
) -> None:
    """Say how each plant stands, with the measurement and the rule behind it.

    Reads the garden's settings, journal and weather file. A status is one of: clear, watch,
    spot-test, hold, waiting, check for burn, treat, rest, prevent, pick caterpillars, isolate. It
    follows from the photos and the log by fixed rules; --rules shows them with the garden's own
    thresholds.

    Writes nothing but the screen; answers at once.

    Ends with 0 when done, 1 when the journal cannot be used, 2 for wrong usage.
    """
    with one_sentence_errors():
        from scripts.care.views import flag_view, rules_view

        say(rules_view(garden) if rules else flag_view(garden, plants or [], at, weather))
