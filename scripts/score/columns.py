"""Every column of every table: its name, its meaning with the unit, and where its value is found.

The tables are written from this registry and ``spotlamp columns`` prints it, so a column cannot
be in a file without a definition.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import zip_longest
from typing import TYPE_CHECKING, Any

from scripts.common.tables import PERCENT, Cell, Column, Table

if TYPE_CHECKING:  # keeps `spotlamp columns` and every --help free of NumPy
    from models.pattern import PatternCall
    from scripts.score.results import PhotoResult
    from vision.records import Caterpillar, Dropping, LeafReading, Lesion, RejectedGlow

__all__ = ["EXTRA_TABLES", "TABLES"]

SHAPE, PIXELS, MM, SCALE, PROBABILITY = 3, 2, 3, 5, 4
"""Decimals written, by kind of number."""


@dataclass(frozen=True, eq=False)
class _LeafRow:
    photo: PhotoResult
    leaf: LeafReading
    pattern: PatternCall | None


@dataclass(frozen=True, eq=False)
class _CaterpillarRow:
    photo: PhotoResult
    number: int
    found: Caterpillar


@dataclass(frozen=True, eq=False)
class _RejectedRow:
    photo: PhotoResult
    number: int
    found: RejectedGlow


@dataclass(frozen=True, eq=False)
class _DroppingRow:
    photo: PhotoResult
    number: int
    found: Dropping


@dataclass(frozen=True, eq=False)
class _LesionRow:
    photo: PhotoResult
    number: int
    lesion: Lesion


def _photo_rows(photo: PhotoResult) -> Iterable[PhotoResult]:
    return (photo,)


def _leaf_rows(photo: PhotoResult) -> Iterator[_LeafRow]:
    if photo.reading is not None:
        leaves = zip_longest(photo.reading.leaves, photo.leaf_patterns)
        yield from (_LeafRow(photo, leaf, pattern) for leaf, pattern in leaves)


def _lesion_rows(photo: PhotoResult) -> Iterator[_LesionRow]:
    for row in _leaf_rows(photo):
        for number, lesion in enumerate(row.leaf.lesions, start=1):
            yield _LesionRow(photo, number, lesion)


def _caterpillar_rows(photo: PhotoResult) -> Iterator[_CaterpillarRow]:
    found = photo.night.caterpillars if photo.night else ()
    yield from (_CaterpillarRow(photo, number, one) for number, one in enumerate(found, start=1))


def _rejected_rows(photo: PhotoResult) -> Iterator[_RejectedRow]:
    found = photo.night.rejected if photo.night else ()
    yield from (_RejectedRow(photo, number, one) for number, one in enumerate(found, start=1))


def _dropping_rows(photo: PhotoResult) -> Iterator[_DroppingRow]:
    found = photo.reading.droppings if photo.reading else ()
    yield from (_DroppingRow(photo, number, one) for number, one in enumerate(found, start=1))


def _read(name: str) -> Callable[[PhotoResult], Cell]:
    """Return a getter of a value of the photo's reading, empty where there is none."""
    return lambda photo: None if photo.reading is None else getattr(photo.reading, name)


def _night(name: str) -> Callable[[PhotoResult], Cell]:
    """Return a getter of a value of the photo's night reading, empty where there is none."""
    return lambda photo: None if photo.night is None else getattr(photo.night, name)


def _mm(size_px: float | None, photo: PhotoResult) -> Cell:
    """Return a length in mm, empty where the size or the scale is not known."""
    known = size_px is not None and photo.mm_per_px is not None
    return size_px * photo.mm_per_px if known else None  # type: ignore[operator]


def _mm2(area_px: float | None, photo: PhotoResult) -> Cell:
    """Return an area in mm², empty where the area or the scale is not known."""
    known = area_px is not None and photo.mm_per_px is not None
    return area_px * photo.mm_per_px**2 if known else None  # type: ignore[operator]


def _leaf_area_mm2(photo: PhotoResult) -> Cell:
    return _mm2(photo.reading.leaf_area_px if photo.reading else None, photo)


def _leaf_count(photo: PhotoResult) -> Cell:
    return None if photo.reading is None else len(photo.reading.leaves)


def _lesion_count(photo: PhotoResult) -> Cell:
    """Count a photo's lesions; empty, not 0, where nothing was measured."""
    if photo.reading is None or photo.reading.severity_pct is None:
        return None
    return sum(len(leaf.lesions) for leaf in photo.reading.leaves)


def _called(name: str) -> Callable[[Any], Cell]:
    """Return a getter of a value of the pattern call, empty where nothing was called."""
    return lambda row: None if row.pattern is None else getattr(row.pattern, name)


def _pattern_columns(of: str) -> tuple[Column[Any], ...]:
    pattern = f"What the {of} looks like: spot, blight, none or unsure; it is not a diagnosis."
    kind = f"Which blight the {of} looks like: early, late or unsure; empty if not called blight."
    chance = f"Probability, 0 to 1, that the {of}"
    return (
        Column("pattern", pattern, _called("pattern")),
        Column("p_spot", f"{chance} shows a leaf spot.", _called("p_spot"), PROBABILITY),
        Column("p_blight", f"{chance} shows a blight.", _called("p_blight"), PROBABILITY),
        Column("p_none", f"{chance} is healthy.", _called("p_none"), PROBABILITY),
        Column("blight_kind", kind, _called("blight_kind")),
    )


_PHOTO = "Path of the photo relative to the folder that was given, with / between its parts."
_FLAGS = "Names of the reasons for care, joined by a semicolon; empty if there are none."
_LESION_PCT = "Dark, dying tissue as a percentage of the leaf area looked at."
_HALO_PCT = "Yellow tissue around lesions as a percentage of the leaf area looked at."
_SEVERITY_PCT = "Lesions and halos together as a percentage of the leaf area looked at."
_LOW_PCT = "Lower end of the 95 % interval of severity_pct, in percent."
_HIGH_PCT = "Upper end of the 95 % interval of severity_pct, in percent."
_CHEWED = "Leaf area eaten, as a percentage of the area that the outline should hold"
_CHEWED_LOW = "Lower end of the 95 % interval of chewed_pct, in percent."
_CHEWED_HIGH = "Upper end of the 95 % interval of chewed_pct, in percent."
_MARGIN = "Distance from the lesion's centre to the leaf's outline"

_PHOTOS: Table[PhotoResult] = Table(
    "photos",
    "one photo",
    _photo_rows,
    (
        Column("photo", _PHOTO, lambda photo: photo.name),
        Column("sha256", "SHA-256 hash of the file, 64 hexadecimal digits.", lambda p: p.sha256),
        Column(
            "taken_at",
            "Capture time, ISO 8601; with a UTC offset only if the photo has one.",
            lambda photo: photo.taken_at.isoformat() if photo.taken_at else None,
        ),
        Column(
            "taken_from",
            "Where the capture time was read: exif (in the photo), name (of file or folder, or "
            "given by hand) or file (its date).",
            lambda photo: photo.taken_from,
        ),
        Column(
            "plant",
            "Name of the plant: as filed in the garden, else the photo's folder; empty without.",
            lambda photo: photo.plant,
        ),
        Column(
            "mode",
            "How the photo was read: day or night (under UV light).",
            lambda photo: photo.mode,
        ),
        Column(
            "status",
            "ok, flagged (read with care, see flags) or unreadable (see problems.txt).",
            lambda photo: photo.status,
        ),
        Column("flags", _FLAGS, lambda photo: ";".join(photo.flags)),
        Column("width_px", "Full width of the upright photo, in pixels.", lambda p: p.width_px),
        Column("height_px", "Full height of the upright photo, in pixels.", lambda p: p.height_px),
        Column(
            "mm_per_px",
            "Scale, in millimetres a pixel, from the stake tag beside the leaf; empty without one.",
            lambda photo: photo.mm_per_px,
            SCALE,
        ),
        Column("leaf_count", "Leaves measured; touching ones may count as one.", _leaf_count),
        Column(
            "leaf_area_px",
            "Area of all leaves measured, in square pixels of the full-size photo.",
            _read("leaf_area_px"),
            PIXELS,
        ),
        Column(
            "leaf_area_mm2",
            "Area of all leaves measured, in mm²; empty without a scale.",
            _leaf_area_mm2,
            PIXELS,
        ),
        Column("lesion_count", "Lesions (patches of dark tissue) on all leaves.", _lesion_count),
        Column("lesion_pct", _LESION_PCT, _read("lesion_pct")),
        Column("halo_pct", _HALO_PCT, _read("halo_pct")),
        Column("severity_pct", _SEVERITY_PCT, _read("severity_pct")),
        Column("severity_low_pct", _LOW_PCT, _read("severity_low_pct")),
        Column("severity_high_pct", _HIGH_PCT, _read("severity_high_pct")),
        *_pattern_columns("photo"),
        Column(
            "frass_count",
            "Number of caterpillar droppings in a day photo; 0 means none seen.",
            _read("frass_count"),
        ),
        Column("chewed_pct", f"{_CHEWED}; empty where that is not known.", _read("chewed_pct")),
        Column(
            "caterpillar_count",
            "Number of caterpillars that glow in a UV night photo; 0 means none seen.",
            _night("caterpillar_count"),
        ),
        Column(
            "caterpillar_low",
            "Lower end of the 95 % interval of caterpillar_count.",
            _night("caterpillar_low"),
        ),
        Column(
            "caterpillar_high",
            "Upper end of the 95 % interval of caterpillar_count.",
            _night("caterpillar_high"),
        ),
        Column("frass_low", "Lower end of the 95 % interval of frass_count.", _read("frass_low")),
        Column("frass_high", "Upper end of the 95 % interval of frass_count.", _read("frass_high")),
        Column("chewed_low_pct", _CHEWED_LOW, _read("chewed_low_pct")),
        Column("chewed_high_pct", _CHEWED_HIGH, _read("chewed_high_pct")),
    ),
)

_LEAVES: Table[_LeafRow] = Table(
    "leaves",
    "one leaf of a photo",
    _leaf_rows,
    (
        Column("photo", _PHOTO, lambda row: row.photo.name),
        Column(
            "leaf", "Number of the leaf in its photo, largest first.", lambda row: row.leaf.leaf
        ),
        Column(
            "row_px",
            "Centre of the leaf, in pixels from the photo's top edge.",
            lambda row: row.leaf.row_px,
            PIXELS,
        ),
        Column(
            "col_px",
            "Centre of the leaf, in pixels from the photo's left edge.",
            lambda row: row.leaf.col_px,
            PIXELS,
        ),
        Column(
            "area_px",
            "Area of the leaf, sick parts included, in square pixels.",
            lambda row: row.leaf.area_px,
            PIXELS,
        ),
        Column(
            "area_mm2",
            "Area of the leaf, in mm²; empty without a scale.",
            lambda row: _mm2(row.leaf.area_px, row.photo),
            PIXELS,
        ),
        Column(
            "lesion_count",
            "Lesions (patches of dark tissue) on the leaf.",
            lambda row: len(row.leaf.lesions),
        ),
        Column("lesion_pct", _LESION_PCT, lambda row: row.leaf.lesion_pct),
        Column("halo_pct", _HALO_PCT, lambda row: row.leaf.halo_pct),
        Column("severity_pct", _SEVERITY_PCT, lambda row: row.leaf.severity_pct),
        Column("severity_low_pct", _LOW_PCT, lambda row: row.leaf.severity_low_pct),
        Column("severity_high_pct", _HIGH_PCT, lambda row: row.leaf.severity_high_pct),
        Column("flags", _FLAGS, lambda row: ";".join(row.leaf.flags)),
        *_pattern_columns("leaf"),
        Column(
            "pattern_reason",
            "The measurements behind the pattern, as a sentence.",
            _called("reason"),
        ),
        Column(
            "chewed_pct",
            f"{_CHEWED}; empty where that is not known.",
            lambda row: row.leaf.chewed_pct,
        ),
        Column("chewed_low_pct", _CHEWED_LOW, lambda row: row.leaf.chewed_low_pct),
        Column("chewed_high_pct", _CHEWED_HIGH, lambda row: row.leaf.chewed_high_pct),
    ),
)

_LESIONS: Table[_LesionRow] = Table(
    "lesions",
    "one lesion of a leaf",
    _lesion_rows,
    (
        Column("photo", _PHOTO, lambda row: row.photo.name),
        Column("leaf", "Number of its leaf, as in leaves.csv.", lambda row: row.lesion.leaf),
        Column("lesion", "Number of the lesion on its leaf, from 1.", lambda row: row.number),
        Column(
            "row_px",
            "Centre of the lesion, in pixels from the photo's top edge.",
            lambda row: row.lesion.row_px,
            PIXELS,
        ),
        Column(
            "col_px",
            "Centre of the lesion, in pixels from the photo's left edge.",
            lambda row: row.lesion.col_px,
            PIXELS,
        ),
        Column(
            "area_px",
            "Area of the lesion, without its halo, in square pixels.",
            lambda row: row.lesion.area_px,
            PIXELS,
        ),
        Column(
            "area_mm2",
            "Area of the lesion, without its halo, in mm²; empty without a scale.",
            lambda row: _mm2(row.lesion.area_px, row.photo),
            MM,
        ),
        Column(
            "equivalent_diameter_px",
            "Diameter of the disc of the same area, in pixels.",
            lambda row: row.lesion.equivalent_diameter_px,
            PIXELS,
        ),
        Column(
            "equivalent_diameter_mm",
            "Diameter of the disc of the same area, in mm; empty without a scale.",
            lambda row: _mm(row.lesion.equivalent_diameter_px, row.photo),
            MM,
        ),
        Column(
            "share_of_leaf_pct",
            "Area of the lesion as a percentage of its leaf's area.",
            lambda row: row.lesion.share_of_leaf_pct,
            PERCENT,
        ),
        Column(
            "roundness",
            "4π × area ÷ perimeter²: 1 for a disc, near 0 for a thread; no unit.",
            lambda row: row.lesion.roundness,
            SHAPE,
        ),
        Column(
            "elongation",
            "Long axis ÷ short axis, 1 or more; no unit.",
            lambda row: row.lesion.elongation,
            SHAPE,
        ),
        Column(
            "solidity",
            "Area ÷ area of the convex hull, 0 to 1; no unit.",
            lambda row: row.lesion.solidity,
            SHAPE,
        ),
        Column(
            "darkness",
            "How much darker than the leaf's healthy tissue, in units of CIELAB L*.",
            lambda row: row.lesion.darkness,
            SHAPE,
        ),
        Column(
            "halo_width_px",
            "Mean width of the yellow rim, in pixels; 0 where there is none.",
            lambda row: row.lesion.halo_width_px,
            PIXELS,
        ),
        Column(
            "halo_width_mm",
            "Mean width of the yellow rim, in mm; empty without a scale.",
            lambda row: _mm(row.lesion.halo_width_px, row.photo),
            MM,
        ),
        Column(
            "margin_distance_px",
            f"{_MARGIN}, in pixels.",
            lambda row: row.lesion.margin_distance_px,
            PIXELS,
        ),
        Column(
            "margin_distance_mm",
            f"{_MARGIN}, in mm; empty without a scale.",
            lambda row: _mm(row.lesion.margin_distance_px, row.photo),
            MM,
        ),
        Column(
            "at_margin",
            "Whether the lesion reaches the leaf's outline: yes or no.",
            lambda row: "yes" if row.lesion.at_margin else "no",
        ),
    ),
)

_BODY = "Outline length along the bent body, hidden parts between seen ones included"


def _size(name: str) -> Callable[[Any], float]:
    return lambda row: float(getattr(row.found, name))


def _size_mm(name: str) -> Callable[[Any], Cell]:
    return lambda row: _mm(getattr(row.found, name), row.photo)


def _age_hint(row: _CaterpillarRow) -> Cell:
    """Guess the larval stage from the length, where a scale is known."""
    from models.hornworm import nearest_instar  # NumPy stays out of every --help

    length_mm = _mm(row.found.length_px, row.photo)
    return None if length_mm is None else nearest_instar(float(length_mm))


def _reason_in_words(row: _RejectedRow) -> Cell:
    from vision.night.rejected import REASONS  # NumPy stays out of every --help

    return REASONS[row.found.reason]


def _place_columns(thing: str) -> tuple[Column[Any], ...]:
    top, left = (f"in pixels from the photo's {edge} edge." for edge in ("top", "left"))
    return (
        Column("row_px", f"Middle of the {thing}, {top}", _size("row_px"), PIXELS),
        Column("col_px", f"Middle of the {thing}, {left}", _size("col_px"), PIXELS),
    )


_CATERPILLARS: Table[_CaterpillarRow] = Table(
    "caterpillars",
    "one caterpillar in a UV night photo",
    _caterpillar_rows,
    (
        Column("photo", _PHOTO, lambda row: row.photo.name),
        Column(
            "caterpillar",
            "Number of the caterpillar in its photo, the surest first.",
            lambda row: row.number,
        ),
        *_place_columns("caterpillar"),
        Column("length_px", f"{_BODY}, in pixels.", _size("length_px"), PIXELS),
        Column("length_mm", f"{_BODY}, in mm; empty without a scale.", _size_mm("length_px"), MM),
        Column("width_px", "Usual width of the body, in pixels.", _size("width_px"), PIXELS),
        Column(
            "width_mm",
            "Usual width of the body, in mm; empty without a scale.",
            _size_mm("width_px"),
            MM,
        ),
        Column(
            "glow_contrast",
            "How many times more green it sends out than foliage in its place; no unit.",
            _size("glow_contrast"),
            SHAPE,
        ),
        Column(
            "hue_difference_deg",
            "Difference of CIELAB hue between the foliage and the caterpillar, 0 to 180 degrees.",
            _size("hue_difference_deg"),
            PIXELS,
        ),
        Column(
            "confidence",
            "Probability, 0 to 1, that it is a caterpillar.",
            _size("confidence"),
            PROBABILITY,
        ),
        Column(
            "instar_hint",
            "Rough larval stage, 1 to 5, by the usual length of each; empty without a scale.",
            _age_hint,
        ),
    ),
)

_REJECTED: Table[_RejectedRow] = Table(
    "rejected",
    "one bright thing in a UV night photo that was not counted",
    _rejected_rows,
    (
        Column("photo", _PHOTO, lambda row: row.photo.name),
        Column(
            "rejected",
            "Number of the thing in its photo, the likeliest caterpillar first.",
            lambda row: row.number,
        ),
        *_place_columns("thing"),
        Column("length_px", "Length along the thing, in pixels.", _size("length_px"), PIXELS),
        Column("width_px", "Usual width of the thing, in pixels.", _size("width_px"), PIXELS),
        Column("reason", "Why it was not counted, in one word.", lambda row: row.found.reason),
        Column("reason_in_words", "The same as a sentence.", _reason_in_words),
        Column(
            "confidence",
            "Probability, 0 to 1, that it is a caterpillar all the same.",
            _size("confidence"),
            PROBABILITY,
        ),
    ),
)


def _size_class(row: _DroppingRow) -> Cell:
    """Name the size of a dropping, where a scale is known."""
    from models.hornworm import frass_size_class

    length_mm = _mm(row.found.length_px, row.photo)
    return None if length_mm is None else frass_size_class(float(length_mm))


_FRASS: Table[_DroppingRow] = Table(
    "frass",
    "one caterpillar dropping in a day photo",
    _dropping_rows,
    (
        Column("photo", _PHOTO, lambda row: row.photo.name),
        Column(
            "dropping",
            "Number of the dropping in its photo, the surest first.",
            lambda row: row.number,
        ),
        *_place_columns("dropping"),
        Column("area_px", "Area of the dropping, in square pixels.", _size("area_px"), PIXELS),
        Column(
            "area_mm2",
            "Area of the dropping, in mm²; empty without a scale.",
            lambda row: _mm2(row.found.area_px, row.photo),
            MM,
        ),
        Column("length_px", "Long side of the dropping, in pixels.", _size("length_px"), PIXELS),
        Column(
            "length_mm",
            "Long side of the dropping, in mm; empty without a scale.",
            _size_mm("length_px"),
            MM,
        ),
        Column("width_px", "Short side of the dropping, in pixels.", _size("width_px"), PIXELS),
        Column(
            "width_mm",
            "Short side of the dropping, in mm; empty without a scale.",
            _size_mm("width_px"),
            MM,
        ),
        Column(
            "darkness",
            "How much darker than what it lies on, in units of CIELAB L*.",
            _size("darkness"),
            SHAPE,
        ),
        Column(
            "confidence",
            "Probability, 0 to 1, that it is a dropping.",
            _size("confidence"),
            PROBABILITY,
        ),
        Column(
            "size_class",
            "small, middle or large: a rough hint of the larva's age; empty without a scale.",
            _size_class,
        ),
    ),
)

TABLES: dict[str, Table[Any]] = {
    table.name: table for table in (_PHOTOS, _LEAVES, _LESIONS, _FRASS, _CATERPILLARS)
}
"""Every table by the name of its file without ``.csv``."""

EXTRA_TABLES: dict[str, Table[Any]] = {"rejected": _REJECTED}
"""Tables that are written only where they are asked for."""
