"""The learned threshold surfaces that part symptom from healthy, and dead tissue from halo.

``surface.json`` holds their numbers, what they were fitted on and with which settings;
``python -m scripts.workshop learn surface`` fits them again. Applying them is plain arithmetic.
"""

from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from vision import learned
from vision.day.tissue import CONTRASTS

__all__ = ["SURFACE_VERSION", "Surface", "load_surface", "severity_interval"]

SURFACE_VERSION = 1
"""Version of the file's layout and of ``CONTRASTS``; a file of another version is refused."""

Floats = NDArray[np.float32]
_CHUNK = 1 << 14  # rows at a time, so that all layers of a chunk stay in the processor's cache


@dataclass(frozen=True, eq=False)
class Surface:
    """Weights of a small perceptron (symptom or not) and of a linear rule (dead or yellow).

    Attributes
    ----------
    weights, offsets : tuple of ndarray of float32
        Layer by layer; the input's standardisation is folded into the first.
    dead_weights : ndarray of float32, shape (3,)
        Of ``dL_fine``, ``da_fine``, ``db_fine``: darker and redder is dead, yellower is halo.
    dead_offset : float
        Added to their sum; dead where the result is above 0.
    threshold : float
        Probability from which a pixel counts as symptom.
    interval_slope, interval_base : float
        How the 95 % interval of severity grows with what is doubtful (``vision.day.surface``).
    """

    weights: tuple[Floats, ...] = field(repr=False)
    offsets: tuple[Floats, ...] = field(repr=False)
    dead_weights: Floats
    dead_offset: float
    threshold: float
    interval_slope: float
    interval_base: float

    def symptom_probability(self, described: Floats) -> Floats:
        """Return the probability of a symptom at each pixel.

        Parameters
        ----------
        described : ndarray of float32, shape (pixels, len(CONTRASTS))
            From ``vision.day.tissue.contrasts``.

        Returns
        -------
        ndarray of float32, shape (pixels,)
            0 to 1.
        """
        parts = [
            self._chunk(described[start : start + _CHUNK])
            for start in range(0, len(described), _CHUNK)
        ]
        return np.concatenate(parts) if parts else np.zeros(0, np.float32)

    def _chunk(self, rows: Floats) -> Floats:
        for weights, offsets in zip(self.weights[:-1], self.offsets[:-1], strict=True):
            rows = rows @ weights
            rows += offsets
            np.maximum(rows, 0, out=rows)
        score = (rows @ self.weights[-1] + self.offsets[-1])[:, 0]
        return np.asarray(1 / (1 + np.exp(-np.clip(score, -30, 30))), np.float32)

    def dead(self, described: Floats) -> NDArray[np.bool_]:
        """Tell dead tissue from yellow tissue.

        Parameters
        ----------
        described : ndarray of float32, shape (pixels, len(CONTRASTS))
            From ``vision.day.tissue.contrasts``, of pixels that show a symptom.

        Returns
        -------
        ndarray of bool, shape (pixels,)
            True where dead.
        """
        return np.asarray(described[:, 3:6] @ self.dead_weights + self.dead_offset > 0)


@cache
def load_surface(path: Path = learned.SURFACE) -> Surface:
    """Load the surfaces that ship with the product, or others of the same layout.

    Raises
    ------
    ValueError
        In one sentence, when the file belongs to another version.
    """
    stored = learned.stored_in(path)
    made_for = stored.get("version"), stored.get("contrasts")
    learned.refuse_others(path, made_for, (SURFACE_VERSION, list(CONTRASTS)))
    return Surface(
        tuple(np.array(layer["weights"], np.float32) for layer in stored["layers"]),
        tuple(np.array(layer["offsets"], np.float32) for layer in stored["layers"]),
        np.array(stored["dead_weights"], np.float32),
        float(stored["dead_offset"]),
        float(stored["threshold"]),
        float(stored["interval_slope"]),
        float(stored["interval_base"]),
    )


def severity_interval(
    severity_pct: float, doubtful_pct: float, surface: Surface
) -> tuple[float, float]:
    """Return the lower and upper end of the 95 % interval, from 0 to 100 %.

    Parameters
    ----------
    severity_pct : float
        What was measured, 0 to 100.
    doubtful_pct : float
        From ``vision.day.lesion.Symptoms``.
    surface : Surface
        Carries the two figures of the widening.
    """
    half = surface.interval_base + surface.interval_slope * doubtful_pct
    return float(max(0.0, severity_pct - half)), float(min(100.0, severity_pct + half))
