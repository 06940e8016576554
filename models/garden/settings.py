"""The garden's settings file: found, read, made, and edited without losing its comments.

The file is ``garden.toml`` in the garden's folder, written by people as much as by the program.
"""

import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import fields, replace
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import tomlkit

from models.garden.beds import Garden, Plant
from vision.errors import WRONG_USAGE, SpotlampError
from vision.photo.content import file_text

__all__ = [
    "GARDEN_FILE",
    "GardenError",
    "check_garden",
    "find_garden",
    "garden_text",
    "read_garden",
    "settings_text",
    "with_beds",
    "with_tags",
]

GARDEN_FILE = "garden.toml"

Beds = Mapping[str, Sequence[Sequence[str]]]
"""Rows of plants by bed; an empty name is a place where nothing stands."""

_LONGEST_NAME = 60
_TAGS = 586  # tags of the family 36h11 without the first
_M_PER_FOOT = 0.3048  # exact by definition
_OWN = {"name", "time_zone", "units", "spacing_m", "spacing_ft", "journal", "beds", "tags"}

_TEMPLATE = """\
# This garden, as Spotlamp knows it. You may edit this file with any text editor. What stands
# behind a # is a remark. Names stand in quotes.

name = "My garden"

# Photos without a time zone are read as this garden's time.
time_zone = "UTC"

# What you want to read: "metric" or "US". The record is always metric.
units = "metric"

# From plant to plant and from row to row, in metres (or spacing_ft, in feet).
spacing_m = 0.6

# Where the record is kept: a file beside this one, or the URL of a database.
journal = "journal.sqlite"

# Thresholds of the care advice, each with its usual value. To change one, take away its #.
[care]
CARE

# Your beds. Each line in square brackets is a row of plants, in the order in which they stand.
# Plants need names that no other plant of the garden has; "" is a place where nothing stands.
# A folder of photos named after a plant, or a photo whose name begins with it, belongs to it.
#
# [beds.North]
# rows = [
#     ["A1", "A2", "A3"],
#     ["A4", "", "A6"],
# ]
[beds]

"""


class GardenError(SpotlampError):
    """The garden's settings cannot be used; the message is one sentence for people."""

    exit_code = WRONG_USAGE


def find_garden(start: Path) -> Path | None:
    """Return the folder of the garden in which a file or folder lies; None outside any."""
    start = start.absolute()
    return next((f for f in (start, *start.parents) if (f / GARDEN_FILE).is_file()), None)


def read_garden(folder: Path) -> Garden:
    """Read a garden's settings file.

    Raises
    ------
    GardenError
        Naming the line and the problem.
    """
    path = folder / GARDEN_FILE
    return check_garden(path, settings_text(path))


def settings_text(path: Path) -> str:
    """Return the text of a garden's settings file.

    Raises
    ------
    GardenError
        When it is not there, or no text.
    """
    try:
        return file_text(path)
    except FileNotFoundError as error:
        folder = path.parent
        raise GardenError(
            f"“{folder}” is no garden: it has no {GARDEN_FILE}; “spotlamp new {folder}” makes one."
        ) from error
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise GardenError(
            f"“{path}”, line {line}: this is no text in UTF-8; save the file as UTF-8."
        ) from error
    except OSError as error:
        raise GardenError(f"“{path}” cannot be opened: {error.strerror or error}.") from error


def check_garden(path: Path, text: str) -> Garden:
    """Return the garden that a settings file's text describes; the path is for the sentence.

    Raises
    ------
    GardenError
        Naming the line and the problem.
    """
    try:
        values = tomllib.loads(text)
    except RecursionError as error:
        raise GardenError(f"“{path}” is nested too deeply for settings.") from error
    except ValueError as error:  # TOMLDecodeError, or a number of thousands of digits
        raise GardenError(_syntax_sentence(path, error, text)) from error
    return _Reader(path, text).garden(values)


def _syntax_sentence(path: Path, error: ValueError, text: str) -> str:
    """Say the line first, and what is wrong there, without the column that people do not count."""
    what = re.sub(r"\s*\(at .*\)$", "", str(error))
    at = re.search(r"\(at line (\d+)", str(error))
    line = int(at[1]) if at else max(1, len(text.rstrip().splitlines()))
    return f"“{path}”, line {line}: {what[0].lower()}{what[1:]}."


class _Reader:
    """Checks the values of one file, and knows on which line each stands."""

    def __init__(self, path: Path, text: str) -> None:
        self.path = path
        self.lines = text.splitlines()

    def garden(self, values: dict[str, Any]) -> Garden:
        settings = {name: value for name, value in values.items() if name not in _OWN}
        for name, value in settings.items():
            if not isinstance(value, dict):
                raise self.error(name, f"“{name}” is no setting of a garden")
        return Garden(
            name=self.text(values, "name", "My garden"),
            time_zone=self.zone(self.text(values, "time_zone", "UTC")),
            units=self.units(self.text(values, "units", "metric")),
            plants=tuple(self.tagged(self.plants(values.get("beds", {})), values.get("tags", {}))),
            spacing_m=self.spacing_m(values),
            settings=settings,
            journal=self.text(values, "journal", "journal.sqlite"),
        )

    def error(self, near: str, problem: str) -> GardenError:
        # The last line: a name that stands twice is wrong where it stands again.
        found = re.compile(rf"(?<![\w-]){re.escape(near)}(?![\w-])")
        where = [n for n, line in enumerate(self.lines, 1) if found.search(line.split("#")[0])]
        line = f", line {where[-1]}" if where else ""
        return GardenError(f"“{self.path}”{line}: {problem}.")

    def text(self, values: dict[str, Any], name: str, usual: str) -> str:
        value = values.get(name, usual)
        if not isinstance(value, str) or not value.strip():
            raise self.error(name, f"{name} must be a text in quotes")
        if not value.isprintable():
            raise self.error(name, f"{name} must stand on one line, without control signs")
        return value

    def zone(self, name: str) -> str:
        try:
            ZoneInfo(name)
        except (LookupError, ValueError, OSError) as error:
            raise self.error(
                "time_zone", f"“{name}” is no time zone; they look like “Europe/Berlin”"
            ) from error
        return name

    def units(self, name: str) -> str:
        if name not in {"metric", "US"}:
            raise self.error("units", f"units must be “metric” or “US”, not “{name}”")
        return name

    def spacing_m(self, values: dict[str, Any]) -> float:
        name = "spacing_ft" if "spacing_ft" in values else "spacing_m"
        value = values.get(name, 0.6)
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value < 100:
            raise self.error(name, f"{name} must be a number above 0, such as 0.6")
        return value * (_M_PER_FOOT if name == "spacing_ft" else 1)

    def plants(self, beds: Any) -> Iterator[Plant]:  # noqa: ANN401  whatever the file holds
        if not isinstance(beds, dict):
            raise self.error("beds", "the beds must stand as [beds.North], each with its rows")
        seen: set[str] = set()
        for bed, table in beds.items():
            for row, names in enumerate(self.rows(bed, table), start=1):
                for place, name in enumerate(names, start=1):
                    if name:
                        yield Plant(self.new_name(name, seen), bed, row, place)

    def tagged(self, plants: Iterable[Plant], tags: Any) -> Iterator[Plant]:  # noqa: ANN401  whatever the file holds
        if not isinstance(tags, dict):
            raise self.error("tags", "the tags must stand as [tags], each plant with its number")
        plants = list(plants)
        names = {plant.name for plant in plants}
        owners: dict[int, str] = {}
        for name, number in tags.items():
            if name not in names:
                raise self.error(name, f"there is a tag of “{name}”, which stands in no bed")
            if isinstance(number, bool) or not isinstance(number, int) or not 1 <= number <= _TAGS:
                raise self.error(name, f"the tag of “{name}” must be a number from 1 to {_TAGS}")
            if number in owners:
                raise self.error(name, f"“{owners[number]}” and “{name}” have one tag, {number}")
            owners[number] = name
        yield from (replace(plant, tag=tags.get(plant.name)) for plant in plants)

    def rows(self, bed: str, table: Any) -> list[list[str]]:  # noqa: ANN401  whatever the file holds
        if not bed.isprintable():
            raise self.error(bed, f"the bed “{bed}” needs a plain name")
        rows = table.get("rows", []) if isinstance(table, dict) else None
        whole = isinstance(rows, list) and all(
            isinstance(row, list) and all(isinstance(name, str) for name in row) for row in rows
        )
        if not whole:
            raise self.error(
                bed, f'the bed “{bed}” needs rows of names, such as rows = [["A1", "A2"]]'
            )
        return rows  # type: ignore[return-value]  # checked above

    def new_name(self, name: str, seen: set[str]) -> str:
        if problem := _name_problem(name):
            raise self.error(name, f"the plant “{name}” {problem}")
        if name.casefold() in seen:
            raise self.error(name, f"there are two plants “{name}”")
        seen.add(name.casefold())
        return name


def _name_problem(name: str) -> str:
    if name != name.strip() or not name.isprintable() or "/" in name or "\\" in name:
        return "must be a plain name without slashes, and without blanks at its ends"
    return f"has more than {_LONGEST_NAME} signs" if len(name) > _LONGEST_NAME else ""


def garden_text(name: str, time_zone: str, units: str = "metric", beds: Beds | None = None) -> str:
    """Return the text of a new settings file, with remarks that explain each setting."""
    document = tomlkit.parse(_TEMPLATE.replace("CARE\n", _care_lines()))
    document["name"] = name
    document["time_zone"] = time_zone
    document["units"] = units
    return with_beds(tomlkit.dumps(document), beds or {})


def _care_lines() -> str:
    """Return a remark for each threshold: its reason, and the line that sets it."""
    # Here, because it brings all of the care advice, which reading a garden can do without.
    from models.care.thresholds import Thresholds

    usual = Thresholds()
    return "".join(
        f"# {one.name} = {tomlkit.item(_plain(getattr(usual, one.name))).as_string()}"
        f"  # {one.metadata['why']}\n"
        for one in fields(usual)
    )


def _plain(value: Any) -> Any:  # noqa: ANN401  any setting
    return list(value) if isinstance(value, tuple) else value


def with_beds(text: str, beds: Beds) -> str:
    """Return a settings file's text with further beds, all else as it was, remarks included.

    A bed of a name that is there already gets the further rows.
    """
    document = tomlkit.parse(text)
    if "beds" not in document:
        document["beds"] = tomlkit.table()
    tables: Any = document["beds"]
    for bed, rows in beds.items():
        if bed not in tables:
            tables[bed] = {"rows": tomlkit.array()}
        lines = tables[bed].setdefault("rows", tomlkit.array())
        for row in rows:
            lines.append(list(row))
        lines.multiline(True)
    return tomlkit.dumps(document)


def with_tags(text: str, tags: Mapping[str, int]) -> str:
    """Return a settings file's text with these plants' tag numbers, all else as it was."""
    document = tomlkit.parse(text)
    if "tags" not in document:
        table = tomlkit.table()
        table.comment("numbers of the stake tags; a tag that is printed keeps its number")
        document["tags"] = table
    for name, number in tags.items():
        document["tags"][name] = number
    return tomlkit.dumps(document)
