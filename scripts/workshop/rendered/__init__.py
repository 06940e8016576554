"""Photos painted with exact truth: they make the sample garden and prove the measuring.

A ``Scene`` says what stands before the camera, ``render`` paints it in linear light and exposes
it to sRGB, and the ``RenderedPhoto`` carries the truth mask. Nothing here is a photo of anything.
"""

from scripts.workshop.rendered.leaves.feeding import EATEN, FALLEN, draw_feeding
from scripts.workshop.rendered.leaves.paint import render
from scripts.workshop.rendered.leaves.truth import LesionTruth, RenderedPhoto
from scripts.workshop.rendered.scene import (
    BLIGHT_KINDS,
    NATURAL_BACKGROUNDS,
    PLAIN_BACKGROUNDS,
    SPOT_KINDS,
    PaintedTag,
    Scene,
    draw_scene,
)

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
