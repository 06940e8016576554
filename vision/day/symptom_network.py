"""Where a leaf shows symptoms: a convolutional network, its numbers in ``symptoms.onnx``.

It sees the leaf's colours against the leaf's own healthy tissue, so that another light moves both
together, and the form of what is seen: a vein, gloss or the shade of a fold are told from a lesion
by it. For each output, two pixels wide, it says whether a symptom is there, and whether it is dead
rather than yellow. ``python -m scripts.workshop learn tissue_network`` learns it again.
"""

from dataclasses import dataclass, field
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.day.tissue import Healthy
from vision.learned import SYMPTOMS, load_onnx
from vision.raster import usual_turn

__all__ = ["LONG_PX", "SeenSymptoms", "interval_in_the_field", "load_network", "see_symptoms"]

Floats = NDArray[np.float32]

LONG_PX = 448
"""Long side at which the network sees a leaf; smaller leaves are seen as they are."""

_SIDE_PX = 32  # sides are continued to multiples of it
_OFF, _OWN = 20.0, 40.0  # CIELAB units by which contrasts and own colours are divided

_INTERVAL_SLOPE, _INTERVAL_BASE = 3.6, 0.5
"""How the 95 % interval of severity widens with what is doubtful; see ``interval_in_the_field``."""


@dataclass(frozen=True, eq=False)
class SeenSymptoms:
    """What the network sees on a leaf; natural log-odds, above 0 where it is likelier.

    Attributes
    ----------
    sick : ndarray of float32, shape (rows, columns)
        A symptom.
    dead : ndarray of float32, shape (rows, columns)
        Dead tissue rather than yellow; says something only where there is a symptom.
    """

    sick: Floats = field(repr=False)
    dead: Floats = field(repr=False)


def see_symptoms(lab: Floats, leaf: NDArray[np.bool_], healthy: Healthy) -> SeenSymptoms:
    """Let the network see a leaf.

    Parameters
    ----------
    lab : ndarray of float32, shape (rows, columns, 3)
        CIELAB of a picture that shows the leaf, with little around it.
    leaf : ndarray of bool, shape (rows, columns)
        The leaf's pixels.
    healthy : Healthy
        The leaf's own healthy colour.
    """
    turn = usual_turn(leaf)
    lab, leaf = turn.there(lab), turn.there(leaf)
    rows, columns = leaf.shape
    factor = min(1.0, LONG_PX / max(rows, columns))
    size = (max(1, round(columns * factor)), max(1, round(rows * factor)))
    small = cv2.resize(lab, size, interpolation=cv2.INTER_AREA)
    cover = cv2.resize(leaf.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    inside = (cover > 0.5).astype(np.float32)
    planes = np.zeros((6, size[1] + -size[1] % _SIDE_PX, size[0] + -size[0] % _SIDE_PX), np.float32)
    shown = planes[:, : size[1], : size[0]]
    off = (small - np.array(healthy.lab, np.float32)) / np.float32(_OFF)
    shown[:3] = off.transpose(2, 0, 1) * inside
    shown[3:5] = small[..., 1:].transpose(2, 0, 1) / np.float32(_OWN) * inside
    shown[5] = inside
    network = load_network()
    network.setInput(planes[None])
    seen = network.forward("seen")[0]
    larger = [cv2.resize(plane, planes.shape[:0:-1])[: size[1], : size[0]] for plane in seen]
    sick, dead = (
        np.asarray(turn.back(cv2.resize(one, (columns, rows))), np.float32) for one in larger
    )
    return SeenSymptoms(sick, dead)


@cache
def load_network() -> cv2.dnn.Net:
    """Load the network that ships with the product."""
    return load_onnx(SYMPTOMS)


def interval_in_the_field(severity_pct: float, doubtful_pct: float) -> tuple[float, float]:
    """Return the lower and upper end of the 95 % interval, from 0 to 100 %.

    It covers the error of the measuring itself: how far the percentage may lie from the one that
    an exact mask of the same photo would give. It grows with the share of pixels that the network
    doubts, and was widened until it held more than 9 in 10 painted photos that the network had
    not learned from (92 %; 98 % of the coffee leaves, from which it had). It does not cover which
    leaves were chosen for the photo; the spread between leaves does that.

    Parameters
    ----------
    severity_pct : float
        What was measured, 0 to 100.
    doubtful_pct : float
        From ``vision.day.lesion.Symptoms``.
    """
    half = _INTERVAL_BASE + _INTERVAL_SLOPE * doubtful_pct
    return float(max(0.0, severity_pct - half)), float(min(100.0, severity_pct + half))
