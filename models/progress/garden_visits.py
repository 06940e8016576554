"""A garden's season: every plant's visits, and how sure each of them is."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from models.progress.course import VisitScatter, visit_scatter
from models.progress.leaves import LeafTable
from models.progress.points import (
    Resampled,
    SeverityPoint,
    VisitIntervals,
    VisitSum,
    group_visits,
    logit_errors,
    points_at,
    visit_intervals,
    visits_of,
)
from models.progress.spread import LeafSpread, Visits, learn_spread

__all__ = ["GardenVisits", "garden_visits", "summed_visits"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class GardenVisits:
    """All visits of a garden, ready to be judged.

    Attributes
    ----------
    plants : tuple of str
        Names, in the order of the leaf table.
    visits : Visits
        Sorted by plant, then day.
    resampled : callable
        Gives the bootstrap interval of a visit with many leaves, by its place.
    errors, freedom : ndarray of float, shape (visits,)
        Standard error of each visit's logit mean, NaN where unknown, and its degrees of freedom.
    spread : LeafSpread
        How much the leaves of one plant differ.
    scatter : VisitScatter
        How much visits scatter beyond that.
    """

    plants: tuple[str, ...]
    visits: Visits
    resampled: Resampled
    errors: Floats
    freedom: Floats
    spread: LeafSpread
    scatter: VisitScatter
    _points: dict[str, tuple[SeverityPoint, ...]] = field(
        default_factory=dict, init=False, repr=False
    )

    def points(self, plant: str) -> tuple[SeverityPoint, ...]:
        """Return a plant's visits by day; none for a plant without a measured leaf."""
        if plant not in self._points:
            self._points[plant] = self._points_of(plant)
        return self._points[plant]

    def _points_of(self, plant: str) -> tuple[SeverityPoint, ...]:
        if plant not in self.plants:
            return ()
        number = self.plants.index(plant)
        first, end = np.searchsorted(self.visits.plant, (number, number + 1))
        places = slice(int(first), int(end))
        return points_at(plant, self.visits, self._intervals, self.errors, places)

    @cached_property
    def _intervals(self) -> VisitIntervals:
        return visit_intervals(self.visits, self.resampled, self.errors, self.freedom)


def garden_visits(leaves: LeafTable) -> GardenVisits:
    """Group a garden's leaves into visits, and learn from them how sure each visit is.

    Parameters
    ----------
    leaves : LeafTable
        Of the whole garden, also when only one plant is asked for: the others tell how much
        leaves and visits differ.
    """
    return _garden_visits(leaves.plants, *group_visits(leaves))


def summed_visits(found: Mapping[str, Sequence[tuple[int, VisitSum]]]) -> GardenVisits:
    """Learn from a garden's visits, each summed up already, how sure each of them is.

    Parameters
    ----------
    found : mapping of str to sequence of (int, VisitSum)
        By plant: its days, as ``date.toordinal()``, in order, and what they sum up to. Of the
        whole garden, as for `garden_visits`.
    """
    return _garden_visits(tuple(found), *visits_of(list(found.values())))


def _garden_visits(plants: tuple[str, ...], visits: Visits, resampled: Resampled) -> GardenVisits:
    spread = learn_spread(visits)
    errors, freedom = logit_errors(visits, spread)
    scatter = visit_scatter(plants, visits, errors)
    return GardenVisits(plants, visits, resampled, errors, freedom, spread, scatter)
