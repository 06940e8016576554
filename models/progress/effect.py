"""Whether a spray worked: sprayed plants beside unsprayed ones, over the same days.

Killed tissue never turns green again, so a spray that works does not lower severity: it stops new
growth. What is compared is therefore how fast severity grew, from the last visit before the spray.
Each plant is one witness, however many of its leaves were photographed.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from models.entries import LogEntry
from models.progress.comparable import Compared, comparable_plants
from models.progress.course import LEVEL_RATE_PER_DAY
from models.progress.growth import (
    LAST_BEFORE_DAYS,
    LEAST_AFTER_DAYS,
    PlantGrowth,
    concerns,
)
from models.progress.needed import (
    Needed,
    leaf_variance,
    needed_before_and_after,
    needed_beside,
    quantile,
)
from models.progress.points import SeverityPoint
from models.progress.rates import logit

__all__ = ["Comparison", "Effect", "Verdict", "judge_spray"]

_SICKER = 0.7  # logits, which is twice the odds

Comparison = Literal["beside unsprayed", "before and after", "none"]
Verdict = Literal["slower", "no difference", "faster", "cannot tell"]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Effect:
    """What is known of a spray.

    Attributes
    ----------
    spray : LogEntry
        The spray.
    comparison : {"beside unsprayed", "before and after", "none"}
        Against what the sprayed plants were held.
    verdict : {"slower", "no difference", "faster", "cannot tell"}
        Of the growth of sprayed plants, by the interval of the difference. No difference: it lies
        within ± ``LEVEL_RATE_PER_DAY``.
    reason : str
        Why it cannot be told; otherwise empty.
    sprayed, unsprayed : tuple of PlantGrowth
        The plants that could be judged.
    difference_per_day, low_per_day, high_per_day : float or None
        Growth of sprayed plants minus that of unsprayed ones (or minus their own before), with its
        95 % interval.
    stopped : bool or None
        Whether the mean growth of sprayed plants was at most level by its interval; None where
        that cannot be told.
    needed : Needed or None
        What would tell, where it cannot be told.
    cautions : tuple of str
        Sentences: what else may have made the difference.
    adjusted : bool
        Whether each plant's own growth before was taken into account.
    """

    spray: LogEntry
    comparison: Comparison
    verdict: Verdict
    reason: str
    sprayed: tuple[PlantGrowth, ...] = ()
    unsprayed: tuple[PlantGrowth, ...] = ()
    difference_per_day: float | None = None
    low_per_day: float | None = None
    high_per_day: float | None = None
    stopped: bool | None = None
    needed: Needed | None = None
    cautions: tuple[str, ...] = ()
    adjusted: bool = False


def judge_spray(
    spray: LogEntry,
    points: Mapping[str, Sequence[SeverityPoint]],
    log: Iterable[LogEntry],
) -> Effect:
    """Say whether severity grew slower after a spray.

    Beside unsprayed plants, this is the difference of differences: each plant's change over the
    same days, sprayed minus unsprayed. Where there are none, each sprayed plant's growth after the
    spray stands against its own before; weather may then be the cause.

    Parameters
    ----------
    spray : LogEntry
        Of the kind ``spray``.
    points : mapping of str to sequence of SeverityPoint
        Every plant's visits, by day.
    log : iterable of LogEntry
        The garden's log: other sprays end the days that are judged, and take plants out.
    """
    compared = comparable_plants(spray, points, log)
    sprayed, unsprayed = compared.sprayed, compared.unsprayed
    if not sprayed:
        return Effect(spray, "none", "cannot tell", _why_none(spray, points))
    found = _beside(spray, sprayed, unsprayed) if unsprayed else _before_and_after(spray, sprayed)
    return replace(found, cautions=tuple(_cautions(compared)))


def _why_none(spray: LogEntry, points: Mapping[str, Sequence[SeverityPoint]]) -> str:
    if not any(visits and concerns(spray, plant) for plant, visits in points.items()):
        return "no sprayed plant was photographed"
    return (
        f"no sprayed plant with green left was photographed within {LAST_BEFORE_DAYS} days before "
        f"the spray and again at least {LEAST_AFTER_DAYS} days after it, before another spray"
    )


def _cautions(compared: Compared) -> Iterator[str]:
    """Yield what else than the spray may have made the difference."""
    if compared.kept_in:
        yield (
            f"Leaves were removed on {', '.join(compared.kept_in)} in these days, which lowers "
            "severity by itself."
        )
    if compared.left_out:
        yield f"{', '.join(compared.left_out)}: left out, for leaves were removed in these days."
    if not compared.unsprayed:
        yield (
            "No unsprayed plant stood beside them, so drier weather may have done the same. Leave "
            "some plants unsprayed next time, chosen by lot."
        )
    elif _height(compared.sprayed) - _height(compared.unsprayed) > _SICKER:
        yield (
            "The sprayed plants were sicker before the spray. Plants chosen because they look bad "
            "often slow down by themselves; next time choose by lot."
        )


def _height(growth: Sequence[PlantGrowth]) -> float:
    return float(np.mean(logit([one.severity_pct / 100 for one in growth])))


def _beside(
    spray: LogEntry, sprayed: tuple[PlantGrowth, ...], unsprayed: tuple[PlantGrowth, ...]
) -> Effect:
    one, two = _after(sprayed), _after(unsprayed)
    difference = float(one.mean() - two.mean())
    if len(one) + len(two) < 3:
        reason = "one plant on each side cannot show how much plants differ by themselves"
        both = (sprayed, unsprayed)
        return Effect(spray, "beside unsprayed", "cannot tell", reason, *both, difference)
    found = _against_own_before(sprayed, unsprayed) or _difference(sprayed, unsprayed)
    low, high = found.ends()
    verdict = _verdict(low, high)
    told = verdict != "cannot tell"
    growing = two.mean() > LEVEL_RATE_PER_DAY
    return Effect(
        spray,
        "beside unsprayed",
        verdict,
        "" if told else "the plants differ too much among themselves",
        sprayed,
        unsprayed,
        found.middle,
        low,
        high,
        _stopped(sprayed, _variances(sprayed, unsprayed)[0], len(one) + len(two) - 2),
        needed_beside(sprayed, unsprayed, found.variance, float(two.mean()))
        if growing and not told
        else None,
        adjusted=found.adjusted,
    )


@dataclass(frozen=True)
class _Found:
    """A difference of growth, per day, with its error and the variance of plants behind it."""

    middle: float
    error: float
    freedom: float
    variance: float
    adjusted: bool

    def ends(self) -> tuple[float, float]:
        margin = quantile(self.freedom) * self.error
        return self.middle - margin, self.middle + margin


def _against_own_before(
    sprayed: Sequence[PlantGrowth], unsprayed: Sequence[PlantGrowth]
) -> _Found | None:
    """Return the difference with each plant's own growth before taken into account.

    Analysis of covariance: growth after = side + share · growth before, by least squares. What a
    plant did before tells the more of what it would have done, the surer it is known; the share is
    therefore fitted, not set to 1. None with fewer than six plants, two a side, or where the growth
    before a plant's spray is unknown.
    """
    plants = [*sprayed, *unsprayed]
    before = [one.before_per_day for one in plants if one.before_per_day is not None]
    if len(before) < max(6, len(plants)) or min(len(sprayed), len(unsprayed)) < 2:
        return None
    side = np.repeat([1.0, 0.0], [len(sprayed), len(unsprayed)])
    design = np.column_stack((np.ones(len(plants)), side, before))
    inverse = np.linalg.pinv(design.T @ design)
    fitted = inverse @ design.T @ _after(plants)
    freedom = float(len(plants) - 3)
    left = float(((_after(plants) - design @ fitted) ** 2).sum()) / freedom
    variance = max(left, leaf_variance(plants))
    error = float(np.sqrt(variance * inverse[1, 1]))
    return _Found(float(fitted[1]), error, freedom, variance, adjusted=True)


def _difference(sprayed: Sequence[PlantGrowth], unsprayed: Sequence[PlantGrowth]) -> _Found:
    """Return the plain difference of growth."""
    variance = _variances(sprayed, unsprayed)
    error, freedom = _error(variance, (len(sprayed), len(unsprayed)))
    middle = float(_after(sprayed).mean() - _after(unsprayed).mean())
    return _Found(middle, error, freedom, sum(variance) / 2, adjusted=False)


def _after(growth: Sequence[PlantGrowth]) -> Floats:
    return np.array([one.after_per_day for one in growth])


def _variances(
    sprayed: Sequence[PlantGrowth], unsprayed: Sequence[PlantGrowth]
) -> tuple[float, float]:
    """Return the variance of growth among sprayed and among unsprayed plants.

    With fewer than three plants on a side one common variance is taken, as for a lack of plants to
    learn two from. It is never taken to be smaller than the choice of leaves makes it.
    """
    one, two = _after(sprayed), _after(unsprayed)
    if min(len(one), len(two)) >= 3:
        each = float(one.var(ddof=1)), float(two.var(ddof=1))
    else:
        squares = ((one - one.mean()) ** 2).sum() + ((two - two.mean()) ** 2).sum()
        each = (float(squares / (len(one) + len(two) - 2)),) * 2
    return max(each[0], leaf_variance(sprayed)), max(each[1], leaf_variance(unsprayed))


def _error(variance: tuple[float, float], count: tuple[int, int]) -> tuple[float, float]:
    """Return the standard error of a difference of means, and Welch's degrees of freedom."""
    parts = np.array(variance) / np.array(count)
    error = float(np.sqrt(parts.sum()))
    if min(count) < 3:
        return error, float(sum(count) - 2)
    freedom = parts.sum() ** 2 / (parts**2 / (np.array(count) - 1)).sum() if error else 1.0
    return error, float(freedom)


def _verdict(low: float, high: float) -> Verdict:
    if low >= -LEVEL_RATE_PER_DAY and high <= LEVEL_RATE_PER_DAY:
        return "no difference"
    if high < 0:
        return "slower"
    return "faster" if low > 0 else "cannot tell"


def _stopped(sprayed: Sequence[PlantGrowth], variance: float, freedom: float) -> bool | None:
    """Say whether the plants' mean growth is at most level, or surely more."""
    after = _after(sprayed)
    freedom = len(after) - 1.0 if len(after) >= 3 else freedom
    margin = quantile(freedom) * (variance / len(after)) ** 0.5
    if after.mean() + margin <= LEVEL_RATE_PER_DAY:
        return True
    return False if after.mean() - margin > LEVEL_RATE_PER_DAY else None


def _before_and_after(spray: LogEntry, sprayed: tuple[PlantGrowth, ...]) -> Effect:
    both = [
        (one.after_per_day, one.before_per_day) for one in sprayed if one.before_per_day is not None
    ]
    if len(both) < 2:
        reason = (
            "there is no unsprayed plant, and fewer than two sprayed plants were visited twice "
            "before the spray"
        )
        return Effect(spray, "none", "cannot tell", reason, sprayed)
    after, before = np.array(both).T
    change = after - before
    freedom = len(change) - 1.0
    margin = quantile(freedom) * float(change.std(ddof=1)) / len(change) ** 0.5
    middle = float(change.mean())
    verdict = _verdict(middle - margin, middle + margin)
    told = verdict != "cannot tell"
    return Effect(
        spray,
        "before and after",
        verdict,
        "" if told else "the plants differ too much among themselves",
        sprayed,
        (),
        middle,
        middle - margin,
        middle + margin,
        _stopped(sprayed, float(after.var(ddof=1)), freedom),
        None
        if told or before.mean() <= LEVEL_RATE_PER_DAY
        else needed_before_and_after(float(change.var(ddof=1)), float(before.mean())),
    )
