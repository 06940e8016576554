"""``spotlamp trend``: which plants get worse, how fast, and whether a spray worked."""

import sys
import textwrap
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from scripts.common.terminal import (
    LINE,
    AsOf,
    GardenFolder,
    app,
    one_sentence_errors,
    refuse_photos_as_out,
    say,
)

if TYPE_CHECKING:
    from scripts.trend.read import Trend

__all__ = ["told", "trend"]

MOST_TOLD = 5
"""Plants of which strip and sentences are shown when none was named."""

_PLAIN = str.maketrans("─├┤→●▲▼▽☂✂−×÷", "-||>o^vv~x-x/")


@app.command()
def trend(
    plants: Annotated[
        list[str] | None,
        typer.Argument(metavar="[PLANT...]", help="Plants to tell of; all by default."),
    ] = None,
    garden: GardenFolder = None,
    effect: Annotated[
        str | None,
        typer.Option(
            "--effect",
            metavar="SPRAY",
            help="Say whether a spray worked: its number in the log, its day, or its product.",
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Also write charts and tables into DIR."),
    ] = None,
    threshold: Annotated[
        float | None,
        typer.Option(
            "--threshold",
            metavar="PCT",
            help="Severity whose day is foretold; the garden's “sick” by default.",
        ),
    ] = None,
    days: Annotated[
        int,
        typer.Option(
            "--days", min=2, metavar="N", help="Judge by the visits of the last N days, at least 4."
        ),
    ] = 21,
    since: Annotated[
        datetime | None,
        typer.Option(
            "--since",
            formats=["%Y-%m-%d", "%d.%m.%Y"],
            metavar="DAY",
            help="First day to tell of, as 2026-06-01; the last season by default.",
        ),
    ] = None,
    at: AsOf = None,
    tables: Annotated[
        str | None,
        typer.Option(
            "--tables",
            metavar="DIR",
            help="Read Parquet tables (score --table parquet) in the place of a journal.",
        ),
    ] = None,
    of: Annotated[
        str | None,
        typer.Option("--of", metavar="NAME", help="Garden of which --tables are read."),
    ] = None,
    season: Annotated[
        str | None,
        typer.Option(
            "--season",
            metavar="YEAR",
            help='Tell of an earlier season, as it ended; "spotlamp season" lists them.',
        ),
    ] = None,
) -> None:
    """Say which plants get worse, how fast, and how sure that is; those that rise first.

    Reads the garden's journal, or with --tables what it needs of one garden's rows. A plant is
    called rising, level or falling only when the 95 % interval of its growth says so; otherwise
    "cannot tell". With --effect, compares the growth on sprayed plants with that on unsprayed ones
    over the same days.

    Writes nothing but the screen; with --out trend.png, trend.svg, visits.csv, plants.csv and
    trend.json (see "spotlamp columns"). Costs a second, and some more for the charts.

    Ends with 0 when done, 1 when there is nothing to tell, 2 for wrong usage.
    """
    if threshold is not None and not 0 < threshold < 100:
        raise typer.BadParameter("a severity lies between 0 and 100.", param_hint="--threshold")
    if season is not None and (since is not None or at is not None):
        raise typer.BadParameter("a season has its own days: leave --since and --at out.")
    if tables is None and of is not None:
        raise typer.BadParameter("it names a garden in tables: name these too.", param_hint="--of")
    if tables is not None and (effect, garden, season) != (None, None, None):
        raise typer.BadParameter(
            "no journal is read with it: leave --garden, --effect and --season out.",
            param_hint="--tables",
        )
    if out is not None:
        refuse_photos_as_out([], out)
    with one_sentence_errors():
        found = _found(
            tables,
            of,
            garden,
            plants or (),
            at,
            threshold_pct=threshold,
            recent_days=days,
            since=since.date() if since else None,
            effect=effect,
            season=season,
        )
        say(_for_this_terminal("\n".join(told(found))))
        if out is not None:
            _write(found, out)


def _found(
    tables: str | None,
    of: str | None,
    garden: Path | None,
    plants: Sequence[str],
    at: str | None,
    **how: Any,  # noqa: ANN401  handed on as they are
) -> "Trend":
    """Return the trend, from tables or from a garden's journal."""
    from scripts.common.moments import moment

    if tables is not None:
        from scripts.trend.from_tables import trend_from_tables
        from vision.photo.address import place

        then = None if at is None else moment(at, "UTC")
        how = {name: how[name] for name in ("threshold_pct", "recent_days", "since")}
        return trend_from_tables(place(tables), of, plants, at=then, **how)
    from scripts.common.which_garden import chosen_garden
    from scripts.trend.read import read_trend

    chosen = chosen_garden(garden)
    return read_trend(chosen, plants, at=_moment(chosen, at), **how)


def _moment(folder: Path, at: str | None) -> datetime | None:
    from models.garden.settings import read_garden
    from scripts.common.moments import moment

    return None if at is None else moment(at, read_garden(folder).time_zone)


def told(found: "Trend") -> list[str]:
    """Return all that is shown of a trend, line by line."""
    from models.care.words import INTERVAL_WORDS
    from scripts.trend.effect_words import effect_words
    from scripts.trend.strip import strip
    from scripts.trend.words import heading, plant_words, table_lines

    lines = [heading(found), ""]
    if found.effect is not None:
        lines += [*_wrapped(effect_words(found.effect)), ""]
    if not found.chosen:
        lines += [*table_lines(found), ""]
    rising = [c for c in found.curves if c.course.direction == "rising" and not c.gone]
    for curve in found.curves if found.chosen else rising[:MOST_TOLD]:
        words = plant_words(curve, found.notes.get(curve.plant, ()))
        lines += [*strip(curve, found.log, found.garden.units), *_wrapped(words), ""]
    return [*lines, *_wrapped([INTERVAL_WORDS])]


def _wrapped(sentences: list[str]) -> list[str]:
    return textwrap.wrap(" ".join(sentences), LINE)


def _for_this_terminal(text: str) -> str:
    """Return the text with plain signs where the terminal cannot show the drawn ones."""
    try:
        text.encode(sys.stdout.encoding or "utf-8")
    except UnicodeEncodeError:
        return text.translate(_PLAIN)
    return text


def _write(found: "Trend", out: Path) -> None:
    from scripts.common.files import marker_of, write_whole
    from scripts.trend.chart import draw_trend
    from scripts.trend.tables import trend_files

    files = {**draw_trend(found), **trend_files(found)}
    write_whole({out / name: data for name, data in files.items()} | marker_of(out))
    say(f"\nIn {out}: {', '.join(files)}")
