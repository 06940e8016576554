"""The learned part of finding droppings: four small networks, their numbers in ``frass.json``.

The first takes a glance at every spot and chooses those worth a look; the second chooses those
worth an outline; the third weighs its picture and all that was measured; the fourth weighs that
verdict against the other droppings of the photo, for droppings of one caterpillar are of one size
and colour.
``python -m scripts.train_frass`` learns them again.
"""

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.frass_look import LOOK
from vision.frass_measures import COMPANY, MEASURES
from vision.frass_peaks import GLANCE
from vision.frass_picture import PictureNet, picture_net_of
from vision.layers import Layers, layers_of

__all__ = ["CLOSE", "JUDGE_PATH", "LOOKED", "Judge", "judge_of", "load_judge"]

LOOKED = (*GLANCE, *LOOK)
"""What is known of a spot before it is outlined."""

CLOSE = (*MEASURES, *LOOKED)
"""What is known of a spot that is outlined, besides its picture."""

JUDGE_PATH = Path(__file__).with_name("frass.json")

Floats = NDArray[np.float32]

_HOPELESS = -3.0  # log-odds below which one look at a picture is enough
_SEEN = {"glance": GLANCE, "look": LOOKED, "close": CLOSE, "company": COMPANY}


@dataclass(frozen=True, eq=False)
class Judge:
    """What tells droppings from other dark things.

    Attributes
    ----------
    glance, look, company : Layers
        See the module.
    close : tuple of PictureNet
        Several that were begun by different chance, for their mean errs less.
    doubt : float
        Divisor of the log-odds for the interval, from 1: how much surer the networks are than
        they should be.
    missed_share : float
        Droppings that no patch stands for, as a share of those found.
    """

    glance: Layers
    look: Layers
    close: tuple[PictureNet, ...]
    company: Layers
    doubt: float
    missed_share: float

    def close_log_odds(
        self, rows: NDArray[np.float32], pictures: NDArray[np.uint8]
    ) -> NDArray[np.float32]:
        """Return the mean log-odds of outlined spots by their own measures and pictures.

        What is not hopeless is looked at in all four mirror pictures: a photo and its mirror
        picture must give the same.
        """
        odds = self._mean_of(rows, pictures)
        also = np.flatnonzero(odds > _HOPELESS)
        if len(also):
            rows, pictures = rows[also], pictures[also]
            ways = (pictures, pictures[:, ::-1], pictures[:, :, ::-1], pictures[:, ::-1, ::-1])
            odds[also] = np.mean([self._mean_of(rows, way) for way in ways], axis=0)
        return odds

    def _mean_of(self, rows: NDArray[np.float32], pictures: NDArray[np.uint8]) -> Floats:
        odds = [one.log_odds(rows, pictures) for one in self.close]
        return np.asarray(np.mean(odds, axis=0), np.float32)


def judge_of(stored: dict[str, Any]) -> Judge:
    """Return the judge whose numbers are given.

    Raises
    ------
    ValueError
        In one sentence, when they belong to other measures.
    """
    networks = [(name, one) for name in _SEEN for one in _as_list(stored[name])]
    if any(one["inputs"] != list(_SEEN[name]) for name, one in networks):
        raise ValueError("frass.json was made for other measures: learn it again.")
    glance, look, company = (layers_of(stored[name]) for name in ("glance", "look", "company"))
    close = tuple(picture_net_of(one) for one in stored["close"])
    doubt, missed = (float(stored[name]) for name in ("doubt", "missed_share"))
    return Judge(glance, look, close, company, doubt, missed)


def _as_list(networks: dict[str, Any] | list[dict[str, Any]]) -> list[dict[str, Any]]:
    return networks if isinstance(networks, list) else [networks]


@cache
def load_judge() -> Judge:
    """Load the judge that ships with the product."""
    return judge_of(json.loads(JUDGE_PATH.read_text(encoding="utf-8")))
