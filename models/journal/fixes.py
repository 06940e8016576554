"""What people put right of a photo: when it was taken, what it shows, whether it belongs here.

A fix acts at once: the photo's row holds what is true now, and the fix keeps beside it what was
there before. So everything that reads the journal follows, and each fix can be undone.
"""

from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Any, Literal, NamedTuple

from sqlalchemy import ColumnElement, Connection, Select, insert, or_, select

from models.garden.clock import utc_of
from models.journal import rows
from models.journal.base import OpenJournal
from models.journal.sums import change_rows, own_columns
from models.journal.tables import FIXES, PHOTOS

__all__ = ["Fix", "FixRecord", "Fixed"]

Fixed = Literal["taken", "plant", "removed"]
"""What can be put right: the capture time, the plant, and whether the photo is in the record."""


class Fix(NamedTuple):
    """Something that was put right of a photo.

    Attributes
    ----------
    number : int
        Number of the fix, from 1.
    photo : str
        Path of the photo as filed.
    sha256 : str
        Hash of the photo.
    what : {"taken", "plant", "removed"}
        What was put right.
    value : str
        What holds instead: a time in the garden's zone as ISO 8601, a plant, or empty.
    old : str
        What was there before, of the same kind.
    old_from : str
        Where that was read: a `taken_from` or a `plant_from`; empty where neither applies.
    reason : str
        The grower's own words; may be empty.
    at : datetime
        When it was put right, in the garden's time zone.
    undone : bool
        Whether it was taken back.
    """

    number: int
    photo: str
    sha256: str
    what: Fixed
    value: str
    old: str
    old_from: str
    reason: str
    at: datetime
    undone: bool


class FixRecord(OpenJournal):
    """The part of a journal that puts photos right."""

    def is_removed(self, connection: Connection) -> ColumnElement[bool]:
        """Return the condition that a photo was taken out of the record."""
        return PHOTOS.c.id.in_(self._holding(connection, "removed"))

    def by_hand(self, connection: Connection, what: Fixed) -> frozenset[int]:
        """Return the numbers of the photos of which this holds as somebody put it right."""
        return frozenset(connection.execute(self._holding(connection, what)).scalars())

    def _holding(self, connection: Connection, what: Fixed) -> Select[Any]:
        standing = FIXES.c.what == what, FIXES.c.undone.is_(False), self.sound(connection, FIXES)
        return select(FIXES.c.photo_id).where(*standing)

    def fix_taken(self, photo: str, taken_at: datetime, reason: str = "") -> int:
        """Settle when a photo was taken; `taken_at` without a zone is the garden's time.

        Parameters
        ----------
        photo : str
            Its hash, or its path as filed.
        taken_at : datetime
            When it was taken.
        reason : str
            The grower's own words.

        Returns
        -------
        int
            Photos concerned; 0 where none is filed under this hash or path.
        """
        moment = utc_of(taken_at, self.zone)
        # A word given by hand is one as good as a name's, and the three sources are a contract.
        row = {"taken_at": moment, "taken_from": "name"}
        return self._fix(photo, "taken", moment.isoformat(), row, reason)

    def assign(self, photo: str, plant: str, reason: str = "") -> int:
        """Settle which plant a photo shows; an empty plant takes it from its plant.

        Parameters and result are those of `fix_taken`.
        """
        name = rows.storable(plant)
        row = {"plant": name, "plant_from": "assigned" if plant else ""}
        return self._fix(photo, "plant", name, row, reason)

    def remove(self, photo: str, reason: str = "") -> int:
        """Take a photo out of the record; all that was measured stays, to be taken back in.

        Parameters and result are those of `fix_taken`.
        """
        return self._fix(photo, "removed", "", {}, reason)

    def _fix(self, photo: str, what: Fixed, value: str, row: Mapping[str, Any], reason: str) -> int:
        with self.writing() as connection:
            known = _known_as(photo), self.sound(connection, PHOTOS)
            found = connection.execute(select(*own_columns(PHOTOS)).where(*known)).all()
            done = self.by_hand(connection, what)
            for one in found:
                if one.id in done and row.items() <= one._mapping.items():
                    continue  # it was put right so already
                old, old_from = _BEFORE[what](one)
                connection.execute(
                    insert(FIXES).values(
                        photo_id=one.id,
                        what=what,
                        value=value,
                        old=old,
                        old_from=old_from,
                        reason=rows.storable(reason),
                        at=datetime.now(UTC).replace(tzinfo=None, microsecond=0),
                        undone=False,
                    )
                )
                if row:
                    change_rows(connection, PHOTOS, PHOTOS.c.id == one.id, **row)
        return len(found)

    def undo_fix(self, photo: str) -> tuple[Fix, ...]:
        """Take back the last fix of a photo that still holds, and return what was taken back."""
        undone = []
        with self.writing() as connection:
            chosen = _known_as(photo), self.sound(connection, PHOTOS)
            known = connection.execute(select(PHOTOS.c.id).where(*chosen))
            for photo_id in known.scalars().all():
                query = _fixes().where(FIXES.c.photo_id == photo_id, FIXES.c.undone.is_(False))
                query = query.where(self.sound(connection, FIXES))
                last = connection.execute(query.order_by(FIXES.c.number.desc())).first()
                if last is not None:
                    _put_back(connection, photo_id, last)
                    undone.append(self._fix_of(last))
        return tuple(undone)

    def fixes(self, photo: str | None = None) -> tuple[Fix, ...]:
        """Return all that was put right, also what was undone, in the order it was done."""
        query = _fixes().order_by(FIXES.c.number)
        if photo is not None:
            query = query.where(_known_as(photo))
        with self.reading() as connection:
            query = query.where(self.sound(connection, FIXES), self.sound(connection, PHOTOS))
            return tuple(self._fix_of(row) for row in connection.execute(query))

    def known_photos(self) -> dict[str, str]:
        """Return hash and path of every photo that was ever filed, also of those taken out."""
        query = select(PHOTOS.c.sha256, PHOTOS.c.photo)
        with self.reading() as connection:
            found = connection.execute(query.where(self.sound(connection, PHOTOS)))
            return {row.sha256: row.photo for row in found}

    def _fix_of(self, row: Any) -> Fix:  # noqa: ANN401  a row of SQLAlchemy
        values = dict(row._mapping)
        values["at"] = rows.from_utc(values["at"], self.zone)
        if values["what"] == "taken":
            for name in ("value", "old"):
                moment = rows.from_utc(datetime.fromisoformat(values[name]), self.zone)
                values[name] = moment.isoformat()
        return Fix(**values)


_BEFORE: Mapping[Fixed, Callable[[Any], tuple[str, str]]] = {
    "taken": lambda photo: (photo.taken_at.isoformat(), photo.taken_from),
    "plant": lambda photo: (photo.plant, photo.plant_from),
    "removed": lambda photo: ("", ""),
}


def _known_as(photo: str) -> ColumnElement[bool]:
    return or_(PHOTOS.c.sha256 == photo, PHOTOS.c.photo == rows.storable(photo))


def _fixes() -> Select[Any]:
    own = ("number", "what", "value", "old", "old_from", "reason", "at", "undone")
    return select(*(FIXES.c[name] for name in own), PHOTOS.c.photo, PHOTOS.c.sha256).join_from(
        FIXES, PHOTOS, FIXES.c.photo_id == PHOTOS.c.id
    )


def _put_back(connection: Connection, photo_id: int, fix: Any) -> None:  # noqa: ANN401  a row
    change_rows(connection, FIXES, FIXES.c.number == fix.number, undone=True)
    row: dict[str, Any] = {}
    if fix.what == "taken":
        row = {"taken_at": datetime.fromisoformat(fix.old), "taken_from": fix.old_from}
    elif fix.what == "plant":
        row = {"plant": fix.old, "plant_from": fix.old_from}
    if row:
        change_rows(connection, PHOTOS, PHOTOS.c.id == photo_id, **row)
