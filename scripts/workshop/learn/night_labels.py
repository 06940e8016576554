"""Bodies on painted night photos, and which caterpillar of the truth each of them is."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.night.body import Body
from vision.night.partings import Parting, Ways

__all__ = [
    "Hit",
    "hits_of",
    "joined_label",
    "label_of",
    "labels_of",
    "lying_in",
    "matched",
    "pair_label",
    "reading_label",
]

Numbers = NDArray[np.uint8]

_MOSTLY = 0.5  # of a body's pixels on one caterpillar: it is that one, or a piece of it
_GREATER_PART = 0.4  # of a caterpillar's visible pixels
_NEARLY_ALL, _MOST_ACROSS = 0.85, 0.7  # a small one may lie across a large one and lie within it
_SCRAP = 0.3
_BESIDE = 0.25
_ALL_BUT = 0.85  # of what the whole region covers


@dataclass(frozen=True)
class Hit:
    """How a body lies on the caterpillars of the truth.

    Attributes
    ----------
    number : int
        The caterpillar under most of it; 0 for none.
    inside : float
        Share of the body's pixels on that caterpillar.
    cover : float
        Share of that caterpillar's visible pixels under the body.
    others_cover : float
        The largest such share of any other caterpillar.
    """

    number: int
    inside: float
    cover: float
    others_cover: float


def hits_of(bodies: Sequence[Body], numbers: Numbers, shape: tuple[int, int]) -> list[Hit]:
    """Look up bodies in the truth.

    Parameters
    ----------
    bodies : sequence of Body
        At the working scale.
    numbers : ndarray of uint8
        The truth: 0, or the number of the caterpillar, at the photo's size.
    shape : tuple of int
        Rows and columns of the working picture.
    """
    truth, whole = _truth(numbers, shape)
    return [_hit(body, truth, whole) for body in bodies]


def _truth(numbers: Numbers, shape: tuple[int, int]) -> tuple[Numbers, NDArray[np.int64]]:
    """Return the truth at the working scale, and the pixels of each number."""
    size = (shape[1], shape[0])
    truth = np.asarray(cv2.resize(numbers, size, interpolation=cv2.INTER_NEAREST), np.uint8)
    return truth, np.maximum(np.bincount(truth.ravel(), minlength=256), 1)


def _hit(body: Body, truth: Numbers, whole: NDArray[np.int64]) -> Hit:
    mask = cv2.dilate(body.mask.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    under = np.bincount(truth[body.window][mask], minlength=256)
    own = np.bincount(truth[body.window][body.mask], minlength=256)
    under[0] = 0
    number = int(np.argmax(under))
    if under[number] == 0:
        return Hit(0, 0.0, 0.0, 0.0)
    covers = under / whole
    inside = own[number] / max(int(own.sum()), 1)
    covers_of_others = np.delete(covers, number)
    return Hit(number, float(inside), float(covers[number]), float(covers_of_others.max()))


def label_of(hit: Hit) -> int | None:
    """Return 1 for a caterpillar, 0 for none (or two in one), None where it is neither clearly."""
    two = hit.others_cover >= (_GREATER_PART if hit.inside < _NEARLY_ALL else _MOST_ACROSS)
    if hit.inside < _BESIDE or two:
        return 0
    if hit.inside >= _MOSTLY and hit.cover >= _GREATER_PART:
        return 1
    return 0 if hit.cover < _SCRAP else None


def labels_of(hits: Sequence[Hit], ways_of: Sequence[Ways]) -> list[int | None]:
    """Label all bodies of a photo: where a region is one caterpillar, no part of it is another.

    Parameters
    ----------
    hits : sequence of Hit
        Of all bodies.
    ways_of : sequence
        As in ``vision.night.candidates.Candidates``.
    """
    labels = [label_of(hit) for hit in hits]
    for one in ways_of:
        if labels[one.whole] != 1:
            continue
        for part in (part for way in one.parts for part in way):
            if hits[part].cover < _ALL_BUT * hits[one.whole].cover:
                labels[part] = 0
    return labels


def lying_in(body: Body, numbers: Numbers, shape: tuple[int, int]) -> frozenset[int]:
    """Return the caterpillars whose greater part lies in a region.

    Parameters
    ----------
    body : Body
        The region as one body.
    numbers, shape
        As for ``hits_of``.
    """
    truth, whole = _truth(numbers, shape)
    mask = cv2.dilate(body.mask.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    covers = np.bincount(truth[body.window][mask], minlength=256) / whole
    covers[0] = 0.0
    return frozenset(int(number) for number in np.flatnonzero(covers >= _GREATER_PART))


def reading_label(reading: Parting, hits: Sequence[Hit], within: frozenset[int]) -> int:
    """Return 1 where a reading counts each caterpillar of a region once and nothing else, else 0.

    Parameters
    ----------
    reading : Parting
        Of the region.
    hits : sequence of Hit
        Of all bodies.
    within : frozenset of int
        From ``lying_in``.
    """
    right = [_is_on(hits[number]) for number in reading.counted]
    on = {hits[number].number for number in reading.counted}
    return int(all(right) and len(on) == len(right) and on == within)


def _is_on(hit: Hit) -> bool:
    alone = hit.others_cover < (_GREATER_PART if hit.inside < _NEARLY_ALL else _MOST_ACROSS)
    return hit.inside >= _MOSTLY and hit.cover >= _GREATER_PART and alone


def joined_label(pair: int | None, joined: Hit) -> int | None:
    """Return the label of two pieces as one body; None where a caterpillar has a foreign piece."""
    label = label_of(joined)
    return label if pair or label == 0 else None


def pair_label(one: Hit, other: Hit) -> int | None:
    """Return 1 for two pieces of one caterpillar, 0 where not, None where neither is any."""
    of = [hit.number if hit.inside >= _MOSTLY else 0 for hit in (one, other)]
    if not any(of):
        return None
    return int(of[0] == of[1])


def matched(hits: Sequence[Hit]) -> int:
    """Return how many caterpillars are found by the bodies that were counted, each one once."""
    return len({hit.number for hit in hits if hit.inside >= _BESIDE and hit.cover >= _SCRAP})
