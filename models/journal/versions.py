"""Numbered versions of the journal's tables: which one a journal has, and the way up."""

import re
from pathlib import Path

from sqlalchemy import Connection, inspect, text

from models.journal.errors import JournalError

__all__ = ["FIRST_VERSION", "MIGRATIONS", "newest_version", "refuse_newer", "upgrade", "version_of"]

FIRST_VERSION = "0001"
MIGRATIONS = Path(__file__).parent / "migrations"
_NUMBERED = re.compile(r"v(\d{4})_\w+\.py")


def newest_version() -> str:
    """Return the number of the last migration, such as ``0001``."""
    # Read from the names: importing Alembic would cost every command a tenth of a second.
    names = (_NUMBERED.fullmatch(path.name) for path in (MIGRATIONS / "versions").iterdir())
    return max(name[1] for name in names if name)


def version_of(connection: Connection, what: str) -> str:
    """Return the number of a journal's version; empty for a database without tables.

    Raises
    ------
    JournalError
        When the database holds something else than a journal.
    """
    tables = inspect(connection).get_table_names()
    if not tables:
        return ""
    if "alembic_version" not in tables or "readings" not in tables:
        raise JournalError(f"{what} is no journal: it holds other tables.")
    version = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    if not version:
        raise JournalError(f"{what} is no journal: it does not say its version.")
    return str(version)


def refuse_newer(version: str, what: str) -> None:
    """Refuse a journal that a later release has written.

    Raises
    ------
    JournalError
        When its version is not one of ours.
    """
    if version > newest_version():
        raise JournalError(
            f"The journal {what} was written by a newer release of Spotlamp (its version is "
            f"{version}, this release knows {newest_version()}); it was not touched: install the "
            "newer release."
        )


def upgrade(connection: Connection, version: str = "head") -> None:
    """Bring a journal, or an empty database, to a version, within the transaction."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, version)
