"""The whole journal as plain CSV tables with a Frictionless Data Package that describes them.

A table's columns, their types and units come from ``models.journal.tables``; only lesions are
written out, one row each, instead of packed.
"""

import json
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from itertools import chain, groupby
from pathlib import Path
from typing import Any

from sqlalchemy import Boolean, Column, DateTime, Float, Integer, Table

from models.csv_tables import (
    COMMA,
    Cell,
    Digits,
    TableError,
    csv_bytes,
    read_table,
    unescape_formula,
)
from models.journal import Journal
from models.journal.limits import ANY, Limits, limits_of
from models.journal.packing import LESION_FIELDS, pack_lesions, unpack_lesions
from models.journal.sums import own_columns
from models.journal.tables import LESIONS
from models.journal.versions import FIRST_VERSION, newest_version
from models.journal.whole import TABLES
from models.plain_json import read_json
from models.quantities import COUNT, LESION, Quantity
from scripts.garden.row_checks import row_check
from vision.errors import SpotlampError
from vision.photo.content import file_bytes
from vision.records import Lesion

__all__ = ["DESCRIPTION", "PackageError", "journal_files", "journal_tables"]

DESCRIPTION = "datapackage.json"

_TIME = "%Y-%m-%dT%H:%M:%S.%fZ"
_LARGEST_INTEGER = 2**63 - 1

Row = Mapping[str, Any]


class PackageError(SpotlampError):
    """A folder is no export of a journal; the message is one sentence for people."""


@dataclass(frozen=True)
class _Field:
    """One column of a CSV table.

    Attributes
    ----------
    name, kind, meaning, unit : str
        As in the description; `kind` is a type of the data package standard.
    needed : bool
        Whether each row has a value.
    limits : Limits
        What the values may be.
    """

    name: str
    kind: str
    meaning: str
    unit: str = ""
    needed: bool = True
    limits: Limits = ANY

    def described(self) -> dict[str, Any]:
        described: dict[str, Any] = {"name": self.name, "type": self.kind}
        if self.kind == "datetime":
            described["format"] = _TIME
        described["description"] = self.meaning
        if self.unit:
            described["unit"] = self.unit
        if constraints := self._constraints():
            described["constraints"] = constraints
        return described

    def _constraints(self) -> dict[str, Any]:
        constraints: dict[str, Any] = {}
        if self.needed and self.kind != "string":  # an empty text is a text
            constraints["required"] = True
        if self.limits.words:
            constraints["enum"] = list(filter(None, self.limits.words))
        return constraints

    def cell(self, value: Any) -> Cell:  # noqa: ANN401  whatever the journal holds
        if value is None or self.kind == "string":
            return value  # type: ignore[no-any-return]  # a text
        if self.kind == "datetime":
            return str(value.strftime(_TIME))
        if self.kind == "boolean":
            return "true" if value else "false"
        return Digits(repr(value))

    def value(self, cell: str) -> Any:  # noqa: ANN401  whatever the journal holds
        if self.kind == "string":
            return unescape_formula(cell)
        if cell == "":
            if self.needed:
                raise ValueError("it is empty")
            return None
        return _VALUES[self.kind](cell)


def _boolean(cell: str) -> bool:
    return {"true": True, "false": False}[cell.lower()]


def _integer(cell: str) -> int:
    number = int(cell)
    if abs(number) > _LARGEST_INTEGER:
        raise ValueError("no database holds it")
    return number


def _number(cell: str) -> float:
    number = float(cell)
    if not math.isfinite(number):
        raise ValueError("it is no number")
    return number


_VALUES: dict[str, Callable[[str], Any]] = {
    "integer": _integer,
    "number": _number,
    "boolean": _boolean,
    "datetime": lambda cell: datetime.strptime(cell, _TIME),
}


def _fields(table: Table, version: str = "") -> list[_Field]:
    """Return a table's columns, those alone that a journal of a version has, where one is given."""
    if table is LESIONS:
        return _lesion_fields()
    columns = own_columns(table)
    if version:
        columns = [one for one in columns if one.info.get("since", FIRST_VERSION) <= version]
    return [_field(column) for column in columns]


def _field(column: Column[Any]) -> _Field:
    kinds = ((Boolean, "boolean"), (Integer, "integer"), (Float, "number"), (DateTime, "datetime"))
    kind = next((name for sort, name in kinds if isinstance(column.type, sort)), "string")
    unit = column.info.get("unit", "")
    limits = limits_of(column.table.name, column.name, kind, unit)
    return _Field(column.name, kind, column.comment or "", unit, not column.nullable, limits)


def _lesion_fields() -> list[_Field]:
    keys = {
        "reading_id": "Its reading.",
        "leaf": "Number of its leaf.",
        "lesion": "Number on its leaf, from 1, largest first.",
    }
    quantities = [Quantity(name, meaning, COUNT) for name, meaning in keys.items()]
    return [_lesion_field(one) for one in (*quantities, *(LESION[n] for n in LESION_FIELDS))]


def _lesion_field(quantity: Quantity) -> _Field:
    name, unit = quantity.name, quantity.kind.unit
    kind = {int: "integer", bool: "boolean"}.get(quantity.kind.type, "number")
    limits = limits_of(LESIONS.name, name, kind, unit)
    return _Field(name, kind, quantity.meaning, unit, limits=limits)


def journal_files(journal: Journal) -> dict[str, bytes]:
    """Return the files of a journal's export by name, the description last.

    The same journal gives the same bytes.
    """
    files: dict[str, bytes] = {}
    with journal.everything() as rows_of:
        for table in TABLES:
            rows = rows_of(table)
            rows = _unpacked(rows) if table is LESIONS else rows
            files[f"{table.name}.csv"] = _csv(_fields(table), rows)
    files[DESCRIPTION] = _description(files)
    return files


def _unpacked(rows: Iterable[Row]) -> Iterator[Row]:
    for row in rows:
        lesions = unpack_lesions(row["leaf"], row["packed"])
        for number, lesion in enumerate(lesions, start=1):
            values = {name: getattr(lesion, name) for name in LESION_FIELDS}
            yield {"reading_id": row["reading_id"], "leaf": row["leaf"], "lesion": number, **values}


def _packed(rows: Iterable[Row]) -> Iterator[Row]:
    for (reading, leaf), members in groupby(rows, lambda row: (row["reading_id"], row["leaf"])):
        lesions = [Lesion(leaf, **{name: row[name] for name in LESION_FIELDS}) for row in members]
        yield {"reading_id": reading, "leaf": leaf, "packed": pack_lesions(lesions)}


def _csv(fields: Sequence[_Field], rows: Iterable[Row]) -> bytes:
    cells = ([field.cell(row[field.name]) for field in fields] for row in rows)
    return csv_bytes(chain([[field.name for field in fields]], cells))


def _description(files: Mapping[str, bytes]) -> bytes:
    package = {
        "profile": "tabular-data-package",
        "name": "garden-journal",
        "title": "The journal of a garden, whole",
        "description": (
            "Written by Spotlamp. Times are UTC. An empty cell of a number or a time means: not "
            "measured; of a text: none. A text that a spreadsheet would run as a formula has one "
            "apostrophe before it that is not part of it."
        ),
        "journal_version": newest_version(),
        "resources": [_resource(table, files[f"{table.name}.csv"]) for table in TABLES],
    }
    return (json.dumps(package, indent=2, ensure_ascii=False) + "\n").encode()


def _resource(table: Table, data: bytes) -> dict[str, Any]:
    keys = [column.name for column in table.primary_key]
    schema: dict[str, Any] = {
        "fields": [field.described() for field in _fields(table)],
        "missingValues": [""],
        "primaryKey": [*keys, "lesion"] if table is LESIONS else keys,
    }
    if table.foreign_keys:
        schema["foreignKeys"] = [
            {
                "fields": [key.parent.name],
                "reference": {
                    "resource": "" if key.column.table is table else key.column.table.name,
                    "fields": [key.column.name],
                },
            }
            for key in sorted(table.foreign_keys, key=lambda key: key.parent.name)
        ]
    return {
        "name": table.name,
        "profile": "tabular-data-resource",
        "path": f"{table.name}.csv",
        "description": table.comment,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "dialect": {"delimiter": ",", "lineTerminator": "\r\n", "quoteChar": '"'},
        "bytes": len(data),
        "hash": f"sha256:{sha256(data).hexdigest()}",
        "schema": schema,
    }


def journal_tables(folder: Path, *, edited: bool = False) -> Callable[[Table], Iterator[Row]]:
    """Return a function that yields the rows of each table of an export.

    Parameters
    ----------
    folder : Path
        With the description and the tables.
    edited : bool
        Whether tables may differ from what was exported.

    Raises
    ------
    PackageError
        When the folder is no such export; the function raises it where a table cannot be read.
    """
    package = _read_description(folder)
    version = package.get("journal_version")
    if not isinstance(version, str) or not FIRST_VERSION <= version <= newest_version():
        raise PackageError(
            f"“{folder}” holds a journal of version {str(version)[:20]}, and this release reads "
            f"{newest_version()}: import it with the release that wrote it."
        )
    hashes = {str(one.get("path")): one.get("hash") for one in package["resources"]}

    def rows_of(table: Table) -> Iterator[Row]:
        if version < table.info.get("since", FIRST_VERSION):
            return  # tables and columns were only ever added
        path = folder / f"{table.name}.csv"
        data = _read(path)
        if not edited and hashes.get(path.name) != f"sha256:{sha256(data).hexdigest()}":
            raise PackageError(
                f"“{path}” is not as it was exported; if you changed it on purpose, import with "
                "--edited."
            )
        rows = _fitting(path, table, _rows(path, data, _fields(table, version)))
        yield from _packed(rows) if table is LESIONS else rows

    return rows_of


def _read(path: Path) -> bytes:
    try:
        return file_bytes(path)
    except OSError as error:
        raise PackageError(f"“{path}” cannot be read: {error.strerror}.") from error


def _read_description(folder: Path) -> dict[str, Any]:
    try:
        package = dict(read_json(_read(folder / DESCRIPTION)))
        if all(isinstance(one, dict) for one in list(package["resources"])):
            return package
    except (ValueError, KeyError, TypeError):
        pass
    raise PackageError(f"“{folder / DESCRIPTION}” does not describe an exported journal.")


def _rows(path: Path, data: bytes, fields: Sequence[_Field]) -> Iterator[tuple[int, Row]]:
    try:
        table = read_table(path, data, delimiters=COMMA, strict=True)
        known = {field.name: field for field in fields}
        if set(table.names) != set(known) or len(table.names) != len(fields):
            raise PackageError(f"“{path}” does not have the columns of an exported journal.")
        for line, cells in table.rows:
            yield line, _row(path, line, [known[name] for name in table.names], cells)
    except TableError as error:
        raise PackageError(str(error)) from error


def _fitting(path: Path, table: Table, rows: Iterable[tuple[int, Row]]) -> Iterator[Row]:
    """Yield rows whose values also fit each other and the rows before."""
    find = row_check(table.name)
    for line, row in rows:
        if found := find(row):
            name, problem = found
            raise _unfit(path, line, name, str(row[name]), problem)
        yield row


def _row(path: Path, line: int, fields: Sequence[_Field], cells: Sequence[str]) -> Row:
    if len(cells) != len(fields):
        raise PackageError(f"“{path}”, line {line}: it has {len(cells)} cells, not {len(fields)}.")
    row = {}
    for field, cell in zip(fields, cells, strict=True):
        try:
            value = field.value(cell)
        except (ValueError, KeyError) as error:
            raise _unfit(path, line, field.name, cell) from error
        if problem := field.limits.problem(value):
            raise _unfit(path, line, field.name, cell, problem)
        row[field.name] = value
    return row


def _unfit(path: Path, line: int, name: str, cell: str, problem: str = "") -> PackageError:
    why = f": {problem}" if problem else ""
    return PackageError(f"“{path}”, line {line}: {name} cannot be “{cell[:40]}”{why}.")
