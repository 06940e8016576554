"""The plan as a calendar file (RFC 5545) that phones and computers import.

An event is one task for the same plants. It keeps its identity from one file to the next, so that
importing again moves it instead of doubling it; what is off the plan comes once more, as cancelled.
There is no METHOD: by RFC 5546 one would need an organiser with an address, and a file without one
is what it is here, a picture of the plan, in which RFC 5545 knows cancelled events too.

Times are those of the garden's clock, with its time zone in the file, so that what comes again at 7
in the morning does so in summer and in winter time.
"""

from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from uuid import NAMESPACE_DNS, uuid5
from zoneinfo import ZoneInfo

from icalendar import Calendar, Event

from models.care.cautions import CAUTIONS, SELLING
from models.care.records import Part, Task
from models.garden.beds import Garden
from vision.errors import SpotlampError

__all__ = ["BadCalendarError", "calendar_bytes", "is_ours"]

STARTS: Mapping[Part, time] = {"morning": time(7), "day": time(11), "night": time(22)}
"""When the event of a task begins by the garden's clock."""

_LASTS = timedelta(minutes=45)
_SERIES_DAYS = 42  # a series ends after so long: nothing is sprayed for months by one look
_LOOK_FIRST = "Only with a photo of each plant from the week before, and after a new plan."
_SUMMARY = 70  # signs
_OFF = "No longer planned: "  # a calendar that passes over the status still says so
_OURS = "@spotlamp"  # how the names of our events end
_EPOCH = datetime(2020, 1, 1, tzinfo=UTC)


class BadCalendarError(SpotlampError):
    """An earlier calendar file cannot be read; the message is one sentence for people."""


def calendar_bytes(
    garden: Garden,
    tasks: Iterable[Task],
    now: datetime,
    *,
    earlier: Iterable[bytes] = (),
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
    earlier : iterable of bytes
        Files written before: what was planned there for today or later, and no longer is, is
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
        When an earlier file is no calendar, or holds events of others, which would be lost.
    """
    calendar = Calendar()
    calendar.add("prodid", "-//Spotlamp//plan//EN")
    calendar.add("version", "2.0")
    calendar.add("name", f"{garden.name}: Spotlamp")
    zone = ZoneInfo(garden.time_zone)
    before = _newest(event for data in earlier for event in _events_in(data))
    events = [_event(garden, zone, task, sells_produce=sells_produce) for task in tasks]
    known = {str(event["uid"]) for event in events}
    dropped = [e for uid, e in before.items() if uid not in known and _to_come(e, now)]
    for event in (*events, *(_cancelled(event) for event in dropped)):
        _stamp(event, now, before.get(str(event["uid"])))
        calendar.add_component(event)
    calendar.add_missing_timezones()
    return bytes(calendar.to_ical())


def is_ours(data: bytes) -> bool:
    """Whether these bytes are a calendar that can be replaced."""
    try:
        _events_in(data)
    except BadCalendarError:
        return False
    return True


def _event(garden: Garden, zone: ZoneInfo, task: Task, *, sells_produce: bool) -> Event:
    event = Event()
    # The plants belong to it: an event for one plant must never turn into one for another.
    name = f"{garden.name}/{task.key}/{'+'.join(sorted(task.plants))}"
    event.add("uid", f"{uuid5(NAMESPACE_DNS, name)}{_OURS}")
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


def _stamp(event: Event, now: datetime, before: Event | None) -> None:
    """Mark a version: calendars keep the one with the highest number, whatever clocks showed."""
    for name in ("dtstamp", "last-modified", "sequence"):
        event.pop(name, None)
    made = now.astimezone(UTC).replace(microsecond=0)
    event.add("dtstamp", made)
    event.add("last-modified", made)
    event.add("sequence", max(int((made - _EPOCH).total_seconds()), _sequence(before) + 1))


def _sequence(event: Event | None) -> int:
    return int(event.get("sequence", -1)) if event is not None else -1


def _newest(events: Iterable[Event]) -> dict[str, Event]:
    """Return of each event the version with the highest number."""
    found: dict[str, Event] = {}
    for event in sorted(events, key=_sequence):
        found[str(event["uid"])] = event
    return found


def _start(task: Task, zone: ZoneInfo) -> datetime:
    start = datetime.combine(task.day, STARTS[task.part], zone)
    locked = task.not_before.astimezone(zone) if task.not_before else start
    return max(start, locked)


def _short(what: str) -> str:
    """Return the first sentence as a title; a longer one ends with a whole word."""
    first = what.split(". ")[0].rstrip(".")
    if len(first) <= _SUMMARY:
        return first
    words = first[:_SUMMARY].rsplit(" ", 1)[0].removesuffix(" and").rstrip(",;:")
    return f"{words[: _SUMMARY - 1]}…"


def _description(task: Task, *, sells_produce: bool) -> str:
    cautions = [
        SELLING if name == "selling" and sells_produce else CAUTIONS[name].full
        for name in task.cautions
    ]
    photo = [f"Photo: {task.photo}"] if task.photo else []
    again = [_LOOK_FIRST] if task.repeat_days else []
    return "\n".join([task.what, f"Why: {task.why}", *again, *photo, *cautions])


def _events_in(earlier: bytes) -> list[Event]:
    """Return the events of a file of ours."""
    try:
        found: Any = Calendar.from_ical(earlier)
        events = list(found.walk("VEVENT"))
        ours = all(str(event.get("uid", "")).endswith(_OURS) for event in events)
        whole = [event for event in events if ours and _is_whole(event)]
    # Its library lets through whatever a broken line leads to.
    except Exception as error:
        raise BadCalendarError("The file to be replaced is no calendar: name another.") from error
    if not ours:
        raise BadCalendarError(
            "The calendar to be replaced holds events that are not of a plan: name another file."
        )
    return whole


def _is_whole(event: Event) -> bool:
    """Whether an event has what is asked of it later; raises where it is broken."""
    return bool(_last_day(event)) and bool(str(event["summary"])) and _sequence(event) >= 0


def _to_come(event: Event, now: datetime) -> bool:
    """Whether an event of ours is one of today, lies ahead, or comes again.

    That of this morning still stands in the calendar, and may still be followed.
    """
    return _last_day(event) >= now.date()


def _last_day(event: Event) -> date:
    start = event.decoded("dtstart")
    day = start.date() if isinstance(start, datetime) else start
    if "rrule" not in event:
        return date.fromordinal(day.toordinal())
    rule: Any = event["rrule"]
    times = int(rule["count"][0]) - 1
    return date.fromordinal(day.toordinal() + times * int(rule.get("interval", [1])[0]))


def _cancelled(event: Event) -> Event:
    event.pop("status", None)
    event.add("status", "CANCELLED")
    title = str(event.pop("summary")).removeprefix(_OFF)
    event.add("summary", f"{_OFF}{title}")
    return event
