"""``spotlamp weather``: how long leaves were wet, and what that favours, by a station's file."""

from pathlib import Path
from typing import Annotated

import typer

from scripts.common.terminal import GardenFolder, app, one_sentence_errors, say

__all__ = ["weather"]


@app.command()
def weather(
    file: Annotated[
        Path | None,
        typer.Argument(
            metavar="[FILE]", help="The station's CSV; by default that of the garden's settings."
        ),
    ] = None,
    time: Annotated[
        str | None, typer.Option("--time", metavar="COLUMN", help="Column of the time.")
    ] = None,
    time_format: Annotated[
        str | None,
        typer.Option(
            "--time-format", metavar="FORM", help='Such as "%d.%m.%Y %H:%M"; ISO 8601 otherwise.'
        ),
    ] = None,
    temperature: Annotated[
        str | None,
        typer.Option("--temperature", metavar="COLUMN:UNIT", help="Temperature, in C or F."),
    ] = None,
    humidity: Annotated[
        str | None,
        typer.Option("--humidity", metavar="COLUMN:UNIT", help="Relative humidity, in %."),
    ] = None,
    wetness: Annotated[
        str | None,
        typer.Option(
            "--wetness", metavar="COLUMN:UNIT", help="Wet leaves, in min, h, % or yes, if there."
        ),
    ] = None,
    rain: Annotated[
        str | None,
        typer.Option("--rain", metavar="COLUMN:UNIT", help="Rain since the row before: mm or in."),
    ] = None,
    zone: Annotated[
        str | None,
        typer.Option(
            "--zone", metavar="ZONE", help="Time zone of the file; the garden's otherwise."
        ),
    ] = None,
    days: Annotated[
        int, typer.Option("--days", min=1, max=400, metavar="N", help="How many days to list.")
    ] = 14,
    chart: Annotated[
        Path | None,
        typer.Option(
            "--chart",
            metavar="FILE",
            help="Draw wet days, what they favoured, and the looks: .png or .svg.",
        ),
    ] = None,
    at: Annotated[
        str | None,
        typer.Option("--at", metavar="TIME", help="As of a time; later rows count as forecast."),
    ] = None,
    garden: GardenFolder = None,
) -> None:
    """Say how long leaves were wet since each plant's last look, what that favours, when to look.

    Reads the CSV of a weather station: columns as you name them, each with its unit, here or in
    the table [weather] of the garden's settings; and the garden's photos and log. Gaps and values
    that cannot be are named. Two published tables of wetness and warmth say how much a day
    favoured a disease: little, some or much. That says when to look, never what to spray.

    Writes nothing but the screen, and the chart where asked for. Answers at once; the chart costs
    a second or two.

    Ends with 0 when done, 1 when the file cannot be used, 2 for wrong usage.
    """
    with one_sentence_errors():
        from scripts.care.weather_view import draw_chart, read_weather, weather_text

        named = {
            "time": time,
            "time_format": time_format,
            "temperature": temperature,
            "humidity": humidity,
            "wetness": wetness,
            "rain": rain,
            "zone": zone,
        }
        seen = read_weather(file, named, garden, at)
        say(weather_text(seen, days))
        if chart:
            draw_chart(seen, chart)
            say(f"\nChart: {chart}")
