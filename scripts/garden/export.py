"""The journal out into a folder of plain files, and back into an empty journal."""

import os
from collections.abc import Sequence
from pathlib import Path

from models.csv_tables import csv_bytes
from models.journal import Journal, open_journal
from scripts.common.files import write_whole
from scripts.garden.coco import coco_masks
from scripts.garden.data_package import DESCRIPTION, journal_files, journal_tables

__all__ = ["export_journal", "import_journal"]

_MASKS, _RELABELLED = "masks.json", "relabelled.csv"


def export_journal(
    folder: Path,
    out: Path,
    photos: Sequence[Path] = (),
    relabelled: bool = False,
    jobs: int | None = None,
) -> str:
    """Write a garden's journal into a folder, and say what was written.

    Parameters
    ----------
    folder : Path
        The garden's.
    out : Path
        Folder of the files.
    photos : sequence of Path
        Photos, and folders of them, whose masks are written too.
    relabelled : bool
        Whether the table of the grower's own patterns is written too.
    jobs : int, optional
        Processes that measure photos; all cores by default.
    """
    with open_journal(folder) as journal:
        files = journal_files(journal)
        said = [_written(out, len(files))]
        if photos:
            files[_MASKS], words = coco_masks(journal, photos, jobs)
            said.append(words)
        if relabelled:
            files[_RELABELLED], words = _relabelled(journal, folder, out)
            said.append(words)
    write_whole({out / name: data for name, data in files.items()})
    return "\n".join(said)


def _written(out: Path, count: int) -> str:
    return f"{count - 1} tables and {DESCRIPTION} written into {out}; spotlamp import reads them."


def _relabelled(journal: Journal, folder: Path, out: Path) -> tuple[bytes, str]:
    """Return the table that ``spotlamp train --corrections`` reads: photos seen from its folder."""
    rows = [("photo", "pattern", "session", "blight_kind")]
    missing = 0
    for found in journal.pattern_corrections():
        photo = folder / found.photo
        missing += not photo.is_file()
        path = Path(os.path.relpath(photo, out)).as_posix()
        rows.append((path, found.pattern, found.session, found.blight_kind))
    words = f"{_RELABELLED}: patterns as you saw them, for spotlamp train --corrections."
    if missing:
        words += f" {missing} of its photos do not lie in the garden's folder: put them there."
    return csv_bytes(rows), words


def import_journal(source: Path, folder: Path, *, edited: bool = False) -> str:
    """Fill the empty journal of a garden from exported tables, and say so.

    Raises
    ------
    PackageError
        When the tables cannot be used.
    JournalError
        When the journal is not empty, or the tables do not fit together.
    """
    tables = journal_tables(source, edited=edited)
    with open_journal(folder) as journal:
        count = journal.put_everything(tables)
    return f"{count} photo{'' if count == 1 else 's'} with all that belongs to them imported."
