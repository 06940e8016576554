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

OUTLINE = _HERE / "day" / "outline.json"
LEAF_NETWORK = _HERE / "day" / "leaf_network.onnx"
LEAF_NETWORK_SECOND = _HERE / "day" / "leaf_network_second.onnx"
SURFACE = _HERE / "day" / "surface.json"
SYMPTOMS = _HERE / "day" / "symptoms.onnx"
CHEWED = _HERE / "chewed" / "chewed.json"
DROPPING_NETWORK = _HERE / "droppings" / "network.onnx"
DROPPING_NETWORK_CLOSE = _HERE / "droppings" / "close.onnx"
DROPPING_JUDGE = _HERE / "droppings" / "judge.json"
NIGHT_JUDGE = _HERE / "night" / "judge.json"

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
