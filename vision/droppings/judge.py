"""How sure to be of a spot that the network sees: numbers in ``judge.json``.

The networks alone are surer than they should be. So what both say is weighed together with the form
and colour of the spot, and then with the other spots of the photo. Of one small network for either
step, ``python -m scripts.workshop learn droppings`` learns the weights from painted photos that the
networks have not seen.
"""

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision import learned
from vision.droppings.measures import MEASURES
from vision.droppings.spots import Spots
from vision.learned import Layers, layers_of, refuse_others, stored_in

__all__ = [
    "COMPANY",
    "JUDGE_PATH",
    "KNOWN",
    "LOOKS",
    "Judge",
    "company",
    "in_company",
    "judge_of",
    "load_judge",
    "rows_of",
]

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
_SUREST_OF_OTHERS = 6.0  # log-odds that are believed at most
_BELIEVED = 0.1  # probability from which a spot is company for others
_ENOUGH = 0.3  # sum of the others' probabilities from which they have a usual look
_FEW = 0.1  # added to the number of those alike, so that the mean of none is 0


KNOWN = (
    "middle",  # log-odds of a middle, by the first network
    "inside",  # mean log-odds of a dropping close around it, by the same
    "close",  # log-odds by a close look
    "size",  # natural log of the diameter in pixels
    "below_brightest",  # L* of the photo's brightest parts minus its own
    *MEASURES,
)
"""What is known of a spot alone, in order."""

JUDGE_PATH = learned.DROPPING_JUDGE

_SUREST = 8.0  # log-odds by a close look that are believed at most
_LOOKS = [KNOWN.index(name) for name in LOOKS]


@dataclass(frozen=True, eq=False)
class Judge:
    """What says how sure to be.

    Attributes
    ----------
    alone : Layers
        Log-odds of being a dropping from ``KNOWN``.
    among : Layers
        The same from what `in_company` adds.
    doubt : float
        Divisor of the log-odds for the interval, from 1.
    missed_share : float
        Droppings that no spot stands for, as a share of those found.
    """

    alone: Layers
    among: Layers
    doubt: float
    missed_share: float

    def log_odds(self, rows: Floats) -> Floats:
        """Return the log-odds of each spot of one photo.

        Parameters
        ----------
        rows : ndarray of float32, shape (spots, len(KNOWN))
            From `rows_of`, of all spots of the photo.
        """
        return self.among.log_odds(in_company(rows, self.alone.log_odds(rows)))


def rows_of(spots: Spots, close: Floats, measures: Floats, brightest: float) -> Floats:
    """Return ``KNOWN`` of each spot, shape (spots, len(KNOWN)).

    Parameters
    ----------
    spots : Spots
        From ``vision.droppings.spots``.
    close : ndarray of float32, shape (spots,)
        From ``vision.droppings.close``.
    measures : ndarray of float32, shape (spots, len(MEASURES))
        From ``vision.droppings.measures``.
    brightest : float
        CIELAB lightness of the photo's brightest parts, 0 to 100: droppings are none of them.
    """
    close, size = np.clip(close, -_SUREST, _SUREST), np.log(spots.diameter_px)
    below = np.float32(brightest) - measures[:, MEASURES.index("lightness")]
    columns = np.stack((spots.middle, spots.inside, close, size, below), axis=1)
    return np.concatenate([columns, measures], axis=1).astype(np.float32)


def in_company(rows: Floats, odds: Floats) -> Floats:
    """Return rows of ``KNOWN`` with ``COMPANY`` added, of the spots of one photo.

    Parameters
    ----------
    rows : ndarray of float32, shape (spots, len(KNOWN))
        What is known of each alone.
    odds : ndarray of float32, shape (spots,)
        Log-odds by these alone.
    """
    return np.concatenate([rows, company(rows[:, _LOOKS], odds)], axis=1)


def judge_of(stored: dict[str, Any]) -> Judge:
    """Return the judge whose numbers are given.

    Raises
    ------
    ValueError
        In one sentence, when they belong to other measures.
    """
    wanted = {"alone": [*KNOWN], "among": [*KNOWN, *COMPANY]}
    made_for = {name: stored.get(name, {}).get("inputs") for name in wanted}
    refuse_others(JUDGE_PATH, made_for, wanted)
    doubt, missed = (float(stored[name]) for name in ("doubt", "missed_share"))
    return Judge(layers_of(stored["alone"]), layers_of(stored["among"]), doubt, missed)


@cache
def load_judge(path: Path = JUDGE_PATH) -> Judge:
    """Load the judge that ships with the product, or another of the same layout."""
    return judge_of(stored_in(path))


def company(looks: Floats, odds: Floats) -> Floats:
    """Return ``COMPANY`` of each spot, shape (spots, len(COMPANY)).

    Parameters
    ----------
    looks : ndarray of float32, shape (spots, len(LOOKS))
        Of all spots of one photo.
    odds : ndarray of float32, shape (spots,)
        Log-odds of being a dropping, by what is known of each alone.
    """
    odds = np.clip(odds, -_SUREST_OF_OTHERS, _SUREST_OF_OTHERS)
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
