"""One photo: layers of what was counted, the table tied to it, every flag in words."""

from collections.abc import Sequence
from concurrent.futures import TimeoutError as NotYet
from dataclasses import dataclass
from math import hypot

from starlette.requests import Request
from starlette.responses import Response

from models.care.words import time_words
from models.entries import PhotoEntry
from models.journal import open_journal
from scripts.page.drawing import LAYERS, Drawing, Shape, svg_path
from scripts.page.pages import FORESEEN, Pages, sentence_of
from scripts.page.pictures import SIDES_PX, picture_jpg
from scripts.page.standing import Standing
from scripts.page.strips import pattern_of, photo_tile, photo_words
from vision.errors import SpotlampError
from vision.flags import explain
from vision.records import Lesion

__all__ = ["LesionShown", "NoSuchPhotoError", "Outlined", "entry_of", "photo", "picture"]

_WAIT_S = 8.0  # for outlines that are made for the first time
_DIGITS = 64  # of a hash
_A_DAY_S = 24 * 3600
LAYER_WORDS = {
    "leaf": "leaf",
    "halo": "halo: yellow rim",
    "lesion": "lesion: dead",
    "dropping": "dropping",
    "bite": "eaten",
    "caterpillar": "caterpillar",
}


class NoSuchPhotoError(SpotlampError):
    """No photo of this garden has this hash."""


@dataclass(frozen=True)
class Outlined:
    """A thing to be drawn: its name, its path, and the row of a table that it belongs to."""

    name: str
    words: str
    path: str
    layer: str
    row_px: float
    col_px: float


@dataclass(frozen=True)
class LesionShown:
    """A lesion as a row of the table: its name, and its measures in the garden's words."""

    name: str
    leaf: int
    size: str
    share: str
    halo: str
    place: str


def entry_of(standing: Standing, sha256: str) -> PhotoEntry:
    """Return a photo of the garden by its hash, of this season or of any.

    Raises
    ------
    NoSuchPhotoError
        When there is none.
    """
    found = standing.entries_of.get(sha256)
    if found is None and len(sha256) == _DIGITS:
        with open_journal(standing.folder) as journal:
            found = journal.photo(sha256)
    if found is None:
        raise NoSuchPhotoError("This garden's record has no such photo.")
    return found


def picture(pages: Pages, request: Request) -> Response:
    """Return a photo as a picture of the wanted size.

    Raises
    ------
    NoSuchPhotoError
        When there is no such photo or size.
    """
    size, sha256 = request.path_params["size"], request.path_params["sha256"]
    entry = entry_of(pages.desk.standing(), sha256) if size in SIDES_PX else None
    if entry is None:
        raise NoSuchPhotoError("There is no such size of picture.")
    data = picture_jpg(pages.desk.folder, entry, size)
    keep = f"private, max-age={_A_DAY_S}, immutable"
    return Response(data, media_type="image/jpeg", headers={"cache-control": keep})


def photo(pages: Pages, request: Request) -> Response:
    """Show a photo with what was counted on it."""
    standing = pages.desk.standing()
    entry = entry_of(standing, request.path_params["sha256"])
    with open_journal(pages.desk.folder) as journal:
        lesions = journal.lesions(entry.sha256)
    drawing, trouble = _drawing(pages, entry)
    rows = _lesion_rows(lesions, entry.mm_per_px)
    shapes = outlined(drawing, lesions) if drawing else []
    earlier, later = _beside(standing, entry)
    return pages.show(
        request,
        "photo.html",
        here="beds",
        entry=entry,
        taken=f"{time_words(entry.taken_at)} {entry.taken_at.year}",
        taken_from={
            "exif": "from inside the photo",
            "name": "from its name",
            "file": "of the file",
        },
        words=photo_words(entry),
        pattern=pattern_of(entry),
        layers=[
            (name, LAYER_WORDS[name], [shape for shape in shapes if shape.layer == name])
            for name in LAYERS
        ],
        drawing=drawing,
        outlines_trouble=trouble,
        lesions=rows,
        flags=[(name, explain(name)) for name in entry.flags],
        earlier=earlier,
        later=later,
        burns=_burn_checks(standing, entry),
    )


def _drawing(pages: Pages, entry: PhotoEntry) -> tuple[Drawing | None, str]:
    """Return a photo's outlines; None, and why, while they are made or where they cannot be."""
    try:
        return pages.outlines.of(entry).result(timeout=_WAIT_S), ""
    except NotYet:
        return None, "The outlines are being drawn: load this page again in a few seconds."
    except FORESEEN as error:
        return None, sentence_of(error)


def outlined(drawing: Drawing, lesions: Sequence[Lesion]) -> list[Outlined]:
    """Return all shapes as they are drawn, each lesion under the number of its row."""
    found: list[Outlined] = []
    named = _named_lesions(drawing.layer("lesion"), lesions)
    for layer in LAYERS:
        for number, shape in enumerate(drawing.layer(layer), start=1):
            name = named.get(id(shape), f"{number}") if layer == "lesion" else f"{number}"
            if layer == "lesion" and id(shape) not in named:
                continue
            words = f"{LAYER_WORDS[layer].split(':')[0]} {name}"
            sure = f", {100 * shape.sure:.0f} % sure" if shape.sure is not None else ""
            place = (shape.row_px, shape.col_px)
            found.append(Outlined(name, words + sure, svg_path(shape), layer, *place))
    return found


def _named_lesions(shapes: Sequence[Shape], lesions: Sequence[Lesion]) -> dict[int, str]:
    """Give each lesion of the record the outline whose middle lies nearest, each outline once."""
    names: dict[int, str] = {}
    free = list(shapes)
    for name, lesion in numbered(lesions):
        near = min(free, key=lambda shape: _apart(shape, lesion), default=None)
        if near is not None and _apart(near, lesion) <= lesion.equivalent_diameter_px + 2:
            names[id(near)] = name
            free.remove(near)
    return names


def _apart(shape: Shape, lesion: Lesion) -> float:
    return hypot(shape.row_px - lesion.row_px, shape.col_px - lesion.col_px)


def numbered(lesions: Sequence[Lesion]) -> list[tuple[str, Lesion]]:
    """Return each lesion with its name: the leaf's number and its own in the leaf."""
    counts: dict[int, int] = {}
    named = []
    for lesion in lesions:
        counts[lesion.leaf] = counts.get(lesion.leaf, 0) + 1
        named.append((f"{lesion.leaf}.{counts[lesion.leaf]}", lesion))
    return named


def _lesion_rows(lesions: Sequence[Lesion], mm_per_px: float | None) -> list[LesionShown]:
    return [_lesion_row(name, lesion, mm_per_px) for name, lesion in numbered(lesions)]


def _lesion_row(name: str, lesion: Lesion, mm_per_px: float | None) -> LesionShown:
    place = "at the margin" if lesion.at_margin else "inside"
    halo = _length(lesion.halo_width_px, mm_per_px) if lesion.halo_width_px > 0 else "none"
    size = _length(lesion.equivalent_diameter_px, mm_per_px)
    share = f"{lesion.share_of_leaf_pct:.2f} %"
    return LesionShown(name, lesion.leaf, size, share, halo, place)


def _length(px: float, mm_per_px: float | None) -> str:
    return f"{px * mm_per_px:.1f} mm" if mm_per_px else f"{px:.0f} px"


def _beside(standing: Standing, entry: PhotoEntry) -> tuple[object, object]:
    """Return the photos of the same plant before and after this one."""
    photos = standing.photos_of.get(entry.plant, ())
    place = next((i for i, one in enumerate(photos) if one.sha256 == entry.sha256), None)
    if place is None:  # of another season
        return None, None
    older = photo_tile(photos[place + 1]) if place + 1 < len(photos) else None
    newer = photo_tile(photos[place - 1]) if place else None
    return older, newer


def _burn_checks(standing: Standing, entry: PhotoEntry) -> list[tuple[str, list[str], list[str]]]:
    """Return the burn checks that this photo is part of: verdict, photos before and after."""
    hashes = standing.photo_hashes
    return [
        (
            f"{verdict.verdict}. {verdict.reason}",
            [hashes[name] for name in verdict.before if name in hashes],
            [hashes[name] for name in verdict.after if name in hashes],
        )
        for verdict in standing.told.verdicts
        if entry.photo in (*verdict.before, *verdict.after)
    ]
