"""The story of a day photo: droppings, leaves, what is sick on them, how sure is it."""

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.chewed.measure import Chewed, measure_chewed
from vision.day.crop import Crop, cut, droppings_on, full_size, outline_of, paste, to_full_size
from vision.day.drawn import drawn_leaf
from vision.day.leaf import Leaves, find_leaves
from vision.day.lesion import (
    LEAF_LENGTH_PX,
    LEAST_HEALTHY_SHARE,
    Symptoms,
    classify,
    lesions_of,
    without_droppings,
)
from vision.day.light import is_blurred, light_flags, read_light
from vision.day.surface import load_surface, severity_interval
from vision.day.symptom_network import interval_in_the_field
from vision.day.tissue import Healthy
from vision.droppings.find import (
    FoundDroppings,
    find_droppings,
    without_chance_finds,
    without_dead_tissue,
)
from vision.flags import FLAGS, in_order
from vision.raster import shrunk
from vision.records import (
    BACKGROUND,
    DROPPING,
    HALO,
    LESION,
    DayMeasurement,
    DayReading,
    Dropping,
    LeafReading,
    Photo,
    TagReading,
)
from vision.tag.hide import card_mask

__all__ = ["MEASURING_VERSION", "measure_day_photo"]

MEASURING_VERSION = 14
"""Raised whenever the same photo would be measured differently."""

_MOSTLY_DROPPING = 0.4  # share of a green thing that is a dropping: it is no leaf
_AROUND_PX = 9  # side of the square around each pixel of a leaf that still belongs to its search


def measure_day_photo(
    photo: Photo,
    tag: TagReading | None = None,
    outline_px: Sequence[tuple[float, float]] | None = None,
) -> DayMeasurement:
    """Measure the leaves of a day photo, and count the caterpillar droppings on it.

    Parameters
    ----------
    photo : Photo
        From ``vision.photo.decode.read_photo``.
    tag : TagReading, optional
        The stake tag in it, read or refused: its card is not measured.
    outline_px : sequence of (float, float), optional
        Row and column of the points of an outline that a person drew around one leaf: it alone is
        measured.

    Returns
    -------
    DayMeasurement
        With no leaf and the flag ``no_leaf`` where nothing looks like one; droppings, as on a
        sheet of paper, are counted all the same, and where a leaf's colours are wrong.
    """
    if any(not FLAGS[name].measurable for name in photo.flags):
        return _unmeasured(photo, photo.flags)
    card = card_mask(photo, tag) if tag else None
    leaves = (
        find_leaves(photo.pixels, card)
        if outline_px is None
        else drawn_leaf(photo, outline_px, card)
    )
    droppings = find_droppings(_searched(photo.pixels, leaves), card)
    if outline_px is None:
        leaves = leaves.without(droppings.mask, _MOSTLY_DROPPING)
    droppings = without_chance_finds(droppings, leaves.numbers, leaves.plain)
    if leaves.count == 0:
        small = shrunk(photo.pixels, LEAF_LENGTH_PX / max(photo.pixels.shape[:2]))
        blurred = ("blurred",) if is_blurred(small) else ()
        unmeasured = _unmeasured(photo, (*photo.flags, *leaves.flags, *blurred))
        return _with_droppings(unmeasured, photo, droppings)
    numbers = range(1, leaves.count + 1)
    crops = _with_borrowed_colour([cut(photo, leaves, n) for n in numbers])
    droppings = _looked_for_again(photo, card, leaves.plain, crops) or droppings
    surface = load_surface() if leaves.plain else None
    sorted_ = [classify(crop.lab, crop.leaf, crop.healthy, crop.length, surface) for crop in crops]
    classes = np.zeros(photo.pixels.shape[:2], np.uint8)
    for crop, symptoms in zip(crops, sorted_, strict=True):
        paste(classes, leaves.numbers, crop, symptoms)
    seen, droppings = droppings, without_dead_tissue(droppings, classes)
    readings = []
    for crop, found in zip(crops, sorted_, strict=True):
        symptoms = without_droppings(found, droppings_on(crop, droppings))
        if symptoms is not found:
            paste(classes, leaves.numbers, crop, symptoms)
        readings.append(_read_leaf(crop, symptoms, leaves))
    flags = (*photo.flags, *leaves.flags)
    if not all(FLAGS[name].measurable for name in readings[0].flags):
        return _with_droppings(_unmeasured(photo, (*flags, *readings[0].flags)), photo, seen)
    measurement = DayMeasurement(_sum_up(readings, flags), classes, leaves.numbers, card)
    return _with_droppings(measurement, photo, droppings)


def _searched(pixels: NDArray[np.uint8], leaves: Leaves) -> NDArray[np.uint8]:
    """Return what droppings are looked for in: in the field the leaf alone, else all of it.

    Nothing beside a leaf in the field is counted (``vision.droppings.find.without_chance_finds``),
    and soil and litter, full of what might be one, would take most of the time.
    """
    if leaves.plain or leaves.count == 0:
        return pixels
    near = cv2.dilate(leaves.numbers, np.ones((_AROUND_PX, _AROUND_PX), np.uint8))
    usual = np.median(pixels[leaves.numbers > 0][::97], axis=0).astype(np.uint8)
    return np.asarray(cv2.copyTo(pixels, near, np.full_like(pixels, usual)), np.uint8)


def _looked_for_again(
    photo: Photo, card: NDArray[np.uint8] | None, plain: bool, crops: Sequence[Crop]
) -> FoundDroppings | None:
    """Look all over a photo in the field without any green: its leaf may be soil. Else None."""
    if plain or any(crop.healthy.share >= LEAST_HEALTHY_SHARE for crop in crops):
        return None
    no_leaf = np.zeros(photo.pixels.shape[:2], np.uint8)
    return without_chance_finds(find_droppings(photo.pixels, card), no_leaf, plain=False)


def _with_droppings(
    measurement: DayMeasurement, photo: Photo, droppings: FoundDroppings
) -> DayMeasurement:
    """Add the droppings, in pixels of the full-size photo, and draw them into the mask."""
    classes = measurement.classes.copy()
    classes[droppings.mask] = DROPPING
    reading = replace(
        measurement.reading,
        droppings=tuple(_dropping_to_full_size(one, photo.reduction) for one in droppings.found),
        frass_count=len(droppings.found),
        frass_low=droppings.low,
        frass_high=droppings.high,
    )
    return replace(measurement, reading=reading, classes=classes)


def _dropping_to_full_size(dropping: Dropping, scale: int) -> Dropping:
    return replace(
        dropping,
        row_px=(dropping.row_px + 0.5) * scale - 0.5,
        col_px=(dropping.col_px + 0.5) * scale - 0.5,
        length_px=dropping.length_px * scale,
        width_px=dropping.width_px * scale,
        area_px=dropping.area_px * scale**2,
    )


def _unmeasured(photo: Photo, flags: tuple[str, ...]) -> DayMeasurement:
    empty = np.zeros(photo.pixels.shape[:2], np.uint8)
    return DayMeasurement(DayReading((), in_order(flags)), empty, empty)


def _with_borrowed_colour(crops: list[Crop]) -> list[Crop]:
    """Let a leaf without enough green borrow the healthy colour of the greenest leaf beside it."""
    best = max((crop.healthy for crop in crops), key=lambda healthy: healthy.share)
    if best.share < LEAST_HEALTHY_SHARE:
        return crops
    return [
        crop
        if crop.healthy.share >= LEAST_HEALTHY_SHARE
        else replace(crop, healthy=Healthy(best.lab, 0.0))
        for crop in crops
    ]


def _read_leaf(crop: Crop, symptoms: Symptoms, leaves: Leaves) -> LeafReading:
    area = float(np.count_nonzero(symptoms.classes != BACKGROUND))
    lesion_pct, halo_pct = (
        100 * np.count_nonzero(symptoms.classes == kind) / area for kind in (LESION, HALO)
    )
    low, high = _interval(lesion_pct + halo_pct, symptoms.doubtful_pct, leaves.plain)
    light = read_light(crop.pixels, crop.lab, crop.leaf, crop.healthy)
    moments = cv2.moments(crop.leaf.astype(np.uint8), binaryImage=True)
    lesions = lesions_of(symptoms.classes, crop.lab[..., 0], crop.healthy, crop.number)
    chewed = _chewed(crop, symptoms, leaves)
    return LeafReading(
        leaf=crop.number,
        row_px=full_size(crop, moments["m01"] / moments["m00"], 0),
        col_px=full_size(crop, moments["m10"] / moments["m00"], 1),
        area_px=area * crop.scale**2,
        lesions=tuple(to_full_size(lesion, crop) for lesion in lesions),
        lesion_pct=float(lesion_pct),
        halo_pct=float(halo_pct),
        severity_pct=float(lesion_pct + halo_pct),
        severity_low_pct=low,
        severity_high_pct=high,
        healthy_lab=crop.healthy.lab,
        outline_px=outline_of(crop),
        flags=_leaf_flags(crop, leaves, light_flags(light), chewed),
        chewed_pct=chewed.pct if chewed else None,
        chewed_low_pct=chewed.low_pct if chewed else None,
        chewed_high_pct=chewed.high_pct if chewed else None,
    )


def _interval(severity_pct: float, doubtful_pct: float, plain: bool) -> tuple[float, float]:
    if plain:
        return severity_interval(severity_pct, doubtful_pct, load_surface())
    return interval_in_the_field(severity_pct, doubtful_pct)


def _chewed(crop: Crop, symptoms: Symptoms, leaves: Leaves) -> Chewed | None:
    """Measure what was eaten where the whole outline is seen on a plain ground."""
    if not _outline_seen(crop, leaves):
        return None
    return measure_chewed(crop.leaf, symptoms.classes)


def _outline_seen(crop: Crop, leaves: Leaves) -> bool:
    place = crop.number - 1
    return leaves.plain and not (leaves.cut_off[place] or leaves.touching[place])


def _leaf_flags(
    crop: Crop, leaves: Leaves, light: tuple[str, ...], chewed: Chewed | None
) -> tuple[str, ...]:
    own = {
        "cut_off": leaves.cut_off[crop.number - 1],
        "touching": leaves.touching[crop.number - 1],
        "outline_unknown": chewed is None and _outline_seen(crop, leaves),
        "all_sick": crop.healthy.share < LEAST_HEALTHY_SHARE,
    }
    return in_order((*light, *(name for name, true in own.items() if true)))


def _sum_up(leaves: list[LeafReading], flags: tuple[str, ...]) -> DayReading:
    """Weigh the leaves by their area."""
    area = sum(leaf.area_px for leaf in leaves)

    def mean(values: list[float]) -> float:
        return sum(v * leaf.area_px for v, leaf in zip(values, leaves, strict=True)) / area

    severity = mean([leaf.severity_pct for leaf in leaves])
    pct, low, high = _chewed_of_all(leaves)
    # Errors of leaves in one photo share light and camera: they are added, not averaged out.
    return DayReading(
        leaves=tuple(leaves),
        flags=in_order(flags + tuple(name for leaf in leaves for name in leaf.flags)),
        leaf_area_px=area,
        lesion_pct=mean([leaf.lesion_pct for leaf in leaves]),
        halo_pct=mean([leaf.halo_pct for leaf in leaves]),
        severity_pct=severity,
        severity_low_pct=mean([leaf.severity_low_pct for leaf in leaves]),
        severity_high_pct=mean([leaf.severity_high_pct for leaf in leaves]),
        chewed_pct=pct,
        chewed_low_pct=low,
        chewed_high_pct=high,
    )


def _chewed_of_all(leaves: list[LeafReading]) -> tuple[float | None, ...]:
    """Weigh by area the leaves whose outline could be inferred; None where none could."""
    known = [leaf for leaf in leaves if leaf.chewed_pct is not None]
    if not known:
        return None, None, None
    weights = [leaf.area_px / (1 - (leaf.chewed_pct or 0) / 100) for leaf in known]
    values = [(leaf.chewed_pct, leaf.chewed_low_pct, leaf.chewed_high_pct) for leaf in known]
    return tuple(float(v) for v in np.average(np.array(values, float), axis=0, weights=weights))
