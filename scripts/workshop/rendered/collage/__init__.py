"""Droppings on grounds of any make, painted roughly but in great variety, with exact truth.

``scripts.workshop.rendered.droppings`` paints few grounds with care. What is learned from these
alone holds on these alone, so here grounds, litter, light and droppings vary far more than any
garden does. ``paint_collage`` paints one, ``paint_alone`` a single thing. Nothing here is a photo
of anything.
"""

from scripts.workshop.rendered.collage.alone import Alone, paint_alone
from scripts.workshop.rendered.collage.scene import Collage, paint_collage

__all__ = ["Alone", "Collage", "paint_alone", "paint_collage"]
