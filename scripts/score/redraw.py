"""A leaf measured again inside an outline that somebody drew."""

from collections.abc import Iterable, Sequence
from pathlib import Path

from models.corrections import Fix, Mark, Redrawn
from models.entries import PhotoEntry
from models.journal import Journal, JournalError
from models.pattern import load_classifier
from scripts.score.filing import leaf_entries, reading_version
from scripts.score.photo import call_leaves
from scripts.score.results import PhotoResult
from scripts.score.store import Settings, measuring_fingerprint
from vision.flags import FLAGS, explain
from vision.measure import measure_day
from vision.photo.decode import UnreadablePhoto, content_hash, read_photo
from vision.photo.find import PhotoFile, printable

__all__ = ["measure_redrawn", "measured_inside"]


def measured_inside(
    folder: Path,
    photo: PhotoEntry,
    outline: Sequence[Mark],
    settings: Settings | None = None,
    fix: int = 0,
) -> Redrawn:
    """Measure a photo's leaf inside an outline.

    Parameters
    ----------
    folder : Path
        The garden's, in which the photo lies as it was filed.
    photo : PhotoEntry
        The photo.
    outline : sequence of Mark
        Its points, three or more.
    settings : Settings, optional
        What changes a reading.
    fix : int
        Number of the fix.

    Raises
    ------
    JournalError
        When the photo does not lie there any more, or nothing can be measured inside.
    UnreadablePhoto
        When it cannot be read.
    """
    settings = settings or Settings()
    file = PhotoFile(_path(folder, photo), photo.photo)
    day = measure_day(read_photo(file), [(mark.row_px, mark.col_px) for mark in outline])
    reading = day.measurement.reading
    if not reading.leaves:
        stopping = [name for name in reading.flags if not FLAGS[name].measurable]
        why = " ".join(map(explain, stopping))
        raise JournalError(f"Nothing could be measured inside this outline. {why}".strip())
    calls = call_leaves(load_classifier(settings.classifier), day.photo, day.measurement)
    result = PhotoResult(file.name, reading=reading, leaf_patterns=calls)
    (leaf,) = leaf_entries(result)
    version = reading_version(measuring_fingerprint(settings))
    return Redrawn(fix, version, leaf, reading.leaves[0].lesions)


def measure_redrawn(
    journal: Journal,
    folder: Path,
    photo: PhotoEntry,
    fixes: Iterable[Fix],
    settings: Settings | None = None,
) -> None:
    """Measure again inside outlines that were drawn for an earlier version of the measuring.

    Where that cannot be done, what was measured then goes on to hold.
    """
    for fix in fixes:
        try:
            inside = measured_inside(folder, photo, fix.outline, settings, fix.number)
        except (JournalError, UnreadablePhoto):
            continue
        journal.add_redrawn(inside)


def _path(folder: Path, photo: PhotoEntry) -> Path:
    path = folder / photo.photo
    try:
        if content_hash(path) == photo.sha256:
            return path
    except UnreadablePhoto:
        pass
    raise JournalError(
        f"“{printable(photo.photo)}” does not lie in the garden's folder as it was filed: put it "
        "back, and draw the outline again."
    )
