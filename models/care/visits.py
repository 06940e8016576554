"""A plant's photos of one day, or of one night, as one look at it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from itertools import groupby
from math import sqrt
from statistics import fmean
from typing import TYPE_CHECKING

from models.entries import LeafEntry, PhotoEntry
from vision.flags import NOT_FOR_SPRAYING

if TYPE_CHECKING:  # NumPy is loaded when visits are asked for
    from models.progress import SeverityPoint

__all__ = [
    "DayPhotos",
    "FeedingSign",
    "NightLook",
    "Visit",
    "days_of",
    "feeding_signs",
    "night_looks",
    "visit_of",
]


@dataclass(frozen=True)
class DayPhotos:
    """A plant's measured photos of one day, and those of them that its reading rests on.

    Attributes
    ----------
    plant : str
        Its name.
    day : date
        The garden's calendar day.
    photos : tuple of PhotoEntry
        All of them.
    used : tuple of PhotoEntry
        Without the flagged ones where there are others; each with its leaves.
    doubts : tuple of str
        Flags that all of the day's photos carry, so that no sure reading is left.
    """

    plant: str
    day: date
    photos: tuple[PhotoEntry, ...]
    used: tuple[PhotoEntry, ...]
    doubts: tuple[str, ...]


@dataclass(frozen=True)
class Visit:
    """What one day's photos say of a plant; means over its leaves, each counted alike.

    Attributes
    ----------
    plant : str
        Its name.
    day : date
        The garden's calendar day.
    severity_pct, low_pct, high_pct : float
        Mean severity, and the 95 % interval of the plant's mean over leaves, as `trend` shows it;
        the mean of the leaves' measuring intervals where nothing tells how leaves differ.
    worst_leaf_pct : float
        Severity of the sickest leaf.
    leaf_count : int
        Leaves behind the means.
    pattern : str
        ``spot``, ``blight``, ``none`` or ``unsure``; empty where nothing was called.
    blight_kind : str
        ``early``, ``late``, ``unsure`` or empty.
    late_at : datetime or None
        When the last photo was taken on which a leaf looks like late blight; None without one.
    any_blight : bool
        Whether any leaf looks like blight of any kind.
    at : datetime
        When the day's last photo was taken. Of photos whose time is not known, the day's start.
    doubts : tuple of str
        Flags that all the day's photos carry, so that no sure reading is left.
    photo : str
        The sickest photo.
    leaf_error : float or None
        Standard error that a single leaf would have on the logit scale; None where unknown.
    """

    plant: str
    day: date
    severity_pct: float
    low_pct: float
    high_pct: float
    worst_leaf_pct: float
    leaf_count: int
    pattern: str
    blight_kind: str
    late_at: datetime | None
    any_blight: bool
    at: datetime
    doubts: tuple[str, ...]
    photo: str
    leaf_error: float | None = None

    @property
    def is_dated(self) -> bool:
        """Whether its day is known: a file's date may be that of a copy."""
        return "no_date" not in self.doubts

    @property
    def late(self) -> bool:
        """Whether any leaf looks like late blight."""
        return self.late_at is not None


@dataclass(frozen=True)
class NightLook:
    """What one night's photos say of a plant.

    Attributes
    ----------
    plant : str
        Its name.
    night : date
        The day whose evening began the night.
    at : datetime
        When the last photo was taken.
    count, low, high : int
        Caterpillars on the photo that shows most, with its 95 % interval.
    photo : str
        That photo.
    """

    plant: str
    night: date
    at: datetime
    count: int
    low: int
    high: int
    photo: str


@dataclass(frozen=True)
class FeedingSign:
    """What a day photo says of caterpillars.

    Attributes
    ----------
    at : datetime
        When it was taken.
    frass_count : int
        Droppings; 0 where none were counted.
    chewed_pct : float
        Leaf eaten, percent of the leaf before; 0 where none was measured.
    photo : str
        The photo.
    """

    at: datetime
    frass_count: int
    chewed_pct: float
    photo: str


def days_of(photos: Iterable[PhotoEntry], plant: str) -> tuple[DayPhotos, ...]:
    """Return a plant's measured days, oldest first; days without a measured photo are left out."""
    measured = sorted(
        (p for p in photos if p.plant == plant and p.mode == "day" and _is_measured(p)),
        key=lambda p: (p.taken_at.date(), p.photo),
    )
    days = groupby(measured, key=lambda p: p.taken_at.date())
    return tuple(_day_photos(plant, day, tuple(members)) for day, members in days)


def _is_measured(photo: PhotoEntry) -> bool:
    return photo.severity_pct is not None or bool(photo.leaves)


def _day_photos(plant: str, day: date, photos: tuple[PhotoEntry, ...]) -> DayPhotos:
    sure = [photo for photo in photos if not NOT_FOR_SPRAYING & set(photo.flags)]
    doubts = () if sure else tuple(sorted(NOT_FOR_SPRAYING & {f for p in photos for f in p.flags}))
    return DayPhotos(plant, day, photos, tuple(_with_leaves(p) for p in sure or photos), doubts)


def _with_leaves(photo: PhotoEntry) -> PhotoEntry:
    """Return a photo with its leaves; the photo counts as one leaf where they are not kept."""
    if photo.leaves:
        return photo
    whole, low, high = photo.severity_pct or 0.0, photo.severity_low_pct, photo.severity_high_pct
    # Without an interval nothing is known of its width: from none to all.
    ends = (0.0 if low is None else low, 100.0 if high is None else high)
    leaf = LeafEntry(1, 0.0, photo.lesion_count or 0, whole, 0.0, whole, *ends)
    return replace(photo, leaves=(leaf,))


def visit_of(found: DayPhotos, point: "SeverityPoint | None") -> Visit:
    """Return what a day's photos say, with the interval that the plant's course gives it.

    Parameters
    ----------
    found : DayPhotos
        Of the day.
    point : SeverityPoint or None
        The same day in `models.progress`, which knows how much leaves differ in this garden.
    """
    leaves = [leaf for photo in found.used for leaf in photo.leaves]
    worst = max(found.used, key=lambda p: (p.severity_pct or 0.0, p.photo))
    low, high = _ends(leaves) if point is None else point.interval_pct or _ends(leaves)
    error = None if point is None else point.logit_error
    return Visit(
        plant=found.plant,
        day=found.day,
        severity_pct=fmean(leaf.severity_pct for leaf in leaves),
        low_pct=low,
        high_pct=high,
        worst_leaf_pct=max(leaf.severity_pct for leaf in leaves),
        leaf_count=len(leaves),
        pattern=_agreed({photo.pattern for photo in found.used}),
        blight_kind=_agreed({p.blight_kind for p in found.used if p.pattern == "blight"}),
        late_at=max((_moment(p) for p in found.photos if _looks_late(p)), default=None),
        any_blight=any(_shows_blight(photo) for photo in found.photos),
        at=max(map(_moment, found.photos)),
        doubts=found.doubts,
        photo=worst.photo,
        leaf_error=None if error is None else error * sqrt(len(leaves)),
    )


def _ends(leaves: Sequence[LeafEntry]) -> tuple[float, float]:
    """Return the means of the ends of the leaves' measuring intervals."""
    low = fmean(leaf.severity_low_pct for leaf in leaves)
    return low, fmean(leaf.severity_high_pct for leaf in leaves)


def _agreed(words: set[str]) -> str:
    """Return what sick photos agree on; ``unsure`` where they do not."""
    telling = words - {"", "none"} or words - {""}
    return next(iter(telling)) if len(telling) == 1 else ("unsure" if telling else "")


def _called(photo: PhotoEntry) -> tuple[tuple[str, str], ...]:
    """Return pattern and kind of blight of the photo as a whole, and of each of its leaves."""
    leaves = ((leaf.pattern, leaf.blight_kind) for leaf in photo.leaves)
    return ((photo.pattern, photo.blight_kind), *leaves)


def _shows_blight(photo: PhotoEntry) -> bool:
    """Whether the photo or one of its leaves looks like any blight."""
    return any(pattern == "blight" for pattern, _ in _called(photo))


def _looks_late(photo: PhotoEntry) -> bool:
    """Whether the photo or one of its leaves looks like late blight: one is enough."""
    return ("blight", "late") in _called(photo)


def _moment(photo: PhotoEntry) -> datetime:
    """Return when a photo was taken; the start of its day where no more than the day is known.

    What the grower says on that day then counts as said after the photo.
    """
    only_day = photo.taken_from == "name" and photo.taken_at.time() == time(12)
    return (
        datetime.combine(photo.taken_at, time(), photo.taken_at.tzinfo)
        if only_day
        else (photo.taken_at)
    )


def night_looks(photos: Iterable[PhotoEntry], plant: str) -> tuple[NightLook, ...]:
    """Return a plant's nights with a count, oldest first."""
    counted = sorted(
        (
            p
            for p in photos
            if p.plant == plant and p.mode == "night" and p.caterpillar_count is not None
        ),
        key=lambda p: (p.taken_at, p.photo),
    )
    nights = groupby(counted, key=lambda p: (p.taken_at - timedelta(hours=12)).date())
    return tuple(_night(plant, night, list(members)) for night, members in nights)


def _night(plant: str, night: date, photos: Sequence[PhotoEntry]) -> NightLook:
    most = max(photos, key=lambda p: (p.caterpillar_count or 0, p.photo))
    count = most.caterpillar_count or 0
    low = count if most.caterpillar_low is None else most.caterpillar_low
    high = count if most.caterpillar_high is None else most.caterpillar_high
    return NightLook(plant, night, photos[-1].taken_at, count, low, high, most.photo)


def feeding_signs(photos: Iterable[PhotoEntry], plant: str) -> tuple[FeedingSign, ...]:
    """Return the day photos on which droppings or eaten leaf were found, oldest first.

    A photo of the ground counts too: it shows no leaf that could be measured.
    """
    found = (
        FeedingSign(p.taken_at, p.frass_count or 0, p.chewed_pct or 0.0, p.photo)
        for p in photos
        if p.plant == plant and p.mode == "day" and (p.frass_count or p.chewed_pct)
    )
    return tuple(sorted(found, key=lambda sign: (sign.at, sign.photo)))
