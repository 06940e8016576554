"""The learned part of finding droppings: three small networks, their numbers in ``frass.json``.

The first takes a glance at every dark patch and chooses those worth a close look; the second
weighs the measures of each of these; the third weighs its verdict against the other droppings of
the photo, for droppings of one caterpillar are of one size and colour.
``python -m scripts.train_frass`` learns them again.
"""

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from vision.frass_measures import COMPANY, MEASURES
from vision.frass_regions import GLANCE
from vision.layers import Layers, layers_of

__all__ = ["JUDGE_PATH", "Judge", "judge_of", "load_judge"]

JUDGE_PATH = Path(__file__).with_name("frass.json")

_SEEN = {"glance": GLANCE, "close": MEASURES, "company": COMPANY}


@dataclass(frozen=True, eq=False)
class Judge:
    """What tells droppings from other dark things.

    Attributes
    ----------
    glance, close, company : Layers
        See the module.
    doubt : float
        Divisor of the log-odds for the interval, from 1: how much surer the networks are than
        they should be.
    missed_share : float
        Droppings that no patch stands for, as a share of those found.
    """

    glance: Layers
    close: Layers
    company: Layers
    doubt: float
    missed_share: float


def judge_of(stored: dict[str, Any]) -> Judge:
    """Return the judge whose numbers are given.

    Raises
    ------
    ValueError
        In one sentence, when they belong to other measures.
    """
    if any(stored[name]["inputs"] != list(inputs) for name, inputs in _SEEN.items()):
        raise ValueError("frass.json was made for other measures: learn it again.")
    glance, close, company = (layers_of(stored[name]) for name in _SEEN)
    return Judge(glance, close, company, float(stored["doubt"]), float(stored["missed_share"]))


@cache
def load_judge() -> Judge:
    """Load the judge that ships with the product."""
    return judge_of(json.loads(JUDGE_PATH.read_text(encoding="utf-8")))
