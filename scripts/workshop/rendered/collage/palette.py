"""Colours of grounds, as families from which a few are drawn for each photo."""

import numpy as np

from scripts.workshop.rendered.fields import Floats

__all__ = ["FAMILIES", "colour_of", "draw_palette", "linear"]

FAMILIES = {
    "soil": ((60, 40, 28), (35, 25, 20), (95, 70, 50), (120, 95, 70), (80, 50, 35), (25, 22, 20),
             (110, 80, 65)),
    "mulch": ((110, 70, 45), (70, 45, 30), (150, 110, 75), (190, 150, 105), (60, 40, 35),
              (140, 65, 40), (40, 28, 22)),
    "straw": ((200, 170, 110), (170, 140, 85), (220, 200, 150), (140, 110, 65), (90, 70, 45)),
    "gravel": ((130, 130, 130), (170, 165, 155), (90, 90, 95), (200, 195, 190), (150, 130, 110)),
    "paper": ((245, 245, 245), (230, 225, 215), (210, 215, 225), (240, 235, 200)),
    "leaf": ((70, 110, 45), (50, 90, 40), (100, 140, 70), (60, 80, 30), (120, 130, 60),
             (85, 125, 80)),
}  # fmt: skip
"""sRGB, red first: the usual colours of each ground in even light."""

_GAMMA = 2.2


def linear(srgb: tuple[int, int, int]) -> Floats:
    """Return linear light, 0 to 1, of an sRGB colour; its curve need not be exact here."""
    return np.asarray((np.array(srgb) / 255) ** _GAMMA, np.float32)


def draw_palette(rng: np.random.Generator, family: str) -> Floats:
    """Draw one to four colours of a family, shape (colours, 3), in a brightness and tint."""
    known = np.stack([linear(colour) for colour in FAMILIES[family]])
    chosen = known[rng.permutation(len(known))[: rng.integers(1, 5)]]
    tint = np.exp(rng.normal(0, 0.25) + rng.normal(0, 0.08, 3))
    return np.asarray(chosen * tint, np.float32)


def colour_of(rng: np.random.Generator, palette: Floats, spread: float = 0.2) -> Floats:
    """Return one of a palette's colours, a little lighter or darker."""
    return np.asarray(palette[rng.integers(len(palette))] * np.exp(rng.normal(0, spread)))
