"""The first tables."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the first tables."""
    op.create_table(
        "log",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=30), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("product", sa.String(length=100), nullable=False),
        sa.Column("amount", sa.Float(), nullable=True),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("corrects", sa.Integer(), nullable=True),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["corrects"], ["log.number"], name=op.f("fk_log_corrects")),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_log")),
        sa.UniqueConstraint("corrects", name=op.f("uq_log_corrects")),
    )
    op.create_index(op.f("ix_log_at"), "log", ["at"], unique=False)
    op.create_table(
        "photos",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("photo", sa.Text(), nullable=False),
        sa.Column("taken_at", sa.DateTime(), nullable=False),
        sa.Column("taken_from", sa.String(length=10), nullable=False),
        sa.Column("plant", sa.String(length=100), nullable=False),
        sa.Column("plant_from", sa.String(length=10), nullable=False),
        sa.Column("filed_at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photos")),
        sa.UniqueConstraint("sha256", name=op.f("uq_photos_sha256")),
    )
    op.create_index(op.f("ix_photos_plant_taken_at"), "photos", ["plant", "taken_at"], unique=False)
    op.create_index(op.f("ix_photos_taken_at"), "photos", ["taken_at"], unique=False)
    op.create_table(
        "plants",
        sa.Column("name", sa.String(length=100), nullable=False),
        sa.Column("bed", sa.String(length=100), nullable=False),
        sa.Column("row", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("tag", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_plants")),
    )
    op.create_table(
        "corrections",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("photo_id", sa.Integer(), nullable=False),
        sa.Column("pattern", sa.String(length=20), nullable=False),
        sa.Column("blight_kind", sa.String(length=20), nullable=False),
        sa.Column("session", sa.String(length=100), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["photo_id"], ["photos.id"], name=op.f("fk_corrections_photo_id")),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_corrections")),
    )
    op.create_index(op.f("ix_corrections_photo_id"), "corrections", ["photo_id"], unique=False)
    op.create_table(
        "log_plants",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("plant", sa.String(length=100), nullable=False),
        sa.ForeignKeyConstraint(["number"], ["log.number"], name=op.f("fk_log_plants_number")),
        sa.PrimaryKeyConstraint("number", "position", name=op.f("pk_log_plants")),
    )
    op.create_table(
        "readings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("photo_id", sa.Integer(), nullable=False),
        sa.Column("version", sa.String(length=100), nullable=False),
        sa.Column("is_current", sa.Boolean(), nullable=False),
        sa.Column("mode", sa.String(length=10), nullable=False),
        sa.Column("flags", sa.Text(), nullable=False),
        sa.Column("width_px", sa.Integer(), nullable=True),
        sa.Column("height_px", sa.Integer(), nullable=True),
        sa.Column("mm_per_px", sa.Float(), nullable=True),
        sa.Column("lesion_count", sa.Integer(), nullable=True),
        sa.Column("lesion_pct", sa.Float(), nullable=True),
        sa.Column("halo_pct", sa.Float(), nullable=True),
        sa.Column("severity_pct", sa.Float(), nullable=True),
        sa.Column("severity_low_pct", sa.Float(), nullable=True),
        sa.Column("severity_high_pct", sa.Float(), nullable=True),
        sa.Column("pattern", sa.String(length=20), nullable=False),
        sa.Column("p_spot", sa.Float(), nullable=True),
        sa.Column("p_blight", sa.Float(), nullable=True),
        sa.Column("p_none", sa.Float(), nullable=True),
        sa.Column("blight_kind", sa.String(length=20), nullable=False),
        sa.Column("frass_count", sa.Integer(), nullable=True),
        sa.Column("chewed_pct", sa.Float(), nullable=True),
        sa.Column("caterpillar_count", sa.Integer(), nullable=True),
        sa.Column("caterpillar_low", sa.Integer(), nullable=True),
        sa.Column("caterpillar_high", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["photo_id"], ["photos.id"], name=op.f("fk_readings_photo_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_readings")),
        sa.UniqueConstraint("photo_id", "version", name=op.f("uq_readings_photo_id_version")),
    )
    op.create_table(
        "leaves",
        sa.Column("reading_id", sa.Integer(), nullable=False),
        sa.Column("leaf", sa.Integer(), nullable=False),
        sa.Column("row_px", sa.Float(), nullable=True),
        sa.Column("col_px", sa.Float(), nullable=True),
        sa.Column("area_px", sa.Float(), nullable=False),
        sa.Column("lesion_count", sa.Integer(), nullable=False),
        sa.Column("lesion_pct", sa.Float(), nullable=False),
        sa.Column("halo_pct", sa.Float(), nullable=False),
        sa.Column("severity_pct", sa.Float(), nullable=False),
        sa.Column("severity_low_pct", sa.Float(), nullable=False),
        sa.Column("severity_high_pct", sa.Float(), nullable=False),
        sa.Column("pattern", sa.String(length=20), nullable=False),
        sa.Column("p_spot", sa.Float(), nullable=True),
        sa.Column("p_blight", sa.Float(), nullable=True),
        sa.Column("p_none", sa.Float(), nullable=True),
        sa.Column("blight_kind", sa.String(length=20), nullable=False),
        sa.Column("pattern_reason", sa.Text(), nullable=False),
        sa.Column("flags", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["reading_id"], ["readings.id"], name=op.f("fk_leaves_reading_id")),
        sa.PrimaryKeyConstraint("reading_id", "leaf", name=op.f("pk_leaves")),
    )
    op.create_table(
        "lesions",
        sa.Column("reading_id", sa.Integer(), nullable=False),
        sa.Column("leaf", sa.Integer(), nullable=False),
        sa.Column("packed", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["reading_id"], ["readings.id"], name=op.f("fk_lesions_reading_id")
        ),
        sa.PrimaryKeyConstraint("reading_id", "leaf", name=op.f("pk_lesions")),
    )
