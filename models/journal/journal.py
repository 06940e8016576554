"""The garden's record: photos with their readings, the log, corrections of patterns, plants.

Everything is written in short transactions: a photo with all its leaves and lesions is there
whole or not at all, whenever a run is killed.
"""

from collections.abc import Iterable
from typing import NamedTuple

from sqlalchemy import insert, select

from models.corrections import leaf_place, pattern_of
from models.garden.beds import Plant
from models.journal.base import again_if_lost
from models.journal.fixes import Wish
from models.journal.log import LogRecord
from models.journal.states import StatesRecord
from models.journal.sums import change_rows
from models.journal.tables import PHOTOS, PLANTS
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


class Journal(StatesRecord, LogRecord, WholeRecord):
    """An open journal; use ``models.journal.open_journal`` to get one.

    Parameters are those of `OpenJournal`.
    """

    def correct_pattern(
        self, photo: str, pattern: str, blight_kind: str = "", session: str = "", reason: str = ""
    ) -> int:
        """Note what a photo's largest leaf shows, as the grower sees it.

        Parameters
        ----------
        photo : str
            Hash of the photo, or its path as filed.
        pattern : {"spot", "blight", "none", "other"}
        blight_kind : {"early", "late", ""}
        session : str
            Round of photos; empty: the day of the photo.
        reason : str
            The grower's own words.

        Returns
        -------
        int
            Photos corrected; 0 where none is filed under this hash or path.
        """
        found = self.corrected(photo)
        if found is None:
            return 0
        leaves = [leaf.entry for leaf in found.leaves if leaf.state != "rejected"]
        marks = tuple(place.mark for place in map(leaf_place, leaves[:1]) if place.size_px)
        value = f"{pattern} {blight_kind}".strip()
        wish = Wish("pattern", value, marks, reason, session or str(found.photo.taken_at.date()))
        return len(self.put_right(found.photo.sha256, wish))

    @again_if_lost
    def pattern_corrections(self) -> tuple[PatternCorrection, ...]:
        """Return what the largest leaf of each photo shows that somebody said it of, by path."""
        with self.reading() as connection:
            chosen = self._chosen(connection, None, None, None, None)
            touched = chosen & PHOTOS.c.id.in_(self.touched_query(connection))
            held = self._held(connection, chosen, self._entries(connection, touched))
        said = [(reading.photo, fix) for reading in held.values() if (fix := reading.label)]
        return tuple(
            PatternCorrection(photo.photo, photo.sha256, *pattern_of(fix), fix.session)
            for photo, fix in sorted(said, key=lambda one: (one[0].photo, one[0].sha256))
        )

    def record_plants(self, plants: Iterable[Plant]) -> None:
        """Keep where plants stand; those that left the garden stay with their last place."""
        wanted = {plant.name: plant for plant in plants}
        missing = wanted.keys() - self._standing(wanted.values())
        if missing:
            self._place([wanted[name] for name in sorted(missing)])

    @again_if_lost
    def _place(self, plants: Iterable[Plant]) -> None:
        with self.writing() as connection:
            there = set(connection.execute(select(PLANTS.c.name)).scalars())
            for plant in plants:
                place = {one: getattr(plant, one) for one in _PLACE}
                if plant.name in there:
                    change_rows(connection, PLANTS, PLANTS.c.name == plant.name, **place)
                else:
                    connection.execute(insert(PLANTS).values(name=plant.name, **place))

    def _standing(self, plants: Iterable[Plant]) -> set[str]:
        """Return the names of those plants that are recorded at the place where they stand."""
        recorded = set(self.plants())
        return {plant.name for plant in plants if plant in recorded}

    @again_if_lost
    def plants(self) -> tuple[Plant, ...]:
        """Return every plant ever recorded, with its last place."""
        query = select(PLANTS.c.name, *(PLANTS.c[name] for name in _PLACE)).order_by(
            PLANTS.c.bed, PLANTS.c.row, PLANTS.c.place
        )
        with self.reading() as connection:
            sound = self.sound(connection, PLANTS)
            return tuple(Plant(*row) for row in connection.execute(query.where(sound)))
