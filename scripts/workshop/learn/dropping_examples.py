"""Small pictures from which droppings are told from what looks like them, close by.

Most are what the first network finds in lessons. To these come pairs: a dropping, and on like
ground a crumb, seed, stone or smooth, shiny insect, so that form is learned and not ground.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scripts.workshop.learn.dropping_lessons import Lesson
from scripts.workshop.learn.dropping_truth import whose
from scripts.workshop.rendered.collage import paint_alone
from vision.droppings.close import close_log_odds, pictures_of
from vision.droppings.spots import Spots, spotted

__all__ = ["Examples", "examples_of", "joined", "painted_pairs"]

_LIKELY, _UNLIKELY = 8, 6  # spots of a photo that are no droppings and are learned from
_OFF, _OTHER_SIZE = 0.06, 0.1  # how far a pair's place (diameters) and size (natural log) are off


@dataclass(frozen=True, eq=False)
class Examples:
    """Small pictures, and whether each shows a dropping.

    Attributes
    ----------
    pictures : ndarray of uint8, shape (spots, CLOSE_PX, CLOSE_PX, 3)
        From ``vision.droppings.close``.
    wanted : ndarray of bool, shape (spots,)
        Whether it is a dropping.
    """

    pictures: NDArray[np.uint8] = field(repr=False)
    wanted: NDArray[np.bool_] = field(repr=False)


def joined(parts: Sequence[Examples]) -> Examples:
    """Return all examples in one."""
    return Examples(
        np.concatenate([one.pictures for one in parts]),
        np.concatenate([one.wanted for one in parts]),
    )


def examples_of(lessons: Iterable[Lesson], *, again: bool = False) -> Examples:
    """Return what the first network finds in photos whose droppings are known.

    Parameters
    ----------
    lessons : iterable of Lesson
        Photos.
    again : bool, optional
        Whether to take, too, what the second network now takes for droppings most.
    """
    return joined([_found(lesson, again=again) for lesson in lessons])


def _found(lesson: Lesson, *, again: bool) -> Examples:
    things = spotted(lesson.pixels)
    numbers = whose(things, lesson.truth, lesson.no_matter)
    others = np.flatnonzero(numbers == 0)  # the likeliest first, which are hardest to tell
    step = max(1, (len(others) - _LIKELY) // _UNLIKELY)
    chosen = [np.flatnonzero(numbers > 0), others[:_LIKELY], others[_LIKELY::step][:_UNLIKELY]]
    pictures = pictures_of(things.picture, things.spots)
    if again:
        odds = close_log_odds(pictures[others])
        chosen.append(others[np.argsort(-odds, kind="stable")[:_LIKELY]])
    once = np.unique(np.concatenate(chosen))
    return Examples(pictures[once], numbers[once] > 0)


def painted_pairs(first: int, count: int) -> Examples:
    """Paint so many droppings, and as many things that are none, each alone in the middle."""
    return joined(list(_pairs(first, count)))


def _pairs(first: int, count: int) -> Iterator[Examples]:
    for seed in range(first, first + count):
        for dropping in (True, False):
            alone = paint_alone(seed, dropping)
            rng = np.random.default_rng((seed, int(dropping)))
            at = np.array(alone.middle) + rng.normal(0, _OFF, 2) * alone.diameter_px
            size = alone.diameter_px * np.exp(rng.normal(0, _OTHER_SIZE))
            row, col, wide, none = np.array([[*at, size, 0.0]], np.float32).T
            spot = Spots(row, col, wide, none, none)
            yield Examples(pictures_of(alone.pixels, spot), np.array([dropping]))
