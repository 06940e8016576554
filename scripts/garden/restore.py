"""The way back to a backup of the journal."""

from collections.abc import Sequence
from pathlib import Path

from models.garden.settings import read_garden
from models.journal import JournalError, journal_file
from models.journal.backup import put_back
from models.journal.examining import Examined, examine, is_held
from models.journal.mending import mend

__all__ = ["restore_journal"]

_AGAIN = (
    "Score your photos again, to file what is newer; what was logged since must be logged again."
)
_LEFT_ALONE = {
    "locked": "is in use by another program; nothing was changed: try again when that has ended",
    "unreadable": "cannot be read ({why}), which is no damage; nothing was changed: look at the "
    "rights of the file and its folder, and at the disk",
    "other": "is no journal: it holds other tables; nothing was changed",
    "newer": "was written by a newer release of Spotlamp; nothing was changed: install that "
    "release",
}


def restore_journal(folder: Path) -> str:
    """Put a garden's damaged journal right from its backups, and say what was done.

    Only what is proven to be damaged is replaced: a whole file that cannot be read any more, or
    single rows.

    Raises
    ------
    JournalError
        When the journal is left alone for another reason than that it is sound, there is no sound
        backup, or the journal is on a database server.
    """
    file = journal_file(folder, read_garden(folder).journal)
    if file is None:
        raise JournalError(
            "This garden's journal is on a database server, which keeps its own copies (pg_dump "
            "makes them, pg_restore brings one back): ask who keeps the server. Nothing was "
            "changed."
        )
    found = examine(file)
    if found.state == "sound":
        return f"The journal “{file.name}” is sound; nothing was changed."
    _refuse_undamaged(file, found)
    try:
        said = [] if found.state == "rows" else [_put_back(file)]
        if examine(file).state == "rows":
            said.append(_mended(file))
    except OSError as error:
        raise JournalError(f"“{file.parent}” cannot be written ({error.strerror}).") from error
    return " ".join([*said, _AGAIN])


def _refuse_undamaged(file: Path, found: Examined) -> None:
    state = found.state
    if state in {"damaged", "rows"} and is_held(file):
        state = "locked"
    if state in _LEFT_ALONE:
        why = _LEFT_ALONE[state].format(why=found.why)
        raise JournalError(f"The journal “{file.name}” {why}.")


def _put_back(file: Path) -> str:
    used = put_back(file)
    if used is None:
        raise JournalError(
            f"There is no sound backup of the journal: move {file.name} to another place and score "
            "your photos again."
        )
    copy, aside = used
    kept = f"; the damaged file is now {aside.name}" if aside.exists() else ""
    return f"Put back {copy.name}{kept}."


def _mended(file: Path) -> str:
    mended = mend(file)
    parts = [f"The journal as it was is kept as {mended.aside.name}."]
    if mended.taken_back:
        parts.append(f"Taken back from a backup: {_listed(mended.taken_back)}.")
    if mended.left_out:
        parts.append(f"Left out, because no backup holds it: {_listed(mended.left_out)}.")
    if not mended.taken_back and not mended.left_out:
        parts.append("Its indexes were made anew; nothing is lost.")
    return " ".join(parts)


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names)
