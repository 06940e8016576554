"""The story of a painted photo: lay out the leaves, paint what is behind, the leaves, expose."""

from dataclasses import dataclass, field, replace
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.records import BACKGROUND, HALO, LEAF, LESION
from vision.rendered.background import paint_plain
from vision.rendered.camera import photograph
from vision.rendered.fields import Floats
from vision.rendered.layout import LeafPlan, lay_out
from vision.rendered.light import cast_shadow, shade
from vision.rendered.marks import draw_holes, paint_specks
from vision.rendered.natural import paint_natural
from vision.rendered.scene import BLIGHT_KINDS, PLAIN_BACKGROUNDS, SPOT_KINDS, Scene
from vision.rendered.shape import Leaflet, Points, blade_coordinates
from vision.rendered.symptom_colours import paint_symptoms
from vision.rendered.symptoms import Symptoms, draw_blight, draw_spots, share_severity
from vision.rendered.tissue import Blade, paint_blade
from vision.rendered.truth import LesionTruth, RenderedPhoto

__all__ = ["render"]

Window = tuple[slice, slice]

_FAR_BEHIND = ("sky", "foliage_far")  # too far behind to catch a shadow


@dataclass(eq=False)
class _Piece:
    """One leaflet on its way into the photo: its window, cover (0 to 1) and visible pixels."""

    leaf: int
    leaflet: Leaflet
    window: Window
    cover: Floats
    visible: NDArray[np.bool_] = field(init=False)

    @property
    def corner(self) -> tuple[int, int]:
        return self.window[0].start, self.window[1].start


def render(scene: Scene, seed: int) -> RenderedPhoto:
    """Paint a scene.

    Parameters
    ----------
    scene : Scene
        What is painted.
    seed : int
        Fixes everything that the scene leaves to chance.

    Returns
    -------
    RenderedPhoto
        The photo with its exact truth. The same scene and seed give the same photo.
    """
    rng = np.random.default_rng(seed)
    scene = _settle_kind(rng, scene)
    plans = lay_out(rng, scene)
    px_per_mm = _scale(scene, plans)
    behind = paint_plain if scene.background in PLAIN_BACKGROUNDS else paint_natural
    canvas = behind(rng, scene, px_per_mm)
    pieces = _pieces(rng, scene, plans)
    _cast_shadows(canvas, scene, plans, pieces, px_per_mm)
    numbers = _resolve_overlaps(scene, pieces)
    mask = np.where(numbers > 0, LEAF, BACKGROUND).astype(np.uint8)
    areas = [int(np.count_nonzero(piece.visible)) for piece in pieces]
    lesions: list[LesionTruth] = []
    for piece, share in zip(pieces, share_severity(rng, scene, areas), strict=True):
        symptoms = _symptoms(rng, scene, piece, px_per_mm, float(share))
        _paint_piece(rng, scene, canvas, piece, symptoms, px_per_mm)
        lesions += _record(scene, piece, symptoms, mask)
    pixels = photograph(rng, scene, canvas)
    for array in (pixels, mask, numbers):
        array.flags.writeable = False
    lesions.sort(key=lambda lesion: -lesion.area_px)
    return RenderedPhoto(pixels, mask, numbers, tuple(lesions), scene, seed, px_per_mm)


def _settle_kind(rng: np.random.Generator, scene: Scene) -> Scene:
    kinds = {"spot": SPOT_KINDS, "blight": BLIGHT_KINDS}.get(scene.pattern)
    drawn = rng.random()  # drawn always, so that naming the kind changes nothing else
    if kinds is None or scene.kind:
        return scene
    return replace(scene, kind=kinds[int(drawn * len(kinds))])


def _scale(scene: Scene, plans: tuple[LeafPlan, ...]) -> float:
    """Pixels per millimetre, from the first leaf's longest leaflet."""
    if not plans:
        return min(scene.width_px, scene.height_px) / 120
    return max(one.length for one in plans[0].leaflets) / scene.leaf_length_mm


def _pieces(rng: np.random.Generator, scene: Scene, plans: tuple[LeafPlan, ...]) -> list[_Piece]:
    pieces = []
    for number, plan in enumerate(plans, start=1):
        for leaflet in plan.leaflets:
            window = _window(leaflet.outline, scene)
            if window is None:
                continue
            cover = _cover(leaflet.outline, window)
            pieces.append(_Piece(number, leaflet, window, cover))
    _punch_holes(rng, scene, pieces)
    return pieces


def _punch_holes(rng: np.random.Generator, scene: Scene, pieces: list[_Piece]) -> None:
    for piece in pieces:
        share = 1 / sum(other.leaf == piece.leaf for other in pieces)
        piece.cover *= draw_holes(rng, piece.cover, rng.binomial(scene.holes, share))


def _window(outline: Points, scene: Scene) -> Window | None:
    """Part of the frame around an outline, None when it lies outside."""
    low = np.floor(outline.min(axis=0) - 2).astype(int)
    high = np.ceil(outline.max(axis=0) + 3).astype(int)
    low = np.maximum(low, 0)
    high = np.minimum(high, (scene.width_px, scene.height_px))
    if np.any(high - low < 4):
        return None
    return slice(int(low[1]), int(high[1])), slice(int(low[0]), int(high[0]))


def _cover(outline: Points, window: Window) -> Floats:
    """Anti-aliased share of each pixel inside the outline."""
    shape = (window[0].stop - window[0].start, window[1].stop - window[1].start)
    canvas = np.zeros(shape, np.uint8)
    points = np.rint((outline - (window[1].start, window[0].start)) * 16).astype(np.int32)
    cv2.fillPoly(canvas, [points], 255, cv2.LINE_AA, shift=4)
    return canvas.astype(np.float32) / np.float32(255)


def _cast_shadows(
    canvas: Floats,
    scene: Scene,
    plans: tuple[LeafPlan, ...],
    pieces: list[_Piece],
    px_per_mm: float,
) -> None:
    """Shadow of all blades and stalks on the background, then the stalks themselves."""
    shape = canvas.shape[:2]
    total = np.zeros(shape, np.float32)
    stalks = np.zeros(shape, np.uint8)
    for plan in plans:
        for stalk in plan.stalks:
            _draw_stalk(stalks, stalk)
    for piece in pieces:
        total[piece.window] = np.maximum(total[piece.window], piece.cover)
    stalk_cover = stalks.astype(np.float32) / np.float32(255)
    if scene.background not in _FAR_BEHIND:
        cast_shadow(canvas, np.maximum(total, stalk_cover), scene, scene.lift_mm * px_per_mm)
    _paint_stalks(canvas, stalk_cover, scene)


def _draw_stalk(canvas: NDArray[np.uint8], stalk: Points) -> None:
    for (x0, y0, w0), (x1, y1, _) in pairwise(stalk):
        ends = [(round(float(x) * 16), round(float(y) * 16)) for x, y in ((x0, y0), (x1, y1))]
        cv2.line(canvas, ends[0], ends[1], 255, max(1, round(float(w0))), cv2.LINE_AA, shift=4)


def _paint_stalks(canvas: Floats, cover: Floats, scene: Scene) -> None:
    """Round, pale green stalks."""
    if not cover.any():
        return
    rows, cols = np.nonzero(cover)
    window = (slice(rows.min(), rows.max() + 1), slice(cols.min(), cols.max() + 1))
    part = cover[window]
    height = np.sqrt(cv2.distanceTransform((part > 0.5).astype(np.uint8), cv2.DIST_L2, 3)) * 1.6
    colour = np.array([0.20, 0.29, 0.10], np.float32) * np.float32(scene.brightness)
    calm = replace(scene, roughness=0.2)
    light = shade(
        np.random.default_rng(0), calm, np.broadcast_to(colour, (*part.shape, 3)), height, 0.3
    )
    canvas[window] += part[..., None] * (light - canvas[window])


def _resolve_overlaps(scene: Scene, pieces: list[_Piece]) -> NDArray[np.uint8]:
    """Fill in which pixels of each leaflet are seen; return the leaf number of every pixel."""
    top = np.full((scene.height_px, scene.width_px), -1, np.int16)
    numbers = np.zeros(top.shape, np.uint8)
    for index, piece in enumerate(pieces):
        own = piece.cover >= 0.5
        top[piece.window][own] = index
        numbers[piece.window][own] = piece.leaf
    for index, piece in enumerate(pieces):
        piece.visible = top[piece.window] == index
    return numbers


def _symptoms(
    rng: np.random.Generator, scene: Scene, piece: _Piece, px_per_mm: float, share: float
) -> Symptoms:
    if share <= 0:
        return Symptoms.none(piece.visible.shape)
    if scene.pattern == "spot":
        return draw_spots(rng, scene, piece.visible, px_per_mm, share)
    outline = piece.leaflet.outline - (piece.corner[1], piece.corner[0])
    return draw_blight(rng, scene, piece.visible, outline, px_per_mm, share)


def _paint_piece(
    rng: np.random.Generator,
    scene: Scene,
    canvas: Floats,
    piece: _Piece,
    symptoms: Symptoms,
    px_per_mm: float,
) -> None:
    """Paint one leaflet over the canvas, with its shadow on the leaflets below it."""
    coordinates = blade_coordinates(piece.leaflet, piece.corner, piece.cover.shape)
    blade: Blade = paint_blade(rng, scene, piece.leaflet, coordinates, px_per_mm)
    dry = paint_symptoms(rng, scene, blade, symptoms, px_per_mm)
    dry = np.maximum(dry, paint_specks(rng, scene.soil_specks, blade, piece.visible, px_per_mm))
    reflectance = blade.colour * blade.texture[..., None]
    gloss = np.float32(scene.gloss) * (1 - dry)
    light = shade(rng, scene, reflectance, blade.height_px, gloss)
    below = canvas[piece.window]
    if scene.shape == "compound":
        cast_shadow(below, piece.cover, scene, 0.8 * px_per_mm)
    below += piece.cover[..., None] * (light - below)


def _record(
    scene: Scene, piece: _Piece, symptoms: Symptoms, mask: NDArray[np.uint8]
) -> list[LesionTruth]:
    """Write the leaflet's symptoms into the mask and list its lesions."""
    part = mask[piece.window]
    part[piece.visible & symptoms.halo] = HALO
    lesion = piece.visible & symptoms.lesion
    part[lesion] = LESION
    rows, cols = np.nonzero(lesion)
    owner = symptoms.owner[lesion]
    area = np.bincount(owner, minlength=1)
    found = np.flatnonzero(area)
    row = np.bincount(owner, rows)[found] / area[found] + piece.corner[0] if found.size else []
    col = np.bincount(owner, cols)[found] / area[found] + piece.corner[1] if found.size else []
    return [
        LesionTruth(piece.leaf, float(r), float(c), int(a), scene.kind)
        for r, c, a in zip(row, col, area[found], strict=True)
    ]
