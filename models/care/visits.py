"""A plant's photos of one day, or of one night, as one look at it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from itertools import groupby
from math import sqrt
from statistics import fmean
from typing import TYPE_CHECKING, Protocol

from models.entries import LeafEntry, Mode, PhotoEntry, TakenFrom
from vision.flags import NOT_FOR_SPRAYING

if TYPE_CHECKING:  # NumPy is loaded when visits are asked for
    from models.progress import SeverityPoint, VisitSum

__all__ = [
    "DayLook",
    "DayPhotos",
    "DaySum",
    "FeedingSign",
    "NightLook",
    "Shot",
    "Visit",
    "day_look",
    "day_photos",
    "feeding_signs",
    "night_looks",
    "nights_together",
    "visit_of",
]


class Shot(Protocol):
    """Which photo, when, and of which plant: enough to tell to what day it belongs.

    A `PhotoEntry` is one. The attributes are those of its fields.
    """

    @property
    def photo(self) -> str:
        """Its path as filed."""

    @property
    def sha256(self) -> str:
        """Its hash."""

    @property
    def taken_at(self) -> datetime:
        """When it was taken, in the garden's zone."""

    @property
    def taken_from(self) -> TakenFrom:
        """Where that was read."""

    @property
    def plant(self) -> str:
        """Its plant; empty without one."""

    @property
    def mode(self) -> Mode:
        """How it was read."""


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
class DaySum:
    """What a day's measured photos say by themselves, without the rest of the garden.

    Attributes
    ----------
    summed : VisitSum
        The leaves behind it, as the courses take them.
    severity_pct, low_pct, high_pct : float
        Mean severity of the leaves, and the means of the ends of their measuring intervals.
    worst_leaf_pct, pattern, blight_kind, late_at, any_blight, at, doubts, photo
        As in `Visit`.
    """

    summed: "VisitSum"
    severity_pct: float
    low_pct: float
    high_pct: float
    worst_leaf_pct: float
    pattern: str
    blight_kind: str
    late_at: datetime | None
    any_blight: bool
    at: datetime
    doubts: tuple[str, ...]
    photo: str


@dataclass(frozen=True)
class DayLook:
    """All that some photos of one plant and one calendar day say.

    Attributes
    ----------
    plant : str
        Its name.
    day : date
        The garden's calendar day.
    measured : DaySum or None
        None where no leaf was measured.
    nights : tuple of NightLook
        The nights of that day, oldest first: one before noon, one after it.
    feeding : tuple of FeedingSign
        Droppings and eaten leaves, oldest first.
    """

    plant: str
    day: date
    measured: DaySum | None
    nights: "tuple[NightLook, ...]" = ()
    feeding: "tuple[FeedingSign, ...]" = ()


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


def day_look(photos: Sequence[PhotoEntry]) -> DayLook:
    """Return what photos of one plant and one day say; at least one photo."""
    found = day_photos(photos)
    return DayLook(
        photos[0].plant,
        photos[0].taken_at.date(),
        None if found is None else _summed(found),
        night_looks(photos),
        feeding_signs(photos),
    )


def day_photos(photos: Iterable[PhotoEntry]) -> DayPhotos | None:
    """Return those photos of one plant and one day that are measured; None without any."""
    measured = [photo for photo in photos if photo.mode == "day" and _is_measured(photo)]
    if not measured:
        return None
    plant, day = measured[0].plant, measured[0].taken_at.date()
    return _day_photos(plant, day, tuple(sorted(measured, key=lambda p: p.photo)))


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


def _summed(found: DayPhotos) -> DaySum:
    from models.progress import sum_visit  # NumPy

    leaves = [leaf for photo in found.used for leaf in photo.leaves]
    worst = max(found.used, key=lambda p: (p.severity_pct or 0.0, p.photo))
    low, high = _ends(leaves)
    return DaySum(
        summed=sum_visit(
            [leaf.severity_pct for leaf in leaves],
            [leaf.severity_low_pct for leaf in leaves],
            [leaf.severity_high_pct for leaf in leaves],
            [leaf.lesion_count for leaf in leaves],
            len(found.used),
        ),
        severity_pct=fmean(leaf.severity_pct for leaf in leaves),
        low_pct=low,
        high_pct=high,
        worst_leaf_pct=max(leaf.severity_pct for leaf in leaves),
        pattern=_agreed({photo.pattern for photo in found.used}),
        blight_kind=_agreed({p.blight_kind for p in found.used if p.pattern == "blight"}),
        late_at=max((_moment(p) for p in found.photos if _looks_late(p)), default=None),
        any_blight=any(_shows_blight(photo) for photo in found.photos),
        at=max(map(_moment, found.photos)),
        doubts=found.doubts,
        photo=worst.photo,
    )


def visit_of(look: DayLook, point: "SeverityPoint | None") -> Visit | None:
    """Return what a day's photos say, with the interval that the plant's course gives it.

    Parameters
    ----------
    look : DayLook
        Of the day; where nothing was measured there is no visit.
    point : SeverityPoint or None
        The same day in `models.progress`, which knows how much leaves differ in this garden.
    """
    found = look.measured
    if found is None:
        return None
    shown = None if point is None else point.interval_pct
    low, high = shown or (found.low_pct, found.high_pct)
    error = None if point is None else point.logit_error
    count = found.summed.leaves
    return Visit(
        plant=look.plant,
        day=look.day,
        severity_pct=found.severity_pct,
        low_pct=low,
        high_pct=high,
        worst_leaf_pct=found.worst_leaf_pct,
        leaf_count=count,
        pattern=found.pattern,
        blight_kind=found.blight_kind,
        late_at=found.late_at,
        any_blight=found.any_blight,
        at=found.at,
        doubts=found.doubts,
        photo=found.photo,
        leaf_error=None if error is None else error * sqrt(count),
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


def night_looks(photos: Iterable[PhotoEntry]) -> tuple[NightLook, ...]:
    """Return a plant's nights with a count, oldest first."""
    counted = (p for p in photos if p.mode == "night" and p.caterpillar_count is not None)
    return nights_together(_night_look(photo) for photo in counted)


def _night_look(photo: PhotoEntry) -> NightLook:
    count = photo.caterpillar_count or 0
    low = count if photo.caterpillar_low is None else photo.caterpillar_low
    high = count if photo.caterpillar_high is None else photo.caterpillar_high
    night = (photo.taken_at - timedelta(hours=12)).date()
    return NightLook(photo.plant, night, photo.taken_at, count, low, high, photo.photo)


def nights_together(looks: Iterable[NightLook]) -> tuple[NightLook, ...]:
    """Return looks at a plant as one a night: the one that shows most, at the time of the last."""
    ordered = sorted(looks, key=lambda look: look.night)
    nights = (list(same) for _, same in groupby(ordered, key=lambda look: look.night))
    return tuple(_together(same) for same in nights)


def _together(looks: Sequence[NightLook]) -> NightLook:
    most = max(looks, key=lambda look: (look.count, look.photo))
    return replace(most, at=max(look.at for look in looks))


def feeding_signs(photos: Iterable[PhotoEntry]) -> tuple[FeedingSign, ...]:
    """Return the day photos on which droppings or eaten leaf were found, oldest first.

    A photo of the ground counts too: it shows no leaf that could be measured.
    """
    found = (
        FeedingSign(p.taken_at, p.frass_count or 0, p.chewed_pct or 0.0, p.photo)
        for p in photos
        if p.mode == "day" and (p.frass_count or p.chewed_pct)
    )
    return tuple(sorted(found, key=lambda sign: (sign.at, sign.photo)))
