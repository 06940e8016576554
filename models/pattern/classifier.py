"""The classifier: measurements of a leaf in, a pattern with probabilities out.

A multinomial logistic regression over the measurements, a second one for early against late
blight, and a distance that tells leaves unlike those learned from. ``classifier.json`` holds
nothing but numbers and names; loading it runs no code. ``spotlamp train`` makes another.
"""

import json
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.pattern.call import BlightKind, Pattern, PatternCall, call_of
from models.pattern.measures import MEASURES
from models.pattern.reason import reason
from models.plain_json import read_json
from vision.errors import SpotlampError
from vision.photo.content import file_bytes

__all__ = [
    "CLASSES",
    "CLASSIFIER_FILE",
    "CLASSIFIER_VERSION",
    "PATTERNS",
    "Classifier",
    "UnfitClassifier",
    "are_sure",
    "load_classifier",
    "other_chances",
    "pattern_chances",
    "softmax",
    "standardised",
]

CLASSIFIER_VERSION = 4
CLASSIFIER_FILE = Path(__file__).with_name("classifier.json")
"""The classifier that comes with the program."""

CLASSES = ("blight", "none", "other", "spot")
"""In the order of the scores; ``other`` is sick in another way."""

PATTERNS = ("blight", "none", "spot")
"""In the order of the probabilities."""

Floats = NDArray[np.float64]


class UnfitClassifier(SpotlampError):  # noqa: N818  it says what is the matter
    """A classifier file does not fit this version; the message is one sentence for people."""


def softmax(scores: Floats) -> Floats:
    """Turn scores into probabilities.

    Parameters
    ----------
    scores : ndarray of float64, shape (leaves, classes)
        Natural logarithms, up to a constant for each leaf.

    Returns
    -------
    ndarray of float64, shape (leaves, classes)
        0 to 1; each row sums to 1.
    """
    raised = np.exp(scores - scores.max(axis=1, keepdims=True))
    return np.asarray(raised / raised.sum(axis=1, keepdims=True))


def pattern_chances(scores: Floats, temperature: float) -> Floats:
    """Turn scores into probabilities of the patterns, given that the leaf shows one of them.

    Parameters
    ----------
    scores : ndarray of float64, shape (leaves, classes)
        In the order of ``CLASSES``.
    temperature : float
        Above 1 makes them less sure.

    Returns
    -------
    ndarray of float64, shape (leaves, patterns)
        In the order of ``PATTERNS``; each row sums to 1.
    """
    return softmax(scores[:, [CLASSES.index(name) for name in PATTERNS]] / temperature)


def are_sure(
    scores: Floats, strangeness: Floats, temperature: float, least_probability: float
) -> NDArray[np.bool_]:
    """Tell of which leaves the likeliest pattern is called; the others are ``unsure``.

    The likeliest probability counts less, the likelier another disease is. Its root is taken
    because a leaf of a session that was not learned from is too readily thought another's.

    Parameters
    ----------
    scores : ndarray of float64, shape (leaves, classes)
        In the order of ``CLASSES``.
    strangeness : ndarray of float64, shape (leaves,)
        From `Classifier.strangeness`; none is called above 1.
    temperature : float
        Above 1 makes the probabilities less sure.
    least_probability : float
        0 to 1: what is less likely is not called.

    Returns
    -------
    ndarray of bool, shape (leaves,)
    """
    likely = pattern_chances(scores, temperature).max(axis=1)
    likely *= np.sqrt(1 - other_chances(scores))
    return np.asarray((likely >= least_probability) & (strangeness <= 1))


def other_chances(scores: Floats) -> Floats:
    """Return the probability that a leaf is sick in another way.

    Parameters
    ----------
    scores : ndarray of float64, shape (leaves, classes)
        In the order of ``CLASSES``.

    Returns
    -------
    ndarray of float64, shape (leaves,)
        0 to 1.
    """
    return np.asarray(softmax(scores)[:, CLASSES.index("other")])


def standardised(filled: Floats, mean: Floats, scale: Floats) -> Floats:
    """Express measurements in spreads from their mean, 4 at most.

    Parameters
    ----------
    filled : ndarray of float64, shape (leaves, measures)
        Each measure in its own unit; none is NaN.
    mean, scale : ndarray of float64, shape (measures,)
        In the same units.

    Returns
    -------
    ndarray of float64, shape (leaves, measures)
        -4 to 4, no unit.
    """
    # A leaf far outside the range learned from must not outvote everything else.
    return np.asarray(np.clip((filled - mean) / scale, -4, 4))


@dataclass(frozen=True, eq=False)
class Classifier:
    """Numbers of the trained classifier.

    Attributes
    ----------
    measures : tuple of str
        Names of the measurements, in their order.
    typical : ndarray of float64, shape (measures,)
        Stands in for a measurement that a leaf does not have.
    mean, scale : ndarray of float64, shape (measures,)
        Standardisation.
    weights : ndarray of float64, shape (classes, measures)
    offsets : ndarray of float64, shape (classes,)
    temperature : float
        Divides the scores, so that probabilities are as sure as they are right.
    least_probability : float
        A leaf is ``unsure`` below it, once the chance of another disease is taken off.
    late_weights : ndarray of float64, shape (measures,)
    late_offset : float
    least_kind : float
        Probability that early or late blight needs to be named.
    precision : ndarray of float64, shape (measures, measures)
        Of the standardised measurements, for the distance.
    familiar : float
        Distance from which a leaf is unlike those learned from: a quarter farther than 99 of 100
        of them.
    summary : dict
        What it was trained on and how well it did on sessions left out.
    """

    measures: tuple[str, ...]
    typical: Floats = field(repr=False)
    mean: Floats = field(repr=False)
    scale: Floats = field(repr=False)
    weights: Floats = field(repr=False)
    offsets: Floats = field(repr=False)
    temperature: float
    least_probability: float
    late_weights: Floats = field(repr=False)
    late_offset: float
    least_kind: float
    precision: Floats = field(repr=False)
    familiar: float
    summary: dict[str, Any] = field(default_factory=dict, repr=False)

    def scores(self, measured: Floats) -> Floats:
        """Return the scores, shape (leaves, classes), in the order of ``CLASSES``.

        Parameters
        ----------
        measured : ndarray of float64, shape (leaves, measures)
            NaN where a leaf has no such measurement.
        """
        return np.asarray(self._standard(measured) @ self.weights.T + self.offsets)

    def probabilities(self, measured: Floats) -> Floats:
        """Return calibrated probabilities of the patterns, given that a leaf shows one of them.

        Parameters
        ----------
        measured : ndarray of float64, shape (leaves, measures)
            In the order of ``measures``, each in its own unit; NaN where a leaf has none.

        Returns
        -------
        ndarray of float64, shape (leaves, patterns)
            In the order of ``PATTERNS``, 0 to 1; each row sums to 1.
        """
        return pattern_chances(self.scores(measured), self.temperature)

    def p_late(self, measured: Floats) -> Floats:
        """Return the probability of late against early blight.

        Parameters
        ----------
        measured : ndarray of float64, shape (leaves, measures)
            In the order of ``measures``, each in its own unit; NaN where a leaf has none.

        Returns
        -------
        ndarray of float64, shape (leaves,)
            0 to 1.
        """
        score = self._standard(measured) @ self.late_weights + self.late_offset
        return np.asarray(1 / (1 + np.exp(-np.clip(score, -30, 30))))

    def strangeness(self, measured: Floats) -> Floats:
        """Return the distance from the leaves learned from.

        Parameters
        ----------
        measured : ndarray of float64, shape (leaves, measures)
            In the order of ``measures``, each in its own unit; NaN where a leaf has none.

        Returns
        -------
        ndarray of float64, shape (leaves,)
            From 0; above 1 a leaf is unlike them.
        """
        standard = self._standard(measured)
        squared = np.einsum("ij,jk,ik->i", standard, self.precision, standard)
        return np.asarray(np.sqrt(np.maximum(squared, 0)) / self.familiar)

    def call(self, measured: NDArray[np.float32]) -> PatternCall:
        """Call one leaf's pattern.

        Parameters
        ----------
        measured : ndarray of float32, shape (measures,)
            From ``measure_pattern``.
        """
        row = np.asarray(measured, np.float64)[None]
        scores, strange = self.scores(row), self.strangeness(row)
        blight, none, spot = (float(p) for p in pattern_chances(scores, self.temperature)[0])
        pattern: Pattern = "unsure"
        if are_sure(scores, strange, self.temperature, self.least_probability)[0]:
            pattern = call_of(spot, blight, none, self.least_probability)
        kind: BlightKind = self._kind(row) if pattern == "blight" else ""
        why = reason(dict(zip(self.measures, measured.tolist(), strict=True)), pattern)
        return PatternCall(pattern, spot, blight, none, kind, float(strange[0]), why)

    def _kind(self, row: Floats) -> BlightKind:
        late = float(self.p_late(row)[0])
        if max(late, 1 - late) < self.least_kind:
            return "unsure"
        return "late" if late > 0.5 else "early"

    def _standard(self, measured: Floats) -> Floats:
        filled = np.where(np.isfinite(measured), measured, self.typical)
        return standardised(filled, self.mean, self.scale)

    def to_json(self) -> str:
        """Lay the classifier out as the text of its file."""
        stored: dict[str, Any] = {"version": CLASSIFIER_VERSION, "classes": CLASSES}
        for name, value in asdict(self).items():
            plain = isinstance(value, np.ndarray)
            stored[name] = np.round(value, 6).tolist() if plain else value
        return json.dumps(stored, indent=1) + "\n"


def load_classifier(path: Path | None = None) -> Classifier:
    """Load the classifier that ships with the product, or another of the same layout.

    Raises
    ------
    UnfitClassifier
        In one sentence, when the file cannot be read as such or belongs to another version.
    """
    path = path or CLASSIFIER_FILE
    try:
        stored = read_json(file_bytes(path))
        fits = stored["version"] == CLASSIFIER_VERSION and stored["classes"] == list(CLASSES)
        fits = fits and stored["measures"] == [measure.name for measure in MEASURES]
    except OSError as problem:
        raise UnfitClassifier(
            f"{path.name} cannot be opened: {problem.strerror or problem}."
        ) from problem
    except (ValueError, KeyError, TypeError) as problem:
        raise UnfitClassifier(f"{path.name} is not a pattern classifier.") from problem
    if not fits:
        raise UnfitClassifier(
            f"{path.name} was trained for other measurements: train it again with `spotlamp train`."
        )
    return _from_stored(stored, path)


_LARGEST = 1e9
"""No trained number comes near it; larger ones overflow in a product, and NaN is no number."""

_NUMBERS = ("temperature", "least_probability", "late_offset", "least_kind", "familiar")


def _from_stored(stored: dict[str, Any], path: Path) -> Classifier:
    names = tuple(stored["measures"])
    many = len(names)
    shapes = dict.fromkeys(("typical", "mean", "scale", "late_weights"), (many,)) | {
        "weights": (len(CLASSES), many),
        "offsets": (len(CLASSES),),
        "precision": (many, many),
    }
    try:
        arrays = {name: np.array(stored[name], np.float64) for name in shapes}
        numbers = {name: float(stored[name]) for name in _NUMBERS}
        summary = dict(stored["summary"])
    except (KeyError, TypeError, ValueError, OverflowError) as problem:
        raise UnfitClassifier(f"{path.name} is damaged.") from problem
    values: dict[str, Any] = {**arrays, **numbers}
    whole = all(arrays[name].shape == shape for name, shape in shapes.items())
    whole = whole and all(np.all(np.abs(value) <= _LARGEST) for value in values.values())
    if not whole or min(numbers["temperature"], numbers["familiar"], *arrays["scale"]) <= 0:
        raise UnfitClassifier(f"{path.name} is damaged.")
    return Classifier(measures=names, summary=summary, **values)
