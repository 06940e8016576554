"""What people put right of a photo, and of what was read on it.

A fix of the date or the plant acts at once: the photo's row holds what is true now, and the fix
keeps beside it what was there before. A fix of the reading changes no row; what holds is worked out
from it (``models.corrections``). So everything that reads the journal follows, and each fix can be
undone.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, Connection, Select, and_, func, insert, or_, select

from models.corrections import OF_READING, Fix, Fixed, Mark, Redrawn
from models.garden.clock import utc_of
from models.journal import rows
from models.journal.base import OpenJournal, again_if_lost, inserted
from models.journal.errors import JournalError, StaleError
from models.journal.sums import change_rows, own_columns
from models.journal.tables import (
    CORRECTIONS,
    FIXES,
    MARKS,
    PHOTOS,
    READINGS,
    REDRAWN,
    REDRAWN_LESIONS,
    parts_of,
)

__all__ = ["FixRecord", "Wish", "edition_of", "known_as"]

_LAST_COUNTS: frozenset[Fixed] = frozenset({"taken", "plant", "pattern", "outline"})
_OWN = ("number", "what", "value", "old", "old_from", "reason", "at", "undone")


class Wish(NamedTuple):
    """Something to be put right of a photo.

    Attributes
    ----------
    what : str
        See ``models.corrections.Fixed``.
    value : str
        What holds instead, as the journal keeps it: a time in UTC, a plant, a pattern, or empty.
    marks : tuple of Mark
        Where on the photo.
    reason : str
        The grower's own words.
    session : str
        Of a pattern of the largest leaf: round of photos, as one day, place and phone.
    redrawn : Redrawn or None
        Of an outline: what was measured inside; its number is not looked at.
    """

    what: Fixed
    value: str = ""
    marks: tuple[Mark, ...] = ()
    reason: str = ""
    session: str = ""
    redrawn: Redrawn | None = None


class FixRecord(OpenJournal):
    """The part of a journal that puts photos right."""

    def is_removed(self, connection: Connection) -> ColumnElement[bool]:
        """Return the condition that a photo was taken out of the record."""
        return PHOTOS.c.id.in_(self._holding(connection, "removed"))

    def by_hand(self, connection: Connection, *what: Fixed) -> frozenset[int]:
        """Return the numbers of the photos of which somebody put one of these right."""
        return frozenset(connection.execute(self._holding(connection, *what)).scalars())

    def _holding(self, connection: Connection, *what: Fixed) -> Select[Any]:
        standing = FIXES.c.what.in_(what), FIXES.c.undone.is_(False), self._sound_fix(connection)
        return select(FIXES.c.photo_id).where(*standing)

    def _sound_fix(self, connection: Connection) -> ColumnElement[bool]:
        return self.sound(connection, FIXES, *parts_of(FIXES))

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
        wish = Wish("taken", self.stored_time(taken_at), reason=reason)
        return len(self.put_right(photo, wish))

    def assign(self, photo: str, plant: str, reason: str = "") -> int:
        """Settle which plant a photo shows; an empty plant takes it from its plant.

        Parameters and result are those of `fix_taken`.
        """
        return len(self.put_right(photo, Wish("plant", rows.storable(plant), reason=reason)))

    def remove(self, photo: str, reason: str = "") -> int:
        """Take a photo out of the record; all that was measured stays, to be taken back in.

        Parameters and result are those of `fix_taken`.
        """
        return len(self.put_right(photo, Wish("removed", reason=reason)))

    @again_if_lost
    def put_right(self, photo: str, wish: Wish, seen: str | None = None) -> tuple[Fix, ...]:
        """Put something right of a photo, in one transaction.

        Parameters
        ----------
        photo : str
            Its hash, or its path as filed, under which there may be several.
        wish : Wish
            What holds instead.
        seen : str, optional
            The photo's edition that the wish was made on, see ``CorrectedReading``.

        Returns
        -------
        tuple of Fix
            One a photo: the new one, or the one that says the same already; none where no photo is
            filed under this hash or path.

        Raises
        ------
        StaleError
            When something else was put right of the photo since, or it was measured anew.
        """
        with self.writing() as connection:
            chosen = known_as(photo), self.sound(connection, PHOTOS)
            found = connection.execute(select(*own_columns(PHOTOS)).where(*chosen)).all()
            return tuple(self._put_right(connection, one, wish, seen) for one in found)

    def _put_right(self, connection: Connection, photo: Any, wish: Wish, seen: str | None) -> Fix:  # noqa: ANN401  a row
        self._refuse_stale(connection, photo.id, seen)
        row = _NOW[wish.what](wish.value) if wish.what in _NOW else {}
        holding = [
            fix
            for fix in self._fixes_where(connection, FIXES.c.photo_id == photo.id)
            if fix.what == wish.what and not fix.undone
        ]
        for fix in holding[-1:] if wish.what in _LAST_COUNTS else holding:
            stands = row.items() <= photo._mapping.items()
            if stands and (row or _said_alike(fix, wish)):
                return fix  # it was put right so already
        number = self._insert(connection, photo, wish)
        if row:
            change_rows(connection, PHOTOS, PHOTOS.c.id == photo.id, **row)
        return self._fixes_where(connection, FIXES.c.number == number)[0]

    def _insert(self, connection: Connection, photo: Any, wish: Wish) -> int:  # noqa: ANN401  a row
        old, old_from = (
            (_version_of(connection, photo.id), "")
            if wish.what in OF_READING
            else _BEFORE[wish.what](photo)
        )
        number = inserted(
            connection,
            insert(FIXES).values(
                photo_id=photo.id,
                what=wish.what,
                value=wish.value,
                old=old,
                old_from=old_from,
                reason=rows.storable(wish.reason),
                at=datetime.now(UTC).replace(tzinfo=None, microsecond=0),
                undone=False,
            ),
        )
        if wish.what == "pattern" and wish.session:
            connection.execute(insert(CORRECTIONS).values(**_label(photo.id, number, wish)))
        if marks := rows.mark_rows(number, wish.marks):
            connection.execute(insert(MARKS), marks)
        if wish.redrawn is not None:
            _insert_redrawn(connection, number, wish.redrawn)
        return number

    def _refuse_stale(self, connection: Connection, photo_id: int, seen: str | None) -> None:
        if seen is None or seen == edition_of(connection, photo_id):
            return
        own = FIXES.c.photo_id == photo_id
        last = self._fixes_where(connection, own)[-1:]
        when = f" (last at {last[0].at:%Y-%m-%d %H:%M})" if last else ""
        raise StaleError(
            "Something was put right on this photo, or it was measured anew, since you looked at "
            f"it{when}: look again, then say it once more. Nothing was changed."
        )

    @again_if_lost
    def refuse_stale(self, photo: str, seen: str) -> None:
        """Raise StaleError where a photo's edition is another one by now."""
        with self.reading() as connection:
            chosen = known_as(photo), self.sound(connection, PHOTOS)
            for number in connection.execute(select(PHOTOS.c.id).where(*chosen)).scalars():
                self._refuse_stale(connection, number, seen)

    def stored_time(self, moment: datetime) -> str:
        """Return a time as a fix keeps it; one without a zone is the garden's."""
        return utc_of(moment, self.zone).isoformat()

    @again_if_lost
    def undo_fix(
        self, photo: str, number: int | None = None, seen: str | None = None
    ) -> tuple[Fix, ...]:
        """Take back a fix of a photo that still holds, and return what was taken back.

        Parameters
        ----------
        photo : str
            Its hash, or its path as filed.
        number : int, optional
            Of the fix; the last one that holds by default.
        seen : str, optional
            As in `put_right`.

        Raises
        ------
        StaleError
            As in `put_right`.
        JournalError
            When there is no such fix that holds, or a later one of the same date or plant does.
        """
        undone = []
        with self.writing() as connection:
            chosen = known_as(photo), self.sound(connection, PHOTOS)
            query = select(PHOTOS.c.id).where(*chosen)
            for photo_id in connection.execute(query).scalars().all():
                self._refuse_stale(connection, photo_id, seen)
                found = self._fixes_where(connection, FIXES.c.photo_id == photo_id)
                holding = [fix for fix in found if not fix.undone]
                if fix := _chosen(holding, number):
                    self._put_back(connection, photo_id, fix)
                    undone.append(fix)
        return tuple(undone)

    def _put_back(self, connection: Connection, photo_id: int, fix: Fix) -> None:
        change_rows(connection, FIXES, FIXES.c.number == fix.number, undone=True)
        row: dict[str, Any] = {}
        if fix.what == "taken":
            taken_at = utc_of(datetime.fromisoformat(fix.old), self.zone)
            row = {"taken_at": taken_at, "taken_from": fix.old_from}
        elif fix.what == "plant":
            row = {"plant": fix.old, "plant_from": fix.old_from}
        if row:
            change_rows(connection, PHOTOS, PHOTOS.c.id == photo_id, **row)

    @again_if_lost
    def fixes(self, photo: str | None = None) -> tuple[Fix, ...]:
        """Return all that was put right, also what was undone, in the order it was done."""
        with self.reading() as connection:
            which = [] if photo is None else [known_as(photo)]
            return self._fixes_where(connection, *which)

    def _fixes_where(self, connection: Connection, *which: ColumnElement[bool]) -> tuple[Fix, ...]:
        sound = self._sound_fix(connection), self.sound(connection, PHOTOS)
        chosen = [*which, *sound]
        columns = (*(FIXES.c[name] for name in _OWN), PHOTOS.c.photo, PHOTOS.c.sha256)
        of_photo = FIXES.c.photo_id == PHOTOS.c.id
        label = and_(CORRECTIONS.c.fix == FIXES.c.number, self.sound(connection, CORRECTIONS))
        query = (
            select(*columns, func.coalesce(CORRECTIONS.c.session, "").label("session"))
            .join_from(FIXES, PHOTOS, of_photo)
            .outerjoin(CORRECTIONS, label)
            .where(*chosen)
        )
        found = connection.execute(query.order_by(FIXES.c.number)).mappings().all()
        marks: dict[int, list[Mark]] = defaultdict(list)
        pointed = (
            select(MARKS.c.number, *(MARKS.c[name] for name in Mark._fields))
            .join_from(MARKS, FIXES, MARKS.c.number == FIXES.c.number)
            .join(PHOTOS, of_photo)
            .where(*chosen)
            .order_by(MARKS.c.number, MARKS.c.position)
        )
        for number, *place in connection.execute(pointed):
            marks[number].append(Mark(*place))
        return tuple(self._fix_of(dict(row), marks.get(row["number"], ())) for row in found)

    @again_if_lost
    def redrawn_since(self, photo: str, version: str) -> tuple[Fix, ...]:
        """Return the redrawn outlines of a photo that this version has not measured inside."""
        measured = select(REDRAWN.c.number).where(REDRAWN.c.version == version)
        with self.reading() as connection:
            holds = FIXES.c.what == "outline", FIXES.c.undone.is_(False)
            missing = FIXES.c.number.not_in(measured)
            return self._fixes_where(connection, known_as(photo), *holds, missing)

    @again_if_lost
    def add_redrawn(self, redrawn: Redrawn) -> None:
        """Keep what another version of the measuring found inside a redrawn outline."""
        with self.writing() as connection:
            own = REDRAWN.c.number == redrawn.fix, REDRAWN.c.version == redrawn.version
            if connection.execute(select(REDRAWN.c.number).where(*own)).first() is None:
                _insert_redrawn(connection, redrawn.fix, redrawn)

    @again_if_lost
    def known_photos(self) -> dict[str, str]:
        """Return hash and path of every photo that was ever filed, also of those taken out."""
        query = select(PHOTOS.c.sha256, PHOTOS.c.photo)
        with self.reading() as connection:
            found = connection.execute(query.where(self.sound(connection, PHOTOS)))
            return {row.sha256: row.photo for row in found}

    def _fix_of(self, row: Mapping[str, Any], marks: Iterable[Mark]) -> Fix:
        values = {**row, "at": rows.from_utc(row["at"], self.zone), "marks": tuple(marks)}
        if values["what"] == "taken":
            for name in ("value", "old"):
                moment = rows.from_utc(datetime.fromisoformat(values[name]), self.zone)
                values[name] = moment.isoformat()
        return Fix(**values)


def edition_of(connection: Connection, photo_id: int) -> str:
    """Return what ``CorrectedReading.edition`` says of a photo."""
    rows_of = select(func.count()).select_from(FIXES).where(FIXES.c.photo_id == photo_id)
    count = connection.execute(rows_of).scalar_one()
    undone = connection.execute(rows_of.where(FIXES.c.undone.is_(True))).scalar_one()
    return f"{_version_of(connection, photo_id)}/{count + undone}"


def _version_of(connection: Connection, photo_id: int) -> str:
    current = READINGS.c.photo_id == photo_id, READINGS.c.is_current.is_(True)
    return connection.execute(select(READINGS.c.version).where(*current)).scalar() or ""


_NOW: Mapping[Fixed, Callable[[str], dict[str, Any]]] = {
    # A word given by hand is one as good as a name's, and the three sources are a contract.
    "taken": lambda value: {"taken_at": datetime.fromisoformat(value), "taken_from": "name"},
    "plant": lambda value: {"plant": value, "plant_from": "assigned" if value else ""},
}
"""What a fix makes of the photo's row."""

_BEFORE: Mapping[Fixed, Callable[[Any], tuple[str, str]]] = {
    "taken": lambda photo: (photo.taken_at.isoformat(), photo.taken_from),
    "plant": lambda photo: (photo.plant, photo.plant_from),
    "removed": lambda photo: ("", ""),
}


def _label(photo_id: int, number: int, wish: Wish) -> dict[str, Any]:
    pattern, _, kind = wish.value.partition(" ")
    return {
        "photo_id": photo_id,
        "pattern": pattern,
        "blight_kind": kind,
        "session": rows.storable(wish.session),
        "at": datetime.now(UTC).replace(tzinfo=None, microsecond=0),
        "fix": number,
    }


def _said_alike(fix: Fix, wish: Wish) -> bool:
    return (fix.value, fix.marks, fix.session) == (wish.value, wish.marks, wish.session)


def _chosen(holding: Sequence[Fix], number: int | None) -> Fix | None:
    """Return the fix to be taken back; None where a photo has none and none was named."""
    if number is None:
        return holding[-1] if holding else None
    fix = next((one for one in holding if one.number == number), None)
    if fix is None:
        raise JournalError(f"There is no fix {number} of this photo that still holds.")
    later = [one for one in holding if one.what == fix.what and one.number > number]
    if fix.what in _NOW and later:
        raise JournalError(f"Take back fix {later[-1].number} first: it came later.")
    return fix


def known_as(photo: str) -> ColumnElement[bool]:
    """Return the condition that a photo has this hash, or this path as filed."""
    return or_(PHOTOS.c.sha256 == photo, PHOTOS.c.photo == rows.storable(photo))


def _insert_redrawn(connection: Connection, number: int, redrawn: Redrawn) -> None:
    connection.execute(insert(REDRAWN).values(**rows.redrawn_row(number, redrawn)))
    if lesions := rows.redrawn_lesion_rows(number, redrawn):
        connection.execute(insert(REDRAWN_LESIONS), lesions)
