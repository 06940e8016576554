"""How well the patterns of unseen sessions were called, in a handful of figures.

Each session weighs the same within its pattern, and each pattern the same, however many leaves
they have: otherwise the largest session would decide.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.agreement import calibration_error
from models.pattern.classifier import CLASSES
from models.pattern.training import SessionResult

__all__ = ["UnseenFigures", "unseen_figures"]

Words = NDArray[np.str_]


@dataclass(frozen=True)
class UnseenFigures:
    """Figures of leaves whose session was left out of training; None where there are none.

    Attributes
    ----------
    spot_against_blight : float or None
        Balanced accuracy of the likelier of the two, on all leaves of spot and of blight.
    spot_against_blight_called : float or None
        Balanced accuracy on those leaves that were called; called ``none`` is wrong.
    three_patterns : float or None
        Balanced accuracy over spot, blight and none when each leaf must be called.
    three_patterns_called : float or None
        The same on the leaves that were called.
    coverage : float or None
        Share of the leaves of the three patterns that were called.
    other_unsure : float or None
        Share of leaves that are sick in another way and were left ``unsure``.
    healthy_called_sick : float or None
        Share of leaves without symptoms that were called spot or blight.
    calibration_error : float or None
        Expected calibration error of the likeliest of the three patterns.
    """

    spot_against_blight: float | None
    spot_against_blight_called: float | None
    three_patterns: float | None
    three_patterns_called: float | None
    coverage: float | None
    other_unsure: float | None
    healthy_called_sick: float | None
    calibration_error: float | None


def unseen_figures(
    results: Sequence[SessionResult], temperature: float, least_probability: float
) -> UnseenFigures:
    """Sum up what a classifier did on sessions left out (``leave_sessions_out``)."""
    known = [result for result in results if result.pattern != "other"]
    pair = [result for result in known if result.pattern != "none"]

    def surely(result: SessionResult) -> Words:
        return result.calls(temperature, least_probability)

    def likelier(result: SessionResult) -> Words:
        spot, blight = (result.scores[:, CLASSES.index(name)] for name in ("spot", "blight"))
        return np.where(spot > blight, "spot", "blight")

    return UnseenFigures(
        spot_against_blight=_balanced(pair, likelier, ("spot", "blight")),
        spot_against_blight_called=_balanced(pair, surely, ("spot", "blight")),
        three_patterns=_balanced(known, SessionResult.forced, ("spot", "blight", "none")),
        three_patterns_called=_balanced(known, surely, ("spot", "blight", "none")),
        coverage=_mean([float((surely(result) != "unsure").mean()) for result in known]),
        other_unsure=_share(results, "other", surely, ("unsure",)),
        healthy_called_sick=_share(results, "none", surely, ("spot", "blight")),
        calibration_error=_calibration(known, temperature),
    )


def _mean(values: Sequence[float]) -> float | None:
    return float(np.mean(values)) if values else None


def _share(
    results: Sequence[SessionResult],
    pattern: str,
    call: Callable[[SessionResult], Words],
    answers: tuple[str, ...],
) -> float | None:
    own = [result for result in results if result.pattern == pattern]
    return _mean([float(np.isin(call(result), answers).mean()) for result in own])


def _balanced(
    results: Sequence[SessionResult],
    call: Callable[[SessionResult], Words],
    patterns: tuple[str, ...],
) -> float | None:
    """Mean recall over patterns, of the leaves that were called; None unless all are there."""
    recalls = []
    for pattern in patterns:
        answers = [call(result) for result in results if result.pattern == pattern]
        given = [answer[answer != "unsure"] for answer in answers]
        hits = [float((answer == pattern).mean()) for answer in given if len(answer)]
        if not hits:
            return None
        recalls.append(float(np.mean(hits)))
    return _mean(recalls)


def _calibration(results: Sequence[SessionResult], temperature: float) -> float | None:
    if not results:
        return None
    sure = [result.probabilities(temperature).max(axis=1) for result in results]
    right = [result.forced() == result.pattern for result in results]
    weight = [np.full(len(one), 1 / len(one)) for one in sure]
    return calibration_error(
        np.concatenate(sure), np.concatenate(right), weights=np.concatenate(weight)
    )
