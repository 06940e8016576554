"""What the other spots of a photo say of each: one caterpillar's droppings are alike.

So are the seeds of one weed and the crumbs of one soil. A spot that resembles others which are
believed is likelier to be a dropping, and less likely where those like it are not.
"""

import numpy as np
from numpy.typing import NDArray

__all__ = ["COMPANY", "LOOKS", "company"]

Floats = NDArray[np.float32]

LOOKS = ("size", "lightness", "a", "b")
"""What makes spots alike: the natural log of the diameter, and CIELAB colour."""

COMPANY = (
    "alone",  # log-odds by what is known of the spot alone
    "others",  # how many other droppings are believed, log of 1 + their probabilities
    "others_odds",  # mean log-odds of these, 0 where there are none
    "size_apart",  # |log size − mean log size of the other droppings|, 0 where there are none
    "lightness_apart",  # |L* − mean L* of the other droppings|
    "colour_apart",  # distance in a*, b* from the mean of the other droppings
    "like_believed",  # how many droppings are like it, log of 1 + their probabilities
    "like_doubted",  # how many other things are like it, the same
    "like_odds",  # mean log-odds of all that is like it
)
"""What is known of a spot among others, in order."""

_ALIKE = np.array([0.35, 8.0, 4.0, 5.0], np.float32)  # differences that are small, of LOOKS
_SUREST = 6.0  # log-odds that are believed at most
_BELIEVED = 0.1  # probability from which a spot is company for others
_ENOUGH = 0.3  # sum of the others' probabilities from which they have a usual look
_FEW = 0.1  # added to the number of those alike, so that the mean of none is 0


def company(looks: Floats, odds: Floats) -> Floats:
    """Return ``COMPANY`` of each spot, shape (spots, len(COMPANY)).

    Parameters
    ----------
    looks : ndarray of float32, shape (spots, len(LOOKS))
        Of all spots of one photo.
    odds : ndarray of float32, shape (spots,)
        Log-odds of being a dropping, by what is known of each alone.
    """
    odds = np.clip(odds, -_SUREST, _SUREST)
    chance = 1 / (1 + np.exp(-odds))
    alike = _likeness(looks)
    believed = np.where(chance > _BELIEVED, chance, 0)
    others = np.maximum(believed.sum() - believed, 0)
    usual = others > _ENOUGH
    size, lightness, a, b = (
        np.where(usual, look - _mean_of_others(look, believed, others), 0) for look in looks.T
    )
    columns = (
        odds,
        *(np.log1p(others), np.where(usual, _mean_of_others(odds, believed, others), 0)),
        *(np.abs(size), np.abs(lightness), np.hypot(a, b)),
        *(np.log1p(alike @ chance), np.log1p(alike @ (1 - chance))),
        (alike @ odds) / (alike.sum(axis=1) + _FEW),
    )
    return np.stack(columns, axis=1).astype(np.float32)


def _likeness(looks: Floats) -> Floats:
    """Return how alike each two spots are, 0 to 1; none is like itself."""
    places = looks / _ALIKE
    squares = (places**2).sum(axis=1)
    apart = squares[:, None] + squares - 2 * places @ places.T
    alike = np.exp(-np.maximum(apart, 0) / 2)
    np.fill_diagonal(alike, 0)
    return np.asarray(alike, np.float32)


def _mean_of_others(values: Floats, chance: Floats, others: Floats) -> Floats:
    total = (chance * values).sum() - chance * values
    return np.asarray(total / np.maximum(others, 1e-6), np.float32)
