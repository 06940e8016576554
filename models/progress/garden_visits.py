"""A garden's season: every plant's visits, and how sure each of them is."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from models.progress.course import VisitScatter, visit_scatter
from models.progress.leaves import LeafTable
from models.progress.points import SeverityPoint, group_visits, logit_errors, point_at
from models.progress.spread import LeafSpread, Visits, learn_spread

__all__ = ["GardenVisits", "garden_visits"]

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
    shares : ndarray of float, shape (leaves,)
        The leaves' severities, 0 to 1, in the order of the visits.
    errors, freedom : ndarray of float, shape (visits,)
        Standard error of each visit's logit mean, NaN where unknown, and its degrees of freedom.
    spread : LeafSpread
        How much the leaves of one plant differ.
    scatter : VisitScatter
        How much visits scatter beyond that.
    """

    plants: tuple[str, ...]
    visits: Visits
    shares: Floats
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
        places = np.flatnonzero(self.visits.plant == self.plants.index(plant))
        return tuple(self._point(plant, int(place)) for place in places)

    def _point(self, plant: str, place: int) -> SeverityPoint:
        first = self.visits.first[place]
        return point_at(
            plant,
            self.visits,
            place,
            self.shares[first : first + self.visits.leaves[place]],
            float(self.errors[place]),
            float(self.freedom[place]),
        )


def garden_visits(leaves: LeafTable) -> GardenVisits:
    """Group a garden's leaves into visits, and learn from them how sure each visit is.

    Parameters
    ----------
    leaves : LeafTable
        Of the whole garden, also when only one plant is asked for: the others tell how much
        leaves and visits differ.
    """
    visits, shares = group_visits(leaves)
    spread = learn_spread(visits)
    errors, freedom = logit_errors(visits, spread)
    scatter = visit_scatter(leaves.plants, visits, errors)
    return GardenVisits(leaves.plants, visits, shares, errors, freedom, spread, scatter)
