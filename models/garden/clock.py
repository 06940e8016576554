"""Times in the garden's zone, and dates that cannot be right."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, timedelta, tzinfo
from itertools import accumulate
from typing import NamedTuple

from models.entries import TakenFrom

__all__ = ["FAR", "Filed", "doubtful_dates", "in_garden_time", "utc_of"]

FAR = timedelta(days=183)
"""Half a year: no season's photos lie further apart without any between them."""


class Filed(NamedTuple):
    """When a photo says it was taken, and when it was filed.

    Attributes
    ----------
    number : int
        Of the photo.
    taken_at : datetime
        Capture time.
    filed_at : datetime
        When it came into the journal, of the same kind as `taken_at`.
    """

    number: int
    taken_at: datetime
    filed_at: datetime


def in_garden_time(taken_at: datetime, taken_from: TakenFrom, zone: tzinfo) -> datetime:
    """Return a capture time in the garden's zone.

    A time without zone is what the garden's clock showed. Where the clock is put back, an hour
    comes twice; the first of the two is taken. Where it is put forward, an hour is left out; a
    camera that shows it was not put forward yet. A file's own date is in this computer's zone.

    Parameters
    ----------
    taken_at : datetime
        With a UTC offset or without.
    taken_from : {"exif", "name", "file"}
        Where it was read.
    zone : tzinfo
        The garden's.
    """
    if taken_at.tzinfo is None:
        known = taken_at.astimezone() if taken_from == "file" else taken_at.replace(tzinfo=zone)
    else:
        known = taken_at
    # Through UTC, so that a time of the hour left out becomes one that exists.
    return known.astimezone(UTC).astimezone(zone)


def utc_of(when: datetime | date, zone: tzinfo) -> datetime:
    """Return a time as naive UTC, as the journal keeps it; a date is its first moment."""
    if not isinstance(when, datetime):
        when = datetime(when.year, when.month, when.day)
    aware = when if when.tzinfo else when.replace(tzinfo=zone)
    return aware.astimezone(UTC).replace(tzinfo=None)


def doubtful_dates(photos: Iterable[Filed]) -> frozenset[int]:
    """Return the numbers of the photos whose date does not fit the others'.

    A camera whose clock is a year behind gives itself away in one of two ways: its photos came
    after photos that are half a year newer, filed on an earlier day; or their day stands alone,
    half a year from photos of any other day, and is not the newest. Old photos that are filed
    late look the same.

    Parameters
    ----------
    photos : iterable of Filed
        All photos of a garden, in any order.
    """
    known = sorted(photos, key=lambda photo: photo.taken_at)
    return frozenset(_late(known)) | frozenset(_alone(known))


def _late(photos: Sequence[Filed]) -> list[int]:
    by_filing = sorted(photos, key=lambda photo: photo.filed_at)
    days = [photo.filed_at.date() for photo in by_filing]
    newest = list(accumulate((photo.taken_at for photo in by_filing), max))
    found = []
    for photo in by_filing:
        before = bisect_left(days, photo.filed_at.date())
        if before and newest[before - 1] - photo.taken_at > FAR:
            found.append(photo.number)
    return found


def _alone(photos: Sequence[Filed]) -> list[int]:
    days = sorted({photo.taken_at.date() for photo in photos})
    lonely = {day for day in days[:-1] if _neighbours(days, day) == 1}
    return [photo.number for photo in photos if photo.taken_at.date() in lonely]


def _neighbours(days: Sequence[date], day: date) -> int:
    return bisect_right(days, day + FAR) - bisect_left(days, day - FAR)
