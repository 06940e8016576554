"""Tables as Parquet: typed columns, parted by garden and month, so that little need be read.

A table is a folder ``garden=NAME/month=2026-06`` of files. Needs the extra ``parquet``.
"""

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from importlib import import_module
from io import BytesIO
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import quote, unquote

from scripts.common.files import write_whole
from scripts.common.tables import Cell, Table
from vision.errors import SpotlampError
from vision.photo.address import Address, Place

__all__ = ["ParquetError", "Part", "gardens_in", "read_rows", "require_parquet", "write_parquet"]

NONE = "none"  # where there is no garden or no month
_ROWS_HELD = 200_000  # before the fullest part is written
_ENDING = ".parquet"


class ParquetError(SpotlampError):
    """Parquet tables cannot be written or read; the message is one sentence for people."""


class Part(NamedTuple):
    """Which rows lie together."""

    garden: str
    month: str

    @classmethod
    def of(cls, garden: str, taken_at: datetime | None) -> "Part":
        """Return the part of what was taken at a time; of what has none, that without a month."""
        return cls(garden, f"{taken_at:%Y-%m}" if taken_at else NONE)

    @property
    def folder(self) -> str:
        """Its folder's name below the table's."""
        return f"{_garden_folder(self.garden)}/month={self.month}"


def _garden_folder(garden: str) -> str:
    return f"garden={quote(garden or NONE, safe='')}"


def require_parquet() -> None:
    """Say in one sentence, before any work, that the library is missing.

    Raises
    ------
    ParquetError
        When it is.
    """
    _library("pyarrow")


def write_parquet(out: Place, table: Table[Any], results: Iterable[tuple[Part, Any]]) -> None:
    """Write a table, and take away what an earlier run wrote of it and is no longer part of it.

    Parameters
    ----------
    out : Path or Address
        Folder of the table.
    table : Table
        Its columns.
    results : iterable of (Part, result)
        What its rows are made from, and where these lie. At most some hundred thousand rows are in
        memory at once.

    Raises
    ------
    ParquetError
        When the library is missing.
    CannotWriteError
        When a file cannot be written.
    """
    held: dict[Part, list[list[Cell]]] = {}
    numbers: Counter[Part] = Counter()
    written: set[str] = set()

    def lay_down(part: Part) -> None:
        name = f"{part.folder}/part-{numbers[part]:05}{_ENDING}"
        numbers[part] += 1
        write_whole({out / name: _as_parquet(table, held.pop(part))})
        written.add(name)

    count = 0
    for part, result in results:
        rows = [[c.value(row) for c in table.columns] for row in table.described(result)]
        if rows:
            held.setdefault(part, []).extend(rows)
        count += len(rows)
        if count >= _ROWS_HELD:
            fullest = max(held, key=lambda one: len(held[one]))
            count -= len(held[fullest])
            lay_down(fullest)
    for part in list(held):
        lay_down(part)
    for name, place in _files(out):
        if name not in written:
            place.unlink(missing_ok=True)


def _as_parquet(table: Table[Any], rows: Sequence[Sequence[Cell]]) -> bytes:
    arrow, parquet = _library("pyarrow"), _library("pyarrow.parquet")
    numbers = {int: arrow.int64(), float: arrow.float64()}
    fields, arrays = [], []
    for column, cells in zip(table.columns, zip(*rows, strict=True), strict=True):
        kind = numbers.get(column.type, arrow.string())
        fields.append(arrow.field(column.name, kind, metadata={"meaning": column.meaning}))
        arrays.append(arrow.array([_plain(cell, kind == arrow.string()) for cell in cells], kind))
    schema = arrow.schema(fields)
    stream = BytesIO()
    parquet.write_table(arrow.table(arrays, schema=schema), stream, compression="zstd")
    return stream.getvalue()


def _plain(cell: Any, as_text: bool) -> Cell:  # noqa: ANN401  a cell, or a number of NumPy's
    if cell is None or (isinstance(cell, float) and not math.isfinite(cell)):
        return None
    if as_text:  # bytes of a file name that are no UTF-8
        return str(cell).encode("utf-8", "backslashreplace").decode()
    found: Cell = cell.item() if hasattr(cell, "item") else cell
    return found


def gardens_in(folder: Place) -> list[str]:
    """Return the names of the gardens of which a table holds rows.

    Raises
    ------
    OSError
        When the folder cannot be listed.
    """
    names = {name.split("/")[0] for name, _ in _files(folder)}
    named = sorted(unquote(name.removeprefix("garden=")) for name in names if "garden=" in name)
    return ["" if name == NONE else name for name in named]


def read_rows(
    folder: Place, columns: Sequence[str], garden: str, since: str = ""
) -> Iterator[dict[str, Any]]:
    """Yield a garden's rows: only these columns are read, of the files of its months alone.

    Parameters
    ----------
    folder : Path or Address
        Of the table.
    columns : sequence of str
        Those wanted.
    garden : str
        Its name.
    since : str
        First month, as ``2026-06``; all by default.

    Raises
    ------
    ParquetError
        When the library is missing, or a file is no Parquet with these columns.
    OSError
        When a file cannot be read.
    """
    parquet = _library("pyarrow.parquet")
    errors = _library("pyarrow").ArrowException
    for name, place in _files(folder / _garden_folder(garden)):
        if name.split("/")[0].removeprefix("month=") < since:
            continue
        try:
            with place.open("rb") as stream:
                yield from parquet.ParquetFile(stream).read(columns=list(columns)).to_pylist()
        except errors as error:
            raise ParquetError(f"“{place}” cannot be read as a Parquet table.") from error


def _files(folder: Place) -> list[tuple[str, Place]]:
    """Return the files of a table, with their names below its folder."""
    if isinstance(folder, Path):
        paths = sorted(folder.rglob(f"*{_ENDING}"))
        return [(path.relative_to(folder).as_posix(), path) for path in paths]
    try:
        return sorted(_below(folder, ""), key=lambda pair: pair[0])
    except FileNotFoundError:
        return []


def _below(folder: Address, within: str) -> Iterator[tuple[str, Place]]:
    for entry in folder.listed():
        name = f"{within}{entry.place.name}"
        if entry.is_folder:
            yield from _below(entry.place, f"{name}/")
        elif name.endswith(_ENDING):
            yield name, entry.place


def _library(name: str) -> Any:  # noqa: ANN401  a module without types
    try:
        return import_module(name)
    except ImportError as error:
        raise ParquetError(
            "Parquet tables need the extra “parquet”: pip install 'spotlamp[parquet]'."
        ) from error
