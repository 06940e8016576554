"""What a table of ours is: columns with their meaning, and its rows laid out as CSV."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Any, Generic, TypeVar

from models.csv_tables import Digits, csv_bytes

__all__ = [
    "PERCENT",
    "TEXT_ESCAPE",
    "Cell",
    "Column",
    "Table",
    "TablePieces",
    "rows",
    "table_bytes",
]

Cell = str | int | float | None
Row = TypeVar("Row")

PERCENT = 3
"""Decimals written of a percentage, and of what says nothing else."""

_ROWS_AT_ONCE = 1_000

TEXT_ESCAPE = (
    "A text that a spreadsheet might run as a formula (it begins with =, +, - or @, plain or of "
    "another width, after blanks and apostrophes or none; or with a tab or a line end) is written "
    "with one more apostrophe before it."
)
"""The one sentence about escaped texts, printed below every table's definitions."""


@dataclass(frozen=True)
class Column(Generic[Row]):
    """One column of a table.

    Attributes
    ----------
    name : str
        As it stands in the file's first row, with the unit.
    meaning : str
        What the cells say, with the unit.
    value : callable
        Takes what the row describes and returns the cell; None is an empty cell: not measured.
    decimals : int
        Decimals written for a float.
    type : type
        Of its values: float, int, bool or str; one that is true or false is written in words.
    """

    name: str
    meaning: str
    value: Callable[[Row], Cell]
    decimals: int = PERCENT
    type: type = str


@dataclass(frozen=True)
class Table(Generic[Row]):
    """One CSV file.

    Attributes
    ----------
    name : str
        File name without ``.csv``.
    one_row : str
        What one row stands for.
    described : callable
        Takes what the table is made from, one at a time, such as a photo's result, and yields what
        each of its rows describes.
    columns : tuple of Column
        In the order of the file.
    """

    name: str
    one_row: str
    described: Callable[[Any], Iterable[Row]]
    columns: tuple[Column[Row], ...]


def rows(table: Table[Row], results: Iterable[Any]) -> Iterator[list[Cell]]:
    """Yield a table's rows as unrounded cells, the order of the results kept."""
    for result in results:
        for described in table.described(result):
            yield [column.value(described) for column in table.columns]


def table_bytes(table: Table[Row], results: Iterable[Any]) -> bytes:
    """Return a table as CSV, its header first, a row for each thing of the results."""
    return b"".join(TablePieces(table, results))


@dataclass(frozen=True, eq=False)
class TablePieces(Iterable[bytes]):
    """A table as CSV in pieces, so that a long one never stands in memory whole.

    Attributes
    ----------
    table : Table
        Its columns.
    results : iterable
        What it is made from; gone through anew each time.
    """

    table: Table[Any]
    results: Iterable[Any]

    def __iter__(self) -> Iterator[bytes]:
        """Yield the header, then some rows at a time."""
        yield csv_bytes([[column.name for column in self.table.columns]])
        laid_out = _laid_out(self.table, self.results)
        while some := list(islice(laid_out, _ROWS_AT_ONCE)):
            yield csv_bytes(some)


def _laid_out(table: Table[Row], results: Iterable[Any]) -> Iterator[list[Cell]]:
    for row in rows(table, results):
        pairs = zip(row, table.columns, strict=True)
        yield [_fixed(value, column.decimals) for value, column in pairs]


def _fixed(value: Cell, decimals: int) -> Cell:
    """Return a float with fixed decimals, and anything else as it is."""
    if isinstance(value, float) and math.isfinite(value):
        return Digits(f"{value + 0.0:.{decimals}f}")  # adding 0.0 turns -0.0 into 0.0
    return value
