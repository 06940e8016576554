"""Photos inside a file: as small pictures that need nothing from outside, with what was counted.

A photo is decoded by the one guarded door, ``vision.photo``, and only where it still is the photo
that was filed; otherwise a sentence stands in its place. What was counted is drawn over it.
"""

import base64
import os
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from pathlib import Path

from markupsafe import Markup, escape

from models.corrections import CorrectedReading
from models.entries import PhotoEntry
from models.journal import open_journal
from models.numerals import plain_number
from scripts.common.workers import spread_over_processes, use_one_thread
from scripts.page.drawing import Drawing, drawing_of_photo
from scripts.page.shapes import Outlined, outlined
from scripts.page.strips import pattern_of, photo_words
from scripts.score.pictures import jpg_bytes
from vision.drawing import BRIGHTER, brightened, resized
from vision.errors import SpotlampError
from vision.photo.decode import read_photo
from vision.photo.find import PhotoFile, printable

__all__ = [
    "LARGE_PX",
    "LINES_KEY",
    "SMALL_PX",
    "Album",
    "Figure",
    "Wanted",
    "room_bytes",
    "side_px",
]

SMALL_PX, LARGE_PX = 360, 1100
"""Long sides of a picture in a row of pictures, and of one that is looked at by itself, px."""

LINES_KEY = (
    "Lines on photos: blue, a leaf; orange, a lesion (dead tissue); amber dots, a halo (yellow "
    "tissue); pink diamonds, droppings; yellow dashes, what was eaten; amber, a caterpillar."
)

_QUALITY = 80
_LONGEST_SECONDS = 60.0
_GONE = "This photo is not there any more, or is another one now"
_LARGEST_BYTES = 4_300_000
"""What all pictures of a file of twelve plants may take: with all else it stays below five million
bytes. With five times the plants it is three times as much."""

_FULL_SIZE = 60
"""So many pictures in rows have their full size: five of each of twelve plants."""

_LEAST_PX = 200
"""The long side below which nothing is to be seen on a picture any more."""


def side_px(pictures: int) -> int:
    """Return the long side of each of so many pictures in rows, px.

    Examples
    --------
    >>> side_px(60), side_px(120)
    (360, 255)
    """
    return max(_LEAST_PX, round(SMALL_PX * min(1.0, sqrt(_FULL_SIZE / max(1, pictures)))))


def room_bytes(plants: int) -> int:
    """Return what all pictures of a file of so many plants may take."""
    return round(_LARGEST_BYTES * min(3.0, max(1.0, 1 + (plants - 12) / 24)))


@dataclass(frozen=True)
class Wanted:
    """A photo wanted as a picture.

    Attributes
    ----------
    entry : PhotoEntry
        As filed.
    side_px : int
        Its long side in the picture.
    lines : bool
        Whether what was counted is drawn on it.
    """

    entry: PhotoEntry
    side_px: int = SMALL_PX
    lines: bool = True


@dataclass(frozen=True)
class Figure:
    """A photo as it stands in a file.

    Attributes
    ----------
    entry : PhotoEntry
        As filed.
    words : str
        What was measured on it.
    pattern : str
        What it looks like; may be empty.
    picture : Markup or None
        None where there is none.
    why_not : str
        Why there is none; else empty.
    note : str
        What is to be said of the picture; may be empty.
    """

    entry: PhotoEntry
    words: str
    pattern: str
    picture: Markup | None
    why_not: str = ""
    note: str = ""


@dataclass(frozen=True)
class _Job:
    """What a worker process needs to make a picture."""

    folder: Path
    wanted: Wanted


@dataclass(frozen=True)
class _Made:
    """A picture, or why there is none."""

    wanted: Wanted
    jpg: bytes = b""
    width: int = 0
    height: int = 0
    drawing: Drawing | None = None
    brighter: bool = False
    why_not: str = ""


class Album:
    """Makes the pictures of one file, and hands them out as long as the file stays small.

    Parameters
    ----------
    folder : Path
        The garden's.
    jobs : int, optional
        Processes at work; all cores by default.
    plants : int
        Told of in the file, which may be larger for more of them.
    on_start, on_done : callable
        Told how many pictures there are, and of each that is done.

    Attributes
    ----------
    missing : set of str
        Hashes of the photos that could not be shown.
    """

    def __init__(
        self,
        folder: Path,
        jobs: int | None = None,
        plants: int = 1,
        on_start: Callable[[int], None] = lambda total: None,
        on_done: Callable[[object], None] = lambda made: None,
    ) -> None:
        self._folder, self._jobs = folder, jobs
        self._on_start, self._on_done = on_start, on_done
        self._made: dict[tuple[str, int, bool], _Made] = {}
        self._left = room_bytes(plants)
        self._readings: dict[str, CorrectedReading | None] = {}
        self.missing: set[str] = set()

    def make(self, wanted: Iterable[Wanted]) -> None:
        """Make pictures, spread over processes; those that are made already are passed over."""
        missing = {_key(one): one for one in wanted if _key(one) not in self._made}
        if missing:
            self._on_start(len(missing))
            for made in _all_made(self._folder, list(missing.values()), self._jobs):
                self._made[_key(made.wanted)] = made
                self._on_done(made)
            self._read(made.wanted for made in self._made.values() if made.drawing)

    def _read(self, wanted: Iterable[Wanted]) -> None:
        """Read from the record what holds of photos: people may have put right what was counted."""
        hashes = {one.entry.sha256 for one in wanted} - self._readings.keys()
        with open_journal(self._folder) as journal:
            self._readings |= {sha256: journal.corrected(sha256) for sha256 in hashes}

    def figure(self, wanted: Wanted) -> Figure:
        """Return a photo as it stands in the file, without a picture where there is no room."""
        self.make([wanted])
        made, entry = self._made[_key(wanted)], wanted.entry
        words, pattern = photo_words(entry), pattern_of(entry)
        if made.why_not:
            self.missing.add(entry.sha256)
            return Figure(entry, words, pattern, None, made.why_not)
        shapes = self._shapes(made)
        picture = _svg(made, shapes)
        if len(picture) > self._left:
            return Figure(entry, words, pattern, None, "Left out: the file would grow too large.")
        self._left -= len(picture)
        return Figure(entry, words, pattern, picture, note=_note(made, shapes))

    def _shapes(self, made: _Made) -> list[Outlined]:
        reading = self._readings.get(made.wanted.entry.sha256)
        return outlined(made.drawing, reading) if made.drawing and reading else []


def _key(wanted: Wanted) -> tuple[str, int, bool]:
    return wanted.entry.sha256, wanted.side_px, wanted.lines


def _all_made(folder: Path, wanted: Sequence[Wanted], jobs: int | None) -> Iterator[_Made]:
    work = [_Job(folder, one) for one in wanted]
    processes = min(jobs or os.cpu_count() or 1, len(work))
    if processes == 1:
        yield from map(_make, work)
        return
    yield from spread_over_processes(
        _make,
        work,
        processes,
        longest_seconds=_LONGEST_SECONDS,
        on_lost=lambda job, what: _Made(job.wanted, why_not=f"It could not be shown: it {what}."),
    )


def _make(job: _Job) -> _Made:
    """Make one picture; whatever is wrong with its file becomes a sentence."""
    use_one_thread()
    entry = job.wanted.entry
    try:
        photo = read_photo(PhotoFile(job.folder / entry.photo, entry.photo))
        if photo.sha256 != entry.sha256:
            return _Made(job.wanted, why_not=f"{_GONE}: {printable(entry.photo)}.")
        drawing = drawing_of_photo(job.folder, entry, photo) if job.wanted.lines else None
    except SpotlampError as error:
        return _Made(job.wanted, why_not=f"{_GONE}: {printable(entry.photo)} ({error})")
    scale = job.wanted.side_px / max(photo.pixels.shape[:2])
    view, brighter = brightened(resized(photo.pixels, min(scale, 1.0)))
    height, width = view.shape[:2]
    return _Made(job.wanted, jpg_bytes(view, _QUALITY), width, height, drawing, brighter)


def _svg(made: _Made, shapes: Sequence[Outlined]) -> Markup:
    """Return a picture with its lines; the picture's bytes stand in it."""
    entry, wide, high = made.wanted.entry, made.width, made.height
    data = base64.b64encode(made.jpg).decode()
    label = f"Photo of {entry.plant or 'no plant'}, {entry.taken_at:%Y-%m-%d}: {photo_words(entry)}"
    return Markup(
        f'<svg class="photo" viewBox="0 0 {wide} {high}" role="img" aria-label="{escape(label)}">'
        f'<image href="data:image/jpeg;base64,{data}" width="{wide}" height="{high}"/>'
        f"{_lines(made, shapes)}</svg>"
    )


_LOOKS: Mapping[str, tuple[str, str, str]] = {
    "leaf": ("#ffffff", "#0072b2", ""),
    "halo": ("#000000", "#e69f00", "0.1 2.4"),
    "lesion": ("#000000", "#ff7a1f", ""),
    "dropping": ("#000000", "#cc79a7", ""),
    "bite": ("#000000", "#f0e442", "4 2"),
    "caterpillar": ("#000000", "#e69f00", ""),
}
"""Of each layer, from below: the colour of its edge and of its line, and its dashes."""


def _lines(made: _Made, shapes: Sequence[Outlined]) -> str:
    """Return what counts on a photo as lines; what people rejected is left out."""
    if made.drawing is None:
        return ""
    scale = made.width / max(1, made.drawing.width_px)
    unit = max(made.width, made.height) / 450 / scale
    parts = []
    for layer, (edge, colour, dashes) in _LOOKS.items():
        counting = (one for one in shapes if one.layer == layer and one.state != "rejected")
        path = " ".join(one.path for one in counting)
        if not path:
            continue
        dashed = ""
        if dashes:
            steps = " ".join(plain_number(float(d) * unit) for d in dashes.split())
            dashed = f' stroke-dasharray="{steps}" stroke-linecap="round"'
        for stroke, width in ((edge, 2.0 * unit), (colour, 1.1 * unit)):
            thick = plain_number(width)
            parts.append(f'<path d="{path}" stroke="{stroke}" stroke-width="{thick}"{dashed}/>')
    near = plain_number(scale, 5)
    return f'<g fill="none" stroke-linejoin="round" transform="scale({near})">{"".join(parts)}</g>'


def _note(made: _Made, shapes: Sequence[Outlined]) -> str:
    """Return what is to be said of a picture: what people put right of it, and its brightness."""
    states = Counter(one.state for one in shapes)
    by_hand = (("rejected", "rejected"), ("added", "added"), ("redrawn", "redrawn"))
    put_right = [f"{states[state]} {words}" for state, words in by_hand if states[state]]
    said = [f"By hand: {', '.join(put_right)}."] if put_right else []
    return " ".join([*said, *([BRIGHTER] if made.brighter else [])])
