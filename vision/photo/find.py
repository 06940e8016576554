"""Which files are photos to measure, and what each is called in the tables."""

import errno
import os
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from vision.errors import WRONG_USAGE, SpotlampError
from vision.photo.address import Place

__all__ = [
    "OUTPUT_MARKER",
    "PHOTO_ENDINGS",
    "Finding",
    "PathNotFound",
    "PhotoFile",
    "find_photos",
    "holds_photos",
    "printable",
]

PHOTO_ENDINGS = frozenset(
    {".jpg", ".jpeg", ".jpe", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif", ".hif"}
)
"""Endings of the kinds of file that are read, in lower case; capitals in a name do not matter."""

OUTPUT_MARKER = ".spotlamp-out"
"""A folder that holds a file of this name was written by us: its pictures are no photos."""

_HARMLESS = frozenset("\N{NO-BREAK SPACE}\N{NARROW NO-BREAK SPACE}\N{THIN SPACE}") | frozenset(
    "\N{ZERO WIDTH NON-JOINER}\N{ZERO WIDTH JOINER}"
)

_LONGEST_NAME = 160


@dataclass(frozen=True)
class PhotoFile:
    """A file to be read as a photo.

    Attributes
    ----------
    path : Path or Address
        Where the file is.
    name : str
        What it is called in the tables: the path relative to the folder that was given, with
        ``/`` between its parts; no two photos of a `Finding` share it.
    """

    path: Place
    name: str


@dataclass(frozen=True)
class Finding:
    """The photos under some paths, and what was passed over.

    Attributes
    ----------
    photos : tuple of PhotoFile
        Sorted by name; empty when there are none.
    hidden_count : int
        Hidden files, and hidden folders (each one, whatever it holds), not looked at.
    other_count : int
        Files that are no photos by their ending.
    output_count : int
        Folders passed over because they hold our own results.
    unlisted : tuple of Path or Address
        Folders whose content could not be listed.
    problems : tuple of str
        Why not, a sentence for each.
    """

    photos: tuple[PhotoFile, ...]
    hidden_count: int = 0
    other_count: int = 0
    output_count: int = 0
    unlisted: tuple[Place, ...] = ()
    problems: tuple[str, ...] = ()


class PathNotFound(SpotlampError):  # noqa: N818  it says what is the matter
    """A path that was given leads nowhere; the message is one sentence for people."""

    exit_code = WRONG_USAGE


@dataclass
class _Walk:
    """What has been seen so far; real paths, so that links cannot show a thing twice."""

    seen: set[str] = field(default_factory=set)
    counts: Counter[str] = field(default_factory=Counter)
    unlisted: list[Path] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)

    def first_visit(self, path: Path) -> bool:
        """Whether this file or folder, whatever name led to it, is met for the first time."""
        real = os.path.realpath(path)
        new = real not in self.seen
        self.seen.add(real)
        return new


def find_photos(paths: Sequence[Path]) -> Finding:
    """Find the photos among files and, recursively, in folders.

    Hidden entries, files of other kinds and folders of our own results are passed over and
    counted; a path that was given itself is taken even if hidden, and a given folder is looked
    into even if it holds results. Links are followed; whatever is reached twice is taken once.

    Parameters
    ----------
    paths : sequence of Path
        Files and folders.

    Returns
    -------
    Finding
        Photos with unique names. Where two given folders would give the same name, the names
        of both begin with the folder's own name, numbered if that is not enough.

    Raises
    ------
    PathNotFound
        When a path does not exist.
    """
    walk = _Walk()
    groups: dict[Path, list[tuple[str, Path]]] = {}
    for given in paths:
        _must_exist(given)
        folder = given if given.is_dir() else given.parent
        found = _photos_under(given, walk) if given.is_dir() else _photo_given(given, walk)
        group = groups.setdefault(Path(os.path.realpath(folder)), [])
        group += [(_relative_name(path, folder), path) for path in found]
    return Finding(
        photos=tuple(sorted(_named(groups), key=lambda photo: photo.name)),
        hidden_count=walk.counts["hidden"],
        other_count=walk.counts["other"],
        output_count=walk.counts["output"],
        unlisted=tuple(walk.unlisted),
        problems=tuple(walk.problems),
    )


def holds_photos(folder: Path) -> bool:
    """Whether a photo lies in a folder or below it; folders of our own results are passed over."""
    return any(True for _ in _photos_under(folder, _Walk()))


def printable(text: str) -> str:
    """Return text fit for a sentence: what would steer a terminal, or is no text, becomes escapes.

    These are control signs, signs that turn the direction of writing, line ends, and bytes that
    could not be decoded. Blanks of other widths stay, and so do the joiners that some scripts and
    emoji cannot do without.
    """
    return "".join(
        sign if sign.isprintable() or sign in _HARMLESS else _escaped(sign) for sign in text
    )


def _escaped(sign: str) -> str:
    return sign.encode("unicode_escape").decode()


def _must_exist(given: Path) -> None:
    try:
        given.stat()
    except (OSError, ValueError) as error:
        raise PathNotFound(_not_found(given, error)) from error


def _not_found(given: Path, error: Exception) -> str:
    name = printable(str(given))
    if isinstance(error, FileNotFoundError):
        return f"There is no file or folder “{name}”."
    return f"“{name}” cannot be reached: {getattr(error, 'strerror', None) or error}."


def _photo_given(path: Path, walk: _Walk) -> list[Path]:
    if not walk.first_visit(path):
        return []
    if path.suffix.lower() not in PHOTO_ENDINGS or not path.is_file():
        walk.counts["other"] += 1
        return []
    return [path]


def _photos_under(folder: Path, walk: _Walk) -> Iterator[Path]:
    # A stack of its own: folders may be nested deeper than Python may call.
    waiting = [folder]
    while waiting:
        here = waiting.pop()
        if not walk.first_visit(here):
            continue
        entries = _listed(here, walk)
        if here != folder and any(entry.name == OUTPUT_MARKER for entry in entries):
            walk.counts["output"] += 1
            continue
        waiting += [Path(e.path) for e in reversed(entries) if _is_open_folder(e)]
        yield from _photos_in(entries, walk)


def _listed(folder: Path, walk: _Walk) -> list[os.DirEntry[str]]:
    try:
        with os.scandir(folder) as entries:
            return sorted(entries, key=lambda entry: entry.name)
    except OSError as error:
        walk.unlisted.append(folder)
        walk.problems.append(_not_listed(folder, error))
        return []


def _not_listed(folder: Path, error: OSError) -> str:
    name = printable(str(folder))
    if len(name) > _LONGEST_NAME:  # folders nested too deep have names of thousands of signs
        name = f"{name[: _LONGEST_NAME // 2]} … {name[-_LONGEST_NAME // 2 :]}"
    why = {errno.ENAMETOOLONG: "it is nested too deep", errno.EACCES: "you have no permission"}
    return f"“{name}” cannot be looked into: {why.get(error.errno or 0, error.strerror)}."


def _photos_in(entries: list[os.DirEntry[str]], walk: _Walk) -> Iterator[Path]:
    for entry in entries:
        path = Path(entry.path)
        if entry.name.startswith("."):
            walk.counts["hidden"] += entry.name != OUTPUT_MARKER
        elif _is_open_folder(entry):
            continue
        elif not _may_be_photo(entry):
            walk.counts["other"] += walk.first_visit(path)
        elif walk.first_visit(path):
            yield path


def _is_open_folder(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_dir() and not entry.name.startswith(".")
    except OSError:  # a link that leads to itself
        return False


def _may_be_photo(entry: os.DirEntry[str]) -> bool:
    # A broken link named like a photo is kept, so that the reader reports it by name; a pipe or
    # a device is not, since reading it might never end.
    named_so = Path(entry.name).suffix.lower() in PHOTO_ENDINGS
    return named_so and (entry.is_symlink() or entry.is_file())


def _relative_name(path: Path, root: Path) -> str:
    # Tables are UTF-8; a name in another encoding shows its odd bytes as escapes.
    relative = path.relative_to(root).as_posix()
    return os.fsencode(relative).decode("utf-8", errors="backslashreplace")


def _named(groups: dict[Path, list[tuple[str, Path]]]) -> Iterator[PhotoFile]:
    """Name the photos of each root, adding the root's own name where names clash."""
    shared = Counter(name for members in groups.values() for name, _ in members)
    clashing = {root for root, members in groups.items() if any(shared[n] > 1 for n, _ in members)}
    taken = {
        name for root, members in groups.items() if root not in clashing for name, _ in members
    }
    for root, members in groups.items():
        prefix = (
            _free_prefix(root, [name for name, _ in members], taken) if root in clashing else ""
        )
        taken |= {prefix + name for name, _ in members}
        yield from (PhotoFile(path, prefix + name) for name, path in members)


def _free_prefix(root: Path, names: list[str], taken: set[str]) -> str:
    label = _relative_name(root, root.parent) if root.name else "root"
    prefix, number = f"{label}/", 1
    while any(prefix + name in taken for name in names):
        number += 1
        prefix = f"{label}-{number}/"
    return prefix
