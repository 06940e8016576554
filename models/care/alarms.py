"""What isolates a plant: signs of a disease that does not wait for a spot-test.

Isolation holds until somebody says that it is over, or until two looks in a row show it surely.
A sicker or an unsure look never lifts it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import Literal

from models.care.season import PEROXIDE, Season
from models.care.thresholds import Thresholds
from models.care.visits import Visit

__all__ = ["Alarm", "alarm_of", "sudden_rise"]

AlarmKind = Literal["late", "collapse", "wilting"]


@dataclass(frozen=True)
class Alarm:
    """A sign of a disease that does not wait for a spot-test.

    Attributes
    ----------
    kind : {"late", "collapse", "wilting"}
        Late-blight-like lesions, a fast rise of severity, or wilting that the grower saw.
    day : date
        When it was last seen.
    words : str
        For people.
    """

    kind: AlarmKind
    day: date
    words: str


@dataclass(frozen=True)
class _Found:
    """An alarm, from when on it stands, and the look that raised it (None: the grower saw it)."""

    at: datetime
    alarm: Alarm
    look: Visit | None = None


def alarm_of(season: Season, plant: str) -> Alarm | None:
    """Return the last alarm that nothing has lifted since."""
    if not _may_alarm(season, plant):
        return None
    found = [*_photo_alarms(season, plant), *_seen_alarms(season, plant)]
    standing = [one for one in found if not _lifted(season, plant, one)]
    last = max(standing, key=lambda one: one.at, default=None)
    return None if last is None else last.alarm


def _may_alarm(season: Season, plant: str) -> bool:
    """Whether anything could have raised an alarm.

    It is asked of every plant at the moment of every spray, and mostly nothing could: so it is
    told from what the days say by themselves, before any interval is worked out.
    """
    days = season.measured_days.get(plant, ())
    severity = [day.measured.severity_pct for day in days if day.measured]
    back, points = season.limits.collapse_days, season.limits.collapse_points
    return (
        bool(season.seen("wilting", plant))
        or any(day.measured and day.measured.late_at for day in days)
        or any(
            now - min(severity[max(0, place - back) : place]) >= points
            for place, now in enumerate(severity)
            if place
        )
    )


def _lifted(season: Season, plant: str, found: _Found) -> bool:
    said = any(entry.at >= found.at for entry in season.seen("cleared", plant))
    return said or (found.look is not None and _outlived(season, plant, found.look))


def sudden_rise(season: Season, plant: str) -> str:
    """Return a fast rise at the last look that too few leaves show, as words; or empty."""
    looks = season.visits[plant]
    rise = _rise(season.limits, looks, _sprayed(season, plant)) if looks else None
    return "" if rise is None or rise.confirmed else rise.words


def _photo_alarms(season: Season, plant: str) -> Iterable[_Found]:
    """Return what photos say: late-blight-like lesions, and severity that rises in days."""
    looks, sprayed = season.visits[plant], _sprayed(season, plant)
    for number, visit in enumerate(looks, start=1):
        if visit.late_at is not None:
            words = "A leaf looks like late blight."
            yield _Found(visit.late_at, Alarm("late", visit.day, words), visit)
            continue
        lately = looks[max(0, number - 1 - season.limits.collapse_days) : number]
        rise = _rise(season.limits, lately, sprayed)
        if rise is not None and rise.confirmed:
            yield _Found(visit.at, Alarm("collapse", visit.day, rise.words), visit)


@dataclass(frozen=True)
class _Rise:
    words: str
    confirmed: bool


def _rise(limits: Thresholds, looks: Sequence[Visit], sprayed: Sequence[date]) -> _Rise | None:
    """Return a rise up to the last of some looks that is too fast for a leaf spot.

    Not across a peroxide spray, after which it may be a burn: that is looked for first.
    """
    *before, visit = looks
    for earlier in reversed(before):
        days = (visit.day - earlier.day).days
        if days > limits.collapse_days or any(earlier.day <= d <= visit.day for d in sprayed):
            break
        rise = visit.severity_pct - earlier.severity_pct
        apart = visit.low_pct > earlier.high_pct
        sure = not visit.doubts and not earlier.doubts
        if rise >= limits.collapse_points and apart and sure:
            within = "a day" if days == 1 else f"{days} days"
            words = f"Severity rose by {rise:.0f} points within {within}."
            return _Rise(words, visit.leaf_count >= limits.collapse_leaves)
    return None


def _sprayed(season: Season, plant: str) -> tuple[date, ...]:
    """Return the days on which a plant was sprayed with peroxide."""
    return tuple(entry.at.date() for entry in season.sprays(PEROXIDE, plant))


def _seen_alarms(season: Season, plant: str) -> Iterable[_Found]:
    words = "You saw it wilt."
    for entry in season.seen("wilting", plant):
        yield _Found(entry.at, Alarm("wilting", entry.at.date(), words))


def _outlived(season: Season, plant: str, alarming: Visit) -> bool:
    """Whether two looks in a row, a week and more after the one that alarmed, clear the plant."""
    since = alarming.day + timedelta(days=season.limits.isolate_days)
    later = [visit for visit in season.visits[plant] if visit.day >= since]
    return any(
        _clears(season, first, alarming) and _clears(season, second, alarming)
        for first, second in pairwise(later)
    )


def _clears(season: Season, visit: Visit, alarming: Visit) -> bool:
    """Whether a look is sure, of enough leaves, surely healthier, and surely shows no blight."""
    return (
        not visit.doubts
        and visit.leaf_count >= season.limits.clear_leaves
        and visit.high_pct < alarming.low_pct
        and visit.pattern in ("spot", "none")
        and not visit.any_blight
    )
