"""Load a learned network from a file in the open format ONNX."""

from pathlib import Path

import cv2

__all__ = ["load_onnx"]


def load_onnx(path: Path) -> cv2.dnn.Net:
    """Load a network; it runs in OpenCV.

    OpenCV 5 brings a second way to run networks, which takes a third longer for ours.
    """
    classic = getattr(cv2.dnn, "ENGINE_CLASSIC", None)
    if classic is None:
        return cv2.dnn.readNetFromONNX(str(path))
    return cv2.dnn.readNetFromONNX(str(path), classic)
