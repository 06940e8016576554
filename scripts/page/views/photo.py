"""One photo: layers of what was counted, the table tied to it, every flag in words."""

from concurrent.futures import TimeoutError as NotYet

from starlette.requests import Request
from starlette.responses import Response

from models.care.words import time_words
from models.corrections import CorrectedReading, Fix
from models.entries import PhotoEntry
from models.journal import open_journal
from scripts.garden.correct import fix_words
from scripts.page.drawing import LAYERS, Drawing
from scripts.page.pages import FORESEEN, Pages, sentence_of
from scripts.page.pictures import SIDES_PX, picture_jpg
from scripts.page.shapes import LAYER_WORDS, lesion_rows, outlined
from scripts.page.standing import Standing
from scripts.page.strips import pattern_of, photo_tile, photo_words
from vision.errors import SpotlampError
from vision.flags import explain

__all__ = ["NoSuchPhotoError", "photo", "picture", "reading_of"]

_WAIT_S = 8.0  # for outlines that are made for the first time
_DIGITS = 64  # of a hash
_A_DAY_S = 24 * 3600
_TAKEN_FROM = {"exif": "from inside the photo", "name": "from its name", "file": "of the file"}
_PATTERNS = (
    ("spot", "spot-like"),
    ("blight early", "early-blight-like"),
    ("blight late", "late-blight-like"),
    ("blight", "blight-like"),
    ("none", "no pattern"),
    ("other", "something else"),
)


class NoSuchPhotoError(SpotlampError):
    """No photo of this garden has this hash."""


def reading_of(pages: Pages, sha256: str) -> CorrectedReading:
    """Return what holds of a photo, of this season or of any, also of one that was taken out.

    Raises
    ------
    NoSuchPhotoError
        When there is none.
    """
    found = None
    if len(sha256) == _DIGITS:
        with open_journal(pages.desk.folder) as journal:
            found = journal.corrected(sha256)
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
    if size not in SIDES_PX:
        raise NoSuchPhotoError("There is no such size of picture.")
    known = pages.desk.standing().photo_by_hash.get(sha256)
    entry = known or reading_of(pages, sha256).measured
    data = picture_jpg(pages.desk.folder, entry, size)
    keep = f"private, max-age={_A_DAY_S}, immutable"
    return Response(data, media_type="image/jpeg", headers={"cache-control": keep})


def photo(pages: Pages, request: Request) -> Response:
    """Show a photo with what was counted on it, and ways to put it right."""
    standing = pages.desk.standing()
    reading = reading_of(pages, request.path_params["sha256"])
    entry = reading.photo
    drawing, trouble = _drawing(pages, reading.measured)
    shapes = outlined(drawing, reading) if drawing else []
    earlier, later = _beside(standing, entry)
    holding = {fix.what: fix for fix in reading.fixes if not fix.undone}
    return pages.show(
        request,
        "photo.html",
        here="beds",
        entry=entry,
        measured=reading.measured,
        reading=reading,
        taken=f"{time_words(entry.taken_at)} {entry.taken_at.year}",
        taken_from=_TAKEN_FROM[entry.taken_from],
        words=photo_words(entry),
        measured_words=photo_words(reading.measured),
        pattern=pattern_of(entry),
        layers=[
            (name, LAYER_WORDS[name], [shape for shape in shapes if shape.layer == name])
            for name in LAYERS
        ],
        drawing=drawing,
        outlines_trouble=trouble,
        lesions=lesion_rows(reading.lesions, entry.mm_per_px),
        flags=[(name, explain(name)) for name in entry.flags],
        earlier=earlier,
        later=later,
        burns=_burn_checks(standing, entry),
        holding=holding,
        fixes=[(fix, _told(reading, fix)) for fix in reversed(reading.fixes)],
        names=[plant.name for plant in standing.garden.plants],
        patterns=_PATTERNS,
    )


def _told(reading: CorrectedReading, fix: Fix) -> str:
    parts = [f"{time_words(fix.at)}: {fix_words(fix)}", f"“{fix.reason}”" if fix.reason else ""]
    if fix.undone:
        parts.append("(taken back)")
    elif fix.number in reading.idle:
        parts.append("(nothing lies there in this reading)")
    return " ".join(part for part in parts if part)


def _drawing(pages: Pages, entry: PhotoEntry) -> tuple[Drawing | None, str]:
    """Return a photo's outlines; None, and why, while they are made or where they cannot be."""
    try:
        return pages.outlines.of(entry).result(timeout=_WAIT_S), ""
    except NotYet:
        return None, "The outlines are being drawn: load this page again in a few seconds."
    except FORESEEN as error:
        return None, sentence_of(error)


def _beside(standing: Standing, entry: PhotoEntry) -> tuple[object, object]:
    """Return the photos of the same plant before and after this one."""
    photos = standing.photos_of.get(entry.plant, ())
    place = next((i for i, one in enumerate(photos) if one.sha256 == entry.sha256), None)
    if place is None:  # of another season
        return None, None
    beside = (photos[place + 1 : place + 2], photos[place - 1 : place] if place else ())
    tiles = [[photo_tile(one) for one in standing.entries(side)] for side in beside]
    older, newer = (side[0] if side else None for side in tiles)
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
