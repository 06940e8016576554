"""When a photo was taken: from inside the file, else from a name, else from the file's date."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from pathlib import PurePath

from vision.records import TakenFrom

__all__ = [
    "EARLIEST_YEAR",
    "EXIF_CHANGED_AT",
    "EXIF_CHANGED_OFFSET",
    "EXIF_TAKEN_AT",
    "EXIF_TAKEN_OFFSET",
    "Taken",
    "capture_time",
]

EXIF_CHANGED_AT = 306  # DateTime, in the main directory
EXIF_TAKEN_AT = 36867  # DateTimeOriginal, in the Exif directory, like the two offsets
EXIF_CHANGED_OFFSET = 36880  # OffsetTime
EXIF_TAKEN_OFFSET = 36881  # OffsetTimeOriginal

EARLIEST_YEAR = 1990
"""No camera wrote dates into photos before; an earlier one is a clock that was never set."""

_CLOCK_SLACK = timedelta(days=1)
"""How far a date may lie ahead of now: a phone in a zone ahead of ours is no error."""

_MONTHS = 12

_EXIF_DATE = re.compile(r"(\d{4})\D(\d\d?)\D(\d\d?)[ T]+(\d\d?)\D(\d\d?)\D(\d\d?)")
_EXIF_OFFSET = re.compile(r"([+-])(\d\d):?(\d\d)")
_NAME_DATE = re.compile(
    r"(?<!\d)(?:"
    r"(?P<year>(?:19|20)\d\d)(?P<mark>[-_.]?)(?P<month>\d\d)(?P=mark)(?P<day>\d\d)"
    r"|(?P<first>\d\d?)(?P<sign>[-_.])(?P<second>\d\d?)(?P=sign)(?P<last>(?:19|20)\d\d)"
    r")(?:(?:[ T_-]| at |, | - )?(?:"
    r"(?P<clock>\d\d?[-.:]\d\d(?:[-.:]\d\d)?)\s?(?P<half>[AaPp])\.?[Mm]\b"
    r"|(?P<time>\d\d[-.:h]?\d\d(?:[-.:]?\d\d(?:\d{3})?)?)"
    r"))?(?!\d)"
)

_FOLDERS_READ = 3
"""Folders above a photo whose names may tell its day: of the day, the bed and the plant."""


@dataclass(frozen=True)
class Taken:
    """A photo's capture time and where it comes from.

    Attributes
    ----------
    taken_at : datetime
        Local time; carries a UTC offset only when the photo does.
    taken_from : {"exif", "name", "file"}
        Its source; a folder's name counts as ``name``.
    bad_date : bool
        Whether a date inside the photo made no sense and was passed over.
    future_date : bool
        Whether a name gives a date that is still to come, which was passed over.
    """

    taken_at: datetime
    taken_from: TakenFrom
    bad_date: bool = False
    future_date: bool = False


def capture_time(
    exif: Mapping[int, object], path: PurePath | str, modified_at: datetime, now: datetime
) -> Taken:
    """Choose a photo's capture time.

    The first of these that makes sense: the EXIF capture time, the EXIF time of change, a date
    in the file's name, one in the name of a folder, the nearest first, the file's own date. A date
    makes sense when it exists in the calendar, is not before 1990 and not more than a day ahead
    of `now`; the file's own date is the last resort and taken as it is. A name with a date alone
    gives noon: it keeps the day whatever the time zone, and stands in the middle of that day's
    photos.

    Names are read where they leave no doubt. Year, month, day: ``2026-06-12``, ``20260612``. Day,
    month, year with dots: ``12.06.2026``, for no country writes the month first with dots. With
    other signs only where one number is no month or both are the same: ``22-06-2026``,
    ``06-22-2026``, but not ``12-06-2026``. A time follows its date at once: ``_0631``,
    ``T07-30``, `` at 7.30.12 PM``. A folder's date that is later than the file's own is none of
    the photo's, which was there before.

    Parameters
    ----------
    exif : mapping of int to object
        Values by EXIF tag number; those that are missing or of the wrong type do no harm.
    path : PurePath or str
        Of the file; of its folders the three nearest are looked at.
    modified_at, now : datetime
        The file's date and the present, both local and without UTC offset.

    Returns
    -------
    Taken
    """
    bad_date = False
    for text in _exif_texts(exif):
        taken_at = _from_exif(*text)
        if taken_at is not None and _makes_sense(taken_at, now):
            return Taken(taken_at, "exif", bad_date)
        bad_date = True
    named, ahead = _named(PurePath(path), modified_at, now)
    if named is not None:
        return Taken(named, "name", bad_date, ahead)
    return Taken(modified_at, "file", bad_date, ahead)


def _named(path: PurePath, modified_at: datetime, now: datetime) -> tuple[datetime | None, bool]:
    """Return the date in name or folders, and whether one that is still to come was passed over."""
    ahead = False
    for place, name in enumerate(reversed(path.parts[-_FOLDERS_READ - 1 :])):
        dates = list(_from_name(name))
        sensible = [date for date in dates if _makes_sense(date, now)]
        if place:
            sensible = [date for date in sensible if date <= modified_at + _CLOCK_SLACK]
        if sensible:
            return sensible[0], ahead
        ahead = ahead or any(not _not_ahead(date, now) for date in dates)
    return None, ahead


def _exif_texts(exif: Mapping[int, object]) -> Iterator[tuple[str, str]]:
    """Yield the dates that are filled in, each with its offset; blanks mean "not known"."""
    for date_tag, offset_tag in (
        (EXIF_TAKEN_AT, EXIF_TAKEN_OFFSET),
        (EXIF_CHANGED_AT, EXIF_CHANGED_OFFSET),
    ):
        date = _text(exif.get(date_tag))
        if date.strip(" :"):
            yield date, _text(exif.get(offset_tag))


def _text(value: object) -> str:
    if isinstance(value, bytes):
        value = value.decode("latin-1")
    return value.replace("\0", " ").strip() if isinstance(value, str) else ""


def _from_exif(date: str, offset: str) -> datetime | None:
    parts = _EXIF_DATE.match(date)
    if parts is None:
        return None
    try:
        taken_at = datetime(*(int(part) for part in parts.groups()))  # type: ignore[arg-type]
    except ValueError:
        return None
    return taken_at.replace(tzinfo=_zone(offset))


def _zone(offset: str) -> timezone | None:
    parts = _EXIF_OFFSET.fullmatch(offset)
    if parts is None:
        return None
    ahead = timedelta(hours=int(parts[2]), minutes=int(parts[3]))
    if ahead > timedelta(hours=14):  # no clock on Earth is further from UTC
        return None
    return timezone(ahead if parts[1] == "+" else -ahead)


def _from_name(name: str) -> Iterator[datetime]:
    for parts in _NAME_DATE.finditer(name):
        date = _date_in(parts)
        for digits in (date + _time_in(parts), date + "120000"):
            try:
                yield datetime.strptime(digits, "%Y%m%d%H%M%S")
                break
            except ValueError:
                continue


def _date_in(parts: re.Match[str]) -> str:
    """Return year, month and day as eight digits; empty where their order is in doubt."""
    if parts["year"]:
        return f"{parts['year']}{parts['month']}{parts['day']}"
    first, second = int(parts["first"]), int(parts["second"])
    if second > _MONTHS >= first:
        day, month = second, first
    elif parts["sign"] == "." or first > _MONTHS or first == second:
        day, month = first, second
    else:
        return ""
    return f"{parts['last']}{month:02}{day:02}"


def _time_in(parts: re.Match[str]) -> str:
    """Return hour, minute and second as six digits; empty where there is no time."""
    if parts["clock"]:
        hour, *rest = (int(part) for part in re.split(r"\D", parts["clock"]))
        afternoon = parts["half"] in "Pp"
        hours = hour % 12 + 12 * afternoon if 0 < hour <= 12 else hour
        return f"{hours:02}" + "".join(f"{part:02}" for part in rest).ljust(4, "0")
    digits = re.sub(r"\D", "", parts["time"] or "")[:6]
    return digits.ljust(6, "0") if digits else ""


def _makes_sense(taken_at: datetime, now: datetime) -> bool:
    return taken_at.year >= EARLIEST_YEAR and _not_ahead(taken_at, now)


def _not_ahead(taken_at: datetime, now: datetime) -> bool:
    latest = now + _CLOCK_SLACK
    if taken_at.year > latest.year:
        return False
    return taken_at <= (latest if taken_at.tzinfo is None else latest.astimezone())
