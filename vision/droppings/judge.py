"""How sure to be of a spot that the network sees: numbers in ``frass.json``.

The networks alone are surer than they should be. So what both say is weighed together with the form
and colour of the spot, and then with the other spots of the photo. Of one small network for either
step, ``python -m scripts.workshop learn droppings`` learns the weights from painted photos that the
networks have not seen.
"""

import json
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision import learned
from vision.droppings.company import COMPANY, LOOKS, company
from vision.droppings.measures import MEASURES
from vision.droppings.spots import Spots
from vision.layers import Layers, layers_of

__all__ = ["JUDGE_PATH", "KNOWN", "Judge", "in_company", "judge_of", "load_judge", "rows_of"]

Floats = NDArray[np.float32]

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
    if any(stored[name]["inputs"] != names for name, names in wanted.items()):
        raise ValueError("frass.json was made for other measures: learn it again.")
    doubt, missed = (float(stored[name]) for name in ("doubt", "missed_share"))
    return Judge(layers_of(stored["alone"]), layers_of(stored["among"]), doubt, missed)


@cache
def load_judge() -> Judge:
    """Load the judge that ships with the product."""
    return judge_of(json.loads(JUDGE_PATH.read_text(encoding="utf-8")))
