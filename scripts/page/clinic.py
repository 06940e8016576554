"""A page about one plant for somebody who can tell what it has, such as a plant clinic."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from models.care.layout import neighbours
from models.care.season import concerns
from models.care.visits import Visit
from models.care.words import day_words, pattern_words
from models.entries import LeafEntry, LogEntry, PhotoEntry
from models.pattern import BRING_IT
from scripts.care.record import entry_line
from scripts.page.course import course_picture, course_svg
from scripts.page.figures import LARGE_PX, Album, Figure, Wanted
from scripts.page.sheets import NOT_LISTED, place_words
from scripts.page.standing import Standing
from scripts.page.tiles import Tile, tile_of
from scripts.trend.words import plant_words
from vision.flags import NOT_FOR_SPRAYING, explain

__all__ = ["ClinicPage", "VisitRow", "best_photos", "clinic_page"]

_MOST_PHOTOS = 4
_MOST_VISITS = 15


@dataclass(frozen=True)
class VisitRow:
    """A visit in the table: its day, severity, leaves, lesions a leaf, looks, and doubts."""

    day: str
    severity: str
    leaves: int
    lesions: str
    pattern: str
    doubts: str


@dataclass(frozen=True)
class ClinicPage:
    """What is told of one plant.

    Attributes
    ----------
    name, place : str
        Which plant, and where it stands.
    tile : Tile
        Its state at a glance.
    measured : tuple of str
        The measurements behind its statuses.
    photos : tuple of (Figure, Figure)
        Each as it was taken, and small with what was counted.
    reasons : tuple of str
        What the leaves on these photos look like, and the measurements behind it.
    course : Markup
        Drawn.
    words : tuple of str
        What `trend` says of it.
    visits : tuple of VisitRow
        The last ones.
    earlier : int
        How many visits before them are left out.
    done, seen : tuple of str
        What was done to it, and what was seen on it.
    beside : tuple of Tile
        Its neighbours.
    advice : str
        What to do with an isolated plant until somebody has told; else empty.
    """

    name: str
    place: str
    tile: Tile
    measured: tuple[str, ...]
    photos: tuple[tuple[Figure, Figure], ...]
    reasons: tuple[str, ...]
    course: Markup
    words: tuple[str, ...]
    visits: tuple[VisitRow, ...]
    earlier: int
    done: tuple[str, ...]
    seen: tuple[str, ...]
    beside: tuple[Tile, ...]
    advice: str


def clinic_page(standing: Standing, name: str, album: Album) -> ClinicPage:
    """Return what is told of a plant."""
    curve = standing.curves.get(name)
    photos = best_photos(standing, name)
    pairs = [(Wanted(photo, LARGE_PX, lines=False), Wanted(photo)) for photo in photos]
    album.make(one for pair in pairs for one in pair)
    visits = standing.told.visits.get(name, ())
    lesions = {p.day: p.lesions_per_leaf for p in curve.points} if curve else {}
    isolated = any(s.status == "isolate" for s in standing.statuses_of.get(name, ()))
    return ClinicPage(
        name=name,
        place=place_words(standing, name),
        tile=tile_of(standing, name),
        measured=tuple(s.measured for s in standing.statuses_of.get(name, ()) if s.measured),
        photos=tuple((album.figure(large), album.figure(small)) for large, small in pairs),
        reasons=tuple(_reasons(photos)),
        course=course_svg(course_picture(standing.told, name, curve)),
        words=tuple(plant_words(curve, standing.notes.get(name, ()))) if curve else (),
        visits=tuple(_visit_row(v, lesions.get(v.day)) for v in visits[-_MOST_VISITS:]),
        earlier=max(0, len(visits) - _MOST_VISITS),
        done=tuple(_done(standing, name)),
        seen=tuple(_seen(standing, name)),
        beside=tuple(tile_of(standing, other) for other in _neighbours(standing, name)),
        advice=f"{BRING_IT[0].lower()}{BRING_IT[1:]}." if isolated else "",
    )


def best_photos(standing: Standing, name: str, most: int = _MOST_PHOTOS) -> list[PhotoEntry]:
    """Return the photos that show most: unflagged, of the last visits, the sickest of each first.

    One of each of the last visits, then further ones of the last, then whatever there is.
    """
    by_day = [p for p in standing.told.photos_of.get(name, ()) if p.mode == "day"]
    own = [photo for photo in standing.entries(by_day) if photo.leaves]
    clear = [photo for photo in own if not NOT_FOR_SPRAYING & set(photo.flags)] or own
    clear.sort(key=lambda p: (p.taken_at.date(), p.severity_pct or 0.0, p.sha256), reverse=True)
    days = list(dict.fromkeys(photo.taken_at.date() for photo in clear))
    last_day = [photo for photo in clear if photo.taken_at.date() == days[0]] if days else []
    first_of_days = [next(p for p in clear if p.taken_at.date() == day) for day in days]
    ordered = [*last_day[:2], *first_of_days[1:], *last_day[2:], *clear]
    return list(dict.fromkeys(ordered))[:most]


def _reasons(photos: Sequence[PhotoEntry]) -> Iterator[str]:
    """Yield what the leaf that decides says of each photo: one like late blight before others."""
    for photo in photos:
        leaf = max(photo.leaves, key=_decides)
        if leaf.pattern_reason:
            day = day_words(photo.taken_at.date())
            yield f"{day}, leaf {leaf.leaf} of {len(photo.leaves)}: {leaf.pattern_reason}"


def _decides(leaf: LeafEntry) -> tuple[bool, bool, float]:
    blight = leaf.pattern == "blight"
    return blight and leaf.blight_kind == "late", blight, leaf.severity_pct


def _visit_row(visit: Visit, lesions: float | None) -> VisitRow:
    return VisitRow(
        day=day_words(visit.day),
        severity=f"{visit.severity_pct:.1f} % ({visit.low_pct:.1f} to {visit.high_pct:.1f})",
        leaves=visit.leaf_count,
        lesions="" if lesions is None else f"{lesions:.0f}",
        pattern=pattern_words(visit),
        doubts="; ".join(explain(flag) for flag in visit.doubts),
    )


def _own_entries(standing: Standing, name: str) -> Iterator[LogEntry]:
    for entry in standing.told.log:
        if concerns(entry, name) and entry.kind not in NOT_LISTED:
            yield entry


def _done(standing: Standing, name: str) -> Iterator[str]:
    for entry in _own_entries(standing, name):
        if entry.kind not in ("seen", "note"):
            yield entry_line(entry, standing.garden.units)


def _seen(standing: Standing, name: str) -> Iterator[str]:
    for entry in _own_entries(standing, name):
        if entry.kind in ("seen", "note"):
            yield entry_line(entry, standing.garden.units)
    for sign in standing.told.feeding.get(name, ()):
        found = [f"{sign.frass_count} droppings"] if sign.frass_count else []
        found += [f"{sign.chewed_pct:.0f} % of a leaf eaten"] if sign.chewed_pct else []
        yield f"{sign.at:%Y-%m-%d %H:%M}  on a photo: {', '.join(found)}"
    for look in standing.told.nights.get(name, ()):
        counted = f"{look.count} ({look.low} to {look.high}) caterpillars"
        yield f"{look.at:%Y-%m-%d %H:%M}  by night, with the UV torch: {counted}"


def _neighbours(standing: Standing, name: str) -> tuple[str, ...]:
    there = {plant.name for plant in standing.garden.plants}
    return neighbours(standing.garden, name) if name in there else ()
