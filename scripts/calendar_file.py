"""The plan as a calendar file (RFC 5545) that phones and computers import.

An event keeps its identity from one file to the next, so that importing again moves it instead of
doubling it. Times are those of the garden's clock, with its time zone in the file, so that what
comes again at 7 in the morning does so in summer and in winter time.
"""

from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from uuid import NAMESPACE_DNS, uuid5
from zoneinfo import ZoneInfo

from icalendar import Calendar, Event

from models.care.cautions import CAUTIONS, SELLING
from models.care.records import Part, Task
from models.garden import Garden
from vision.errors import SpotlampError

__all__ = ["BadCalendarError", "calendar_bytes"]

STARTS: Mapping[Part, time] = {"morning": time(7), "day": time(11), "night": time(22)}
"""When the event of a task begins by the garden's clock."""

_LASTS = timedelta(minutes=45)
_SERIES_DAYS = 180  # a series ends after so long: by then nobody has planned
_SUMMARY = 70  # signs
_OURS = "@spotlamp"  # how the names of our events end
_EPOCH = datetime(2020, 1, 1, tzinfo=UTC)


class BadCalendarError(SpotlampError):
    """An earlier calendar file cannot be read; the message is one sentence for people."""


def calendar_bytes(
    garden: Garden,
    tasks: Iterable[Task],
    now: datetime,
    *,
    earlier: bytes | None = None,
    sells_produce: bool = False,
) -> bytes:
    """Write tasks as a calendar.

    Parameters
    ----------
    garden : Garden
        Its name tells its events from those of other gardens.
    tasks : iterable of Task
        The plan.
    now : datetime
        When it was made; orders the versions of an event.
    earlier : bytes, optional
        The file that this one replaces: what was planned there for later, and no longer is, is
        cancelled.
    sells_produce : bool
        Whether the stricter words are shown.

    Returns
    -------
    bytes
        UTF-8.

    Raises
    ------
    BadCalendarError
        When the earlier file is no calendar, or holds events of others, which would be lost.
    """
    calendar = Calendar()
    calendar.add("prodid", "-//Spotlamp//plan//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("name", f"{garden.name}: Spotlamp")
    zone = ZoneInfo(garden.time_zone)
    events = [_event(garden, zone, task, now, sells_produce=sells_produce) for task in tasks]
    known = {str(event["uid"]) for event in events}
    dropped = [e for e in _events_in(earlier) if str(e["uid"]) not in known and _to_come(e, now)]
    for event in (*events, *(_cancelled(event, now) for event in dropped)):
        calendar.add_component(event)
    calendar.add_missing_timezones()
    return bytes(calendar.to_ical())


def _event(
    garden: Garden, zone: ZoneInfo, task: Task, now: datetime, *, sells_produce: bool
) -> Event:
    event = Event()
    event.add("uid", f"{uuid5(NAMESPACE_DNS, f'{garden.name}/{task.key}')}{_OURS}")
    _stamp(event, now)
    start = _start(task, zone)
    event.add("dtstart", start)
    event.add("dtend", start + _LASTS)
    event.add("summary", _short(task.what))
    event.add("description", _description(task, sells_produce=sells_produce))
    event.add("categories", ["Garden"])
    event.add("status", "CONFIRMED")
    event.add("transp", "TRANSPARENT")
    if task.repeat_days:
        count = 1 + _SERIES_DAYS // task.repeat_days
        event.add("rrule", {"freq": "daily", "interval": task.repeat_days, "count": count})
    return event


def _stamp(event: Event, now: datetime) -> None:
    """Mark a version: calendars keep the one with the highest number."""
    for name in ("dtstamp", "last-modified", "sequence"):
        event.pop(name, None)
    made = now.astimezone(UTC).replace(microsecond=0)
    event.add("dtstamp", made)
    event.add("last-modified", made)
    event.add("sequence", int((made - _EPOCH).total_seconds()))


def _start(task: Task, zone: ZoneInfo) -> datetime:
    start = datetime.combine(task.day, STARTS[task.part], zone)
    locked = task.not_before.astimezone(zone) if task.not_before else start
    return max(start, locked)


def _short(what: str) -> str:
    first = what.split(". ")[0].rstrip(".")
    return first if len(first) <= _SUMMARY else f"{first[: _SUMMARY - 1].rstrip()}…"


def _description(task: Task, *, sells_produce: bool) -> str:
    cautions = [
        SELLING if name == "selling" and sells_produce else CAUTIONS[name].full
        for name in task.cautions
    ]
    photo = [f"Photo: {task.photo}"] if task.photo else []
    return "\n".join([task.what, f"Why: {task.why}", *photo, *cautions])


def _events_in(earlier: bytes | None) -> list[Event]:
    if earlier is None:
        return []
    try:
        found: Any = Calendar.from_ical(earlier)
        events = list(found.walk("VEVENT"))
    except (ValueError, KeyError, IndexError) as error:
        raise BadCalendarError("The file to be replaced is no calendar: name another.") from error
    if not all(str(event.get("uid", "")).endswith(_OURS) for event in events):
        raise BadCalendarError(
            "The calendar to be replaced holds events that are not of a plan: name another file."
        )
    return [event for event in events if "dtstart" in event]


def _to_come(event: Event, now: datetime) -> bool:
    """Whether an event of ours lies ahead, or comes again."""
    start = event.decoded("dtstart")
    if not isinstance(start, datetime):
        start = datetime.combine(start if isinstance(start, date) else now.date(), time())
    aware = start if start.tzinfo else start.replace(tzinfo=now.tzinfo)
    return aware.astimezone(UTC) >= now.astimezone(UTC) or "rrule" in event


def _cancelled(event: Event, now: datetime) -> Event:
    event.pop("status", None)
    event.add("status", "CANCELLED")
    _stamp(event, now)
    return event
