"""Night photos under a UV torch, painted with exact truth.

A ``NightScene`` says what stands before the camera, ``draw_night_scene`` draws one, and
``render_night`` paints it as a ``RenderedNight``. Nothing here is a photo of anything.
"""

from scripts.workshop.rendered.night.paint import render_night
from scripts.workshop.rendered.night.scene import (
    ARRANGEMENTS,
    DECOYS,
    FOLIAGE_TONES,
    HIDING,
    POSES,
    STYLES,
    TROUBLES,
    NightScene,
    draw_night_scene,
)
from scripts.workshop.rendered.night.truth import CaterpillarTruth, DecoyTruth, RenderedNight

__all__ = [
    "ARRANGEMENTS",
    "DECOYS",
    "FOLIAGE_TONES",
    "HIDING",
    "POSES",
    "STYLES",
    "TROUBLES",
    "CaterpillarTruth",
    "DecoyTruth",
    "NightScene",
    "RenderedNight",
    "draw_night_scene",
    "render_night",
]
