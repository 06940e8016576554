"""Day photos of droppings, painted with exact truth.

A ``DroppingScene`` says what lies there, ``draw_dropping_scene`` draws one, and
``render_droppings`` paints it as a ``RenderedDroppings``. Nothing here is a photo of anything.
"""

from scripts.workshop.rendered.droppings.paint import colour_step, lay_on_photo, render_droppings
from scripts.workshop.rendered.droppings.scene import (
    GROUNDS,
    LITTER,
    DroppingScene,
    draw_dropping_scene,
)
from scripts.workshop.rendered.droppings.truth import (
    FAINT_STEP,
    DroppingTruth,
    LitterTruth,
    RenderedDroppings,
)

__all__ = [
    "FAINT_STEP",
    "GROUNDS",
    "LITTER",
    "DroppingScene",
    "DroppingTruth",
    "LitterTruth",
    "RenderedDroppings",
    "colour_step",
    "draw_dropping_scene",
    "lay_on_photo",
    "render_droppings",
]
