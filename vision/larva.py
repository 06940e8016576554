"""How long a hornworm and its droppings are at each larval stage: a rough hint of its age."""

import math

__all__ = ["LENGTH_MM", "frass_size_class", "nearest_instar"]

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


_MIDDLE_FROM_MM, _LARGE_FROM_MM = 2.0, 3.5
"""Droppings of stages 1 to 5 are guessed at 0.3, 0.5–1, 1–2, 2–3 and 4–6 mm [memory]."""


def frass_size_class(length_mm: float) -> str:
    """Return ``small``, ``middle`` or ``large`` for a dropping of this length.

    Parameters
    ----------
    length_mm : float
        Long side of the dropping.

    Returns
    -------
    str
        ``small`` for a young larva, ``middle`` for a half-grown one, ``large`` for one that is
        nearly grown and eats most. Sizes by stage were found in no source: it is a rough hint.

    Examples
    --------
    >>> [frass_size_class(length) for length in (0.8, 2.5, 5.0)]
    ['small', 'middle', 'large']
    """
    if length_mm < _MIDDLE_FROM_MM:
        return "small"
    return "middle" if length_mm < _LARGE_FROM_MM else "large"
