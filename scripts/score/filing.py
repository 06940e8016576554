"""Results of a run go into the garden's journal as they come, each in one transaction."""

import os
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from models.corrections import OF_READING, SET_ASIDE
from models.entries import Find, FindKind, LeafEntry, PhotoEntry
from models.garden.beds import Garden
from models.garden.clock import in_garden_time
from models.garden.plant_rule import plant_of
from models.garden.settings import GardenError, read_garden
from models.numerals import counted
from scripts.common.which_garden import known_plant, standing_garden
from scripts.score.results import PhotoResult
from scripts.score.store import Settings, measuring_fingerprint
from vision.day.measure import MEASURING_VERSION
from vision.photo.address import Address, Place
from vision.photo.find import printable
from vision.records import Caterpillar, Dropping

if TYPE_CHECKING:
    from models.journal import Journal

__all__ = ["Filer", "entry_of", "filing", "leaf_entries", "loose_entry", "reading_version"]

_MOST_NAMED = 5
_DIGITS = 12  # of a hash, enough to tell versions apart

# Of the same names in the record that is measured and in the entry that the journal keeps; what
# differs in form is worked out below.
_OF_PHOTO = ("width_px", "height_px", "mm_per_px", "lesion_count")
_SICK = ("lesion_pct", "halo_pct", "severity_pct", "severity_low_pct", "severity_high_pct")
_OF_DAY = (*_SICK, "frass_count", "chewed_pct")
_OF_NIGHT = ("caterpillar_count", "caterpillar_low", "caterpillar_high")
_OF_LEAF = ("leaf", "row_px", "col_px", "area_px", *_SICK, "flags")
_OF_CALL = ("pattern", "p_spot", "p_blight", "p_none", "blight_kind")


def reading_version(fingerprint: str, torch_off_sha256: str = "") -> str:
    """Return what tells a photo's readings apart: all that decides one besides the photo itself."""
    parts = (str(MEASURING_VERSION), fingerprint[:_DIGITS], torch_off_sha256[:_DIGITS])
    return "-".join(part for part in parts if part)


def entry_of(
    result: PhotoResult, path: Place, folder: Path, garden: Garden, version: str, option: str = ""
) -> PhotoEntry:
    """Return what the journal keeps of a result.

    Parameters
    ----------
    result : PhotoResult
        With a reading.
    path : Path or Address
        Where the photo is.
    folder : Path
        The garden's.
    garden : Garden
        Its plants and time zone.
    version : str
        From `reading_version`.
    option : str
        The plant that was given for the whole run.

    Raises
    ------
    ValueError
        When the result has no reading.
    """
    if result.taken_at is None or result.taken_from is None or result.mode is None:
        raise ValueError(f"{result.name} has no reading")
    parts, inside = _parts(result, path, folder)
    tag = result.tag.number if result.tag else None
    plant, plant_from = plant_of(garden.plants, parts, tag, option)
    return PhotoEntry(
        photo="/".join(parts) if inside else _from_garden(path, folder),
        sha256=result.sha256,
        taken_at=in_garden_time(result.taken_at, result.taken_from, ZoneInfo(garden.time_zone)),
        taken_from=result.taken_from,
        plant=plant,
        plant_from=plant_from,
        mode=result.mode,
        version=version,
        flags=_flags(result, garden),
        leaves=tuple(leaf_entries(result)),
        **_measured(result),
    )


def loose_entry(result: PhotoResult, plant: str) -> PhotoEntry:
    """Return a day photo as one of a record without a garden, under the plant's name given.

    Raises
    ------
    ValueError
        When the result has no reading.
    """
    if result.taken_at is None or result.taken_from is None:
        raise ValueError(f"{result.name} has no reading")
    return PhotoEntry(
        photo=result.name,
        sha256=result.name,
        taken_at=in_garden_time(result.taken_at, result.taken_from, ZoneInfo("UTC")),
        taken_from=result.taken_from,
        plant=plant,
        flags=result.flags,
        leaves=tuple(leaf_entries(result)),
        **_measured(result),
    )


def _flags(result: PhotoResult, garden: Garden) -> tuple[str, ...]:
    """Return a photo's flags, with another one where its stake tag belongs to no plant."""
    tag = result.tag.number if result.tag else None
    strange = tag is not None and all(plant.tag != tag for plant in garden.plants)
    return (*result.flags, *(("tag_unknown",) if strange else ()))


def _parts(result: PhotoResult, path: Place, folder: Path) -> tuple[tuple[str, ...], bool]:
    """Return a photo's folders and name, below the garden, or below the folder that was given."""
    path, folder = path.absolute(), folder.absolute()
    if isinstance(path, Path) and path.is_relative_to(folder):
        return tuple(printable(part) for part in path.relative_to(folder).parts), True
    # The folder that was given may itself be named after a plant.
    depth = result.name.count("/") + 2
    return tuple(printable(part) for part in path.parts[-depth:]), False


def _from_garden(path: Place, folder: Path) -> str:
    """Return the way from the garden's folder to a photo that lies elsewhere."""
    if isinstance(path, Address):
        return printable(str(path))
    try:
        way = os.path.relpath(path.absolute(), folder.absolute())
    except ValueError:  # on another drive
        way = str(path.absolute())
    return printable(Path(way).as_posix())


def _measured(result: PhotoResult) -> dict[str, Any]:
    """Return the values of a photo's entry that were measured."""
    return {
        **_same(result, _OF_PHOTO),
        **_same(result.reading, _OF_DAY),
        **_same(result.night, _OF_NIGHT),
        **_same(result.pattern, _OF_CALL),
    }


def _same(record: object | None, names: Sequence[str]) -> dict[str, Any]:
    """Return values of a record by name, none where there is no such record."""
    return {} if record is None else {name: getattr(record, name) for name in names}


def _finds(result: PhotoResult) -> Iterator[Find]:
    """Yield the droppings and caterpillars that were counted on a photo, the surest first."""
    droppings = result.reading.droppings if result.reading else ()
    bodies = result.night.caterpillars if result.night else ()
    kinds: tuple[tuple[FindKind, Sequence[Dropping | Caterpillar]], ...] = (
        ("dropping", droppings),
        ("caterpillar", bodies),
    )
    for kind, found in kinds:
        for number, one in enumerate(found, start=1):
            place = (one.row_px, one.col_px, one.length_px, one.width_px)
            yield Find(kind, number, *place, one.confidence)


def leaf_entries(result: PhotoResult) -> Iterator[LeafEntry]:
    """Yield a result's leaves as the journal keeps them."""
    leaves = result.reading.leaves if result.reading else ()
    for leaf, call in zip_longest(leaves, result.leaf_patterns):
        yield LeafEntry(
            lesion_count=len(leaf.lesions),
            pattern_reason=call.reason if call else "",
            **_same(leaf, _OF_LEAF),
            **_same(call, _OF_CALL),
        )


class Filer:
    """Files the results of one run, and counts what became of them.

    Parameters
    ----------
    journal : Journal
        Where they go.
    folder : Path
        The garden's.
    garden : Garden
        Its settings.
    fingerprint : str
        From ``scripts.score.store.measuring_fingerprint``.
    option : str
        The plant that was given for the whole run.
    settings : Settings, optional
        What changes a reading, as it went into the fingerprint.
    """

    def __init__(
        self,
        journal: "Journal",
        folder: Path,
        garden: Garden,
        fingerprint: str,
        option: str = "",
        settings: Settings | None = None,
    ) -> None:
        self._journal, self._folder, self._garden = journal, folder, garden
        self._fingerprint, self._option, self._settings = fingerprint, option, settings
        standing = [fix for fix in journal.fixes() if not fix.undone and fix.what in OF_READING]
        self._touched = {fix.sha256 for fix in standing}
        self._outlined = {fix.sha256 for fix in standing if fix.what == "outline"}
        self._put_right = 0
        self._counts: Counter[str] = Counter()
        self._elsewhere: list[str] = []
        self._otherwise: list[str] = []
        journal.record_plants(garden.plants)

    def file(self, result: PhotoResult, path: Place) -> PhotoResult:
        """File a result, and return it as the record has it: its plant, and when it was taken.

        ``path`` is where the photo lies.

        One without a reading is passed over.

        So is a day photo that was read as one of the night: nothing was counted on it, and it would
        take the place of its day reading.

        Raises
        ------
        JournalError
            When the journal cannot be written.
        """
        if result.mode is None or (result.night and result.night.caterpillar_count is None):
            return result
        version = reading_version(self._fingerprint, result.torch_off_sha256)
        entry = entry_of(
            result,
            path,
            self._folder,
            self._garden,
            version,
            self._option,
        )
        leaves = result.reading.leaves if result.reading else ()
        lesions = [lesion for leaf in leaves for lesion in leaf.lesions]
        filed = self._journal.file_reading(entry, lesions, list(_finds(result)))
        self._counts[filed] += 1
        self._redraw(entry)
        if filed == "elsewhere":
            self._elsewhere.append(entry.photo)
        left_out = filed == "removed" or self._counts_nowhere(entry)
        return replace(self._as_filed(result, entry), left_out=left_out)

    def _counts_nowhere(self, entry: PhotoEntry) -> bool:
        """Whether somebody put a photo right so that nothing of it counts, or no leaf of it."""
        if entry.sha256 not in self._touched:
            return False
        held = self._journal.corrected(entry.sha256)
        if held is None:
            return False
        no_leaf = held.photo.severity_pct is None and entry.severity_pct is not None
        return no_leaf or SET_ASIDE in held.photo.flags

    def _redraw(self, entry: PhotoEntry) -> None:
        """Measure inside the outlines that somebody drew, where this version has not yet."""
        self._put_right += entry.sha256 in self._touched
        if entry.sha256 not in self._outlined:
            return
        from scripts.score.redraw import measure_redrawn  # OpenCV

        fixes = self._journal.redrawn_since(entry.sha256, entry.version)
        measure_redrawn(self._journal, self._folder, entry, fixes, self._settings)

    def _as_filed(self, result: PhotoResult, entry: PhotoEntry) -> PhotoResult:
        known = self._journal.filed_as(entry.sha256)
        if known is None:
            return result
        if known.taken_at == entry.taken_at:
            return replace(result, filed_plant=known.plant, taken_from=known.taken_from)
        if entry.taken_from == "name" and not known.dated_by_hand:
            self._otherwise.append(entry.photo)
        return replace(
            result,
            filed_plant=known.plant,
            taken_at=known.taken_at,
            taken_from=known.taken_from,
        )

    @property
    def place(self) -> tuple[Path, Garden]:
        """The garden's folder and its settings."""
        return self._folder, self._garden

    def report(self) -> str:
        """Return what was filed, ready to be printed."""
        total = self._counts.total()
        lines = [
            f"Filed in “{self._garden.name}”: {counted(total, 'photo')}{self._changes(total)}."
        ]
        if self._elsewhere:
            lines.append(
                f"  {counted(len(self._elsewhere), 'photo')} filed earlier to another plant than "
                f"now named ({_some(self._elsewhere)}): move with “spotlamp assign PHOTO PLANT”."
            )
        if self._otherwise:
            lines.append(
                f"  {counted(len(self._otherwise), 'photo')} filed earlier with another date than "
                f"now named ({_some(self._otherwise)}): put it right with “spotlamp fix PHOTO "
                "--taken TIME”."
            )
        if removed := self._counts["removed"]:
            lines.append(
                f"  {counted(removed, 'photo')} taken out of the record earlier, and left out: "
                "“spotlamp fix PHOTO --undo” takes one in again."
            )
        if self._put_right:
            lines.append(
                f"  {counted(self._put_right, 'photo')} on which you put something right: flag, "
                "plan and trend go by that, the tables of this run by what was measured."
            )
        return "\n".join([*lines, *self._unassigned(), *self._doubtful()])

    def _changes(self, total: int) -> str:
        words = {
            "new": "new",
            "remeasured": "measured again",
            "moved": "given to a plant",
            "dated": "given a better date",
        }
        parts = [f"{self._counts[key]} {word}" for key, word in words.items() if self._counts[key]]
        if not parts:
            return ", all known already" if total else ""
        return f", {', '.join(parts)}" if self._counts["new"] < total else ", all new"

    def _unassigned(self) -> list[str]:
        count = len(self._journal.photos(plant=""))
        return (
            [f"  {counted(count, 'photo')} without a plant: “spotlamp assign” lists them."]
            if count
            else []
        )

    def _doubtful(self) -> list[str]:
        names = self._journal.doubtful_photos()
        if not names:
            return []
        named = ", ".join(f"“{name}”" for name in names[:_MOST_NAMED])
        return [f"  Dated half a year off the others, check the camera's clock: {named}."]


def _some(names: Sequence[str]) -> str:
    named = ", ".join(f"“{name}”" for name in sorted(names)[:_MOST_NAMED])
    more = len(names) - _MOST_NAMED
    return f"{named} and {more} more" if more > 0 else named


@contextmanager
def filing(
    paths: Sequence[Place], settings: Settings, named: Path | None = None, plant: str = ""
) -> Iterator[Filer | None]:
    """Open the journal of the garden that a run belongs to; give None where there is no garden.

    Parameters
    ----------
    paths : sequence of Path or Address
        What is scored.
    settings : Settings
        What changes a reading.
    named : Path, optional
        The garden's folder; found from the paths, then from where we stand, otherwise.
    plant : str
        The plant of all photos that neither tag, folder nor name give to one.

    Raises
    ------
    GardenError
        When the garden cannot be used, or has no such plant.
    JournalError
        When its journal cannot be opened.
    """
    folder = standing_garden(named, [one for one in paths if isinstance(one, Path)])
    if folder is None:
        if plant:
            raise GardenError("--plant needs a garden: name its folder with --garden DIR.")
        yield None
        return
    # Here, because the database's library would cost every run outside a garden a quarter second.
    from models.journal import open_journal

    garden = read_garden(folder)
    option = known_plant(garden, plant) if plant else ""
    with open_journal(folder) as journal:
        fingerprint = measuring_fingerprint(settings)
        yield Filer(journal, folder, garden, fingerprint, option, settings)
