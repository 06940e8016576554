"""Everything on a night photo that might be a caterpillar, measured.

A region where bodies may cross is kept both ways, as one body and as several; pieces that may
belong together are kept as pairs. Which parting holds is the judge's business.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vision.night.body import bodies_of
from vision.night.features import Sampled, describe, sample
from vision.night.join import PAIR_FEATURES, pair_features, possible_pairs
from vision.night.light import NightLight
from vision.night.partings import Ways, shared_ground
from vision.night.regions import find_regions

__all__ = ["Candidates", "find_candidates"]


@dataclass(frozen=True, eq=False)
class Candidates:
    """The bodies of a photo with their measurements.

    Attributes
    ----------
    seen : tuple of Sampled
        Bodies; wholes and their parts both.
    features : ndarray of float32, shape (bodies, features)
        From ``describe``.
    ways_of : tuple of Ways
        Each region as a whole, and the ways to part it.
    pairs : tuple of (int, int)
        Numbers of pieces that may belong together.
    pair_features : ndarray of float32, shape (pairs, features)
        From ``vision.night.join.pair_features``.
    """

    seen: tuple[Sampled, ...]
    features: NDArray[np.float32] = field(repr=False)
    ways_of: tuple[Ways, ...]
    pairs: tuple[tuple[int, int], ...]
    pair_features: NDArray[np.float32] = field(repr=False)


def find_candidates(night: NightLight) -> Candidates:
    """Find and measure everything that might be a caterpillar.

    Parameters
    ----------
    night : NightLight
        The photo.
    """
    seen: list[Sampled] = []
    ways_of = []
    kin: list[int] = []
    for region in find_regions(night):
        found = bodies_of(region, night)
        whole = len(seen)
        seen.append(sample(found.whole, night))
        parts = []
        for way in found.ways:
            parts.append(tuple(range(len(seen), len(seen) + len(way))))
            seen += [sample(body, night) for body in way]
        kin += [whole] * (len(seen) - whole)
        shared = (shared_ground(found.whole.mask, [b.mask for b in way]) for way in found.ways)
        ways_of.append(Ways(whole, tuple(parts), tuple(shared)))
    pairs = [(i, j) for i, j in possible_pairs(seen) if kin[i] != kin[j]]
    measured = [pair_features(seen[i], seen[j], night) for i, j in pairs]
    return Candidates(
        tuple(seen),
        describe(seen, night),
        tuple(ways_of),
        tuple(pairs),
        np.array(measured, np.float32).reshape(len(pairs), len(PAIR_FEATURES)),
    )
