"""Leaflets on their way into the photo: their windows, cover, holes, and which pixels are seen."""

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.fields import Floats
from scripts.workshop.rendered.leaves.feeding import EATEN, FALLEN, Gaps, cut_gaps
from scripts.workshop.rendered.leaves.layout import LeafPlan
from scripts.workshop.rendered.leaves.marks import draw_holes
from scripts.workshop.rendered.scene import Scene
from scripts.workshop.rendered.shape import Leaflet, Points

__all__ = ["Piece", "cut_pieces", "missing_pixels", "number_pixels"]

Window = tuple[slice, slice]


@dataclass(eq=False)
class Piece:
    """One leaflet in the frame.

    Attributes
    ----------
    leaf : int
        Number of its leaf, from 1.
    leaflet : Leaflet
        Its geometry in pixels of the photo.
    window : tuple of slice
        Rows and columns of the photo that it may touch.
    whole : ndarray of bool, shape of the window
        Pixels that it would cover if nothing were missing.
    cover : ndarray of float32, shape of the window
        Share of each pixel that the leaflet covers, 0 to 1.
    gaps : Gaps
        What has been eaten of it or has fallen out.
    specks : int
        Crumbs of soil that lie on it.
    visible : ndarray of bool, shape of the window
        Pixels where it is the topmost leaflet; filled in by ``number_pixels``.
    """

    leaf: int
    leaflet: Leaflet
    window: Window
    whole: NDArray[np.bool_]
    cover: Floats
    gaps: Gaps
    specks: int
    visible: NDArray[np.bool_] = field(init=False)

    @property
    def corner(self) -> tuple[int, int]:
        """Row and column of the window's first pixel."""
        return self.window[0].start, self.window[1].start


def cut_pieces(
    rng: np.random.Generator,
    scene: Scene,
    plans: tuple[LeafPlan, ...],
    px_per_mm: float,
    gaps_rng: np.random.Generator,
) -> list[Piece]:
    """Return every leaflet that touches the frame, holes and bites cut out, lowest first.

    What is eaten or fallen out has a chance of its own, ``gaps_rng``, and leaves the rest as it
    was.
    """
    pieces = []
    for number, plan in enumerate(plans, start=1):
        for leaflet in plan.leaflets:
            window = _window(leaflet.outline, scene)
            if window is not None:
                cover = _cover(leaflet.outline, window)
                holes = rng.binomial(scene.holes, 1 / len(plan.leaflets))
                whole = cover >= 0.5
                gaps = _gaps(gaps_rng, scene, leaflet, window, cover, px_per_mm, plan)
                cover *= draw_holes(rng, cover, holes)
                cover *= gaps.left
                specks = int(rng.binomial(scene.soil_specks, 1 / len(plan.leaflets)))
                pieces.append(Piece(number, leaflet, window, whole, cover, gaps, specks))
    return pieces


def _gaps(
    rng: np.random.Generator,
    scene: Scene,
    leaflet: Leaflet,
    window: Window,
    cover: Floats,
    px_per_mm: float,
    plan: LeafPlan,
) -> Gaps:
    """Cut a leaflet's gaps; caterpillars eat some leaflets of a compound leaf more than others."""
    uneven = rng.uniform(0.5, 1.5) if len(plan.leaflets) > 1 else 1.0
    share = min(scene.chewed_pct / 100 * uneven, 0.9)
    holes = int(rng.binomial(scene.shot_holes, 1 / len(plan.leaflets)))
    outline = leaflet.outline - (window[1].start, window[0].start)
    return cut_gaps(rng, scene, outline, cover, px_per_mm, (share, holes))


def _window(outline: Points, scene: Scene) -> Window | None:
    """Return the part of the frame around an outline, None when it lies outside."""
    low = np.floor(outline.min(axis=0) - 2).astype(int)
    high = np.ceil(outline.max(axis=0) + 3).astype(int)
    low = np.maximum(low, 0)
    high = np.minimum(high, (scene.width_px, scene.height_px))
    if np.any(high - low < 4):
        return None
    return slice(int(low[1]), int(high[1])), slice(int(low[0]), int(high[0]))


def _cover(outline: Points, window: Window) -> Floats:
    """Return the anti-aliased share of each pixel inside the outline."""
    shape = (window[0].stop - window[0].start, window[1].stop - window[1].start)
    canvas = np.zeros(shape, np.uint8)
    points = np.rint((outline - (window[1].start, window[0].start)) * 16).astype(np.int32)
    cv2.fillPoly(canvas, [points], 255, cv2.LINE_AA, shift=4)
    return canvas.astype(np.float32) / np.float32(255)


def number_pixels(scene: Scene, pieces: list[Piece]) -> NDArray[np.uint8]:
    """Settle which leaflet is seen at each pixel and return the leaf numbers, 0 = background."""
    top = np.full((scene.height_px, scene.width_px), -1, np.int16)
    numbers = np.zeros(top.shape, np.uint8)
    for index, piece in enumerate(pieces):
        own = piece.cover >= 0.5
        top[piece.window][own] = index
        numbers[piece.window][own] = piece.leaf
    for index, piece in enumerate(pieces):
        piece.visible = top[piece.window] == index
    return numbers


def missing_pixels(
    scene: Scene, pieces: list[Piece], numbers: NDArray[np.uint8]
) -> NDArray[np.uint8]:
    """Return EATEN or FALLEN where the uppermost leaflet is gone and no other is seen, else 0."""
    missing = np.zeros((scene.height_px, scene.width_px), np.uint8)
    for piece in pieces:
        gone = np.where(piece.gaps.fallen, FALLEN, EATEN)
        part = missing[piece.window]
        part[piece.whole] = gone[piece.whole]
    missing[numbers > 0] = 0
    return missing
