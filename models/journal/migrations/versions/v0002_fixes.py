"""What people put right of a photo: its date, its plant, or that it does not belong here."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add the table of what was put right."""
    op.create_table(
        "fixes",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("photo_id", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(length=20), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("old", sa.Text(), nullable=False),
        sa.Column("old_from", sa.String(length=10), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("undone", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["photo_id"], ["photos.id"], name=op.f("fk_fixes_photo_id")),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_fixes")),
    )
    op.create_index(op.f("ix_fixes_photo_id"), "fixes", ["photo_id"])
