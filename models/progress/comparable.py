"""Which plants can be compared to judge a spray."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from models.entries import LogEntry
from models.progress.growth import (
    LAST_BEFORE_DAYS,
    PlantGrowth,
    concerns,
    last_day,
    plant_growth,
    was_sprayed,
)
from models.progress.points import SeverityPoint
from models.progress.rates import DETECTABLE_PCT

__all__ = ["Compared", "comparable_plants"]


@dataclass(frozen=True)
class Compared:
    """The plants that are set side by side.

    Attributes
    ----------
    sprayed, unsprayed : tuple of PlantGrowth
        Either may be empty.
    left_out : tuple of str
        Plants that were photographed often enough, but had leaves removed in these days.
    kept_in : tuple of str
        Plants with leaves removed that are compared all the same, for want of others.
    """

    sprayed: tuple[PlantGrowth, ...]
    unsprayed: tuple[PlantGrowth, ...]
    left_out: tuple[str, ...] = ()
    kept_in: tuple[str, ...] = ()


def comparable_plants(
    spray: LogEntry, points: Mapping[str, Sequence[SeverityPoint]], log: Iterable[LogEntry]
) -> Compared:
    """Return the sprayed and the unsprayed plants whose growth can be compared.

    Other sprays end the days judged and take plants out; so does removing leaves, where two plants
    remain. Beside plants that were all sick, only sick ones are set.

    Parameters
    ----------
    spray : LogEntry
        The spray.
    points : mapping of str to sequence of SeverityPoint
        Every plant's visits, by day.
    log : iterable of LogEntry
        The garden's log.
    """
    entries = [entry for entry in log if not entry.withdrawn]
    others = [entry for entry in entries if entry.kind == "spray" and not _same(entry, spray)]
    day, end = spray.at.date(), last_day(spray, others)
    growth = [plant_growth(visits, day, end) for visits in points.values() if visits]
    known = [one for one in growth if one is not None]
    removed = _with_leaves_removed(entries, spray, end)
    sprayed = _left_alone([one for one in known if concerns(spray, one.plant)], removed)
    unsprayed = [
        one
        for one in known
        if not concerns(spray, one.plant) and not was_sprayed(one.plant, others, day, end)
    ]
    unsprayed = _left_alone(_like(unsprayed, sprayed), removed)
    inside = {one.plant for one in (*sprayed, *unsprayed)}
    touched = removed & {one.plant for one in known}
    return Compared(
        tuple(sprayed),
        tuple(unsprayed),
        tuple(sorted(touched - inside)),
        tuple(sorted(touched & inside)),
    )


def _same(entry: LogEntry, spray: LogEntry) -> bool:
    return entry == spray or (entry.number == spray.number and entry.number > 0)


def _with_leaves_removed(log: Sequence[LogEntry], spray: LogEntry, end: date) -> frozenset[str]:
    """Return the plants that had leaves removed in the days judged."""
    start = spray.at.date() - timedelta(days=LAST_BEFORE_DAYS)
    return frozenset(
        plant
        for entry in log
        if entry.kind == "removed_leaves" and start <= entry.at.date() <= end
        for plant in entry.plants
    )


def _left_alone(growth: list[PlantGrowth], removed: frozenset[str]) -> list[PlantGrowth]:
    """Return the plants whose leaves were left alone, if there are two; otherwise all."""
    kept = [one for one in growth if one.plant not in removed]
    return kept if len(kept) >= 2 else growth


def _like(unsprayed: list[PlantGrowth], sprayed: list[PlantGrowth]) -> list[PlantGrowth]:
    """Return only sick unsprayed plants where all sprayed ones were sick: like beside like.

    On a clean plant there is nothing yet that could grow.
    """
    if any(one.severity_pct < DETECTABLE_PCT for one in sprayed):
        return unsprayed
    return [one for one in unsprayed if one.severity_pct >= DETECTABLE_PCT]
