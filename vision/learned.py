"""The files of learned numbers that measuring reads: one list, from which nothing may be missing.

A kept reading is measured again when one of them changes.
"""

from pathlib import Path

__all__ = [
    "CHEWED",
    "DROPPING_JUDGE",
    "DROPPING_NETWORK",
    "DROPPING_NETWORK_CLOSE",
    "LEAF_NETWORK",
    "LEAF_NETWORK_SECOND",
    "LEARNED_FILES",
    "NIGHT_JUDGE",
    "OUTLINE",
    "SURFACE",
    "SYMPTOMS",
]

_HERE = Path(__file__).parent

OUTLINE = _HERE / "outline.json"
LEAF_NETWORK = _HERE / "leaf_network.onnx"
LEAF_NETWORK_SECOND = _HERE / "leaf_network_second.onnx"
SURFACE = _HERE / "surface.json"
SYMPTOMS = _HERE / "symptoms.onnx"
CHEWED = _HERE / "chewed.json"
DROPPING_NETWORK = _HERE / "frass.onnx"
DROPPING_NETWORK_CLOSE = _HERE / "frass_close.onnx"
DROPPING_JUDGE = _HERE / "frass.json"
NIGHT_JUDGE = _HERE / "night_judge.json"

LEARNED_FILES = (
    OUTLINE,
    LEAF_NETWORK,
    LEAF_NETWORK_SECOND,
    SURFACE,
    SYMPTOMS,
    CHEWED,
    DROPPING_NETWORK,
    DROPPING_NETWORK_CLOSE,
    DROPPING_JUDGE,
    NIGHT_JUDGE,
)
