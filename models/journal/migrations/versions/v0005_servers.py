"""What a journal on a server needs: numbers of its last commits, and texts as SQLite keeps them."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Add the table of commits, and let texts be of any length and be ordered by their signs."""
    connection = op.get_bind()
    if connection.dialect.name != "postgresql":
        return  # in a file nothing is left open when it is not known whether a commit was done
    looked_at = sa.inspect(connection)
    for table in looked_at.get_table_names():
        texts = [
            f'ALTER COLUMN "{column["name"]}" TYPE text COLLATE "C"'
            for column in looked_at.get_columns(table)
            if isinstance(column["type"], sa.String)
        ]
        if texts and table != "alembic_version":
            op.execute(f"ALTER TABLE {table} {', '.join(texts)}")
    op.create_table(
        "commits",
        sa.Column("token", sa.String(32), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("token", name=op.f("pk_commits")),
    )
