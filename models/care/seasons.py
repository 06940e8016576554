"""Where one season ends and the next begins: the one notion of it, for all that judges plants.

A season begins when the grower says so (an entry ``season`` of the log), and with the first photo
or entry after a time in which nothing was recorded. Plants of the same name are other plants then.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from operator import itemgetter
from typing import Final

from models.entries import LogEntry
from vision.errors import SpotlampError

__all__ = [
    "NEW_SEASON",
    "SEASON_GAP_DAYS",
    "NoSuchSeasonError",
    "Span",
    "named_span",
    "season_begin",
    "since_new",
    "spans_of",
]

NEW_SEASON: Final = "season"
"""Kind of the entry by which a grower says that a season begins."""

SEASON_GAP_DAYS = 100
"""Days without any photo or entry that end a season by themselves."""

_NO_RECORD = frozenset({NEW_SEASON, "decline"})  # what is declined is declined for good


class NoSuchSeasonError(SpotlampError):
    """There is no season of this name; the message is one sentence for people."""


@dataclass(frozen=True)
class Span:
    """One season of a garden's record.

    Attributes
    ----------
    name : str
        The year in which it began; a second one of that year has ``-2`` after it.
    begin : datetime
        Its first moment: that of the grower's word, or of the first photo or entry.
    end : datetime or None
        First moment of the next one; None for the present season.
    last : datetime or None
        The last photo or entry; None where nothing is recorded yet.
    photos, entries : int
        What was recorded.
    said : bool
        Whether the grower said that it begins.
    """

    name: str
    begin: datetime
    end: datetime | None
    last: datetime | None
    photos: int
    entries: int
    said: bool

    @property
    def first_day(self) -> date:
        """The day on which it began."""
        return self.begin.date()

    @property
    def moment(self) -> datetime | None:
        """The moment as of which it is told when it is over: that of the last record, or later.

        Later on the same day, so that photos of which only the day is known count; None where
        nothing is recorded.
        """
        if self.last is None:
            return None
        evening = self.last.replace(hour=23, minute=59, second=59, microsecond=0)
        late = max(self.last, evening)
        return late if self.end is None else min(late, self.end - timedelta(microseconds=1))


def _starts(log: Iterable[LogEntry]) -> list[datetime]:
    return sorted((e.at for e in log if e.kind == NEW_SEASON), key=_utc)


def _utc(at: datetime) -> datetime:
    return at.astimezone(UTC)


def season_begin(
    photos: Iterable[datetime], log: Sequence[LogEntry], now: datetime, season_days: int
) -> datetime:
    """Return the first moment of the season that lasts at a time.

    Parameters
    ----------
    photos : iterable of datetime
        When photos were taken.
    log : sequence of LogEntry
        The entries that hold.
    now : datetime
        With its zone; later photos and entries are passed over.
    season_days : int
        The longest that a season goes back.
    """
    earliest = now - timedelta(days=season_days)
    begin = max([earliest, *(at for at in _starts(log) if _utc(at) <= _utc(now))], key=_utc)
    known = [*photos, *(e.at for e in log if e.kind not in _NO_RECORD)]
    first, last = _utc(begin), _utc(now)
    times = sorted(at for at in map(_utc, known) if first <= at <= last)
    gap = timedelta(days=SEASON_GAP_DAYS)
    after = [later for earlier, later in pairwise(times) if later - earlier > gap]
    return after[-1] if after else begin


def since_new(log: Iterable[LogEntry]) -> tuple[LogEntry, ...]:
    """Return the entries since the grower last said that a season begins; all without that word.

    Parameters
    ----------
    log : iterable of LogEntry
        The entries that hold, in order of time.
    """
    entries = tuple(log)
    begins = [number for number, entry in enumerate(entries) if entry.kind == NEW_SEASON]
    return entries[begins[-1] :] if begins else entries


def spans_of(
    photos: Iterable[datetime], log: Sequence[LogEntry], now: datetime
) -> tuple[Span, ...]:
    """Return a garden's seasons, oldest first; none where nothing was recorded or said.

    Parameters
    ----------
    photos : iterable of datetime
        When photos were taken, each with its zone.
    log : sequence of LogEntry
        The entries that hold.
    now : datetime
        Later photos and entries are passed over.
    """
    last = _utc(now)
    times = [(_utc(at), at, True) for at in photos]
    times += [(_utc(e.at), e.at, False) for e in log if e.kind not in _NO_RECORD]
    known = sorted((one for one in times if one[0] <= last), key=itemgetter(0))
    starts = [at for at in _starts(log) if _utc(at) <= last]
    return _named(_cut(known, starts))


Records = list[tuple[datetime, bool]]


def _cut(
    known: Sequence[tuple[datetime, datetime, bool]], starts: Sequence[datetime]
) -> list[tuple[datetime, bool, Records]]:
    """Return where each season begins, whether the grower said so, and what it holds.

    Parameters
    ----------
    known : sequence of (datetime, datetime, bool)
        Time in UTC and in its own zone, and whether it is a photo's; in order.
    starts : sequence of datetime
        When the grower said that a season begins, in order.
    """
    gap = timedelta(days=SEASON_GAP_DAYS)
    found: list[tuple[datetime, bool, Records]] = []
    before: datetime | None = None
    for moment, at, is_photo in known:
        said = [s for s in starts if (before is None or before < _utc(s)) and _utc(s) <= moment]
        if said:
            found.append((said[-1], True, []))
        elif before is None or moment - before > gap:
            found.append((at, False, []))
        found[-1][2].append((at, is_photo))
        before = moment
    later = [start for start in starts if before is None or before < _utc(start)]
    return [*found, *([(later[-1], True, [])] if later else [])]


def _named(cut: Sequence[tuple[datetime, bool, Records]]) -> tuple[Span, ...]:
    spans: list[Span] = []
    for place, (begin, said, held) in enumerate(cut):
        year = str(begin.year)
        same = sum(span.begin.year == begin.year for span in spans)
        photos = sum(is_photo for _, is_photo in held)
        spans.append(
            Span(
                name=f"{year}-{same + 1}" if same else year,
                begin=begin,
                end=cut[place + 1][0] if place + 1 < len(cut) else None,
                last=held[-1][0] if held else None,
                photos=photos,
                entries=len(held) - photos,
                said=said,
            )
        )
    return tuple(spans)


def named_span(spans: Sequence[Span], name: str) -> Span:
    """Return the season of a name, such as ``2026``.

    Raises
    ------
    NoSuchSeasonError
        When there is none, with those that there are.
    """
    found = next((span for span in spans if span.name == name.strip()), None)
    if found is None:
        there = ", ".join(span.name for span in spans[-6:])
        known = f"the record has {there}" if there else "nothing is recorded yet"
        raise NoSuchSeasonError(f"There is no season “{name}”: {known}.")
    return found
