"""``spotlamp columns``: what the columns of the tables mean."""

import textwrap
from typing import Annotated, Any

import typer

from scripts.common.tables import TEXT_ESCAPE, Table
from scripts.common.terminal import LINE, app, say
from scripts.score.columns import EXTRA_TABLES, TABLES
from scripts.trend.tables import TREND_TABLES

__all__ = ["columns"]

_SHOWN = TABLES | EXTRA_TABLES | TREND_TABLES


@app.command()
def columns(
    table: Annotated[
        str | None, typer.Argument(metavar="TABLE", help=f"One of {', '.join(_SHOWN)}.")
    ] = None,
) -> None:
    """Explain the columns of the tables, with their units.

    Reads nothing and writes nothing but the screen; answers at once.
    """
    if table is not None and table not in _SHOWN:
        raise typer.BadParameter(f"there is no table {table!r}; there are {', '.join(_SHOWN)}.")
    for shown in [_SHOWN[table]] if table else _SHOWN.values():
        say(_definitions(shown))
    say("An empty cell means: not measured. It never means 0.")
    say(textwrap.fill(TEXT_ESCAPE, LINE))


def _definitions(table: Table[Any]) -> str:
    margin = max(len(column.name) for column in table.columns) + 4
    lines = [
        textwrap.fill(
            column.meaning,
            LINE,
            initial_indent=f"  {column.name}".ljust(margin),
            subsequent_indent=" " * margin,
        )
        for column in table.columns
    ]
    return "\n".join([f"{table.name}.csv, one row for {table.one_row}", *lines, ""])
