"""Photos painted with exact truth: they make the sample garden and prove the measuring.

A ``Scene`` says what stands before the camera, ``render`` paints it in linear light and exposes
it to sRGB, and the ``RenderedPhoto`` carries the truth mask. Nothing here is a photo of anything.
"""

from vision.rendered.feeding import EATEN, FALLEN, draw_feeding
from vision.rendered.paint import render
from vision.rendered.scene import (
    BLIGHT_KINDS,
    NATURAL_BACKGROUNDS,
    PLAIN_BACKGROUNDS,
    SPOT_KINDS,
    PaintedTag,
    Scene,
    draw_scene,
)
from vision.rendered.truth import LesionTruth, RenderedPhoto

__all__ = [
    "BLIGHT_KINDS",
    "EATEN",
    "FALLEN",
    "NATURAL_BACKGROUNDS",
    "PLAIN_BACKGROUNDS",
    "SPOT_KINDS",
    "LesionTruth",
    "PaintedTag",
    "RenderedPhoto",
    "Scene",
    "draw_feeding",
    "draw_scene",
    "render",
]
