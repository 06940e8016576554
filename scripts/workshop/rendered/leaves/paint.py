"""The story of a painted photo: lay out the leaves, paint what is behind, the leaves, expose."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.camera import photograph
from scripts.workshop.rendered.fields import Floats
from scripts.workshop.rendered.leaves.background import paint_plain
from scripts.workshop.rendered.leaves.burn_marks import draw_burn, paint_burn, paint_dew
from scripts.workshop.rendered.leaves.feeding import stamp_rims
from scripts.workshop.rendered.leaves.layout import LeafPlan, lay_out
from scripts.workshop.rendered.leaves.marks import paint_specks
from scripts.workshop.rendered.leaves.natural import paint_natural
from scripts.workshop.rendered.leaves.pieces import Piece, cut_pieces, missing_pixels, number_pixels
from scripts.workshop.rendered.leaves.stake_tag import Corners, lay_tag
from scripts.workshop.rendered.leaves.stalks import paint_stalks, stalk_cover
from scripts.workshop.rendered.leaves.symptom_colours import paint_symptoms
from scripts.workshop.rendered.leaves.symptoms import (
    Symptoms,
    add_young,
    draw_blight,
    draw_spots,
    share_severity,
)
from scripts.workshop.rendered.leaves.tissue import paint_blade
from scripts.workshop.rendered.leaves.truth import LesionTruth, RenderedPhoto
from scripts.workshop.rendered.light import cast_shadow, shade
from scripts.workshop.rendered.scene import BLIGHT_KINDS, PLAIN_BACKGROUNDS, SPOT_KINDS, Scene
from scripts.workshop.rendered.shape import blade_coordinates
from vision.records import BACKGROUND, HALO, LEAF, LESION

__all__ = ["Painting", "paint_light", "render", "settle_kind"]

_FAR_BEHIND = ("sky", "foliage_far")  # too far behind to catch a shadow


@dataclass(frozen=True, eq=False)
class Painting:
    """A scene in linear light with its truth, before the camera.

    Attributes
    ----------
    canvas : ndarray of float32, shape (rows, columns, 3)
        Light, 1 = a white sheet.
    mask, numbers, missing : ndarray of uint8, shape (rows, columns)
        As in ``RenderedPhoto``.
    lesions : tuple of LesionTruth
        Largest first.
    px_per_mm : float
        Scale.
    burnt_px : int
        As in ``RenderedPhoto``.
    tag_corners_px : tuple of (float, float) or None
        As in ``RenderedPhoto``.
    """

    canvas: Floats
    mask: NDArray[np.uint8]
    numbers: NDArray[np.uint8]
    missing: NDArray[np.uint8]
    lesions: tuple[LesionTruth, ...]
    px_per_mm: float
    burnt_px: int
    tag_corners_px: Corners | None = None


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
    scene = settle_kind(rng, scene)
    painting = paint_light(rng, scene, seed)
    pixels = photograph(rng, scene, painting.canvas)
    for array in (pixels, painting.mask, painting.numbers, painting.missing):
        array.flags.writeable = False
    return RenderedPhoto(
        pixels,
        painting.mask,
        painting.numbers,
        painting.lesions,
        scene,
        seed,
        painting.px_per_mm,
        painting.burnt_px,
        painting.missing,
        painting.tag_corners_px,
    )


def paint_light(rng: np.random.Generator, scene: Scene, seed: int) -> Painting:
    """Paint what lies before the camera, without the camera.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    scene : Scene
        What is painted, its ``kind`` filled in.
    seed : int
        Fixes the marks that have a chance of their own.
    """
    plans = lay_out(rng, scene)
    px_per_mm = _scale(scene, plans)
    gaps_rng = np.random.default_rng((seed, 2))
    pieces = cut_pieces(rng, scene, plans, px_per_mm, gaps_rng)
    numbers = number_pixels(scene, pieces)
    canvas, tag_corners = _paint_behind(rng, scene, plans, pieces, px_per_mm)
    mask = np.where(numbers > 0, LEAF, BACKGROUND).astype(np.uint8)
    areas = [int(np.count_nonzero(piece.visible)) for piece in pieces]
    lesions: list[LesionTruth] = []
    # Marks of a spray have a chance of their own: they leave everything else as it was.
    marks_rng = np.random.default_rng((seed, 1))
    burnt_px = 0
    for piece, share in zip(pieces, share_severity(rng, scene, areas), strict=True):
        symptoms = _symptoms(rng, scene, piece, px_per_mm, float(share))
        rims_from = len(symptoms.radius_px)
        halo = 0.6 * px_per_mm if scene.halo else 0.0
        stamp_rims(gaps_rng, symptoms, piece.visible, piece.gaps.rims, halo)
        burn = _burn(marks_rng, scene, piece, px_per_mm)
        burnt_px += int(np.count_nonzero(burn.lesion & piece.visible))
        _paint_piece(rng, scene, canvas, piece, symptoms, px_per_mm, (burn, marks_rng))
        if scene.dew > 0:
            paint_dew(marks_rng, scene, canvas[piece.window], piece.visible, px_per_mm)
        lesions += _record(scene, piece, symptoms, mask, rims_from)
    lesions.sort(key=lambda lesion: -lesion.area_px)
    missing = missing_pixels(scene, pieces, numbers)
    return Painting(
        canvas, mask, numbers, missing, tuple(lesions), px_per_mm, burnt_px, tag_corners
    )


def settle_kind(rng: np.random.Generator, scene: Scene) -> Scene:
    """Return the scene with its kind of disease drawn where it names none."""
    kinds = {"spot": SPOT_KINDS, "blight": BLIGHT_KINDS}.get(scene.pattern)
    drawn = rng.random()  # drawn always, so that naming the kind changes nothing else
    if kinds is None or scene.kind:
        return scene
    return replace(scene, kind=kinds[int(drawn * len(kinds))])


def _scale(scene: Scene, plans: tuple[LeafPlan, ...]) -> float:
    """Return pixels per millimetre, from the first leaf's longest leaflet."""
    if not plans:
        return min(scene.width_px, scene.height_px) / scene.frame_mm
    return max(one.length for one in plans[0].leaflets) / scene.leaf_length_mm


def _paint_behind(
    rng: np.random.Generator,
    scene: Scene,
    plans: tuple[LeafPlan, ...],
    pieces: list[Piece],
    px_per_mm: float,
) -> tuple[Floats, Corners | None]:
    """Paint the background, the tag, the shadow of blades and stalks on it, then the stalks.

    Returns the canvas, and where the tag's corners are.
    """
    plain = scene.background in PLAIN_BACKGROUNDS
    canvas = (paint_plain if plain else paint_natural)(rng, scene, px_per_mm)
    stalks = stalk_cover(scene, plans)
    cover = stalks.copy()
    for piece in pieces:
        cover[piece.window] = np.maximum(cover[piece.window], piece.cover)
    corners = None
    if scene.tag:
        own = rng.spawn(1)[0]  # so that the rest of the photo is painted as without a tag
        corners = lay_tag(own, scene.tag, scene, canvas, cover, px_per_mm)
    if scene.background not in _FAR_BEHIND:
        cast_shadow(canvas, cover, scene, scene.lift_mm * px_per_mm)
    paint_stalks(rng, scene, canvas, stalks)
    return canvas, corners


def _symptoms(
    rng: np.random.Generator, scene: Scene, piece: Piece, px_per_mm: float, share: float
) -> Symptoms:
    if share <= 0:
        return Symptoms.none(piece.visible.shape)
    outline = piece.leaflet.outline - (piece.corner[1], piece.corner[0])
    if scene.pattern == "spot":
        return draw_spots(rng, scene, piece.visible, outline, px_per_mm, share)
    found = draw_blight(rng, scene, piece.visible, outline, px_per_mm, share)
    add_young(rng, scene, found, piece.visible, px_per_mm)
    return found


def _burn(rng: np.random.Generator, scene: Scene, piece: Piece, px_per_mm: float) -> Symptoms:
    if scene.burn_pct <= 0 or not piece.visible.any():
        return Symptoms.none(piece.visible.shape)
    outline = piece.leaflet.outline - (piece.corner[1], piece.corner[0])
    return draw_burn(rng, scene, piece.visible, outline, px_per_mm)


def _paint_piece(
    rng: np.random.Generator,
    scene: Scene,
    canvas: Floats,
    piece: Piece,
    symptoms: Symptoms,
    px_per_mm: float,
    burn: tuple[Symptoms, np.random.Generator],
) -> None:
    """Paint one leaflet over the canvas, with its shadow on the leaflets below it."""
    coordinates = blade_coordinates(piece.leaflet, piece.corner, piece.cover.shape)
    blade = paint_blade(rng, scene, piece.leaflet, coordinates, px_per_mm)
    dry = paint_symptoms(rng, scene, blade, symptoms, px_per_mm)
    dry = np.maximum(dry, paint_specks(rng, piece.specks, blade, piece.visible, px_per_mm))
    marks, marks_rng = burn
    dry = np.maximum(dry, paint_burn(marks_rng, scene, blade, marks, px_per_mm))
    reflectance = blade.colour * blade.texture[..., None]
    gloss = np.float32(scene.gloss) * (1 - dry)
    light = shade(rng, scene, reflectance, blade.height_px, gloss)
    below = canvas[piece.window]
    if scene.shape == "compound":
        cast_shadow(below, piece.cover, scene, 0.8 * px_per_mm)
    below += piece.cover[..., None] * (light - below)


def _record(
    scene: Scene, piece: Piece, symptoms: Symptoms, mask: NDArray[np.uint8], rims_from: int
) -> list[LesionTruth]:
    """Write the leaflet's symptoms into the mask and list its lesions."""
    part = mask[piece.window]
    part[piece.visible & symptoms.halo] = HALO
    lesion = piece.visible & symptoms.lesion
    part[lesion] = LESION
    rows, cols = np.nonzero(lesion)
    owner = symptoms.owner[lesion]
    area = np.bincount(owner)
    row, col = np.bincount(owner, rows), np.bincount(owner, cols)
    first_row, first_col = piece.corner
    return [
        LesionTruth(
            piece.leaf,
            float(row[one] / area[one]) + first_row,
            float(col[one] / area[one]) + first_col,
            int(area[one]),
            scene.kind if one < rims_from else "rim",
        )
        for one in np.flatnonzero(area)
    ]
