"""What people put right on a photo: where, and what was measured inside an outline they drew."""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Add the places of fixes and of finds, and what lies inside redrawn outlines."""
    # As SQL: SQLite adds a column with what it refers to, but not that afterwards.
    op.execute(
        "ALTER TABLE corrections ADD COLUMN fix INTEGER "
        "CONSTRAINT fk_corrections_fix REFERENCES fixes (number)"
    )
    _create(
        "finds",
        sa.Column("reading_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        *_numbers("row_px", "col_px", "length_px", "width_px", "confidence"),
        key=("reading_id", "kind", "number"),
        owner="readings.id",
    )
    _create(
        "marks",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        *_numbers("row_px", "col_px"),
        *_numbers("size_px", nullable=True),
        key=("number", "position"),
        owner="fixes.number",
    )
    _create(
        "redrawn",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("version", sa.String(100), nullable=False),
        *_numbers("row_px", "col_px", nullable=True),
        *_numbers("area_px"),
        sa.Column("lesion_count", sa.Integer(), nullable=False),
        *_numbers("lesion_pct", "halo_pct"),
        *_numbers("severity_pct", "severity_low_pct", "severity_high_pct"),
        sa.Column("pattern", sa.String(20), nullable=False),
        *_numbers("p_spot", "p_blight", "p_none", nullable=True),
        sa.Column("blight_kind", sa.String(20), nullable=False),
        sa.Column("pattern_reason", sa.Text(), nullable=False),
        sa.Column("flags", sa.Text(), nullable=False),
        key=("number", "version"),
        owner="fixes.number",
    )
    _create(
        "redrawn_lesions",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("version", sa.String(100), nullable=False),
        sa.Column("lesion", sa.Integer(), nullable=False),
        *_numbers("row_px", "col_px", "area_px", "equivalent_diameter_px", "share_of_leaf_pct"),
        *_numbers("roundness", "elongation", "solidity", "darkness"),
        *_numbers("halo_width_px", "margin_distance_px"),
        sa.Column("at_margin", sa.Boolean(), nullable=False),
        key=("number", "version", "lesion"),
        owner="fixes.number",
    )


def _numbers(*names: str, nullable: bool = False) -> list[sa.Column[Any]]:
    return [sa.Column(name, sa.Float(), nullable=nullable) for name in names]


def _create(name: str, *columns: sa.Column[Any], key: tuple[str, ...], owner: str) -> None:
    """Make a table whose rows are parts of those of another one, each with its checksum."""
    op.create_table(
        name,
        *columns,
        sa.Column("checksum", sa.String(8), server_default="", nullable=False),
        sa.PrimaryKeyConstraint(*key, name=op.f(f"pk_{name}")),
        sa.ForeignKeyConstraint([key[0]], [owner], name=op.f(f"fk_{name}_{key[0]}")),
    )
