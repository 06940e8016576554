"""How long a hornworm is at each larval stage: a rough hint of its age."""

import math

__all__ = ["LENGTH_MM", "nearest_instar"]

LENGTH_MM = (6.7, 11.2, 23.4, 49.0, 81.3)
"""Usual length of the larval stages (instars) 1 to 5, in mm.

[memory: Capinera, Handbook of Vegetable Pests, and a University of Florida page]; the source was
not seen again, so that a stage is a hint and not a measurement.
"""


def nearest_instar(length_mm: float) -> int:
    """Return the stage, 1 to 5, whose usual length is nearest on a logarithmic scale.

    Parameters
    ----------
    length_mm : float
        Above 0.

    Examples
    --------
    >>> [nearest_instar(length) for length in (7, 11, 23, 49, 81)]
    [1, 2, 3, 4, 5]
    """
    distances = [abs(math.log(length_mm / usual)) for usual in LENGTH_MM]
    return distances.index(min(distances)) + 1
