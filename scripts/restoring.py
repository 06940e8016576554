"""The way back to a backup of the journal."""

from pathlib import Path

from models.garden_file import read_garden
from models.journal import JournalError, journal_file
from models.journal.backup import is_sound, put_back

__all__ = ["restore_journal"]


def restore_journal(folder: Path) -> str:
    """Put the newest sound backup in the place of a garden's damaged journal, and say so.

    Raises
    ------
    JournalError
        When there is no sound backup, or the journal is on a database server.
    """
    file = journal_file(folder, read_garden(folder).journal)
    if file is None:
        raise JournalError("This garden's journal is on a database server: ask who keeps it.")
    if is_sound(file):
        return f"The journal “{file.name}” is sound; nothing was changed."
    used = put_back(file)
    if used is None:
        raise JournalError(
            f"There is no sound backup of the journal: move {file.name} to another place and score "
            "your photos again."
        )
    copy, aside = used
    kept = f"; the damaged file is now {aside.name}" if aside.exists() else ""
    return (
        f"Put back {copy.name}{kept}. Score your photos again, to file what is newer; what was "
        "logged since must be logged again."
    )
