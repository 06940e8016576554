"""Checksums of rows."""

import sqlite3
from typing import cast

import sqlalchemy as sa
from alembic import op

from models.journal.soundness import sum_rows
from models.journal.sums import CHECKSUM, change_rows

revision = "0003"
down_revision = "0002"

_TABLES = (
    *("corrections", "fixes", "leaves", "lesions", "log", "log_plants"),
    *("photos", "plants", "readings"),
)


def upgrade() -> None:
    """Give each row its checksum."""
    connection = op.get_bind()
    for name in _TABLES:
        op.add_column(
            name, sa.Column(CHECKSUM, sa.String(length=8), server_default="", nullable=False)
        )
        table = sa.Table(name, sa.MetaData(), autoload_with=connection, resolve_fks=False)
        if connection.dialect.name == "sqlite":
            sum_rows(cast(sqlite3.Connection, connection.connection.driver_connection), table)
        else:
            change_rows(connection, table, sa.true())
