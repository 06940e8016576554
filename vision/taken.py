"""When a photo was taken: from inside the file, else from its name, else from the file's date."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone

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

_EXIF_DATE = re.compile(r"(\d{4})\D(\d\d?)\D(\d\d?)[ T]+(\d\d?)\D(\d\d?)\D(\d\d?)")
_EXIF_OFFSET = re.compile(r"([+-])(\d\d):?(\d\d)")
_NAME_DATE = re.compile(
    r"(?<!\d)(?P<year>(?:19|20)\d\d)(?P<mark>[-_.]?)(?P<month>\d\d)(?P=mark)(?P<day>\d\d)"
    r"(?:(?:[ T_-]| at )?(?P<time>\d\d[-.:]?\d\d[-.:]?\d\d)(?:\d{3})?)?(?!\d)"
)


@dataclass(frozen=True)
class Taken:
    """A photo's capture time and where it comes from.

    Attributes
    ----------
    taken_at : datetime
        Local time; carries a UTC offset only when the photo does.
    taken_from : {"exif", "name", "file"}
        Its source.
    bad_date : bool
        Whether a date inside the photo made no sense and was passed over.
    """

    taken_at: datetime
    taken_from: TakenFrom
    bad_date: bool = False


def capture_time(
    exif: Mapping[int, object], file_name: str, modified_at: datetime, now: datetime
) -> Taken:
    """Choose a photo's capture time.

    The first of these that makes sense: the EXIF capture time, the EXIF time of change, a date
    in the file's name, the file's own date. A date makes sense when it exists in the calendar,
    is not before 1990 and not more than a day ahead of `now`; the file's own date is the last
    resort and taken as it is. A name with a date alone gives noon: it keeps the day whatever
    the time zone, and stands in the middle of that day's photos.

    Parameters
    ----------
    exif : mapping of int to object
        Values by EXIF tag number; those that are missing or of the wrong type do no harm.
    file_name : str
        Name without folders.
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
    for taken_at in _from_name(file_name):
        if _makes_sense(taken_at, now):
            return Taken(taken_at, "name", bad_date)
    return Taken(modified_at, "file", bad_date)


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


def _from_name(file_name: str) -> Iterator[datetime]:
    for parts in _NAME_DATE.finditer(file_name):
        date = parts["year"] + parts["month"] + parts["day"]
        time = re.sub(r"\D", "", parts["time"] or "")
        for digits in (date + time, date + "120000"):
            try:
                yield datetime.strptime(digits, "%Y%m%d%H%M%S")
                break
            except ValueError:
                continue


def _makes_sense(taken_at: datetime, now: datetime) -> bool:
    latest = now + _CLOCK_SLACK
    if not EARLIEST_YEAR <= taken_at.year <= latest.year:
        return False
    return taken_at <= (latest if taken_at.tzinfo is None else latest.astimezone())
