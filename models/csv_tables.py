"""CSV tables, written and read in one place: what a spreadsheet must not run, what people save.

Tables are written as RFC 4180 asks, in UTF-8. Those that people bring may come from a spreadsheet
that parts cells by semicolons or tabs.
"""

import csv
import io
import math
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from vision.errors import SpotlampError
from vision.photo.content import file_bytes

__all__ = [
    "ANY_DELIMITER",
    "COMMA",
    "Cell",
    "Digits",
    "ReadTable",
    "TableError",
    "csv_bytes",
    "escape_formula",
    "read_table",
    "unescape_formula",
]

COMMA, ANY_DELIMITER = ",", ",;\t"

_SIGNS = frozenset("=+-@\N{MINUS SIGN}")
_LINE_STARTS = ("\t", "\r", "\n")
_LARGEST_CELL = 2**31 - 1  # bytes; notes may be long


class TableError(SpotlampError):
    """A file cannot be read as a table; the message is one sentence for people."""


class Digits(str):
    """A number already laid out as text: it is written as it stands, with its minus sign."""

    __slots__ = ()


Cell = str | int | float | None


def escape_formula(text: str) -> str:
    """Return a text cell with an apostrophe before it if a spreadsheet would run it.

    Some spreadsheets leave out blanks and control signs before the first sign, and some take
    signs of another width for the plain ones. Apostrophes that already stand before such a start
    count as part of it, so that taking one away always gives the text back.

    >>> escape_formula("=1+1.jpg"), escape_formula("a=1.jpg"), escape_formula("'=1.jpg")
    ("'=1+1.jpg", 'a=1.jpg', "''=1.jpg")
    """
    return f"'{text}" if _may_run(text.lstrip("'")) else text


def _may_run(text: str) -> bool:
    if text.startswith(_LINE_STARTS):
        return True
    first = next((sign for sign in text if sign.isprintable() and not sign.isspace()), "")
    return unicodedata.normalize("NFKC", first) in _SIGNS


def unescape_formula(text: str) -> str:
    """Return the text that `escape_formula` made this cell of.

    >>> unescape_formula("'=1+1"), unescape_formula("'tis")
    ('=1+1', "'tis")
    """
    bare = text.removeprefix("'")
    return bare if bare != text and escape_formula(bare) == text else text


def csv_bytes(rows: Iterable[Iterable[Cell]], line_end: str = "\r\n") -> bytes:
    """Return rows as RFC 4180 CSV in UTF-8: comma, quotes where needed.

    Parameters
    ----------
    rows : iterable of iterable
        The header first. Texts are escaped (`escape_formula`) but for `Digits`; a value that is
        not there, or no finite number, gives an empty cell.
    line_end : str
        The standard's by default.

    Returns
    -------
    bytes
        Bytes of a file name that are no UTF-8 are written as backslash escapes.
    """
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator=line_end)
    writer.writerows([_cell(value) for value in row] for row in rows)
    return text.getvalue().encode("utf-8", errors="backslashreplace")


def _cell(value: Cell) -> str:
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return ""
    if isinstance(value, str) and not isinstance(value, Digits):
        return escape_formula(value)
    return str(value)


@dataclass(frozen=True)
class ReadTable:
    """A table as it stands in a file.

    Attributes
    ----------
    names : tuple of str
        The header, without blanks around the names.
    delimiter : str
        What parts the cells.
    rows : iterator of (int, list of str)
        Each row's last line in the file, from 1, and its cells; empty lines are left out. They
        come once, and may raise `TableError`.
    """

    names: tuple[str, ...]
    delimiter: str
    rows: Iterator[tuple[int, list[str]]]

    def records(self) -> Iterator[tuple[int, Mapping[str, str]]]:
        """Yield each row's line and its cells by name; a cell that is not there is empty."""
        for line, cells in self.rows:
            filled = cells + [""] * (len(self.names) - len(cells))
            yield line, dict(zip(self.names, filled, strict=False))


def read_table(
    path: Path, data: bytes | None = None, *, delimiters: str = ANY_DELIMITER, strict: bool = False
) -> ReadTable:
    """Read a CSV file with a header row.

    Parameters
    ----------
    path : Path
        The file; only named where `data` is given.
    data : bytes, optional
        Its content.
    delimiters : str
        Those that may part the cells; the one that stands most often in the header does.
    strict : bool
        Whether quotes must be as RFC 4180 asks.

    Raises
    ------
    TableError
        When it is no table in UTF-8.
    """
    try:
        text = (file_bytes(path) if data is None else data).decode("utf-8-sig")
    except OSError as error:
        raise TableError(f"“{path}” cannot be opened: {error.strerror or error}.") from error
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise TableError(
            f"“{path}” cannot be read as a CSV file in UTF-8 (line {line}): save it again as UTF-8."
        ) from error
    delimiter = max(delimiters, key=text.split("\n", 1)[0].count)
    csv.field_size_limit(_LARGEST_CELL)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=strict)
    rows = _rows(path, reader)
    _, header = next(rows, (0, []))
    return ReadTable(tuple(name.strip() for name in header), delimiter, rows)


def _rows(path: Path, reader: Any) -> Iterator[tuple[int, list[str]]]:  # noqa: ANN401  csv names no type for it
    try:
        yield from ((reader.line_num, cells) for cells in reader if cells)
    except csv.Error as error:
        raise TableError(
            f"“{path}” cannot be read as a CSV file in UTF-8 (line {reader.line_num}: {error})."
        ) from error
