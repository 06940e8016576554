"""A photo in a row of photos: its day, what was measured on it, and its flags, in few words."""

from dataclasses import dataclass

from models.care.words import day_words
from models.entries import PhotoEntry

__all__ = ["PATTERN_WORDS", "PhotoTile", "pattern_of", "photo_tile", "photo_words"]

PATTERN_WORDS = {
    "spot": "spot-like",
    "blight": "blight-like",
    "none": "no pattern",
    "unsure": "pattern unsure",
    "": "",
}


@dataclass(frozen=True)
class PhotoTile:
    """A photo as one of a row.

    Attributes
    ----------
    sha256 : str
        Its hash.
    day : str
        When it was taken.
    words : str
        What was measured on it.
    pattern : str
        What its leaves look like; may be empty.
    flags : int
        How many flags it carries.
    """

    sha256: str
    day: str
    words: str
    pattern: str
    flags: int


def photo_tile(photo: PhotoEntry) -> PhotoTile:
    """Return a photo as one of a row."""
    day = f"{day_words(photo.taken_at.date())} {photo.taken_at:%H:%M}"
    return PhotoTile(photo.sha256, day, photo_words(photo), pattern_of(photo), len(photo.flags))


def pattern_of(photo: PhotoEntry) -> str:
    """Return what a photo's leaves look like, in words."""
    if photo.pattern == "blight" and photo.blight_kind in ("early", "late"):
        return f"{photo.blight_kind}-blight-like"
    return PATTERN_WORDS.get(photo.pattern, photo.pattern)


def photo_words(photo: PhotoEntry) -> str:
    """Return what was measured on a photo, with its interval."""
    if photo.mode == "night":
        if photo.caterpillar_count is None:
            return "not counted"
        between = f"({photo.caterpillar_low}–{photo.caterpillar_high})"
        one = "caterpillar" if photo.caterpillar_count == 1 else "caterpillars"
        return f"{photo.caterpillar_count} {one} {between}"
    if photo.severity_pct is None:
        return "not measured"
    low, high = photo.severity_low_pct, photo.severity_high_pct
    between = f" ({low:.1f}–{high:.1f})" if low is not None and high is not None else ""
    return f"{photo.severity_pct:.1f} %{between}"
