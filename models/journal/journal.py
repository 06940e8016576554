"""The garden's record: photos with their readings, the log, corrections of patterns, plants.

Everything is written in short transactions: a photo with all its leaves and lesions is there
whole or not at all, whenever a run is killed.
"""

from collections.abc import Iterable
from datetime import UTC, datetime
from typing import NamedTuple

from sqlalchemy import delete, func, insert, or_, select

from models.garden.beds import Plant
from models.journal import rows
from models.journal.log import LogRecord
from models.journal.photos import PhotoRecord
from models.journal.tables import CORRECTIONS, PHOTOS, PLANTS
from models.journal.whole import WholeRecord

__all__ = ["Journal", "PatternCorrection"]

_PLACE = ("bed", "row", "place", "tag")


class PatternCorrection(NamedTuple):
    """What a photo's largest leaf shows, as the grower saw it.

    Attributes
    ----------
    photo : str
        Path of the photo as filed.
    sha256 : str
        Hash of the photo.
    pattern : {"spot", "blight", "none", "other"}
    blight_kind : {"early", "late", ""}
    session : str
        Round of photos: one day, place and phone.
    """

    photo: str
    sha256: str
    pattern: str
    blight_kind: str
    session: str


class Journal(PhotoRecord, LogRecord, WholeRecord):
    """An open journal; use ``models.journal.open_journal`` to get one.

    Parameters are those of `OpenJournal`.
    """

    def correct_pattern(
        self, photo: str, pattern: str, blight_kind: str = "", session: str = ""
    ) -> int:
        """Note what a photo's largest leaf shows, as the grower sees it, for training.

        Parameters
        ----------
        photo : str
            Hash of the photo, or its path as filed.
        pattern : {"spot", "blight", "none", "other"}
        blight_kind : {"early", "late", ""}
        session : str
            Round of photos; empty: the day of the photo.

        Returns
        -------
        int
            Photos corrected; 0 where none is filed under this hash or path.
        """
        chosen = or_(PHOTOS.c.sha256 == photo, PHOTOS.c.photo == rows.storable(photo))
        with self.writing() as connection:
            query = select(PHOTOS.c.id, PHOTOS.c.taken_at).where(chosen)
            found = connection.execute(query.where(self.sound(connection, PHOTOS))).all()
            for photo_id, taken_at in found:
                day = rows.from_utc(taken_at, self.zone).date()
                connection.execute(
                    insert(CORRECTIONS).values(
                        photo_id=photo_id,
                        pattern=pattern,
                        blight_kind=blight_kind,
                        session=rows.storable(session) or str(day),
                        at=datetime.now(UTC).replace(tzinfo=None, microsecond=0),
                    )
                )
        return len(found)

    def pattern_corrections(self) -> tuple[PatternCorrection, ...]:
        """Return the last correction of each photo of the record that has one, by path."""
        last = select(func.max(CORRECTIONS.c.number)).group_by(CORRECTIONS.c.photo_id)
        query = (
            select(
                *(PHOTOS.c[name] for name in ("photo", "sha256")),
                *(CORRECTIONS.c[name] for name in ("pattern", "blight_kind", "session")),
            )
            .join(PHOTOS, CORRECTIONS.c.photo_id == PHOTOS.c.id)
            .where(CORRECTIONS.c.number.in_(last))
            .order_by(PHOTOS.c.photo, PHOTOS.c.sha256)
        )
        with self.reading() as connection:
            query = query.where(
                ~self.is_removed(connection),
                self.sound(connection, PHOTOS),
                self.sound(connection, CORRECTIONS),
            )
            return tuple(PatternCorrection(*row) for row in connection.execute(query))

    def record_plants(self, plants: Iterable[Plant]) -> None:
        """Keep where plants stand; those that left the garden stay with their last place."""
        wanted = {plant.name: plant for plant in plants}
        missing = wanted.keys() - self._standing(wanted.values())
        if not missing:
            return
        with self.writing() as connection:
            there = set(connection.execute(select(PLANTS.c.name)).scalars())
            for name in sorted(missing):
                plant = wanted[name]
                if name in there:
                    connection.execute(delete(PLANTS).where(PLANTS.c.name == name))
                place = {one: getattr(plant, one) for one in _PLACE}
                connection.execute(insert(PLANTS).values(name=name, **place))

    def _standing(self, plants: Iterable[Plant]) -> set[str]:
        """Return the names of those plants that are recorded at the place where they stand."""
        recorded = set(self.plants())
        return {plant.name for plant in plants if plant in recorded}

    def plants(self) -> tuple[Plant, ...]:
        """Return every plant ever recorded, with its last place."""
        query = select(PLANTS.c.name, *(PLANTS.c[name] for name in _PLACE)).order_by(
            PLANTS.c.bed, PLANTS.c.row, PLANTS.c.place
        )
        with self.reading() as connection:
            sound = self.sound(connection, PLANTS)
            return tuple(Plant(*row) for row in connection.execute(query.where(sound)))
