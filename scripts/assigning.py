"""Photos given to plants by hand, and patterns put right by hand."""

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from models.garden_file import read_garden
from models.journal import Journal, JournalError, open_journal
from scripts.gardens import known_plant
from vision.find import find_photos, printable
from vision.photo import content_hash

__all__ = ["assign_photos", "relabel_photos", "unassigned_lines"]


def unassigned_lines(folder: Path) -> list[str]:
    """Return the photos without a plant, by time, ready to be printed."""
    with open_journal(folder) as journal:
        photos = journal.photos(plant="")
    if not photos:
        return ["Each photo of the journal has its plant."]
    lines = [f"{len(photos)} without a plant; give them to one: spotlamp assign PHOTO... PLANT"]
    return lines + [f"  {photo.taken_at:%Y-%m-%d %H:%M}  {photo.photo}" for photo in photos]


def assign_photos(folder: Path, photos: Sequence[str], plant: str) -> str:
    """Give photos to a plant, and say how many.

    Raises
    ------
    GardenError
        When the garden has no such plant.
    JournalError
        When a photo is not in the journal.
    """
    name = known_plant(read_garden(folder), plant)
    with open_journal(folder) as journal:
        count = _for_each(journal, photos, lambda photo: journal.assign(photo, name))
    return f"{count} photo{'' if count == 1 else 's'} given to {name}."


def relabel_photos(
    folder: Path, photos: Sequence[str], pattern: str, kind: str = "", session: str = ""
) -> str:
    """Note what the largest leaf of each photo shows, and say how many.

    Raises
    ------
    JournalError
        When a photo is not in the journal.
    """
    with open_journal(folder) as journal:
        count = _for_each(
            journal,
            photos,
            lambda photo: journal.correct_pattern(photo, pattern, kind, session),
        )
    return f"{count} photo{'' if count == 1 else 's'} noted as {pattern}."


def _for_each(journal: Journal, photos: Sequence[str], work: Callable[[str], int]) -> int:
    """Do the work for each photo, once all are known to be in the journal."""
    known = {key for photo in journal.photos() for key in (photo.sha256, photo.photo)}
    wanted = [(key, name) for photo in photos for key, name in _keys(photo)]
    for key, name in wanted:
        if key not in known:
            raise JournalError(
                f"“{printable(name)}” is not in the journal: score it first, in this garden."
            )
    return sum(work(key) for key, _ in wanted)


def _keys(photo: str) -> Iterator[tuple[str, str]]:
    """Yield the hash of each photo behind a path on the disk, else the path as it was filed."""
    path = Path(photo)
    if path.exists():
        for file in find_photos([path]).photos:
            yield content_hash(file.path), str(file.path)
    else:
        yield photo, photo
