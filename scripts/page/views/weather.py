"""The weather as ``spotlamp weather`` sees it: since each plant's last look, and day by day."""

from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from models.care.words import rain_words, time_words
from models.weather import WeatherFileError
from scripts.care.weather_view import (
    LOOK_ADVICE,
    NOON_WORDS,
    UNSURE_WORDS,
    day_rows,
    rained_on,
    read_weather,
    since_rows,
    table_notes,
)
from scripts.page.pages import Pages

__all__ = ["weather"]

_DAYS = 14


def weather(pages: Pages, request: Request) -> Response:
    """Show what the weather favoured, and when to look."""
    standing = pages.desk.standing()
    logged = [entry for entry in standing.log[::-1] if entry.kind == "rain"][:_DAYS]
    rain = [
        (time_words(e.at), rain_words(e.amount, standing.garden.units))
        for e in logged
        if e.amount is not None
    ]
    frame: dict[str, Any] = {"here": "weather", "logged": rain}
    try:
        seen = read_weather(None, {}, pages.desk.folder, pages.desk.at)
    except WeatherFileError as error:
        named = "file" in standing.garden.settings.get("weather", {})
        why = str(error) if named else ""  # without a file there is nothing wrong with one
        return pages.show(request, "weather.html", seen=None, why=why, **frame)
    return pages.show(
        request,
        "weather.html",
        seen=seen,
        why="",
        since=since_rows(seen),
        unsure=UNSURE_WORDS if any(one.unknown_hours for one in seen.since) else "",
        days=day_rows(seen, _DAYS),
        rained=rained_on(seen),
        remarks=seen.record.remarks,
        noon=NOON_WORDS,
        advice=LOOK_ADVICE,
        notes=table_notes(),
        **frame,
    )
