"""The journal's tables, each column with its meaning and unit; those measured have the registry's.

The migrations in ``migrations/versions`` make these tables; a test compares the two. Texts are
never NULL: an empty text says "none", NULL says "not measured". Times are UTC.
"""

from collections.abc import Mapping
from typing import Any

from sqlalchemy import (
    Boolean,
    Column,
    DateTime,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

from models import quantities
from models.journal.packing import LESION_FIELDS
from models.journal.sums import add_checksum, short_text
from models.quantities import Quantity

__all__ = [
    "CORRECTIONS",
    "FINDS",
    "FIXES",
    "LEAVES",
    "LESIONS",
    "LOG",
    "LOG_PLANTS",
    "MARKS",
    "METADATA",
    "PHOTOS",
    "PLANTS",
    "READINGS",
    "REDRAWN",
    "REDRAWN_LESIONS",
    "parts_of",
]

_SORTS = {float: Float, int: Integer, bool: Boolean}

METADATA = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _text(name: str, meaning: str, length: int | None = None, **more: Any) -> Column[str]:  # noqa: ANN401
    kind = Text() if length is None else short_text(length)
    return Column(name, kind, nullable=False, comment=meaning, **more)


def _measured(
    quantity: Quantity, *, needed: bool = False, length: int | None = None
) -> Column[Any]:
    """Return the column of a quantity; empty where it was not measured, unless it is needed."""
    kind = quantity.kind
    if kind.type is str:
        return _text(quantity.name, quantity.meaning, length)
    return Column(
        quantity.name,
        _SORTS[kind.type](),
        nullable=not needed,
        comment=quantity.meaning,
        info={"unit": kind.unit},
    )


def _count(name: str, meaning: str, *, needed: bool = False) -> Column[int]:
    return Column(name, Integer(), nullable=not needed, comment=meaning)


def _time(name: str, meaning: str) -> Column[Any]:
    return Column(name, DateTime(), nullable=False, comment=meaning, info={"unit": "UTC"})


def _of_photo(**more: Any) -> Column[int]:  # noqa: ANN401
    return Column(
        "photo_id",
        Integer(),
        ForeignKey("photos.id"),
        nullable=False,
        comment="Its photo.",
        **more,
    )


def _of_reading() -> Column[int]:
    return Column(
        "reading_id",
        Integer(),
        ForeignKey("readings.id"),
        primary_key=True,
        comment="Its reading.",
    )


def _pattern_columns(of: Mapping[str, Quantity]) -> tuple[Column[Any], ...]:
    return (
        _measured(of["pattern"], length=20),
        *(_measured(of[name]) for name in ("p_spot", "p_blight", "p_none")),
        _measured(of["blight_kind"], length=20),
    )


_PHOTO, _LEAF = quantities.PHOTO, quantities.LEAF
_SICK = ("lesion_pct", "halo_pct", "severity_pct", "severity_low_pct", "severity_high_pct")

PLANTS = Table(
    "plants",
    METADATA,
    _text("name", "Name of the plant.", 100, primary_key=True),
    _text("bed", "Its bed.", 100),
    _count("row", "Row of the bed, from 1.", needed=True),
    _count("place", "Place in the row, from 1.", needed=True),
    _count("tag", "Number of its stake tag."),
    comment="Plants and where each was last known to stand.",
)

PHOTOS = Table(
    "photos",
    METADATA,
    Column("id", Integer(), primary_key=True, comment="Number of the photo."),
    _measured(_PHOTO["sha256"], length=64),
    _text("photo", "Path of the photo, with / between its parts."),
    _time("taken_at", "Capture time."),
    _measured(_PHOTO["taken_from"], length=10),
    _text("plant", "Name of its plant; empty: unassigned.", 100),
    _text("plant_from", "Where the plant was read: tag, folder, name, option, assigned.", 10),
    _time("filed_at", "When the photo was first filed."),
    UniqueConstraint("sha256"),
    Index(None, "plant", "taken_at"),
    Index(None, "taken_at"),
    comment="Photos, each once.",
)

READINGS = Table(
    "readings",
    METADATA,
    Column("id", Integer(), primary_key=True, comment="Number of the reading."),
    _of_photo(),
    _text("version", "Version of the measuring that made it.", 100),
    Column(
        "is_current",
        Boolean(),
        nullable=False,
        comment="Whether it is the photo's newest reading.",
    ),
    _measured(_PHOTO["mode"], length=10),
    *(_measured(_PHOTO[name]) for name in ("flags", "width_px", "height_px", "mm_per_px")),
    *(_measured(_PHOTO[name]) for name in ("lesion_count", *_SICK)),
    *_pattern_columns(_PHOTO),
    *(_measured(_PHOTO[name]) for name in ("frass_count", "chewed_pct")),
    *(_measured(_PHOTO[f"caterpillar_{end}"]) for end in ("count", "low", "high")),
    UniqueConstraint("photo_id", "version"),
    comment="What was measured on a photo; one row for each version of the measuring.",
)


def _leaf_columns() -> list[Column[Any]]:
    return [
        *(_measured(_LEAF[name]) for name in ("row_px", "col_px")),
        *(_measured(_LEAF[name], needed=True) for name in ("area_px", "lesion_count", *_SICK)),
        *_pattern_columns(_LEAF),
        *(_measured(_LEAF[name]) for name in ("pattern_reason", "flags")),
    ]


LEAVES = Table(
    "leaves",
    METADATA,
    _of_reading(),
    Column("leaf", Integer(), primary_key=True, comment=_LEAF["leaf"].meaning),
    *_leaf_columns(),
    comment="Leaves of a reading.",
)

LESIONS = Table(
    "lesions",
    METADATA,
    _of_reading(),
    Column("leaf", Integer(), primary_key=True, comment="Number of the leaf."),
    Column("packed", LargeBinary(), nullable=False, comment="See models.journal.packing."),
    comment="The lesions of a leaf, packed.",
)

FINDS = Table(
    "finds",
    METADATA,
    _of_reading(),
    Column("kind", short_text(20), primary_key=True, comment="dropping or caterpillar."),
    Column("number", Integer(), primary_key=True, comment="Number in the photo, surest first."),
    *(_measured(one, needed=True) for one in quantities.FIND.values()),
    comment="Droppings and caterpillars of a reading; earlier releases kept their number alone.",
    info={"since": "0004"},
)

LOG = Table(
    "log",
    METADATA,
    Column("number", Integer(), primary_key=True, comment="Number of the entry."),
    _text("kind", "What it was, such as spray or rain; see models.entries.", 30),
    _time("at", "When it was."),
    _text("product", "What was sprayed.", 100),
    Column("amount", Float(), comment="Rain in mm, or a count, as of caterpillars picked."),
    _text("text", "The grower's own words."),
    Column(
        "corrects",
        Integer(),
        ForeignKey("log.number"),
        comment="Number of the entry that this one takes the place of.",
    ),
    Column(
        "withdrawn",
        Boolean(),
        nullable=False,
        comment="Whether it only takes the corrected entry back.",
    ),
    UniqueConstraint("corrects"),
    Index(None, "at"),
    comment="What people did, and the weather they noted; never changed, only corrected.",
)

LOG_PLANTS = Table(
    "log_plants",
    METADATA,
    Column(
        "number",
        Integer(),
        ForeignKey("log.number"),
        primary_key=True,
        comment="Number of the entry.",
    ),
    Column("position", Integer(), primary_key=True, comment="Order of the plants, from 1."),
    _text("plant", "Name of the plant.", 100),
    comment="The plants an entry is about; none: the whole garden.",
)

CORRECTIONS = Table(
    "corrections",
    METADATA,
    Column("number", Integer(), primary_key=True, comment="Number of the correction."),
    _of_photo(),
    _text("pattern", "What its largest leaf shows: spot, blight, none or other.", 20),
    _text("blight_kind", "early, late or empty.", 20),
    _text("session", "Round of photos: one day, place and phone.", 100),
    _time("at", "When the grower said so."),
    Column(
        "fix",
        Integer(),
        ForeignKey("fixes.number"),
        comment="Its fix, by which it can be taken back; none where an earlier release was told.",
        info={"since": "0004"},
    ),
    Index(None, "photo_id"),
    comment="Patterns as the grower saw them; the last one of a photo that holds counts.",
)

FIXES = Table(
    "fixes",
    METADATA,
    Column("number", Integer(), primary_key=True, comment="Number of the fix."),
    _of_photo(),
    _text("what", "What was put right, such as taken (its time), plant or not_lesion.", 20),
    _text("value", "What holds instead: a time in UTC, a plant, a pattern, or empty."),
    _text("old", "What was there before, in the same form; of a reading, its version."),
    _text("old_from", "Where that was read, as in photos.", 10),
    _text("reason", "The grower's own words."),
    _time("at", "When it was put right."),
    Column("undone", Boolean(), nullable=False, comment="Whether it was taken back."),
    Index(None, "photo_id"),
    comment="What people put right of photos; photos holds date and plant as they are true now.",
    info={"since": "0002"},
)


def _of_fix() -> Column[int]:
    return Column(
        "number", Integer(), ForeignKey("fixes.number"), primary_key=True, comment="Its fix."
    )


MARKS = Table(
    "marks",
    METADATA,
    _of_fix(),
    Column("position", Integer(), primary_key=True, comment="Order of the places, from 1."),
    *(_measured(one, needed=one.name != "size_px") for one in quantities.MARK.values()),
    comment="Where on the photo something was put right.",
    info={"since": "0004"},
)

REDRAWN = Table(
    "redrawn",
    METADATA,
    _of_fix(),
    Column("version", short_text(100), primary_key=True, comment="Version of the measuring."),
    *_leaf_columns(),
    comment="What was measured inside an outline that somebody drew.",
    info={"since": "0004"},
)

REDRAWN_LESIONS = Table(
    "redrawn_lesions",
    METADATA,
    _of_fix(),
    Column("version", short_text(100), primary_key=True, comment="Version of the measuring."),
    Column("lesion", Integer(), primary_key=True, comment="Its number, from 1, largest first."),
    *(_measured(quantities.LESION[name], needed=True) for name in LESION_FIELDS),
    comment="Lesions inside an outline that somebody drew.",
    info={"since": "0004"},
)

for _table in METADATA.tables.values():
    add_checksum(_table)


def parts_of(table: Table) -> tuple[Table, ...]:
    """Return the tables whose rows are parts of rows of this one: its number is in their key."""
    return tuple(
        part
        for part in METADATA.sorted_tables
        for key in part.foreign_keys
        if key.column.table is table and key.parent.primary_key
    )
