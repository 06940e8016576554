"""Beds as they stand: each plant a tile with its last leaf, severity, direction and status."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

from models.care.records import PlantStatus
from models.care.words import short_day_words
from models.garden.beds import Plant
from scripts.care.text import STATUS_SIGNS
from scripts.page.standing import Standing
from scripts.trend.words import GONE, mark

__all__ = ["Bed", "StatusShown", "Tile", "beds_of", "status_shown", "tile_of"]

_STYLES = {
    "isolate": "isolate",
    "check for burn": "burn",
    **dict.fromkeys(("treat", "spot-test", "prevent", "pick caterpillars"), "act"),
    **dict.fromkeys(("hold", "waiting", "rest"), "wait"),
    "watch": "watch",
    "clear": "clear",
}


@dataclass(frozen=True)
class StatusShown:
    """A status to be drawn: its word, its sign, its style, and the status itself."""

    word: str
    sign: str
    style: str
    status: PlantStatus


@dataclass(frozen=True)
class Tile:
    """One plant of a bed.

    Attributes
    ----------
    plant : str
        Its name.
    statuses : tuple of StatusShown
        None for a plant that was taken out.
    severity_pct, low_pct, high_pct : float or None
        Of its last visit, with the interval that people are shown.
    seen : str
        The day of that visit.
    direction : str
        Word and sign; empty where no course is known.
    pattern : str
        Of its last visit; may be empty.
    picture : str
        Hash of its last photo by day; empty without one.
    style : str
        How its edge is drawn.
    """

    plant: str
    statuses: tuple[StatusShown, ...]
    severity_pct: float | None
    low_pct: float | None
    high_pct: float | None
    seen: str
    direction: str
    pattern: str
    picture: str
    style: str


@dataclass(frozen=True)
class Bed:
    """A bed: its rows as they stand, None where nothing stands."""

    name: str
    rows: tuple[tuple[Tile | None, ...], ...]


def beds_of(standing: Standing) -> tuple[Bed, ...]:
    """Return the garden's beds, each plant where it stands."""
    plants = standing.garden.plants
    names = dict.fromkeys(plant.bed for plant in plants)
    members = {name: [plant for plant in plants if plant.bed == name] for name in names}
    return tuple(Bed(name, tuple(_rows(standing, members[name]))) for name in names)


def _rows(standing: Standing, members: list[Plant]) -> Iterator[tuple[Tile | None, ...]]:
    widest = max(plant.place for plant in members)
    ordered = sorted(members, key=lambda plant: (plant.row, plant.place))
    for _, row in groupby(ordered, key=lambda plant: plant.row):
        places = {plant.place: tile_of(standing, plant.name) for plant in row}
        yield tuple(places.get(place) for place in range(1, widest + 1))


def status_shown(status: PlantStatus) -> StatusShown:
    """Return how a status is drawn."""
    word = status.status
    return StatusShown(word, STATUS_SIGNS[word].strip(), _STYLES[word], status)


def tile_of(standing: Standing, plant: str) -> Tile:
    """Return what is to be seen of a plant at a glance."""
    statuses = tuple(status_shown(s) for s in standing.statuses_of.get(plant, ()))
    curve = standing.curves.get(plant)
    point = curve.points[-1] if curve else None
    low, high = (point.interval_pct if point else None) or (None, None)
    by_day = (p for p in standing.photos_of.get(plant, ()) if p.mode == "day")
    last = next(by_day, None)
    gone = plant not in standing.season.plants
    direction = mark(curve) if curve else ("× " + GONE if gone else "")
    return Tile(
        plant=plant,
        statuses=statuses,
        severity_pct=point.severity_pct if point else None,
        low_pct=low,
        high_pct=high,
        seen=short_day_words(point.day) if point else "",
        direction=direction,
        pattern=statuses[0].status.pattern if statuses else "",
        picture=last.sha256 if last else "",
        style="gone" if gone else (statuses[0].style if statuses else "watch"),
    )
