"""How sure to be of a spot that the network sees: numbers in ``frass.json``.

The networks alone are surer than they should be. So what both say is weighed together with the form
and colour of the spot and with the other spots of the photo, for droppings of one caterpillar are
alike. ``python -m scripts.train_frass`` learns the weights from painted photos that the networks
have not seen; it is a small network with two hidden layers.
"""

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.frass_measures import MEASURES
from vision.frass_spots import Spots
from vision.layers import Layers, layers_of

__all__ = ["JUDGE_PATH", "WEIGHED", "Judge", "judge_of", "load_judge", "weighed"]

Floats = NDArray[np.float32]

WEIGHED = (
    "middle",  # log-odds of a middle, by the first network
    "inside",  # mean log-odds of a dropping close around it, by the same
    "close",  # log-odds by a close look
    "size",  # natural log of the diameter in pixels
    "others",  # how many other droppings are believed, log of 1 + their probabilities
    "others_close",  # mean log-odds of these by a close look, 0 where there are none
    "size_apart",  # |log size − mean log size of the other droppings|, 0 where there are none
    "lightness_apart",  # |L* − mean L* of the other droppings|
    "colour_apart",  # distance in a*, b* from the mean of the other droppings
    "below_brightest",  # L* of the photo's brightest parts minus its own
    *MEASURES,
)
"""What is known of a spot, in order."""

JUDGE_PATH = Path(__file__).with_name("frass.json")

_SUREST = 8.0  # log-odds by a close look that are believed at most
_BELIEVED = 0.2  # probability by a close look from which a spot is company for others
_ENOUGH = 0.3  # sum of the others' probabilities from which they have a usual size


@dataclass(frozen=True, eq=False)
class Judge:
    """What says how sure to be.

    Attributes
    ----------
    spot : Layers
        Log-odds of being a dropping from ``WEIGHED``.
    doubt : float
        Divisor of the log-odds for the interval, from 1.
    missed_share : float
        Droppings that no spot stands for, as a share of those found.
    """

    spot: Layers
    doubt: float
    missed_share: float


def weighed(spots: Spots, close: Floats, measures: Floats, brightest: float) -> Floats:
    """Return ``WEIGHED`` of each spot, shape (spots, len(WEIGHED)).

    Parameters
    ----------
    spots : Spots
        From ``vision.frass_spots``.
    close : ndarray of float32, shape (spots,)
        From ``vision.frass_close``.
    measures : ndarray of float32, shape (spots, len(MEASURES))
        From ``vision.frass_measures``.
    brightest : float
        CIELAB lightness of the photo's brightest parts, 0 to 100: droppings are none of them.
    """
    size, close = np.log(spots.diameter_px), np.clip(close, -_SUREST, _SUREST)
    chance = np.asarray(1 / (1 + np.exp(-close)), np.float32)
    chance[chance <= _BELIEVED] = 0
    others = np.asarray(np.maximum(chance.sum() - chance, 0), np.float32)
    lightness, a, b = (measures[:, MEASURES.index(name)] for name in ("lightness", "a", "b"))
    apart = [
        np.where(others > _ENOUGH, values - _mean_of_others(values, chance, others), 0)
        for values in (size, lightness, a, b)
    ]
    usual_close = np.where(others > _ENOUGH, _mean_of_others(close, chance, others), 0)
    columns = (
        *(spots.middle, spots.inside, close, size, np.log1p(others), usual_close),
        *(np.abs(apart[0]), np.abs(apart[1]), np.hypot(apart[2], apart[3])),
        np.float32(brightest) - lightness,
    )
    return np.concatenate([np.stack(columns, axis=1), measures], axis=1).astype(np.float32)


def _mean_of_others(values: Floats, chance: Floats, others: Floats) -> Floats:
    return np.asarray(((chance * values).sum() - chance * values) / np.maximum(others, 1e-6))


def judge_of(stored: dict[str, Any]) -> Judge:
    """Return the judge whose numbers are given.

    Raises
    ------
    ValueError
        In one sentence, when they belong to other measures.
    """
    if stored["spot"]["inputs"] != list(WEIGHED):
        raise ValueError("frass.json was made for other measures: learn it again.")
    doubt, missed = (float(stored[name]) for name in ("doubt", "missed_share"))
    return Judge(layers_of(stored["spot"]), doubt, missed)


@cache
def load_judge() -> Judge:
    """Load the judge that ships with the product."""
    return judge_of(json.loads(JUDGE_PATH.read_text(encoding="utf-8")))
