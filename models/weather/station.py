"""Reads the CSV file of a weather station: columns as the user names them, units as stated."""

import math
import re
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from statistics import fmean
from zoneinfo import ZoneInfo

from models.csv_tables import COMMA, ReadTable, TableError, read_table
from models.weather.doubtful_columns import Reading, doubt_of_column, lines_named
from models.weather.records import StationRecord, WeatherHour
from vision.errors import SpotlampError

__all__ = ["StationColumns", "WeatherFileError", "parse_columns", "read_station"]

_HOUR = timedelta(hours=1)
_SOME_TIME = datetime(2026, 6, 1, 7, 30, tzinfo=UTC)
_FIRST_YEAR, _LAST_YEAR = 1900, 2900
_MOST_GAPS = 5
_UNITS = {
    "temperature": ("C", "F"),
    "humidity": ("%",),
    "wetness": ("min", "h", "%", "yes"),
    "rain": ("mm", "in"),
}
_RANGES = {"temperature": (-60.0, 57.0), "humidity": (0.0, 100.0), "rain": (0.0, 300.0)}
_YES = {"1", "y", "yes", "true", "wet"}
_NO = {"0", "n", "no", "false", "dry"}


class WeatherFileError(SpotlampError):
    """A weather file cannot be used; the message is one sentence for people."""


@dataclass(frozen=True)
class StationColumns:
    """Which columns of the file hold what, and in which units.

    Attributes
    ----------
    time : str
        Column of the time.
    measured : mapping of str to (str, str)
        Column and unit of ``temperature`` (C, F), ``humidity`` (%), ``wetness`` of leaves (min or
        h since the row before, % of that time, or yes) and ``rain`` (mm, in; since the row
        before).
    time_format : str
        As Python's ``strptime`` has it; empty: ISO 8601.
    """

    time: str
    measured: Mapping[str, tuple[str, str]]
    time_format: str = ""


def parse_columns(
    time: str, named: Mapping[str, str | None], time_format: str = ""
) -> StationColumns:
    """Read columns given as ``COLUMN:UNIT``.

    Parameters
    ----------
    time : str
        Column of the time.
    named : mapping of str to str or None
        By ``temperature``, ``humidity``, ``wetness`` and ``rain``; None where there is none.
    time_format : str
        See `StationColumns`.

    Raises
    ------
    WeatherFileError
        When a unit is missing or unknown, or nothing is named.
    """
    measured = {}
    for what, text in named.items():
        if text:
            column, _, unit = text.rpartition(":")
            known = {one.lower(): one for one in _UNITS[what]}
            if not column or unit.strip().lower() not in known:
                raise WeatherFileError(
                    f"State the unit of the {what} column, as {text.partition(':')[0]}:"
                    f"{_UNITS[what][0]}; units are {', '.join(_UNITS[what])}."
                )
            measured[what] = (column.strip(), known[unit.strip().lower()])
    if not measured:
        raise WeatherFileError("Name at least one column, such as --temperature “Temp:C”.")
    _check_form(time_format)
    return StationColumns(time, measured, time_format)


def _check_form(time_format: str) -> None:
    """Refuse a form that no time has; what is wrong with it would be blamed on every row."""
    try:
        datetime.strptime(_SOME_TIME.strftime(time_format), time_format)
    except (ValueError, re.error) as error:
        raise WeatherFileError(
            f"“{time_format}” is no form of a time; write one as %d.%m.%Y %H:%M, each part once."
        ) from error


def read_station(path: Path, columns: StationColumns, zone: ZoneInfo) -> StationRecord:
    """Read a station's file into hours.

    Parameters
    ----------
    path : Path
        CSV in UTF-8 with a header; comma, semicolon or tab.
    columns : StationColumns
        Names and units.
    zone : ZoneInfo
        Of times without UTC offset. Where clocks are put back, the hour that comes twice is told
        by the order of the rows.

    Raises
    ------
    WeatherFileError
        With one sentence that names the file and the problem.
    """
    rows = _rows(path, columns)
    reader = _Reader(path, columns, zone)
    for number, row in rows:
        reader.take(number, row)
    if not reader.samples:
        raise WeatherFileError(
            f"“{path}” has no row with a time that can be read; state its form with --time-format."
        )
    questions = reader.questions()
    samples = [
        (at, {what: value for what, value in values.items() if what not in questions})
        for at, values in reader.samples
    ]
    hours = tuple(_hours(samples, columns, zone))
    remarks = (*questions.values(), *reader.remarks(passed_over=questions), *_gaps(hours))
    return StationRecord(hours, remarks, tuple(questions.values()))


def _rows(path: Path, columns: StationColumns) -> list[tuple[int, dict[str, str]]]:
    try:
        return list(_cells(path, read_table(path), columns))
    except TableError as error:
        raise WeatherFileError(str(error)) from error


def _cells(
    path: Path, table: ReadTable, columns: StationColumns
) -> Iterator[tuple[int, dict[str, str]]]:
    for wanted in (columns.time, *(column for column, _ in columns.measured.values())):
        if wanted not in table.names:
            shown = ", ".join(f"“{name[:40]}”" for name in table.names[:12])
            raise WeatherFileError(f"“{path}” has no column “{wanted}”; it has {shown}.")
    comma_decimals = table.delimiter != COMMA
    for line, row in table.records():
        yield line, {k: _plain(v, comma_decimals=comma_decimals) for k, v in row.items()}


def _plain(text: str, *, comma_decimals: bool) -> str:
    cell = text.strip()
    digits = cell.replace(",", "").lstrip("+-").isdigit()
    return cell.replace(",", ".") if comma_decimals and cell.count(",") == 1 and digits else cell


@dataclass
class _Reader:
    """Takes rows one after the other, and counts what had to be passed over."""

    path: Path
    columns: StationColumns
    zone: ZoneInfo
    samples: list[tuple[datetime, dict[str, float]]] = field(default_factory=list)
    readings: dict[str, list[Reading]] = field(default_factory=dict)
    passed: dict[tuple[str, str], list[int]] = field(default_factory=dict)
    seen: set[datetime] = field(default_factory=set)

    def take(self, number: int, row: Mapping[str, str]) -> None:
        at = self._time(row[self.columns.time])
        if at is None:
            self._pass(number, "no time that can be read")
            return
        if at in self.seen:
            self._pass(number, "a time that was there already")
            return
        self.seen.add(at)
        values = {}
        for what, (column, unit) in self.columns.measured.items():
            value = _number(what, unit, row[column])
            if value is not None:
                self.readings.setdefault(what, []).append(Reading(number, at, value))
            if value is not None and _can_be(what, value):
                values[what] = value
            elif row[column]:
                self._pass(number, f"no possible {what} in column “{column}”", what)
        self.samples.append((at, values))

    def _pass(self, number: int, why: str, what: str = "") -> None:
        self.passed.setdefault((why, what), []).append(number)

    def questions(self) -> dict[str, str]:
        """Return what to ask about whole columns, by what they are said to hold."""
        asked = {
            what: doubt_of_column(what, unit, column, self.readings.get(what, []))
            for what, (column, unit) in self.columns.measured.items()
        }
        return {what: question for what, question in asked.items() if question}

    def _time(self, text: str) -> datetime | None:
        form = self.columns.time_format
        try:
            read = datetime.strptime(text, form) if form else datetime.fromisoformat(text)
        except ValueError:
            return None
        if not _FIRST_YEAR <= read.year <= _LAST_YEAR:  # others have no time in every zone
            return None
        if read.tzinfo is not None:
            return read.astimezone(UTC)
        first, second = (read.replace(tzinfo=self.zone, fold=n).astimezone(UTC) for n in (0, 1))
        # Rows go forward: a time that comes a second time is that of the hour put back.
        last = self.samples[-1][0] if self.samples else None
        return second if last is not None and first <= last < second else first

    def remarks(self, passed_over: Container[str] = ()) -> list[str]:
        """Say how many rows were passed over, and why; nothing of columns passed over as a whole.

        Parameters
        ----------
        passed_over : container of str
            What those columns are said to hold.
        """
        return [
            f"{len(lines)} row{'s have' if len(lines) > 1 else ' has'} {why} "
            f"({lines_named(lines)}) and {'were' if len(lines) > 1 else 'was'} passed over there."
            for (why, what), lines in self.passed.items()
            if what not in passed_over
        ]


def _number(what: str, unit: str, text: str) -> float | None:
    """Return a cell in °C, percent, mm, or the unit of wetness; None where it is no number."""
    if what == "wetness" and unit == "yes":
        word = text.lower()
        return 1.0 if word in _YES else 0.0 if word in _NO else None
    try:
        value = float(text)
    except ValueError:
        return None
    if what == "temperature" and unit == "F":
        value = (value - 32) * 5 / 9
    if what == "rain" and unit == "in":
        value *= 25.4
    return value if math.isfinite(value) else None


def _can_be(what: str, value: float) -> bool:
    low, high = _RANGES.get(what, (0.0, 1440.0))
    return low <= value <= high


def _hours(
    samples: Sequence[tuple[datetime, dict[str, float]]], columns: StationColumns, zone: ZoneInfo
) -> Iterable[WeatherHour]:
    """Gather samples by the hour in which they were taken."""
    by_hour: dict[datetime, list[dict[str, float]]] = {}
    for at, values in sorted(samples, key=lambda sample: sample[0]):
        by_hour.setdefault(at.replace(minute=0, second=0, microsecond=0), []).append(values)
    unit = columns.measured.get("wetness", ("", ""))[1]
    for at, rows in by_hour.items():
        temperatures = _known(rows, "temperature")
        yield WeatherHour(
            at=at.astimezone(zone),
            temp_c=_mean(temperatures),
            hottest_c=max(temperatures, default=None),
            humidity_pct=_mean(_known(rows, "humidity")),
            wet_share=_wet_share(_known(rows, "wetness"), unit),
            rain_mm=sum(rain) if (rain := _known(rows, "rain")) else None,
        )


def _known(rows: Iterable[Mapping[str, float]], what: str) -> list[float]:
    return [row[what] for row in rows if what in row]


def _mean(values: Sequence[float]) -> float | None:
    return fmean(values) if values else None


def _wet_share(values: Sequence[float], unit: str) -> float | None:
    if not values:
        return None
    whole = {"min": sum(values) / 60, "h": sum(values), "%": fmean(values) / 100}
    return min(1.0, whole.get(unit, fmean(values)))


def _gaps(hours: Sequence[WeatherHour]) -> list[str]:
    """Name each stretch of hours without a row."""
    found = []
    for before, after in pairwise(hours):
        lost = round((after.at.astimezone(UTC) - before.at.astimezone(UTC)) / _HOUR) - 1
        if lost > 0:
            begins = (before.at.astimezone(UTC) + _HOUR).astimezone(before.at.tzinfo)
            found.append(
                f"No data from {begins:%Y-%m-%d %H:%M} to {after.at:%Y-%m-%d %H:%M} "
                f"({lost} hour{'s' * (lost > 1)})."
            )
    more = len(found) - _MOST_GAPS
    return found[:_MOST_GAPS] + ([f"And {more} more gaps."] if more > 0 else [])
