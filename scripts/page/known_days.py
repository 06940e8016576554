"""What each plant's days say, kept from view to view: only days that changed are read anew.

A season is a thousand and more days of photos, and most never change again. What a day's photos
say by themselves (`DayLook`) is kept under the states of these photos in the journal; so a day with
one more photo, with one fewer, or with one that was put right is another day, and is read. What
the whole garden, the log, the weather and the clock have to say is worked out anew each time.

It is kept in the garden's folder too, for the next start. A file that was made by other code, for
another time zone or on a damaged disk is not used; it can always be made anew. A row of the journal
that a disk damages after its day was read is named by the commands, which read all rows; the page
goes on saying what was read while it was whole.
"""

import json
import sys
import zlib
from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from datetime import UTC, date, datetime, tzinfo
from functools import cache
from hashlib import blake2b
from itertools import chain
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

import models
from models.care.shots import Shots
from models.care.visits import DayLook, DaySum, FeedingSign, NightLook, Shot, day_look
from models.entries import PhotoEntry
from models.garden.beds import Garden
from models.journal import Journal, PhotoState, PlantStates, open_journal
from models.plain_json import read_json
from models.progress import VisitSum
from scripts.common.files import CannotWriteError, write_whole
from scripts.page.pictures import kept_folder
from vision import flags
from vision.errors import SpotlampError

__all__ = ["ChangedMeanwhileError", "KnownDays", "StateReading"]

_FILE = "days.txt"
_MOST_UNSAVED = 50  # days that a killed server would have to read again
_GATHERINGS = 50  # for so many of them a day is kept that none asks for


class ChangedMeanwhileError(SpotlampError):
    """The record is another one than a moment ago; the message says to look again."""


class KnownDays:
    """What the days of one garden's plants say, as far as it is known.

    Parameters
    ----------
    folder : Path
        The garden's.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._made_by, self._zone = "", ZoneInfo("UTC")
        self._rows: dict[str, bytes] = {}  # as in the file
        self._looks: dict[str, DayLook] = {}  # those that were asked for
        self._asked: dict[str, int] = {}  # when, counted in gatherings
        self._gathering = self._unsaved = 0
        self._plants: Mapping[str, PlantStates] = {}

    def reading(self, garden: Garden, journal: Journal) -> "StateReading":
        """Return a reading of the record as it stands, which reads days that are not known."""
        made_by = f"{_code()} {garden.time_zone}"
        if made_by != self._made_by:  # at the start, or with another time zone
            self._made_by, self._zone = made_by, ZoneInfo(garden.time_zone)
            self._rows, self._looks, self._asked = self._loaded(), {}, {}
            self._plants = {}
        self._gathering += 1
        self._plants = journal.photo_states(self._plants)
        states = chain.from_iterable(plant.states for plant in self._plants.values())
        return StateReading(self._folder, sorted(states, key=_moment), self)

    def look(self, key: str) -> DayLook | None:
        """Return what a day says; None where it is not known."""
        if key not in self._looks:
            row = self._rows.get(key)
            if row is None:
                return None
            self._looks[key] = _unpacked(read_json(row), self._zone)
        self._asked[key] = self._gathering
        return self._looks[key]

    def learn(self, key: str, look: DayLook) -> None:
        """Keep what a day says."""
        self._rows[key] = json.dumps(_packed(look)).encode()
        self._looks[key], self._asked[key] = look, self._gathering
        self._unsaved += 1

    def save(self, *, whole: bool = False) -> None:
        """Write to the garden's folder what is known, where that is worth it; or all of it."""
        if self._unsaved < (1 if whole else _MOST_UNSAVED):
            return
        since = self._gathering - _GATHERINGS
        old = [key for key in self._rows if self._asked.get(key, 0) < since]
        for known in (self._rows, self._looks, self._asked):
            for key in old:
                known.pop(key, None)
        body = b"".join(b"%s %s\n" % (key.encode(), row) for key, row in self._rows.items())
        data = f"{self._made_by} {zlib.crc32(body):08x}\n".encode() + body
        with suppress(CannotWriteError, OSError):  # a full disk takes no page away
            write_whole({kept_folder(self._folder) / _FILE: data}, durable=False)
            self._unsaved = 0

    def _loaded(self) -> dict[str, bytes]:
        """Return the rows of the file; none where it is not ours, or not as it was written."""
        try:
            head, _, body = (kept_folder(self._folder) / _FILE).read_bytes().partition(b"\n")
        except OSError:
            return {}
        if head.decode(errors="replace") != f"{self._made_by} {zlib.crc32(body):08x}":
            return {}
        lines = (line.partition(b" ") for line in body.splitlines())
        return {key.decode(): row for key, _, row in lines}


class StateReading:
    """A garden's record as it stood at one moment, by the states of its photos.

    Parameters
    ----------
    folder : Path
        The garden's.
    states : sequence of PhotoState
        Of all photos, by capture time.
    known : KnownDays
        What is known of their days.
    """

    def __init__(self, folder: Path, states: Sequence[PhotoState], known: KnownDays) -> None:
        self._folder, self._states, self._known = folder, states, known

    def photos(self, _: Journal, since: datetime) -> tuple[Sequence[Shot], Shots]:
        """Return the photos since a moment, and what tells what they say."""
        first = bisect_left(self._states, since.astimezone(UTC), key=_moment)
        return self._states[first:], self

    def plant_times(self, _: Journal) -> Sequence[datetime]:
        """Return when the photos of plants were taken."""
        return [state.taken_at for state in self._states if state.plant]

    def looks(self, days: Sequence[Sequence[Shot]]) -> Sequence[DayLook]:
        """Return what some days say; those that are not known are read."""
        keys = [_key(_as_states(day)) for day in days]
        new = [n for n, key in enumerate(keys) if self._known.look(key) is None]
        entries = iter(self.entries([photo for n in new for photo in days[n]]))
        for n in new:
            self._known.learn(keys[n], day_look([next(entries) for _ in days[n]]))
        looks = map(self._known.look, keys)
        return [look for look in looks if look is not None]

    def entries(self, photos: Sequence[Shot]) -> tuple[PhotoEntry, ...]:
        """Return photos with all that was measured on them, in the same order.

        Raises
        ------
        ChangedMeanwhileError
            When one of them has changed since, or its row is damaged.
        """
        if not photos:
            return ()
        with open_journal(self._folder, examined=True) as journal:
            found = journal.photos_as(_as_states(photos))
        if found is None:
            raise ChangedMeanwhileError("The record changed just now: load this page again.")
        return found


def _moment(state: PhotoState) -> datetime:
    return state.taken_at.astimezone(UTC)


def _as_states(photos: Sequence[Shot]) -> list[PhotoState]:
    states = [photo for photo in photos if isinstance(photo, PhotoState)]
    if len(states) < len(photos):
        raise TypeError("photos that are not of this record")
    return states


def _key(day: Iterable[PhotoState]) -> str:
    return blake2b("".join(one.state for one in day).encode(), digest_size=16).hexdigest()


@cache
def _code() -> str:
    """Return a word for all that decides what a day says: our code, Python's, and NumPy's."""
    root = Path(models.__file__).parent
    files = [*sorted(root.rglob("*.py")), Path(flags.__file__)]
    digest = blake2b(b"".join(file.read_bytes() for file in files), digest_size=16).hexdigest()
    return f"{digest}-{sys.version_info[0]}.{sys.version_info[1]}-{np.__version__}"


_OF_SUM = ("leaves", "photos", "mean", "low", "high", "variance", "lesions")
_OF_DAY = ("severity_pct", "low_pct", "high_pct", "worst_leaf_pct", "pattern", "blight_kind")


def _packed(look: DayLook) -> list[Any]:
    """Return a day as JSON has it."""
    return [
        look.plant,
        look.day.toordinal(),
        None if look.measured is None else _packed_sum(look.measured),
        [
            [one.night.toordinal(), one.at.isoformat(), one.count, one.low, one.high, one.photo]
            for one in look.nights
        ],
        [[one.at.isoformat(), one.frass_count, one.chewed_pct, one.photo] for one in look.feeding],
    ]


def _packed_sum(day: DaySum) -> list[Any]:
    late = None if day.late_at is None else day.late_at.isoformat()
    return [
        [getattr(day.summed, name) for name in _OF_SUM],
        day.summed.resampled,
        [getattr(day, name) for name in _OF_DAY],
        *(late, day.any_blight, day.at.isoformat(), day.doubts, day.photo),
    ]


def _unpacked(row: list[Any], zone: tzinfo) -> DayLook:
    plant, day, measured, nights, feeding = row

    def at(text: str) -> datetime:
        return datetime.fromisoformat(text).astimezone(zone)

    return DayLook(
        plant,
        date.fromordinal(day),
        None if measured is None else _unpacked_sum(measured, zone),
        tuple(
            NightLook(plant, date.fromordinal(night), at(when), *rest)
            for night, when, *rest in nights
        ),
        tuple(FeedingSign(at(when), *rest) for when, *rest in feeding),
    )


def _unpacked_sum(row: list[Any], zone: tzinfo) -> DaySum:
    summed, resampled, day, late, any_blight, at, doubts, photo = row
    ends = None if resampled is None else (resampled[0], resampled[1])
    return DaySum(
        summed=VisitSum(**dict(zip(_OF_SUM, summed, strict=True)), resampled=ends),
        **dict(zip(_OF_DAY, day, strict=True)),
        late_at=None if late is None else datetime.fromisoformat(late).astimezone(zone),
        any_blight=any_blight,
        at=datetime.fromisoformat(at).astimezone(zone),
        doubts=tuple(doubts),
        photo=photo,
    )
