"""What isolates a plant: signs of a disease that does not wait for a spot-test."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Literal

from models.care.season import PEROXIDE, Season
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


def alarm_of(season: Season, plant: str) -> Alarm | None:
    """Return the last alarm that nothing has lifted since."""
    found = [*_photo_alarms(season, plant), *_seen_alarms(season, plant)]
    last = max(found, key=lambda pair: pair[0], default=None)
    if last is None:
        return None
    at, alarm = last
    lifted = any(entry.at >= at for entry in season.seen("cleared", plant))
    return None if lifted or _outlived(season, plant, alarm) else alarm


def sudden_rise(season: Season, plant: str) -> str:
    """Return a fast rise at the last look that too few leaves show, as words; or empty."""
    looks = season.visits[plant]
    rise = _rise(season, plant, looks) if looks else None
    return "" if rise is None or rise.confirmed else rise.words


def _photo_alarms(season: Season, plant: str) -> list[tuple[datetime, Alarm]]:
    """Return what photos say: late-blight-like lesions, and severity that rises in days."""
    start = season.now.replace(hour=0, minute=0, second=0, microsecond=0)
    looks = season.visits[plant]
    found: list[tuple[datetime, Alarm]] = []
    for number, visit in enumerate(looks, start=1):
        at = start - (season.today - visit.day)
        if visit.late:
            found.append((at, Alarm("late", visit.day, "A leaf looks like late blight.")))
            continue
        rise = _rise(season, plant, looks[:number])
        if rise is not None and rise.confirmed:
            found.append((at, Alarm("collapse", visit.day, rise.words)))
    return found


@dataclass(frozen=True)
class _Rise:
    words: str
    confirmed: bool


def _rise(season: Season, plant: str, looks: tuple[Visit, ...]) -> _Rise | None:
    """Return a rise up to the last of some looks that is too fast for a leaf spot.

    Not across a peroxide spray, after which it may be a burn: that is looked for first.
    """
    *before, visit = looks
    limits = season.limits
    for earlier in reversed(before):
        days = (visit.day - earlier.day).days
        if days > limits.collapse_days or _peroxide_between(season, plant, earlier, visit):
            break
        rise = visit.severity_pct - earlier.severity_pct
        apart = visit.low_pct > earlier.high_pct
        sure = not visit.doubts and not earlier.doubts
        if rise >= limits.collapse_points and apart and sure:
            within = "a day" if days == 1 else f"{days} days"
            words = f"Severity rose by {rise:.0f} points within {within}."
            return _Rise(words, visit.leaf_count >= limits.collapse_leaves)
    return None


def _peroxide_between(season: Season, plant: str, earlier: Visit, later: Visit) -> bool:
    days = (entry.at.date() for entry in season.sprays(PEROXIDE, plant))
    return any(earlier.day <= day <= later.day for day in days)


def _seen_alarms(season: Season, plant: str) -> list[tuple[datetime, Alarm]]:
    words = "You saw it wilt."
    return [(e.at, Alarm("wilting", e.at.date(), words)) for e in season.seen("wilting", plant)]


def _outlived(season: Season, plant: str, alarm: Alarm) -> bool:
    """Whether a later sure look, a week on, shows that it was none; wilting the grower lifts."""
    week = timedelta(days=season.limits.isolate_days)
    later = [v for v in season.visits[plant] if v.day >= alarm.day + week and not v.doubts]
    return alarm.kind != "wilting" and bool(later) and not later[-1].late
