"""How well two sets of values agree: measured against true, one method against another.

Plain statistics on arrays, each with its source. What was measured stands first, the truth second.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "BlandAltman",
    "Calls",
    "Concordance",
    "bland_altman",
    "calibration_error",
    "cohen_kappa",
    "compare_calls",
    "concordance",
    "overlap",
]

NOT_CALLED = ("unsure", "missing")
"""Answers that abstain: they count as wrong where all photos count, and lower the coverage."""

OUTSIDE = "other"
"""A truth that none of the classes names; the right answer to it is ``unsure``."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Concordance:
    """Lin's concordance correlation coefficient and its two parts.

    Attributes
    ----------
    coefficient : float
        r · Cb, -1 to 1; 1 where every pair is equal.
    correlation : float
        Pearson's r: how close the pairs lie to some straight line; NaN where a side is constant.
    accuracy : float
        Cb, 0 to 1: how close that line lies to the line of equality; NaN where a side is constant.
    """

    coefficient: float
    correlation: float
    accuracy: float


@dataclass(frozen=True)
class BlandAltman:
    """Differences between two methods, in the unit of the values.

    Attributes
    ----------
    bias : float
        Mean difference, first minus second.
    spread : float
        Standard deviation of the differences, divisor n - 1.
    limits : tuple of float
        bias ± 1.96 · spread: 95 % of differences, were they normal (Bland & Altman 1999).
    rounded_limits : tuple of float
        bias ± 2 · spread, as in the paper of 1986.
    """

    bias: float
    spread: float
    limits: tuple[float, float]
    rounded_limits: tuple[float, float]


@dataclass(frozen=True)
class Calls:
    """How well named answers hit, where ``unsure`` is allowed.

    Attributes
    ----------
    photos : int
        All answers that were compared.
    coverage : float
        Share of the photos of known classes that were given a class, 0 to 1.
    recall : dict of str to float
        For each true class, the share called right; abstaining counts as wrong.
    balanced_accuracy : float
        Mean of ``recall``.
    balanced_accuracy_called : float
        The same among the photos that were given a class; a class of which none was counts 0.
    outside_unsure : float or None
        Share of photos with the truth ``other`` that were left ``unsure``; None without such.
    """

    photos: int
    coverage: float
    recall: dict[str, float]
    balanced_accuracy: float
    balanced_accuracy_called: float
    outside_unsure: float | None


def _pairs(first: ArrayLike, second: ArrayLike, least: int) -> tuple[Floats, Floats]:
    one, two = np.asarray(first, np.float64), np.asarray(second, np.float64)
    if one.ndim != 1 or one.shape != two.shape:
        raise ValueError(f"Two lists of equal length are needed, not {one.shape} and {two.shape}.")
    if len(one) < least:
        raise ValueError(f"At least {least} pairs are needed, not {len(one)}.")
    if not (np.isfinite(one).all() and np.isfinite(two).all()):
        raise ValueError("A value is missing or infinite; leave its pair out.")
    return one, two


def concordance(first: ArrayLike, second: ArrayLike) -> Concordance:
    """Return Lin's concordance correlation coefficient.

    Variances and covariance have the divisor n, as in Lin 1989 (Biometrics 45:255-268).

    Parameters
    ----------
    first, second : array_like of float, shape (pairs,)
        At least one pair, of the same unit, without NaN.

    Returns
    -------
    Concordance
        With the coefficient 1 where both sides are the same constant, 0 where one is constant.

    Raises
    ------
    ValueError
        When the lists are empty, differ in length or hold NaN.
    """
    one, two = _pairs(first, second, 1)
    joint = float(((one - one.mean()) * (two - two.mean())).mean())
    both = float(one.var() + two.var() + (one.mean() - two.mean()) ** 2)
    product = float(np.sqrt(one.var() * two.var()))
    coefficient = 2 * joint / both if both else 1.0
    if product == 0:
        return Concordance(coefficient, float("nan"), float("nan"))
    return Concordance(coefficient, joint / product, 2 * product / both)


def bland_altman(first: ArrayLike, second: ArrayLike) -> BlandAltman:
    """Return bias and limits of agreement of two methods.

    Bland & Altman 1986, Lancet 327:307-310 (limits ± 2 s); 1999, Statistical Methods in Medical
    Research 8:135-160 (± 1.96 s).

    Parameters
    ----------
    first, second : array_like of float, shape (pairs,)
        At least two pairs, of the same unit, without NaN.

    Raises
    ------
    ValueError
        When there are fewer pairs, or the lists differ in length or hold NaN.
    """
    one, two = _pairs(first, second, 2)
    differences = one - two
    bias, spread = float(differences.mean()), float(differences.std(ddof=1))
    return BlandAltman(
        bias,
        spread,
        (bias - 1.96 * spread, bias + 1.96 * spread),
        (bias - 2 * spread, bias + 2 * spread),
    )


def cohen_kappa(first: Sequence[str], second: Sequence[str]) -> float:
    """Return Cohen's kappa: agreement of two raters beyond chance (Cohen 1960).

    Parameters
    ----------
    first, second : sequence of str
        The class that each rater named, photo by photo.

    Returns
    -------
    float
        1 for full agreement, 0 for what chance gives; 1 where both name the same single class.
    """
    from sklearn.metrics import cohen_kappa_score

    if set(first) == set(second) and len(set(first)) == 1:
        return 1.0
    return float(cohen_kappa_score(first, second))


def overlap(first: NDArray[np.bool_], second: NDArray[np.bool_]) -> float:
    """Return the area that two masks share ÷ the area that either covers (Jaccard index).

    Parameters
    ----------
    first, second : ndarray of bool, of the same shape
        The masks.

    Returns
    -------
    float
        0 to 1; 1 where both are empty.

    Raises
    ------
    ValueError
        When the masks differ in size.
    """
    if first.shape != second.shape:
        raise ValueError(f"The masks differ in size: {first.shape} and {second.shape}.")
    either = np.count_nonzero(first | second)
    return np.count_nonzero(first & second) / either if either else 1.0


def compare_calls(called: Sequence[str], truth: Sequence[str]) -> Calls:
    """Compare named answers with the truth, where ``unsure`` is allowed.

    Photos whose truth is ``other`` are no part of coverage and accuracy: for them ``unsure`` is
    the right answer.

    Parameters
    ----------
    called, truth : sequence of str
        Answer and truth, photo by photo. An answer may be ``unsure`` or ``missing``.

    Raises
    ------
    ValueError
        When the lists differ in length or no photo is of a known class.
    """
    pairs = list(zip(called, truth, strict=True))
    known = [pair for pair in pairs if pair[1] != OUTSIDE]
    if not known:
        raise ValueError("No photo is of a known class.")
    classes = sorted({true for _, true in known})
    given = [pair for pair in known if pair[0] not in NOT_CALLED]
    outside = [call == "unsure" for call, true in pairs if true == OUTSIDE]
    recall = {name: _recall(known, name) for name in classes}
    return Calls(
        photos=len(pairs),
        coverage=len(given) / len(known),
        recall=recall,
        balanced_accuracy=float(np.mean(list(recall.values()))),
        balanced_accuracy_called=float(np.mean([_recall(given, name) for name in classes])),
        outside_unsure=float(np.mean(outside)) if outside else None,
    )


def _recall(pairs: list[tuple[str, str]], name: str) -> float:
    hits = [call == true for call, true in pairs if true == name]
    return sum(hits) / len(hits) if hits else 0.0


def calibration_error(
    confidence: ArrayLike, correct: ArrayLike, bins: int = 10, weights: ArrayLike | None = None
) -> float:
    """Return the expected calibration error: how far confidence lies from the share of hits.

    Naeini, Cooper & Hauskrecht 2015 (AAAI): answers are sorted into bins of equal width by their
    confidence; the mean over bins of |share right - mean confidence|, weighed by their answers.

    Parameters
    ----------
    confidence : array_like of float, shape (answers,)
        Probability given to the answer, 0 to 1.
    correct : array_like of bool, shape (answers,)
        Whether the answer was right.
    bins : int
        Number of bins; a bin holds its upper end.
    weights : array_like of float, shape (answers,), optional
        How much each answer counts; all the same by default.

    Returns
    -------
    float
        0 to 1; 0 is perfect.

    Raises
    ------
    ValueError
        When the lists are empty or differ in length, or a confidence lies outside 0 to 1.
    """
    given, right = _pairs(confidence, correct, 1)
    if given.min() < 0 or given.max() > 1:
        raise ValueError("A confidence lies from 0 to 1.")
    weight = np.ones(len(given)) if weights is None else np.asarray(weights, np.float64)
    place = np.clip(np.ceil(given * bins).astype(int) - 1, 0, bins - 1)
    gaps = np.bincount(place, (right - given) * weight, minlength=bins)
    return float(np.abs(gaps).sum() / weight.sum())
