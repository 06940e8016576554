"""Photos found as they are needed: in folders of this computer, and below addresses.

A folder of this computer is walked at once, by `find_photos`. What lies below an address may be
far more than fits in memory, so that it is listed folder by folder while photos are measured.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from vision.photo.address import Address, Entry, Place, said_of
from vision.photo.find import (
    OUTPUT_MARKER,
    PHOTO_ENDINGS,
    Finding,
    PathNotFound,
    PhotoFile,
    find_photos,
    printable,
)

__all__ = ["PhotoSearch"]


class PhotoSearch:
    """Photos under some places.

    Parameters
    ----------
    places : sequence of Path or Address
        Files and folders.

    Raises
    ------
    PathNotFound
        When one of them does not exist.
    AddressError
        When an address cannot be used.
    """

    def __init__(self, places: Sequence[Place]) -> None:
        here = [one for one in places if isinstance(one, Path)]
        self._here = find_photos(here)
        far = [_known(one) for one in places if isinstance(one, Address)]
        self._roots = _by_folder(far)
        self._named = bool(here) + len(self._roots) > 1
        self._taken = {photo.name.split("/")[0] for photo in self._here.photos}
        self._counts: Counter[str] = Counter()
        self._visited: set[Address] = set()
        self._unlisted: list[Place] = []
        self._problems: list[str] = []

    @property
    def total(self) -> int | None:
        """How many photos there are; None where that is known at the end alone."""
        return None if self._roots else len(self._here.photos)

    def batches(self) -> Iterator[Sequence[PhotoFile]]:
        """Yield photos with unique names, all of one folder together.

        Names are as in a `Finding`. Where there is more than one address, or folders of this
        computer beside it, the names of its photos begin with its own name.
        """
        if self._here.photos:
            yield self._here.photos
        for root, given in self._roots.items():
            prefix = f"{self._free(root.name)}/" if self._named else ""
            yield from self._below(root, prefix) if given is None else [self._of(given, prefix)]

    def finding(self) -> Finding:
        """Return what was passed over so far; of the photos those of this computer alone."""
        here = self._here
        return replace(
            here,
            hidden_count=here.hidden_count + self._counts["hidden"],
            other_count=here.other_count + self._counts["other"],
            output_count=here.output_count + self._counts["output"],
            unlisted=(*here.unlisted, *self._unlisted),
            problems=(*here.problems, *self._problems),
        )

    def _free(self, name: str) -> str:
        free, number = printable(name), 1
        while free in self._taken:
            number += 1
            free = f"{printable(name)}-{number}"
        self._taken.add(free)
        return free

    def _of(self, given: Sequence[Address], prefix: str) -> list[PhotoFile]:
        photos = [one for one in given if one.suffix.lower() in PHOTO_ENDINGS]
        self._counts["other"] += len(given) - len(photos)
        return [PhotoFile(one, f"{prefix}{printable(one.name)}") for one in photos]

    def _below(self, root: Address, prefix: str) -> Iterator[list[PhotoFile]]:
        """Yield the photos of each folder."""
        # A stack of its own: folders may be nested deeper than Python may call.
        waiting = [(root, prefix)]
        while waiting:
            folder, within = waiting.pop()
            entries = self._listed(folder)
            if folder != root and any(one.place.name == OUTPUT_MARKER for one in entries):
                self._counts["output"] += 1
                continue
            shown = [one for one in entries if self._is_shown(one)]
            photos = [
                PhotoFile(one.place, f"{within}{printable(one.place.name)}")
                for one in shown
                if not one.is_folder
            ]
            if photos:
                yield photos
            waiting += [
                (one.place, f"{within}{printable(one.place.name)}/")
                for one in reversed(shown)
                if one.is_folder
            ]

    def _is_shown(self, entry: Entry) -> bool:
        """Whether it is a folder to look into, or a photo; count it otherwise."""
        name = entry.place.name
        if name.startswith("."):
            self._counts["hidden"] += name != OUTPUT_MARKER
            return False
        if not entry.is_folder and entry.place.suffix.lower() not in PHOTO_ENDINGS:
            self._counts["other"] += 1
            return False
        return True

    def _listed(self, folder: Address) -> list[Entry]:
        if folder in self._visited:
            return []
        self._visited.add(folder)
        try:
            return folder.listed()
        except OSError as error:
            self._unlisted.append(folder)
            why = said_of(error)
            self._problems.append(f"“{printable(str(folder))}” cannot be looked into: {why}.")
            return []


def _known(address: Address) -> Entry:
    try:
        return address.known()
    except FileNotFoundError as error:
        raise PathNotFound(f"There is no file or folder “{printable(str(address))}”.") from error
    except OSError as error:
        name = printable(str(address))
        raise PathNotFound(f"“{name}” cannot be reached: {said_of(error)}.") from error


def _by_folder(given: Sequence[Entry]) -> dict[Address, list[Address] | None]:
    """Return the folders in which the given places lie: their given files, or None for all."""
    roots: dict[Address, list[Address] | None] = {
        entry.place: None for entry in given if entry.is_folder
    }
    for entry in given:
        if not entry.is_folder:
            files = roots.setdefault(entry.place.parent, [])
            if files is not None and entry.place not in files:
                files.append(entry.place)
    return roots
