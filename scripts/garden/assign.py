"""Photos given to plants by hand, and patterns put right by hand."""

from collections.abc import Callable, Collection, Iterator, Sequence
from pathlib import Path

from models.garden.settings import read_garden
from models.journal import Journal, JournalError, open_journal
from scripts.common.which_garden import known_plant
from vision.photo.decode import content_hash
from vision.photo.find import find_photos, printable

__all__ = ["assign_photos", "for_each", "relabel_photos", "unassigned_lines"]

_NOT_FILED = "“{}” is not in the journal: score it first, in this garden."


def unassigned_lines(folder: Path) -> list[str]:
    """Return the photos without a plant, by time, ready to be printed."""
    with open_journal(folder) as journal:
        photos = journal.photos(plant="")
    if not photos:
        return ["Each photo of the journal has its plant."]
    lines = [f"{len(photos)} without a plant; give them to one: spotlamp assign PHOTO... PLANT"]
    return lines + [f"  {one.taken_at:%Y-%m-%d %H:%M}  {printable(one.photo)}" for one in photos]


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
        count = for_each(journal, photos, lambda photo: journal.assign(photo, name))
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
        count = for_each(
            journal,
            photos,
            lambda photo: journal.correct_pattern(photo, pattern, kind, session),
        )
    return f"{count} photo{'' if count == 1 else 's'} noted as {pattern}."


def for_each(journal: Journal, photos: Sequence[str], work: Callable[[str], int]) -> int:
    """Do the work for each photo, once all are known to be in the journal.

    Parameters
    ----------
    journal : Journal
        The garden's.
    photos : sequence of str
        Files, folders, or paths as filed.
    work : callable
        Takes a photo's hash or path, and returns how many photos it concerned.

    Returns
    -------
    int
        Photos in all.

    Raises
    ------
    JournalError
        When a photo is not in the journal.
    """
    known = journal.known_photos()
    names = sorted(known.values())
    keys = [key for photo in photos for key in _keys(photo, known, names)]
    return sum(work(key) for key in keys)


def _keys(photo: str, known: Collection[str], names: Sequence[str]) -> Iterator[str]:
    """Yield the hash of each photo behind a path on the disk, else the path as it was filed."""
    path = Path(photo)
    if not path.exists():
        yield _filed_name(photo, names)
        return
    for file in find_photos([path]).photos:
        content = content_hash(file.path)
        if content not in known:
            raise JournalError(_NOT_FILED.format(printable(str(file.path))))
        yield content


def _filed_name(photo: str, names: Sequence[str]) -> str:
    """Return the path as filed that is this one, or else the only one that ends with it."""
    if photo in names:
        return photo
    ending = [name for name in names if name.endswith(f"/{photo}")]
    if len(ending) > 1:
        raise JournalError(
            f"“{printable(photo)}” may be {len(ending)} photos, such as “{ending[0]}” and "
            f"“{ending[1]}”: name its folder too."
        )
    if not ending:
        raise JournalError(_NOT_FILED.format(printable(photo)))
    return ending[0]
