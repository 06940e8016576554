"""Train the pattern classifier, and measure it on sessions it has not seen.

A session is one round of photos: one camera, one light, one board, one place. Photos of one
session look so alike that a classifier can score well by recognising the session. So the figures
here are always of a session left out, with every photo of it, and each class and each session
within a class weighs the same, however many photos it has.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar
from sklearn.covariance import LedoitWolf
from sklearn.linear_model import LogisticRegression

from models.csv_tables import Digits, csv_bytes, read_table, unescape_formula
from models.pattern.classifier import (
    CLASSES,
    PATTERNS,
    Classifier,
    are_sure,
    pattern_chances,
    standardised,
)
from models.pattern.measures import MEASURES

__all__ = [
    "LabelledLeaves",
    "SessionResult",
    "labelled_csv",
    "leave_sessions_out",
    "read_labelled",
    "session_table",
    "train",
]

Floats = NDArray[np.float64]

_COLUMNS = ("photo", "session", "pattern", "blight_kind", *(measure.name for measure in MEASURES))
_LARGEST = 1e9  # far above any measurement; its square is still a number
_STRENGTH = 0.002  # inverse regularisation; few sessions allow few degrees of freedom
_KIND_STRENGTH = 0.005  # likewise, of early against late blight
_LEAST_PROBABILITY = 0.66
_ROOM = 1.25  # a session not learned from lies farther off than 99 of 100 leaves learned from
_LEAST_KIND = 0.75
_DIRECTIONS = 1  # taken out because sessions differ most in them; three take patterns with them


@dataclass(frozen=True, eq=False)
class LabelledLeaves:
    """Leaves with their measurements and what a person called them.

    Attributes
    ----------
    photo, session, pattern, blight_kind : ndarray of str, shape (leaves,)
        ``pattern`` is one of ``CLASSES``. Sessions that start with ``rendered`` are painted.
    measured : ndarray of float64, shape (leaves, measures)
    """

    photo: NDArray[np.str_]
    session: NDArray[np.str_]
    pattern: NDArray[np.str_]
    blight_kind: NDArray[np.str_]
    measured: Floats = field(repr=False)

    def where(self, which: NDArray[np.bool_]) -> "LabelledLeaves":
        """Return some of the leaves.

        Parameters
        ----------
        which : ndarray of bool, shape (leaves,)
            True for those kept.
        """
        return LabelledLeaves(
            self.photo[which],
            self.session[which],
            self.pattern[which],
            self.blight_kind[which],
            self.measured[which],
        )

    @property
    def rendered(self) -> NDArray[np.bool_]:
        """Which leaves are painted."""
        return np.char.startswith(self.session, "rendered")


def read_labelled(path: Path) -> LabelledLeaves:
    """Read a table of labelled measurements.

    Raises
    ------
    ValueError
        In one sentence, when a column is missing or a label is not known.
    """
    table = read_table(path)
    missing = [name for name in _COLUMNS if name not in table.names]
    if missing:
        raise ValueError(f"{path.name} has no column {missing[0]!r}.")
    rows = list(table.records())
    unknown = sorted({row["pattern"] for _, row in rows} - set(CLASSES))
    if unknown:
        raise ValueError(f"{path.name} holds the pattern {unknown[0]!r}, which is none of ours.")
    text = {n: np.array([unescape_formula(r[n]) for _, r in rows], np.str_) for n in _COLUMNS[:4]}
    numbers = [[_number(path, line, m.name, row[m.name]) for m in MEASURES] for line, row in rows]
    measured = np.array(numbers, np.float64).reshape(len(rows), len(MEASURES))
    return LabelledLeaves(**text, measured=measured)


def _number(path: Path, line: int, name: str, cell: str) -> float:
    """Return a measurement; one that is not there is no number."""
    try:
        value = float(cell or "nan")
    except ValueError as error:
        raise ValueError(f"{path.name}, line {line}: {name} cannot be {cell[:40]!r}.") from error
    if abs(value) > _LARGEST:
        raise ValueError(f"{path.name}, line {line}: {name} cannot be {cell[:40]!r}.")
    return value


def labelled_csv(leaves: LabelledLeaves) -> bytes:
    """Lay labelled measurements out as a CSV table; a measurement that is not there stays empty."""
    labels = (leaves.photo, leaves.session, leaves.pattern, leaves.blight_kind)
    rows = [
        [*(str(label[index]) for label in labels), *(_digits(float(value)) for value in row)]
        for index, row in enumerate(leaves.measured)
    ]
    return csv_bytes([_COLUMNS, *rows], line_end="\n")


def _digits(value: float) -> Digits | None:
    return Digits(f"{value:.5g}") if np.isfinite(value) else None


def train(leaves: LabelledLeaves, results: Sequence["SessionResult"] | None = None) -> Classifier:
    """Train on all the leaves; probabilities are calibrated on sessions left out in turn.

    Parameters
    ----------
    leaves : LabelledLeaves
        Of at least two patterns.
    results : sequence of SessionResult, optional
        From `leave_sessions_out` of the same leaves; worked out here when not given.
    """
    results = leave_sessions_out(leaves) if results is None else results
    return replace(_fit(leaves), temperature=_temperature(results))


def _fit(leaves: LabelledLeaves) -> Classifier:
    measured = leaves.measured
    typical = _typical(measured)
    filled = np.where(np.isfinite(measured), measured, typical)
    mean, scale = filled.mean(axis=0), np.maximum(filled.std(axis=0), 1e-6)
    standard = standardised(filled, mean, scale)
    kept = _without_sessions(standard, leaves)
    model = LogisticRegression(C=_STRENGTH, max_iter=2000)
    model.fit(standard @ kept, leaves.pattern, sample_weight=_weights(leaves))
    weights, offsets = _all_classes(model)
    late_weights, late_offset = _fit_late(standard, leaves)
    real = ~leaves.rendered if (~leaves.rendered).any() else np.ones(len(standard), bool)
    spread = LedoitWolf().fit(standard[real])
    distance = np.sqrt(spread.mahalanobis(standard[real] + spread.location_))
    return Classifier(
        measures=tuple(measure.name for measure in MEASURES),
        typical=typical,
        mean=mean,
        scale=scale,
        weights=weights @ kept,
        offsets=offsets,
        temperature=1.0,
        least_probability=_LEAST_PROBABILITY,
        late_weights=late_weights,
        late_offset=late_offset,
        least_kind=_LEAST_KIND,
        precision=np.asarray(spread.precision_),
        familiar=_ROOM * float(np.quantile(distance, 0.99)),
    )


def _typical(measured: Floats) -> Floats:
    """Return the median of each measurement; 0 for one that no leaf has."""
    typical = np.zeros(measured.shape[1])
    had = np.isfinite(measured).any(axis=0)
    typical[had] = np.nanmedian(measured[:, had], axis=0)
    return typical


def _without_sessions(standard: Floats, leaves: LabelledLeaves) -> Floats:
    """Return the projection that takes out what differs most between sessions of one disease.

    Sessions of one pattern and kind, photographed and painted, should measure alike; the direction
    in which their means differ most says more about the session than about the leaf (nuisance
    attribute projection: Solomonoff, Campbell & Boardman 2005, ICASSP; from memory).
    """
    many = standard.shape[1]
    kind = np.char.add(leaves.pattern, leaves.blight_kind)
    apart = [np.zeros((1, many))]
    for name in np.unique(kind):
        own = kind == name
        sessions = np.unique(leaves.session[own])
        means = [standard[own & (leaves.session == one)].mean(axis=0) for one in sessions]
        apart.append(np.array(means) - np.mean(means, axis=0))
    _, strength, directions = np.linalg.svd(np.vstack(apart), full_matrices=False)
    taken = directions[:_DIRECTIONS][strength[:_DIRECTIONS] > 0]
    return np.asarray(np.eye(many) - taken.T @ taken)


def _all_classes(model: LogisticRegression) -> tuple[Floats, Floats]:
    """Give a class that was not among the leaves a score that is never the best."""
    weights, offsets = np.zeros((len(CLASSES), model.coef_.shape[1])), np.full(len(CLASSES), -50.0)
    rows, terms = model.coef_, model.intercept_
    if len(model.classes_) == 2:  # one row stands for the difference of the two
        rows, terms = np.vstack([-rows, rows]) / 2, np.concatenate([-terms, terms]) / 2
    for name, row, offset in zip(model.classes_, rows, terms, strict=True):
        weights[CLASSES.index(name)], offsets[CLASSES.index(name)] = row, offset
    return weights, offsets


def _fit_late(standard: Floats, leaves: LabelledLeaves) -> tuple[Floats, float]:
    blight = np.isin(leaves.blight_kind, ("early", "late"))
    late = leaves.blight_kind[blight] == "late"
    if len(np.unique(late)) < 2:
        return np.zeros(standard.shape[1]), 0.0
    weight = _weights(leaves.where(blight), by_kind=True)
    model = LogisticRegression(C=_KIND_STRENGTH, max_iter=2000)
    model.fit(standard[blight], late, sample_weight=weight)
    return np.asarray(model.coef_[0]), float(model.intercept_[0])


def _weights(leaves: LabelledLeaves, *, by_kind: bool = False) -> Floats:
    """Let each class weigh the same, and each session within it."""
    classes = leaves.blight_kind if by_kind else leaves.pattern
    weight = np.zeros(len(classes))
    for name in np.unique(classes):
        own = classes == name
        for session in np.unique(leaves.session[own]):
            part = own & (leaves.session == session)
            weight[part] = 1 / np.count_nonzero(part)
        weight[own] /= weight[own].sum()
    return np.asarray(weight * len(weight) / weight.sum())


@dataclass(frozen=True, eq=False)
class SessionResult:
    """How a classifier that had not seen a session did on it.

    Attributes
    ----------
    session, pattern : str
        The session, and what its leaves are.
    scores : ndarray of float64, shape (leaves, classes)
        In the order of ``CLASSES``, before calibration.
    strangeness : ndarray of float64, shape (leaves,)
    """

    session: str
    pattern: str
    scores: Floats = field(repr=False)
    strangeness: Floats = field(repr=False)

    def probabilities(self, temperature: float) -> Floats:
        """Return the calibrated probabilities, in the order of ``PATTERNS``."""
        return pattern_chances(self.scores, temperature)

    def forced(self) -> NDArray[np.str_]:
        """Return the likeliest pattern of each leaf, however unsure."""
        return np.asarray(np.array(PATTERNS)[self.probabilities(1.0).argmax(axis=1)])

    def calls(self, temperature: float, least_probability: float) -> NDArray[np.str_]:
        """Return what each leaf is called, or ``unsure`` by the rule of ``Classifier.call``."""
        sure = are_sure(self.scores, self.strangeness, temperature, least_probability)
        return np.where(sure, self.forced(), "unsure")


def leave_sessions_out(leaves: LabelledLeaves) -> list[SessionResult]:
    """Train without each photographed session in turn and try it on that session.

    A session with leaves of several patterns gives one result a pattern. A session without which
    fewer than two patterns would be left cannot be tried and gives none.
    """
    results = []
    for session in np.unique(leaves.session[~leaves.rendered]):
        own = leaves.session == session
        if len(np.unique(leaves.pattern[~own])) < 2:
            continue
        classifier = _fit(leaves.where(~own))
        for pattern in np.unique(leaves.pattern[own]):
            tried = leaves.where(own & (leaves.pattern == pattern))
            strange = classifier.strangeness(tried.measured)
            scores = classifier.scores(tried.measured)
            results.append(SessionResult(str(session), str(pattern), scores, strange))
    return results


def _temperature(results: Sequence[SessionResult]) -> float:
    """Find the temperature at which unseen sessions surprise least, each weighing the same."""
    known = [result for result in results if result.pattern != "other"]
    if not known:
        return 1.0  # nothing to calibrate on

    def surprise(log_temperature: float) -> float:
        temperature = float(np.exp(log_temperature))
        chance = [
            result.probabilities(temperature)[:, PATTERNS.index(result.pattern)] for result in known
        ]
        return float(np.mean([-np.log(np.maximum(p, 1e-9)).mean() for p in chance]))

    return float(np.exp(minimize_scalar(surprise, bounds=(-1.5, 1.5), method="bounded").x))


def session_table(
    results: Iterable[SessionResult], temperature: float, least_probability: float
) -> list[dict[str, object]]:
    """Lay out recall, recall of those called, and share left unsure, session by session."""
    table: list[dict[str, object]] = []
    for result in results:
        surely = result.calls(temperature, least_probability)
        forced = result.forced()
        called = surely != "unsure"
        right = surely[called] == result.pattern
        table.append(
            {
                "session": result.session,
                "pattern": result.pattern,
                "leaves": len(surely),
                "recall": float((forced == result.pattern).mean()),
                "recall_called": float(right.mean()) if called.any() else None,
                "unsure": float((~called).mean()),
                "calls": {str(name): int((surely == name).sum()) for name in np.unique(surely)},
            }
        )
    return table
