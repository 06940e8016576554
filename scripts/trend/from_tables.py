"""Courses of one garden's plants from Parquet tables, of which only what is needed is read."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from models.care.season import season_of
from models.care.seasons import season_begin
from models.care.thresholds import thresholds_of
from models.entries import LeafEntry, PhotoEntry
from models.garden.beds import Garden, Plant
from models.garden.clock import in_garden_time
from models.progress.course import RECENT_DAYS
from scripts.common.moments import now_in
from scripts.common.parquet import gardens_in, read_rows, require_parquet
from scripts.trend.read import NoTrendError, Trend, trend_of
from vision.photo.address import Place

__all__ = ["trend_from_tables"]

_ZONE = "UTC"  # the tables hold each photo's own local time
_TIMES = ("taken_at", "taken_from", "plant")
_OF_PHOTO = (
    *("photo", "sha256", "taken_at", "taken_from", "plant", "mode", "flags", "lesion_count"),
    *("severity_pct", "severity_low_pct", "severity_high_pct", "pattern", "blight_kind"),
)
_OF_LEAF = (
    *("leaf", "area_px", "lesion_count", "lesion_pct", "halo_pct", "severity_pct"),
    *("severity_low_pct", "severity_high_pct", "pattern", "p_spot", "p_blight", "p_none"),
    *("blight_kind", "flags"),
)
_TEXTS = ("pattern", "blight_kind", "plant")


def trend_from_tables(
    tables: Place,
    of: str | None = None,
    plants: Sequence[str] = (),
    *,
    threshold_pct: float | None = None,
    recent_days: int = RECENT_DAYS,
    since: date | None = None,
    at: datetime | None = None,
) -> Trend:
    """Judge the plants of one garden; see `scripts.trend.read.read_trend`.

    Parameters
    ----------
    tables : Path or Address
        Folder of the tables.
    of : str, optional
        Name of the garden; needed where there are several.
    plants : sequence of str
        Those to tell of; all by default.
    threshold_pct : float, optional
        Severity whose date is foretold.
    recent_days : int
        Length of the last stretch by which the direction is judged.
    since : date, optional
        First day told of; the last season by default.
    at : datetime, optional
        As of this time; now by default.

    Raises
    ------
    NoTrendError
        When there is no such garden, or no measured leaf.
    ParquetError
        When a table cannot be read.
    """
    require_parquet()
    name = _garden(tables, of)
    now = at or now_in(_ZONE)
    times = [(_taken_at(row), row["plant"]) for row in read_rows(tables / "photos", _TIMES, name)]
    garden = _as_garden(name, [plant for _, plant in times if plant])
    begin = _begin(garden, [taken_at for taken_at, plant in times if plant], now, since)
    entries = _entries(tables, name, f"{begin:%Y-%m}")
    season = season_of(garden, entries, (), now, since=begin)
    if not season.measured_days:
        raise NoTrendError(f"The tables hold no measured leaf of any plant of “{name}” since then.")
    return trend_of(
        season, (), plants, threshold_pct=threshold_pct, recent_days=recent_days, since=since
    )


def _garden(tables: Place, of: str | None) -> str:
    known = gardens_in(tables / "photos")
    if of is not None and of in known:
        return of
    if of is None and len(known) == 1:
        return known[0]
    if not known:
        raise NoTrendError(f"“{tables}” holds no tables that “spotlamp score --table” wrote.")
    named = ", ".join(f"“{name}”" for name in known[:5])
    more = f" and {len(known) - 5} more" if len(known) > 5 else ""
    raise NoTrendError(f"Name one garden with --of; the tables hold {named}{more}.")


def _as_garden(name: str, plants: Sequence[str]) -> Garden:
    return Garden(name, _ZONE, plants=tuple(Plant(one, "") for one in sorted(set(plants))))


def _begin(
    garden: Garden, times: Sequence[datetime], now: datetime, since: date | None
) -> datetime:
    if since is not None:
        return datetime.combine(since, time(), ZoneInfo(_ZONE))
    return season_begin(iter(times), (), now, thresholds_of(garden).season_days)


def _entries(tables: Place, garden: str, since: str) -> list[PhotoEntry]:
    leaves: dict[str, list[LeafEntry]] = defaultdict(list)
    for row in read_rows(tables / "leaves", ("photo", *_OF_LEAF), garden, since):
        leaves[row["photo"]].append(LeafEntry(**_values(row, _OF_LEAF)))
    return [
        PhotoEntry(
            **_values(row, _OF_PHOTO) | {"taken_at": _taken_at(row)},
            leaves=tuple(leaves[row["photo"]]),
        )
        for row in read_rows(tables / "photos", _OF_PHOTO, garden, since)
        if row["mode"] is not None and row["taken_at"] is not None
    ]


def _values(row: Mapping[str, Any], names: Sequence[str]) -> dict[str, Any]:
    """Return cells as an entry has them."""
    cells = {name: row[name] for name in names}
    texts = {name: cells[name] or "" for name in names if name in _TEXTS}
    return cells | texts | {"flags": tuple(filter(None, (cells["flags"] or "").split(";")))}


def _taken_at(row: Mapping[str, Any]) -> datetime:
    if row["taken_at"] is None:
        return datetime.min.replace(tzinfo=ZoneInfo(_ZONE))
    taken_at = datetime.fromisoformat(row["taken_at"])
    return in_garden_time(taken_at, row["taken_from"], ZoneInfo(_ZONE))
