"""The photos of a journal by what can change of them, so that who knows the rest need not read it.

A season's photos are many, and of one day to the next few change. `photo_states` tells of each
photo which it is, and a word for what is recorded of it: as long as the word is the same, so is
all that `photos` gives of it. A plant has such a word for all its photos, which the database puts
together, so that only the photos of plants that changed are told of one by one.
"""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from hashlib import blake2b
from itertools import groupby
from operator import attrgetter
from types import MappingProxyType
from typing import Any, NamedTuple

from sqlalchemy import BindParameter, ColumnElement, Connection, and_, bindparam, func, select

from models.entries import Mode, PhotoEntry, TakenFrom
from models.journal import rows
from models.journal.base import again_if_lost
from models.journal.errors import DamagedError
from models.journal.photos import PhotoRecord
from models.journal.tables import CORRECTIONS, FIXES, PHOTOS, READINGS, REDRAWN

__all__ = ["PhotoState", "PlantStates", "StatesRecord"]


class PhotoState(NamedTuple):
    """A photo of the record, without what was measured on it.

    Attributes
    ----------
    number : int
        Of the photo.
    photo : str
        Path as filed.
    sha256 : str
        Its hash.
    plant : str
        Name of its plant; empty: unassigned.
    taken_at : datetime
        Capture time in the garden's zone.
    taken_from : {"exif", "name", "file"}
        Where it was read.
    mode : {"day", "night"}
        How the photo was read.
    state : str
        A word that is another one when anything recorded of the photo is.
    """

    number: int
    photo: str
    sha256: str
    plant: str
    taken_at: datetime
    taken_from: TakenFrom
    mode: Mode
    state: str


class PlantStates(NamedTuple):
    """The photos of one plant, or those without one.

    Attributes
    ----------
    stamp : str
        A word that is another one when anything recorded of any of them is.
    states : tuple of PhotoState
        By capture time, as `photos` orders them.
    """

    stamp: str
    states: tuple[PhotoState, ...]


_NOTHING: Mapping[str, PlantStates] = MappingProxyType({})

_JOINING = ("sqlite", "postgresql")
"""Databases that join texts of any length; others cut them off, which would hide changes."""


class StatesRecord(PhotoRecord):
    """The part of a journal that tells what has changed."""

    @again_if_lost
    def photo_states(
        self, known: Mapping[str, PlantStates] = _NOTHING
    ) -> Mapping[str, PlantStates]:
        """Return the photos of each plant; those without one under an empty name.

        Takes a twentieth of the time of `photos`, because rows are not looked through for damage.
        A photo whose row cannot be read may be among them; `photos_as` then says so.

        Parameters
        ----------
        known : mapping of str to PlantStates
            What was returned before, in the same time zone: plants of which nothing changed since
            are taken from there.

        Raises
        ------
        DamagedError
            When a row cannot even be told from others.
        """
        with self.reading() as connection:
            try:
                return self._of_plants(connection, known)
            except (ValueError, OverflowError) as error:
                raise DamagedError(f"The journal {self.what} has rows that are damaged.") from error

    def _of_plants(
        self, connection: Connection, known: Mapping[str, PlantStates]
    ) -> dict[str, PlantStates]:
        if connection.dialect.name not in _JOINING:
            known = _NOTHING
        said, kept = self._said_of(connection), ~self.is_removed(connection)
        stamps = self._stamps(connection, kept, said)
        same = {plant for plant, stamp in stamps.items() if _stamp_in(known, plant) == stamp}
        changed = stamps.keys() - same
        if same:
            kept &= PHOTOS.c.plant.in_(sorted(changed))
        found = self._states(connection, kept, said) if changed else ()
        of_plant = attrgetter("plant")
        new = {
            plant: PlantStates(stamps[plant], tuple(states))
            for plant, states in groupby(sorted(found, key=of_plant), key=of_plant)
        }
        return {plant: known[plant] if plant in same else new[plant] for plant in stamps}

    def _stamps(
        self, connection: Connection, kept: ColumnElement[bool], said: Mapping[int, str]
    ) -> dict[str, str]:
        """Return a word for all photos of each plant; few have anything said of them."""
        sums = PHOTOS.c.checksum.concat(READINGS.c.checksum)
        query = (
            select(PHOTOS.c.plant, func.aggregate_strings(sums, ""))
            .join(READINGS, READINGS.c.photo_id == PHOTOS.c.id)
            .where(READINGS.c.is_current.is_(True), kept)
            .group_by(PHOTOS.c.plant)
        )
        words = {plant: [joined] for plant, joined in connection.execute(query)}
        spoken = select(PHOTOS.c.plant, PHOTOS.c.id).where(
            PHOTOS.c.id.in_(_literally(sorted(said)))
        )
        for plant, number in connection.execute(spoken.order_by(PHOTOS.c.id)) if said else ():
            if plant in words:  # of others all photos are taken out
                words[plant].append(f"{number} {said[number]}")
        return {plant: _digest(" ".join(parts)) for plant, parts in words.items()}

    @again_if_lost
    def photos_as(self, states: Collection[PhotoState]) -> tuple[PhotoEntry, ...] | None:
        """Return photos with what holds of them, in the same order.

        Only the rows of these photos are looked through for damage.

        Parameters
        ----------
        states : collection of PhotoState
            From `photo_states`.

        Returns
        -------
        tuple of PhotoEntry or None
            None where something has changed since, or a row of theirs cannot be read.
        """
        numbers = sorted(one.number for one in states)
        with self.reading() as connection, self.looking_at(numbers):
            own = PHOTOS.c.id.in_(_literally(numbers))
            chosen = and_(self._chosen(connection, None, None, None, None), own)
            found = self._entries(connection, chosen)
            held = self._held(connection, chosen, found)
            said = self._said_of(connection)
            now = {one.number: one for one in self._states(connection, own, said)}
        if any(one.number not in found or now.get(one.number) != one for one in states):
            return None
        entries = ((one.number, found[one.number]) for one in states)
        return tuple(held[n].photo if n in held else entry for n, entry in entries)

    def _states(
        self, connection: Connection, chosen: ColumnElement[bool], said: Mapping[int, str]
    ) -> tuple[PhotoState, ...]:
        names = ("id", "photo", "sha256", "plant", "taken_at", "taken_from")
        query = (
            select(
                *(PHOTOS.c[name] for name in names),
                *(READINGS.c.mode, PHOTOS.c.checksum, READINGS.c.checksum),
            )
            .join(READINGS, READINGS.c.photo_id == PHOTOS.c.id)
            .where(READINGS.c.is_current.is_(True), chosen)
            .order_by(PHOTOS.c.taken_at, PHOTOS.c.photo, PHOTOS.c.sha256)
        )
        found = connection.execute(query).all()
        return tuple(self._state(said, *row) for row in found)

    def _state(self, said: Mapping[int, str], *row: Any) -> PhotoState:  # noqa: ANN401  a row
        number, photo, sha256, plant, at, taken_from, mode, own, reading = row
        state = f"{sha256[:16]}{own}{reading}{said.get(number, '')}"
        at = rows.from_utc(at, self.zone)
        return PhotoState(number, photo, sha256, plant, at, taken_from, mode, state)

    def _said_of(self, connection: Connection) -> dict[int, str]:
        """Return a word for what people, and other photos, say of a photo; most have none."""
        words: dict[int, list[str]] = defaultdict(list)
        fixes = select(FIXES.c.photo_id, FIXES.c.checksum).order_by(FIXES.c.number)
        told = select(CORRECTIONS.c.photo_id, CORRECTIONS.c.checksum).order_by(CORRECTIONS.c.number)
        drawn = (
            select(FIXES.c.photo_id, REDRAWN.c.checksum)
            .join(FIXES, REDRAWN.c.number == FIXES.c.number)
            .order_by(REDRAWN.c.number, REDRAWN.c.version)
        )
        for query in (fixes, told, drawn):
            for number, checksum in connection.execute(query):
                words[number].append(checksum)
        for number in self.out_of_time(connection):
            words[number].append("?")
        return {number: "".join(said) for number, said in words.items()}


def _literally(numbers: Sequence[int]) -> BindParameter[Any]:
    """Return numbers for a query's text: there may be more than a database takes beside it."""
    return bindparam(None, numbers, expanding=True, literal_execute=True)


def _stamp_in(known: Mapping[str, PlantStates], plant: str) -> str:
    return known[plant].stamp if plant in known else ""


def _digest(text: str) -> str:
    return blake2b(text.encode(), digest_size=16).hexdigest()
