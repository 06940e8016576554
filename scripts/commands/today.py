"""``spotlamp today``: what to do this morning and tonight."""

from scripts.common.terminal import AsOf, GardenFolder, WeatherFile, app, one_sentence_errors, say

__all__ = ["today"]


@app.command()
def today(
    at: AsOf = None,
    weather: WeatherFile = None,
    garden: GardenFolder = None,
) -> None:
    """List what to do today and tonight, in the order of the shortest way round the beds.

    Reads the garden's settings, journal and weather file. Plants to be isolated are visited last.

    Writes nothing but the screen; answers at once.

    Ends with 0 when done, 1 when the journal cannot be used, 2 for wrong usage.
    """
    with one_sentence_errors():
        from scripts.care.views import today_view

        say(today_view(garden, at, weather))
