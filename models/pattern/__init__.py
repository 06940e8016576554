"""Spot or blight: measurements of the lesions on a leaf, and what they are typical of.

A call names a pattern, never a disease: several diseases look alike on a leaf. Training lies in
``models.pattern.training`` and is not imported here, since it alone needs scikit-learn.
"""

from models.pattern.call import (
    BRING_IT,
    NO_DIAGNOSIS,
    BlightKind,
    Pattern,
    PatternCall,
    combine,
    in_words,
)
from models.pattern.classifier import (
    CLASSES,
    CLASSIFIER_FILE,
    PATTERNS,
    Classifier,
    UnfitClassifier,
    load_classifier,
)
from models.pattern.measures import MEASURES, Measure, measure_pattern

__all__ = [
    "BRING_IT",
    "CLASSES",
    "CLASSIFIER_FILE",
    "MEASURES",
    "NO_DIAGNOSIS",
    "PATTERNS",
    "BlightKind",
    "Classifier",
    "Measure",
    "Pattern",
    "PatternCall",
    "UnfitClassifier",
    "combine",
    "in_words",
    "load_classifier",
    "measure_pattern",
]
