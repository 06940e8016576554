"""Invented seasons for the tests of care."""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from models.care import BurnVerdict, Plan, entry_of, plan
from models.entries import LeafEntry, LogEntry, PhotoEntry
from models.garden.beds import Garden, Plant

BERLIN = ZoneInfo("Europe/Berlin")


class Season:
    """An invented season; days count from Monday 1 June 2026, hours are those of the clock."""

    def __init__(self, plants="A1 A2 A3 A4 B1 B2", **care):
        names = plants.split()
        self.garden = Garden(
            "invented",
            "Europe/Berlin",
            plants=tuple(Plant(n, f"bed-{n[0]}", 1, int(n[1:])) for n in names),
            settings={"care": care} if care else {},
        )
        self.photos: list[PhotoEntry] = []
        self.entries: list[LogEntry] = []

    @staticmethod
    def at(day, hour=8.0) -> datetime:
        """Return a time as the garden's clocks show it."""
        return datetime(2026, 6, 1, tzinfo=BERLIN) + timedelta(days=day, hours=hour)

    def photo(self, plant, day, severity, pattern="spot", *, width=2.0, hour=8, **more) -> "Season":
        """File a day photo."""
        name = f"{plant}/{day}-{hour}-{len(self.photos)}.jpg"
        low, high = max(0.0, severity - width / 2), min(100.0, severity + width / 2)
        values = {"severity_pct": severity, "severity_low_pct": low, "severity_high_pct": high}
        kind = {"blight_kind": "early"} if pattern == "blight" else {}
        more = {"pattern": pattern, **values, **kind, **more}
        self.photos.append(PhotoEntry(name, name, self.at(day, hour), plant=plant, **more))
        return self

    def healthy(self, day, *but, hour=8) -> "Season":
        """File a photo without symptoms of every plant but some."""
        for plant in self.garden.plants:
            if plant.name not in but:
                self.photo(plant.name, day, 0.2, "none", width=0.4, hour=hour)
        return self

    def signs(self, plant, day, frass=0, chewed=0.0) -> "Season":
        """File a day photo of droppings or eaten leaves."""
        name = f"{plant}/signs-{day}.jpg"
        more = {"frass_count": frass, "chewed_pct": chewed}
        self.photos.append(PhotoEntry(name, name, self.at(day, 9), plant=plant, **more))
        return self

    def night(self, plant, day, count, hour=22) -> "Season":
        """File a night photo."""
        name = f"{plant}/night-{day}-{hour}.jpg"
        more = {"caterpillar_low": min(count, 1), "caterpillar_high": count + 1}
        self.photos.append(
            PhotoEntry(
                name,
                name,
                self.at(day, hour),
                plant=plant,
                mode="night",
                caterpillar_count=count,
                **more,
            )
        )
        return self

    def log(self, kind, day, *plants, hour=7.5, **more) -> "Season":
        """Log something; its number is its place, from 1."""
        number = len(self.entries) + 1
        self.entries.append(LogEntry(number, kind, self.at(day, hour), plants, **more))
        return self

    def spray(self, product, day, *plants, hour=7.5) -> "Season":
        """Log a spray."""
        return self.log("spray", day, *plants, hour=hour, product=product)

    def verdict(self, verdict, plant, spray, day, hour=8.0) -> "Season":
        """Log a burn check."""
        seen = BurnVerdict(verdict, plant, spray, self.at(day, hour), {"new_pale_pct": 0.0})
        self.entries.append(replace(entry_of(seen), number=len(self.entries) + 1))
        return self

    def plan(self, day, hour=6.0, **more) -> Plan:
        """Return the plan at a time."""
        return plan(self.garden, self.photos, self.entries, self.at(day, hour), **more)

    def rules(self, day, hour=6.0, **more) -> dict[str, tuple[str, ...]]:
        """Return the names of the rows that fit each plant at a time."""
        fitting: dict[str, tuple[str, ...]] = {}
        for status in self.plan(day, hour, **more).statuses:
            fitting[status.plant] = (*fitting.get(status.plant, ()), status.rule)
        return fitting

    def tasks(self, day, hour=6.0, kind="", **more) -> list:
        """Return the tasks of a kind at a time."""
        return [t for t in self.plan(day, hour, **more).tasks if kind in ("", t.kind)]


@pytest.fixture(scope="session")
def season() -> type[Season]:
    """Return a maker of invented seasons."""
    return Season


def leaf_entry(leaf, severity, pattern="spot", kind="") -> LeafEntry:
    """Return a leaf of a filed photo."""
    low, high = max(0.0, severity - 1), severity + 1
    return LeafEntry(leaf, 1e5, 3, severity, 0.0, severity, low, high, pattern, blight_kind=kind)


@pytest.fixture(scope="session")
def a_leaf() -> Callable[..., LeafEntry]:
    """Return a maker of leaves of filed photos."""
    return leaf_entry
