"""What holds of the photos of a journal: their current readings with all that was put right."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any, TypeVar

from sqlalchemy import ColumnElement, Connection, Select, func, select, union

from models.corrections import OF_READING, CorrectedReading, Fix, Fixed, Redrawn, corrected_reading
from models.entries import Find, PhotoEntry
from models.journal import rows
from models.journal.fixes import FixRecord
from models.journal.packing import LESION_FIELDS, unpack_lesions
from models.journal.sums import own_columns
from models.journal.tables import (
    CORRECTIONS,
    FINDS,
    FIXES,
    LESIONS,
    PHOTOS,
    READINGS,
    REDRAWN,
    REDRAWN_LESIONS,
)
from vision.records import Lesion

__all__ = ["CorrectedRecord"]

_Found = TypeVar("_Found")
_OF_LESIONS: tuple[Fixed, ...] = ("lesion", "not_lesion")
_OF_FINDS: tuple[Fixed, ...] = ("dropping", "not_dropping", "caterpillar", "not_caterpillar")


class CorrectedRecord(FixRecord):
    """The part of a journal that works out what holds."""

    def touched(self, connection: Connection) -> frozenset[int]:
        """Return the numbers of the photos whose reading somebody put right."""
        return frozenset(connection.execute(self.touched_query(connection)).scalars())

    def touched_query(self, connection: Connection) -> Select[Any]:
        """Return the query behind `touched`."""
        told = select(CORRECTIONS.c.photo_id).where(
            CORRECTIONS.c.fix.is_(None), self.sound(connection, CORRECTIONS)
        )
        both = union(self._holding(connection, *sorted(OF_READING)), told).subquery()
        return select(both.c.photo_id)

    def corrected_readings(
        self,
        connection: Connection,
        chosen: ColumnElement[bool],
        entries: Mapping[int, PhotoEntry],
        *,
        whole: bool = False,
    ) -> dict[int, CorrectedReading]:
        """Return what holds of some photos.

        Parameters
        ----------
        connection : Connection
            Within a transaction.
        chosen : ColumnElement of bool
            Condition on ``photos`` and ``readings`` that chooses these photos.
        entries : mapping of int to PhotoEntry
            By the photo's number: as measured.
        whole : bool
            Whether lesions and finds are asked for though no fix is about them.
        """
        own = select(PHOTOS.c.id).join(READINGS, READINGS.c.photo_id == PHOTOS.c.id).where(chosen)
        about_lesions, about_finds = (
            whole or bool(self.by_hand(connection, *what) & entries.keys())
            for what in (_OF_LESIONS, _OF_FINDS)
        )
        # Looking through all rows of a season for damaged ones takes longer than all the rest.
        lesions = _grouped(self._lesions(connection, chosen)) if about_lesions else {}
        finds = _grouped(self._finds(connection, chosen)) if about_finds else {}
        fixes = self._fixes_of(connection, own)
        versions = {number: entry.version for number, entry in entries.items()}
        redrawn = _grouped(self._redrawn(connection, own, versions))
        return {
            number: corrected_reading(
                entry,
                lesions.get(number, ()),
                finds.get(number, ()),
                fixes.get(number, ()),
                redrawn.get(number, ()),
            )
            for number, entry in entries.items()
        }

    def _lesions(
        self, connection: Connection, chosen: ColumnElement[bool]
    ) -> Iterable[tuple[int, Lesion]]:
        columns = PHOTOS.c.id, LESIONS.c.leaf, LESIONS.c.packed
        query = _of_readings(select(*columns), LESIONS.c.reading_id).order_by(LESIONS.c.leaf)
        found = connection.execute(query.where(chosen, self.sound(connection, LESIONS))).all()
        for number, leaf, packed in found:
            yield from ((number, lesion) for lesion in unpack_lesions(leaf, packed))

    def _finds(
        self, connection: Connection, chosen: ColumnElement[bool]
    ) -> Iterable[tuple[int, Find]]:
        columns = [column for column in own_columns(FINDS) if column.name != "reading_id"]
        query = _of_readings(select(PHOTOS.c.id, *columns), FINDS.c.reading_id)
        query = query.where(chosen, self.sound(connection, FINDS))
        for number, *values in connection.execute(query.order_by(FINDS.c.kind, FINDS.c.number)):
            yield number, Find(*values)

    def _fixes_of(self, connection: Connection, own: Select[Any]) -> dict[int, list[Fix]]:
        """Return the fixes of photos in order, after what was told to earlier releases."""
        keys = select(PHOTOS.c.sha256, PHOTOS.c.id).where(PHOTOS.c.id.in_(own))
        numbers = {row.sha256: row.id for row in connection.execute(keys)}
        before = self._told_before(connection, own)
        since = self._fixes_where(connection, FIXES.c.photo_id.in_(own))
        return _grouped((numbers[fix.sha256], fix) for fix in (*before, *since))

    def _told_before(self, connection: Connection, own: Select[Any]) -> Iterable[Fix]:
        told = select(func.max(CORRECTIONS.c.number)).where(CORRECTIONS.c.fix.is_(None))
        last = told.group_by(CORRECTIONS.c.photo_id)
        query = (
            select(*own_columns(CORRECTIONS), PHOTOS.c.photo, PHOTOS.c.sha256)
            .join_from(CORRECTIONS, PHOTOS, CORRECTIONS.c.photo_id == PHOTOS.c.id)
            .where(CORRECTIONS.c.number.in_(last), CORRECTIONS.c.photo_id.in_(own))
            .where(self.sound(connection, CORRECTIONS))
        )
        for row in connection.execute(query):
            value = f"{row.pattern} {row.blight_kind}".strip()
            at = rows.from_utc(row.at, self.zone)
            yield Fix(
                *(0, row.photo, row.sha256, "pattern", value, "", "", "", at, False, row.session)
            )

    def _redrawn(
        self, connection: Connection, own: Select[Any], versions: Mapping[int, str]
    ) -> Iterable[tuple[int, Redrawn]]:
        """Yield what lies inside each redrawn outline, by the photo's own version if that did."""
        holds = FIXES.c.photo_id.in_(own), self._sound_fix(connection)
        lesions: dict[tuple[int, str], list[Lesion]] = defaultdict(list)
        inside = select(*own_columns(REDRAWN_LESIONS)).join(
            FIXES, REDRAWN_LESIONS.c.number == FIXES.c.number
        )
        order = (REDRAWN_LESIONS.c[n] for n in ("number", "version", "lesion"))
        for row in connection.execute(inside.where(*holds).order_by(*order)).mappings():
            lesion = Lesion(1, **{name: row[name] for name in LESION_FIELDS})
            lesions[row["number"], row["version"]].append(lesion)
        query = select(FIXES.c.photo_id, *own_columns(REDRAWN)).join_from(
            REDRAWN, FIXES, REDRAWN.c.number == FIXES.c.number
        )
        best: dict[int, tuple[int, Redrawn]] = {}
        ordered = query.where(*holds).order_by(REDRAWN.c.number, REDRAWN.c.version)
        for row in connection.execute(ordered).mappings():
            number, version = row["number"], row["version"]
            known = best.get(number)
            if known is None or known[1].version != versions.get(row["photo_id"]):
                leaf = rows.redrawn_leaf(dict(row))
                found = Redrawn(number, version, leaf, tuple(lesions[number, version]))
                best[number] = row["photo_id"], found
        return best.values()


def _of_readings(query: Select[Any], reading_id: Any) -> Select[Any]:  # noqa: ANN401  a column
    return query.join_from(PHOTOS, READINGS, READINGS.c.photo_id == PHOTOS.c.id).join(
        reading_id.table, reading_id == READINGS.c.id
    )


def _grouped(found: Iterable[tuple[int, _Found]]) -> dict[int, list[_Found]]:
    groups: dict[int, list[_Found]] = defaultdict(list)
    for number, one in found:
        groups[number].append(one)
    return groups
