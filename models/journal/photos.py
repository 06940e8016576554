"""Photos of a journal: filed with their readings, found again, assigned to plants."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext
from datetime import UTC, datetime, time
from typing import Any, Literal, NamedTuple

from sqlalchemy import ColumnElement, Connection, Select, and_, func, insert, select, true

from models.corrections import CorrectedReading
from models.entries import Find, LeafEntry, Mode, PhotoEntry, TakenFrom
from models.garden.clock import FAR, Filed, doubtful_dates, utc_of
from models.journal import rows
from models.journal.base import Moment, again_if_lost, inserted
from models.journal.corrected import CorrectedRecord
from models.journal.fixes import known_as
from models.journal.packing import unpack_lesions
from models.journal.sums import change_rows, own_columns
from models.journal.tables import FINDS, LEAVES, LESIONS, PHOTOS, READINGS
from vision.records import Lesion

__all__ = ["FiledAs", "Filing", "LeafSeverity", "PhotoRecord"]

Filing = Literal["new", "remeasured", "known", "moved", "elsewhere", "dated", "removed"]
"""What filing a photo did: it was new; it was there and got a reading of a new version; nothing
changed; it went to a plant that is named more surely; it stays with a plant that is named more
surely than, or as surely as, another one now; it got a surer date; it was taken out of the record
and stays out."""

_FEW_PHOTOS = 20_000
"""Of which the rows alone are looked through for damage; with more, those of all photos are."""

_DAY_ALONE = time(12)
"""The time of a photo whose name gives only its day, see ``vision.photo.taken``."""

_SURENESS = ("", "option", "name", "folder", "tag", "assigned")


class FiledAs(NamedTuple):
    """What the record says of a photo, whatever its name and folder say now.

    Attributes
    ----------
    plant : str
        Name of the plant; empty: unassigned.
    taken_at : datetime
        Capture time in the garden's time zone.
    taken_from : {"exif", "name", "file"}
        Where it was read.
    dated_by_hand : bool
        Whether somebody put the capture time right.
    """

    plant: str
    taken_at: datetime
    taken_from: TakenFrom
    dated_by_hand: bool


class LeafSeverity(NamedTuple):
    """One leaf of a series, without all that a trend does not ask for.

    Attributes
    ----------
    plant : str
        Name of the plant; empty: unassigned.
    taken_at : datetime
        Capture time in the garden's time zone.
    sha256 : str
        Hash of its photo.
    leaf : int
        Number in the photo.
    area_px : float
        Area in px².
    lesion_count : int
        Lesions on it.
    severity_pct, severity_low_pct, severity_high_pct : float
        Severity with its 95 % interval, percent.
    """

    plant: str
    taken_at: datetime
    sha256: str
    leaf: int
    area_px: float
    lesion_count: int
    severity_pct: float
    severity_low_pct: float
    severity_high_pct: float


class PhotoRecord(CorrectedRecord):
    """The part of a journal that holds photos."""

    @again_if_lost
    def file_reading(
        self, entry: PhotoEntry, lesions: Sequence[Lesion] = (), finds: Sequence[Find] = ()
    ) -> Filing:
        """File a photo with its reading, in one transaction.

        A photo is known by its hash, a reading by its photo and version: filing either again
        changes nothing. A reading of another version becomes the current one beside the old. A
        photo that is filed already goes to another plant only when this is named more surely:
        by hand before tag, folder, file name and option. It gets another date only where this is
        surer: one of its own for its file's, or the time of a day that was known. What was put
        right by hand stays, and what was put right on the photo holds of the new reading as well:
        each word for what now lies at its place.

        Parameters
        ----------
        entry : PhotoEntry
            `taken_at` without a zone is the garden's time.
        lesions : sequence of Lesion
            Of all its leaves.
        finds : sequence of Find
            Its droppings and caterpillars.

        Returns
        -------
        str
            What it did, see `Filing`.

        Raises
        ------
        JournalError
            When the journal cannot be written.
        """
        with self.writing(entry.sha256) as connection:
            wanted = select(PHOTOS.c.id).where(PHOTOS.c.sha256 == entry.sha256)
            photo_id = connection.execute(wanted).scalar()
            if photo_id is None:
                photo_id = inserted(connection, insert(PHOTOS).values(**self._photo_row(entry)))
                with self.looking_at([photo_id]):
                    self._add_reading(connection, photo_id, entry, lesions, finds)
                return "new"
            with self.looking_at([photo_id]):
                return self._file_known(connection, photo_id, entry, lesions, finds)

    def _file_known(
        self,
        connection: Connection,
        photo_id: int,
        entry: PhotoEntry,
        lesions: Sequence[Lesion],
        finds: Sequence[Find],
    ) -> Filing:
        """File another look at a photo that is there."""
        known = select(READINGS.c.id).where(
            READINGS.c.photo_id == photo_id, READINGS.c.version == rows.storable(entry.version)
        )
        read = connection.execute(known).scalar()
        if read is None:
            self._add_reading(connection, photo_id, entry, lesions, finds)
        if photo_id in self.by_hand(connection, "removed"):
            return "removed"
        chosen = PHOTOS.c.id == photo_id, self.sound(connection, PHOTOS)
        photo = connection.execute(select(*own_columns(PHOTOS)).where(*chosen)).first()
        if photo is None:
            return "known"  # set aside, and named
        moved = _move(connection, photo, entry)
        dated = self._date_again(connection, photo, entry)
        changes: tuple[tuple[bool, Filing], ...] = (
            (moved != "known", moved),
            (dated, "dated"),
            (read is None, "remeasured"),
        )
        return next((what for happened, what in changes if happened), "known")

    def _date_again(self, connection: Connection, photo: Any, entry: PhotoEntry) -> bool:  # noqa: ANN401  a row
        """Take a surer date than the one that is filed; return whether it is one."""
        filed = rows.from_utc(photo.taken_at, self.zone)
        moment = utc_of(entry.taken_at, self.zone)
        own = photo.taken_from == "file" and entry.taken_from != "file"
        clock = (
            photo.taken_from == entry.taken_from == "name"
            and filed.time() == _DAY_ALONE
            and filed.date() == rows.from_utc(moment, self.zone).date()
            and photo.id not in self.by_hand(connection, "taken")
        )
        if not (own or clock) or photo.taken_at == moment:
            return False
        row = {"taken_at": moment, "taken_from": entry.taken_from}
        change_rows(connection, PHOTOS, PHOTOS.c.id == photo.id, **row)
        # Its name may have been one of those that are flagged.
        reading = self._current(connection, photo.id)
        change_rows(connection, READINGS, reading, flags=rows.reading_row(entry)["flags"])
        return True

    def _add_reading(
        self,
        connection: Connection,
        photo_id: int,
        entry: PhotoEntry,
        lesions: Sequence[Lesion],
        finds: Sequence[Find],
    ) -> None:
        change_rows(connection, READINGS, self._current(connection, photo_id), is_current=False)
        row = {"photo_id": photo_id, "is_current": True, **rows.reading_row(entry)}
        reading_id = inserted(connection, insert(READINGS).values(**row))
        if leaves := rows.leaf_rows(reading_id, entry.leaves):
            connection.execute(insert(LEAVES), leaves)
        if packed := rows.lesion_rows(reading_id, lesions):
            connection.execute(insert(LESIONS), packed)
        if found := rows.find_rows(reading_id, finds):
            connection.execute(insert(FINDS), found)

    def _current(self, connection: Connection, photo_id: int) -> ColumnElement[bool]:
        of_photo = and_(READINGS.c.photo_id == photo_id, READINGS.c.is_current.is_(True))
        return and_(of_photo, self.sound(connection, READINGS))

    def _photo_row(self, entry: PhotoEntry) -> dict[str, Any]:
        return {
            "sha256": entry.sha256,
            "photo": rows.storable(entry.photo),
            "taken_at": utc_of(entry.taken_at, self.zone),
            "taken_from": entry.taken_from,
            "plant": rows.storable(entry.plant),
            "plant_from": entry.plant_from,
            "filed_at": datetime.now(UTC).replace(tzinfo=None, microsecond=0),
        }

    @again_if_lost
    def photos(
        self,
        plant: str | None = None,
        since: Moment = None,
        until: Moment = None,
        mode: Mode | None = None,
        sha256: str | None = None,
        *,
        as_measured: bool = False,
    ) -> tuple[PhotoEntry, ...]:
        """Return photos with what holds of their current reading, by capture time.

        Parameters
        ----------
        plant : str, optional
            Only this plant's; empty for the unassigned ones.
        since, until : datetime or date, optional
            From this moment on, and before that one; a date is its first moment.
        mode : {"day", "night"}, optional
            Only photos read so.
        sha256 : str, optional
            Only the photo with this hash.
        as_measured : bool
            Whether what was put right on the photos is left out.
        """
        with self.reading() as connection, self._narrowed(connection, plant, since, until):
            chosen = self._chosen(connection, plant, since, until, mode)
            if sha256 is not None:
                chosen = and_(chosen, PHOTOS.c.sha256 == sha256)
            found = self._entries(connection, chosen)
            held = {} if as_measured else self._held(connection, chosen, found)
        return tuple(held[n].photo if n in held else entry for n, entry in found.items())

    def photo(self, sha256: str) -> PhotoEntry | None:
        """Return the photo with this hash; None where the record holds none."""
        return next(iter(self.photos(sha256=sha256)), None)

    @again_if_lost
    def removed_photos(self) -> tuple[PhotoEntry, ...]:
        """Return the photos that were taken out of the record, as measured, by capture time."""
        with self.reading() as connection:
            numbers = self.by_hand(connection, "removed")
            with self.looking_at(numbers):
                chosen = self._readable(connection) & self.is_removed(connection)
                return tuple(self._entries(connection, chosen).values()) if numbers else ()

    @again_if_lost
    def corrected(self, photo: str) -> CorrectedReading | None:
        """Return what holds of a photo beside what was measured; None where it is not filed.

        Parameters
        ----------
        photo : str
            Its hash, or its path as filed; of several of one path, the one filed last. It may
            have been taken out of the record.
        """
        with self.reading() as connection:
            chosen = self._readable(connection) & known_as(photo)
            found = self._entries(connection, chosen)
            if not found:
                return None
            number = max(found)
            own = chosen & (PHOTOS.c.id == number)
            entries = {number: found[number]}
            return self.corrected_readings(connection, own, entries, whole=True)[number]

    def _held(
        self,
        connection: Connection,
        chosen: ColumnElement[bool],
        found: Mapping[int, PhotoEntry],
    ) -> dict[int, CorrectedReading]:
        """Return what holds of those photos that somebody put right."""
        touched = self.touched(connection)
        entries = {number: entry for number, entry in found.items() if number in touched}
        if not entries:
            return {}
        of_these = chosen & PHOTOS.c.id.in_(self.touched_query(connection))
        return self.corrected_readings(connection, of_these, entries)

    def _entries(
        self, connection: Connection, chosen: ColumnElement[bool]
    ) -> dict[int, PhotoEntry]:
        """Return photos as measured, by their number, in the order of capture time."""
        leaves = _leaves_of(connection, chosen)
        doubtful, dated = self._doubtful(connection), self.by_hand(connection, "taken")
        query = (
            select(READINGS.c.id, PHOTOS.c.id, *rows.PHOTO_COLUMNS)
            .join(READINGS, READINGS.c.photo_id == PHOTOS.c.id)
            .where(chosen)
            .order_by(PHOTOS.c.taken_at, PHOTOS.c.photo, PHOTOS.c.sha256)
        )
        return {
            photo: rows.photo_entry(
                row,
                leaves.get(reading, ()),
                self.zone,
                doubtful=photo in doubtful,
                dated=photo in dated,
            )
            for reading, photo, *row in connection.execute(query).all()
        }

    @again_if_lost
    def doubtful_photos(self) -> tuple[str, ...]:
        """Return the paths of the photos whose date does not fit the others'."""
        with self.reading() as connection:
            chosen = PHOTOS.c.id.in_(self._doubtful(connection))
            query = select(PHOTOS.c.photo).where(chosen).order_by(PHOTOS.c.photo)
            return tuple(connection.execute(query).scalars())

    @again_if_lost
    def plant_photo_times(self) -> tuple[datetime, ...]:
        """Return when the photos of plants were taken, in the garden's zone, in no order."""
        query = select(PHOTOS.c.taken_at).where(PHOTOS.c.plant != "")
        with self.reading() as connection:
            kept = ~self.is_removed(connection), self.sound(connection, PHOTOS)
            found = connection.execute(query.where(*kept)).scalars().all()
        return tuple(rows.from_utc(at, self.zone) for at in found)

    @again_if_lost
    def leaf_severities(
        self, plant: str | None = None, since: Moment = None, until: Moment = None
    ) -> tuple[LeafSeverity, ...]:
        """Return the leaves of current day readings, by plant and capture time, for series.

        Takes a third of the time of `photos`; parameters as there.
        """
        columns = (
            *(PHOTOS.c[name] for name in ("plant", "taken_at", "sha256")),
            *(LEAVES.c[name] for name in LeafSeverity._fields[3:]),
        )
        query = _joined_leaves(select(*columns))
        with self.reading() as connection, self._narrowed(connection, plant, since, until):
            chosen = self._chosen(connection, plant, since, until, "day")
            held = self._corrected_photos(connection, chosen)
            untouched = PHOTOS.c.id.not_in(self.touched_query(connection))
            found = connection.execute(query.where(chosen, untouched)).all()
        # Leaves share their photo's time, so it is brought into the zone once.
        times = {at: rows.from_utc(at, self.zone) for at in {row[1] for row in found}}
        leaves = [LeafSeverity(name, times[at], *rest) for name, at, *rest in found]
        for photo in held.values():
            of_photo = photo.plant, photo.taken_at, photo.sha256
            leaves += [LeafSeverity(*of_photo, *_of_series(leaf)) for leaf in photo.leaves]
        return tuple(sorted(leaves, key=lambda one: one[:4]))

    def _corrected_photos(
        self, connection: Connection, chosen: ColumnElement[bool]
    ) -> dict[int, PhotoEntry]:
        """Return those of some photos that somebody put right, with what holds."""
        if not self.touched(connection):
            return {}
        touched = chosen & PHOTOS.c.id.in_(self.touched_query(connection))
        held = self._held(connection, chosen, self._entries(connection, touched))
        return {number: reading.photo for number, reading in held.items()}

    def _chosen(
        self,
        connection: Connection,
        plant: str | None,
        since: Moment,
        until: Moment,
        mode: Mode | None,
    ) -> ColumnElement[bool]:
        conditions = [self._readable(connection), ~self.is_removed(connection)]
        conditions += self._of(plant, since, until)
        if mode is not None:
            conditions.append(READINGS.c.mode == mode)
        return and_(*conditions)

    def _of(self, plant: str | None, since: Moment, until: Moment) -> list[ColumnElement[bool]]:
        """Return the conditions that choose photos by their plant and time."""
        conditions: list[ColumnElement[bool]] = []
        if plant is not None:
            conditions.append(PHOTOS.c.plant == plant)
        if since is not None:
            conditions.append(PHOTOS.c.taken_at >= utc_of(since, self.zone))
        if until is not None:
            conditions.append(PHOTOS.c.taken_at < utc_of(until, self.zone))
        return conditions

    @contextmanager
    def _narrowed(
        self, connection: Connection, plant: str | None, since: Moment, until: Moment
    ) -> Iterator[None]:
        """Look through the rows of some photos alone, where few of all are chosen.

        The choice goes by indexes, which are held against the rows when the file is opened: a
        plant or time that was damaged hides no photo.
        """
        which = self._of(plant, since, until)
        if not which or connection.dialect.name != "sqlite":
            yield
            return
        query = select(PHOTOS.c.id).where(*which).limit(_FEW_PHOTOS + 1)
        numbers = connection.execute(query).scalars().all()
        with self.looking_at(numbers) if len(numbers) <= _FEW_PHOTOS else nullcontext():
            yield

    def _readable(self, connection: Connection) -> ColumnElement[bool]:
        """Return the condition of a photo's current reading, where both can be read."""
        whole = self.sound(connection, PHOTOS), self.sound(connection, READINGS, LEAVES)
        return and_(READINGS.c.is_current.is_(True), *whole)

    @again_if_lost
    def versions(self, sha256: str) -> tuple[str, ...]:
        """Return the versions of a photo's readings, oldest first; the last one is current."""
        query = (
            select(READINGS.c.version)
            .join(PHOTOS, READINGS.c.photo_id == PHOTOS.c.id)
            .where(PHOTOS.c.sha256 == sha256)
            .order_by(READINGS.c.id)
        )
        with self.reading() as connection:
            return tuple(connection.execute(query).scalars())

    @again_if_lost
    def lesions(self, sha256: str) -> tuple[Lesion, ...]:
        """Return the lesions of a photo's current reading, leaf by leaf, as they were filed."""
        query = (
            select(LESIONS.c.leaf, LESIONS.c.packed)
            .join(READINGS, LESIONS.c.reading_id == READINGS.c.id)
            .join(PHOTOS, READINGS.c.photo_id == PHOTOS.c.id)
            .where(PHOTOS.c.sha256 == sha256, READINGS.c.is_current.is_(True))
            .order_by(LESIONS.c.leaf)
        )
        with self.reading() as connection:
            found = connection.execute(query.where(self.sound(connection, LESIONS))).all()
        return tuple(lesion for leaf, packed in found for lesion in unpack_lesions(leaf, packed))

    @again_if_lost
    def filed_as(self, sha256: str) -> FiledAs | None:
        """Return what the record says of a photo; None where it is not filed."""
        columns = (PHOTOS.c[name] for name in ("id", *FiledAs._fields[:3]))
        query = select(*columns).where(PHOTOS.c.sha256 == sha256)
        own = select(PHOTOS.c.id).where(PHOTOS.c.sha256 == sha256)
        with (
            self.reading() as connection,
            self.looking_at(connection.execute(own).scalars().all()),
        ):
            row = connection.execute(query.where(self.sound(connection, PHOTOS))).one_or_none()
            dated = self.by_hand(connection, "taken")
        if row is None:
            return None
        number, plant, taken_at, taken_from = row
        taken_at = rows.from_utc(taken_at, self.zone)
        return FiledAs(plant, taken_at, taken_from, number in dated)

    def _doubtful(self, connection: Connection) -> frozenset[int]:
        try:
            return self.out_of_time(connection, self.sound(connection, PHOTOS))
        except (ValueError, OverflowError):
            # A time cannot be read of a photo that was not looked at: look at all of them.
            with self.looking_at(None):
                return self.out_of_time(connection, self.sound(connection, PHOTOS))

    def out_of_time(
        self, connection: Connection, sound: ColumnElement[bool] | None = None
    ) -> frozenset[int]:
        """Return the numbers of the photos whose date does not fit the others', nor is by hand."""
        kept = and_(~self.is_removed(connection), true() if sound is None else sound)
        ends = select(func.min(PHOTOS.c.taken_at), func.max(PHOTOS.c.taken_at)).where(kept)
        first, last = connection.execute(ends).one()
        if first is None or last - first <= FAR:
            return frozenset()  # as in a first season: nothing is far from anything
        if not self._seems_out_of_time(connection, kept):
            return frozenset()
        query = select(PHOTOS.c.id, PHOTOS.c.taken_at, PHOTOS.c.filed_at).where(kept)
        found = doubtful_dates(Filed(*row) for row in connection.execute(query))
        return found - self.by_hand(connection, "taken")

    def _seems_out_of_time(self, connection: Connection, kept: ColumnElement[bool]) -> bool:
        """Whether the first and last photo of each day of filing, or the days, leave a doubt.

        Spares reading the times of all photos of many seasons.
        """
        filed, taken = func.date(PHOTOS.c.filed_at), func.date(PHOTOS.c.taken_at)
        ends = func.min(PHOTOS.c.taken_at), func.max(PHOTOS.c.taken_at)
        by_filing = select(func.min(PHOTOS.c.filed_at), *ends).where(kept).group_by(filed)
        by_day = select(ends[0], func.min(PHOTOS.c.filed_at)).where(kept).group_by(taken)
        days = [
            Filed(number, at, on)
            for on, *taken_at in connection.execute(by_filing)
            for number, at in enumerate(taken_at)
        ]
        days += [Filed(0, *row) for row in connection.execute(by_day)]
        return bool(doubtful_dates(days))


def _move(connection: Connection, photo: Any, entry: PhotoEntry) -> Filing:  # noqa: ANN401  a row
    plant = rows.storable(entry.plant)
    if plant in {"", photo.plant} or photo.plant_from == "assigned":
        return "known"
    if _SURENESS.index(entry.plant_from) <= _SURENESS.index(photo.plant_from):
        return "elsewhere"
    values = {"plant": plant, "plant_from": entry.plant_from}
    change_rows(connection, PHOTOS, PHOTOS.c.id == photo.id, **values)
    return "moved"


def _of_series(leaf: LeafEntry) -> tuple[Any, ...]:
    return tuple(getattr(leaf, name) for name in LeafSeverity._fields[3:])


def _joined_leaves(query: Select[Any]) -> Select[Any]:
    return (
        query.select_from(PHOTOS)
        .join(READINGS, READINGS.c.photo_id == PHOTOS.c.id)
        .join(LEAVES, LEAVES.c.reading_id == READINGS.c.id)
    )


def _leaves_of(
    connection: Connection,
    chosen: ColumnElement[bool],
) -> dict[int, tuple[LeafEntry, ...]]:
    found: dict[int, list[LeafEntry]] = defaultdict(list)
    query = _joined_leaves(select(*own_columns(LEAVES))).where(chosen)
    query = query.order_by(LEAVES.c.reading_id, LEAVES.c.leaf)
    for reading_id, *values in connection.execute(query).all():
        found[reading_id].append(rows.leaf_entry(values))
    return {reading_id: tuple(leaves) for reading_id, leaves in found.items()}
