"""What the pattern classifier must beat, and whether it recognises sessions instead of lesions.

    python -m scripts.workshop figures pattern_baseline --photos ../shared/photos

Prints two checks on the tomato photos (PlantVillage: Hughes & Salathé 2015, arXiv:1511.08060).
The baseline is the same regression, trained and tried on sessions left out in the same way, but
on colour and texture of the whole picture instead of measurements of lesions. The session check
asks how well leaves of one pattern can be told apart by their session, beside the same question
with the sessions shuffled. Most sessions of one pattern show different diseases, though, and are
rightly told apart. So the same is asked of the two sessions that show one disease: by all
measurements, by how sick the leaves are alone, and by the scores, which are all that a call uses.
"""

import argparse
import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.feature import local_binary_pattern
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import balanced_accuracy_score
from sklearn.model_selection import StratifiedKFold, cross_val_predict
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler

from models.pattern import Classifier
from models.pattern.figures import UnseenFigures, unseen_figures
from models.pattern.measures import MEASURES
from models.pattern.training import LabelledLeaves, leave_sessions_out, read_labelled, train
from scripts.common.workers import spread_over_processes, use_one_thread
from scripts.learn.labelled import labelled_leaves, read_labels
from scripts.workshop.figures.write import as_table, fill
from vision.photo.address import Place
from vision.photo.decode import read_photo
from vision.photo.find import PhotoFile

__all__ = ["recognisable_sessions", "whole_picture"]

_BINS = 16
_TEXTURES = ((8, 1), (16, 3))  # neighbours and radius in pixels
_SEED = 5
_NAMES = [measure.name for measure in MEASURES]
_AMOUNTS = ("lesion_amount", "halo_amount", "sick_amount", "yellowed")

Floats = NDArray[np.float64]


def whole_picture(pixels: NDArray[np.uint8]) -> Floats:
    """Describe a whole picture by its colours and its texture.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB.

    Returns
    -------
    ndarray of float64, shape (76,)
        Histograms of L*, a* and b*, and of local binary patterns in two sizes; shares, 0 to 1.
    """
    lab = cv2.cvtColor(pixels, cv2.COLOR_RGB2Lab)
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)
    parts = [_shares(lab[..., channel], _BINS, 256) for channel in range(3)]
    for neighbours, radius in _TEXTURES:
        kinds = local_binary_pattern(  # type: ignore[no-untyped-call]
            grey, neighbours, radius, method="uniform"
        )
        parts.append(_shares(kinds, neighbours + 2, neighbours + 2))
    return np.concatenate(parts)


def _shares(values: NDArray[np.generic], bins: int, end: int) -> Floats:
    counts, _ = np.histogram(values, bins=bins, range=(0, end))
    return np.asarray(counts / values.size)


def recognisable_sessions(
    leaves: LabelledLeaves, alike: NDArray[np.str_], described: Floats
) -> tuple[float, float]:
    """Tell sessions of like leaves apart, leaves left out in tenths; and the same when shuffled.

    Parameters
    ----------
    leaves : LabelledLeaves
        Photographed and painted; painted ones are left aside.
    alike : ndarray of str, shape (leaves,)
        What is the same of the leaves whose sessions are told apart, such as their pattern.
    described : ndarray of float64, shape (leaves, numbers)
        What they are told apart by.

    Returns
    -------
    tuple of float
        Balanced accuracy with the true sessions and with shuffled ones, the mean over likes
        that have several photographed sessions.
    """
    rng = np.random.default_rng(_SEED)
    true, shuffled = [], []
    for name in np.unique(alike):
        own = (alike == name) & ~leaves.rendered
        names, counts = np.unique(leaves.session[own], return_counts=True)
        if len(names[counts >= 20]) < 2:
            continue
        true.append(_told_apart(described[own], leaves.session[own]))
        shuffled.append(_told_apart(described[own], rng.permutation(leaves.session[own])))
    return float(np.mean(true)), float(np.mean(shuffled))


def _filled(leaves: LabelledLeaves) -> Floats:
    typical = np.nanmedian(leaves.measured, axis=0)
    return np.where(np.isfinite(leaves.measured), leaves.measured, typical)


def _diseases(leaves: LabelledLeaves) -> NDArray[np.str_]:
    """Return the folder of each photo, which names what its label says."""
    return np.asarray(np.char.partition(leaves.photo, "/")[:, 0])


def _told_apart(measured: Floats, session: NDArray[np.str_]) -> float:
    model = make_pipeline(
        StandardScaler(), LogisticRegression(C=0.1, max_iter=2000, class_weight="balanced")
    )
    folds = StratifiedKFold(10, shuffle=True, random_state=_SEED)
    told = cross_val_predict(model, measured, session, cv=folds)
    return float(balanced_accuracy_score(session, told))


def _described(numbered: tuple[int, Place]) -> tuple[int, Floats]:
    use_one_thread()
    return numbered[0], whole_picture(read_photo(PhotoFile(numbered[1], numbered[1].name)).pixels)


def _baseline(photos: Path, jobs: int) -> LabelledLeaves:
    labels = read_labels(photos / "tomato" / "labels.csv")
    numbered = [(number, label.path) for number, label in enumerate(labels)]
    rows = dict(spread_over_processes(_described, numbered, jobs))
    return replace(
        labelled_leaves(labels, [np.zeros(len(MEASURES), np.float32) for _ in labels]),
        measured=np.array([rows[number] for number in range(len(labels))]),
    )


def _tried(leaves: LabelledLeaves) -> tuple[UnseenFigures, Classifier]:
    """Return how sessions left out were called, and the classifier that learned from all."""
    results = leave_sessions_out(leaves)
    classifier = train(leaves, results)
    at = (classifier.temperature, classifier.least_probability)
    return unseen_figures(results, *at), classifier


def report(pairs: Sequence[tuple[str, LabelledLeaves]]) -> str:
    """Lay both checks out as a table, one column for each way of describing a leaf."""
    tried = [_tried(leaves) for _, leaves in pairs]
    figures = [vars(figures) for figures, _ in tried]
    rows = [
        [name.replace("_", " "), *("" if f[name] is None else f"{f[name]:.2f}" for f in figures)]
        for name in figures[0]
    ]
    checks = [
        _session_checks(leaves, classifier)
        for (_, leaves), (_, classifier) in zip(pairs, tried, strict=True)
    ]
    rows += [[name, *(f"{check[name]:.2f}" for check in checks)] for name in checks[0]]
    lesions = pairs[0][1]
    amounts = _filled(lesions)[:, [_NAMES.index(name) for name in _AMOUNTS]]
    by_amount, _ = recognisable_sessions(lesions, _diseases(lesions), amounts)
    rows.append(["… by how sick the leaves are alone", f"{by_amount:.2f}", ""])
    return as_table(["sessions left out in turn", *(name for name, _ in pairs)], rows)


def _session_checks(leaves: LabelledLeaves, classifier: Classifier) -> dict[str, float]:
    filled, diseases = _filled(leaves), _diseases(leaves)
    by_pattern, shuffled = recognisable_sessions(leaves, leaves.pattern, filled)
    by_disease, _ = recognisable_sessions(leaves, diseases, filled)
    by_scores, _ = recognisable_sessions(leaves, diseases, classifier.scores(leaves.measured))
    return {
        "sessions of one pattern told apart": by_pattern,
        "the same, sessions shuffled": shuffled,
        "two sessions of one disease told apart": by_disease,
        "… by the scores, all that a call uses": by_scores,
    }


def main() -> None:
    """Print both checks."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--photos", type=Path, default=Path("../shared/photos"))
    parser.add_argument("--features", type=Path, default=Path("models/pattern/features.csv"))
    parser.add_argument("--write-card", action="store_true", help="put it into the model card")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    args = parser.parse_args()
    use_one_thread()
    lesions = read_labelled(args.features)
    table = report([("lesions", lesions), ("whole picture", _baseline(args.photos, args.jobs))])
    print(table)
    if args.write_card:
        fill("baseline", table)


if __name__ == "__main__":
    main()
