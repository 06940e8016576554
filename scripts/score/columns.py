"""The score tables: where the value of each column is found; what it means is in the registry.

The tables are written from here and ``spotlamp columns`` prints them, so a column cannot be in a
file without a definition.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import zip_longest
from operator import attrgetter
from typing import TYPE_CHECKING, Any

from models import quantities
from scripts.common.tables import Cell, Column, Table

if TYPE_CHECKING:  # keeps `spotlamp columns` and every --help free of NumPy
    from models.pattern import PatternCall
    from models.quantities import Quantity
    from scripts.score.results import PhotoResult

__all__ = ["EXTRA_TABLES", "TABLES"]

Getter = Callable[[Any], Cell]


@dataclass(frozen=True, eq=False)
class _Found:
    """Something found on a photo: a leaf, a lesion, a dropping, something that glows.

    `number` is its own in the photo, or on its leaf.
    """

    photo: PhotoResult
    number: int
    found: Any
    pattern: PatternCall | None = None


def _photo_rows(photo: PhotoResult) -> Iterable[PhotoResult]:
    return (photo,)


def _leaf_rows(photo: PhotoResult) -> Iterator[_Found]:
    if photo.reading is not None:
        leaves = zip_longest(photo.reading.leaves, photo.leaf_patterns)
        yield from (_Found(photo, leaf.leaf, leaf, pattern) for leaf, pattern in leaves)


def _lesion_rows(photo: PhotoResult) -> Iterator[_Found]:
    for row in _leaf_rows(photo):
        yield from _numbered(photo, row.found.lesions)


def _caterpillar_rows(photo: PhotoResult) -> Iterator[_Found]:
    return _numbered(photo, photo.night.caterpillars if photo.night else ())


def _rejected_rows(photo: PhotoResult) -> Iterator[_Found]:
    return _numbered(photo, photo.night.rejected if photo.night else ())


def _dropping_rows(photo: PhotoResult) -> Iterator[_Found]:
    return _numbered(photo, photo.reading.droppings if photo.reading else ())


def _numbered(photo: PhotoResult, found: Iterable[Any]) -> Iterator[_Found]:
    return (_Found(photo, number, one) for number, one in enumerate(found, start=1))


def _columns(
    of: Mapping[str, Quantity], usual: Callable[[Quantity], Getter], **special: Getter
) -> tuple[Column[Any], ...]:
    """Return the columns of a table.

    Parameters
    ----------
    of : mapping of str to Quantity
        What the table shows, in its order.
    usual : callable
        Takes a quantity and returns what finds it.
    **special : callable
        What finds the others, by their names.
    """
    return tuple(
        Column(
            one.name,
            one.meaning,
            special.get(one.name) or usual(one),
            one.kind.decimals,
            one.kind.type,
        )
        for one in of.values()
    )


def _of(part: str, *names: str) -> dict[str, Getter]:
    """Return getters of values of one part of a row, empty where it is not there."""

    def getter(name: str) -> Getter:
        return lambda row: None if (one := getattr(row, part)) is None else getattr(one, name)

    return {name: getter(name) for name in names}


def _mm(size_px: float | None, photo: PhotoResult, power: int = 1) -> Cell:
    """Return a length in mm, or an area in mm², empty where the size or the scale is not known."""
    known = size_px is not None and photo.mm_per_px is not None
    return size_px * photo.mm_per_px**power if known else None  # type: ignore[operator]


def _of_photo(quantity: Quantity) -> Getter:
    return attrgetter(quantity.name)


def _of_found(quantity: Quantity) -> Getter:
    """Return what finds a value of what was found, in pixels or by the scale in millimetres."""
    name, unit = quantity.name, quantity.kind.unit
    if unit in {"mm", "mm2"}:
        pixels, power = f"{name.removesuffix(f'_{unit}')}_px", 2 if unit == "mm2" else 1
        return lambda row: _mm(getattr(row.found, pixels), row.photo, power)
    return lambda row: getattr(row.found, name)


def _flags(reading: Any) -> str:  # noqa: ANN401  a photo's result or a leaf's reading
    return ";".join(reading.flags)


_PATTERN = _of("pattern", "pattern", "p_spot", "p_blight", "p_none", "blight_kind")

_PHOTOS: Table[PhotoResult] = Table(
    "photos",
    "one photo",
    _photo_rows,
    _columns(
        quantities.PHOTO,
        _of_photo,
        photo=lambda photo: photo.name,
        taken_at=lambda photo: photo.taken_at.isoformat() if photo.taken_at else None,
        flags=_flags,
        leaf_area_mm2=lambda photo: _mm(
            photo.reading.leaf_area_px if photo.reading else None, photo, 2
        ),
        **_of("reading", "leaf_area_px", "lesion_pct", "halo_pct", "severity_pct"),
        **_of("reading", "severity_low_pct", "severity_high_pct"),
        **_of("reading", "frass_count", "frass_low", "frass_high"),
        **_of("reading", "chewed_pct", "chewed_low_pct", "chewed_high_pct"),
        **_of("night", "caterpillar_count", "caterpillar_low", "caterpillar_high"),
        **_PATTERN,
    ),
)


def _file(row: _Found) -> Cell:
    return row.photo.name


def _number(row: _Found) -> Cell:
    return row.number


_LEAVES: Table[_Found] = Table(
    "leaves",
    "one leaf of a photo",
    _leaf_rows,
    _columns(
        quantities.LEAF,
        _of_found,
        photo=_file,
        lesion_count=lambda row: len(row.found.lesions),
        flags=lambda row: _flags(row.found),
        pattern_reason=_of("pattern", "reason")["reason"],
        **_PATTERN,
    ),
)

_LESIONS: Table[_Found] = Table(
    "lesions",
    "one lesion of a leaf",
    _lesion_rows,
    _columns(
        quantities.LESION,
        _of_found,
        photo=_file,
        lesion=_number,
        at_margin=lambda row: "yes" if row.found.at_margin else "no",
    ),
)


def _age_hint(row: _Found) -> Cell:
    """Guess the larval stage from the length, where a scale is known."""
    from models.hornworm import nearest_instar  # NumPy stays out of every --help

    length_mm = _mm(row.found.length_px, row.photo)
    return None if length_mm is None else nearest_instar(float(length_mm))


def _size_class(row: _Found) -> Cell:
    """Name the size of a dropping, where a scale is known."""
    from models.hornworm import dropping_size_class

    length_mm = _mm(row.found.length_px, row.photo)
    return None if length_mm is None else dropping_size_class(float(length_mm))


def _reason_in_words(row: _Found) -> Cell:
    from vision.night.rejected import REASONS

    return REASONS[row.found.reason]


_CATERPILLARS: Table[_Found] = Table(
    "caterpillars",
    "one caterpillar in a UV night photo",
    _caterpillar_rows,
    _columns(
        quantities.CATERPILLAR, _of_found, photo=_file, caterpillar=_number, instar_hint=_age_hint
    ),
)

_REJECTED: Table[_Found] = Table(
    "rejected",
    "one bright thing in a UV night photo that was not counted",
    _rejected_rows,
    _columns(
        quantities.REJECTED,
        _of_found,
        photo=_file,
        rejected=_number,
        reason_in_words=_reason_in_words,
    ),
)

_DROPPINGS: Table[_Found] = Table(
    "frass",
    "one caterpillar dropping in a day photo",
    _dropping_rows,
    _columns(quantities.DROPPING, _of_found, photo=_file, dropping=_number, size_class=_size_class),
)

TABLES: dict[str, Table[Any]] = {
    table.name: table for table in (_PHOTOS, _LEAVES, _LESIONS, _DROPPINGS, _CATERPILLARS)
}
"""Every table by the name of its file without ``.csv``."""

EXTRA_TABLES: dict[str, Table[Any]] = {"rejected": _REJECTED}
"""Tables that are written only where they are asked for."""
