"""Photos that were handed to the page: kept on disk until they are filed, scored one after another.

An arrival is accepted when it lies whole in the spool, a folder inside the garden's. From then on
no restart loses it: what lies there when the page starts is scored then. A photo leaves the spool
when it is in its place among the garden's photos and in the journal, or was refused with a reason.
"""

import json
import os
import re
import shutil
import threading
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from contextlib import closing, suppress
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import IO, Literal
from uuid import uuid4

from models.garden.settings import read_garden
from models.journal import Journal, open_journal
from models.pattern import load_classifier
from scripts.common.files import remove_leftovers, write_whole
from scripts.page.pictures import kept_folder
from scripts.page.strips import pattern_of, photo_words
from scripts.score.filing import Filer
from scripts.score.photo import PhotoJob
from scripts.score.results import PhotoResult
from scripts.score.run import READINGS
from scripts.score.spread import over_processes, score_all
from scripts.score.store import ReadingStore, Settings, measuring_fingerprint
from vision.errors import SpotlampError
from vision.photo.decode import UnreadablePhoto, content_hash
from vision.photo.find import PHOTO_ENDINGS, PhotoFile, printable

__all__ = ["MOST_BYTES", "MOST_FILES", "Arrival", "Arrivals", "RefusedError"]

MOST_BYTES = 100 * 2**20
"""Largest photo taken: the largest of phones, in any format that they write, are half of it."""
MOST_FILES = 200
"""Photos taken with one form."""

_MOST_WAITING = 1000
_MOST_WAITING_BYTES = 8 * 2**30
_MOST_SHOWN = 400  # arrivals that are remembered after they were filed
_LONGEST_NAME = 100
_PIECE = 2**20
_ABOUT, _FILE = "arrival.json", "file"

State = Literal["waiting", "filed", "refused"]


class RefusedError(SpotlampError):
    """A file is not taken; the message is one sentence for people."""


@dataclass(frozen=True)
class Arrival:
    """A photo that was handed over.

    Attributes
    ----------
    key : str
        Names it.
    name : str
        Its file's name, as it was given.
    plant : str
        The plant that was said to be on it; may be empty.
    to : str
        Its place in the garden's folder, once that is settled.
    state : {"waiting", "filed", "refused"}
        Where it stands.
    words : str
        What was measured, or why it was refused.
    sha256 : str
        Its hash, once it is filed.
    """

    key: str
    name: str
    plant: str = ""
    to: str = ""
    state: State = "waiting"
    words: str = ""
    sha256: str = ""


class Arrivals:
    """Takes photos in, and scores them in a thread of its own.

    Parameters
    ----------
    garden_folder : Path
        The garden's.
    processes : int
        Processes that score; one core is left to the page by default.
    filed : callable
        Told whenever a photo was filed or refused.
    """

    def __init__(
        self,
        garden_folder: Path,
        processes: int | None = None,
        filed: Callable[[], None] = lambda: None,
    ) -> None:
        self._folder, self._filed = garden_folder, filed
        self._spool = kept_folder(garden_folder, "spool")
        self._processes = processes or max(1, (os.cpu_count() or 2) - 1)
        self._known: dict[str, Arrival] = {}
        self._lock = threading.Lock()
        self._more = threading.Event()
        self._closing = False
        self._worker: threading.Thread | None = None

    def start(self) -> None:
        """Begin to score, first of all what an earlier run left."""
        for half in self._spool.glob(".*"):  # never said to be accepted
            shutil.rmtree(half, ignore_errors=True)
        for arrival in sorted(_left_in(self._spool), key=lambda one: one.key):
            self._known[arrival.key] = arrival
        self._more.set()
        self._worker = threading.Thread(target=self._work, name="arrivals", daemon=True)
        self._worker.start()

    def close(self) -> None:
        """Begin with no further photo; what waits is scored when the page runs again."""
        self._closing = True
        self._more.set()

    def shown(self) -> tuple[Arrival, ...]:
        """Return what arrived since the page started, newest first."""
        with self._lock:
            return tuple(reversed(self._known.values()))

    def take(self, name: str, plant: str, source: IO[bytes]) -> Arrival:
        """Take a photo in; when this returns, it lies whole on the disk.

        Raises
        ------
        RefusedError
            When it is no photo by its name, too large, or too much waits already.
        """
        shown = printable(_base_name(name))
        if Path(shown).suffix.lower() not in PHOTO_ENDINGS:
            endings = ", ".join(sorted(PHOTO_ENDINGS))
            raise RefusedError(f"“{shown}” is no photo by its ending; there are {endings}.")
        self._refuse_too_many()
        arrival = Arrival(f"{datetime.now():%Y%m%d%H%M%S%f}-{uuid4().hex[:8]}", shown, plant)
        half = self._spool / f".{arrival.key}"
        try:
            half.mkdir()
            _copy(source, half / _FILE, shown)
            _write_about(half, arrival)
            half.rename(self._spool / arrival.key)
        except BaseException:
            shutil.rmtree(half, ignore_errors=True)
            raise
        with self._lock:
            self._remember(arrival)
        self._more.set()
        return arrival

    def _refuse_too_many(self) -> None:
        waiting = [path for path in self._spool.iterdir() if not path.name.startswith(".")]
        size = sum(_size(path / _FILE) for path in waiting)
        if len(waiting) >= _MOST_WAITING or size >= _MOST_WAITING_BYTES:
            raise RefusedError(
                "So many photos wait to be scored that no more are taken: add the others later."
            )

    def _remember(self, arrival: Arrival) -> None:
        self._known[arrival.key] = arrival
        done = [key for key, one in self._known.items() if one.state != "waiting"]
        for key in done[: max(0, len(self._known) - _MOST_SHOWN)]:
            del self._known[key]

    def _work(self) -> None:
        while not self._closing:
            self._more.wait()
            self._more.clear()
            waiting = [one for one in self.shown()[::-1] if one.state == "waiting"]
            if waiting and not self._closing:
                self._score_safely(waiting)

    def _score_safely(self, waiting: Sequence[Arrival]) -> None:
        """Score what waits; whatever keeps it from being filed is said, and it stays there."""
        try:
            with closing(self._scored(waiting)) as scored:
                for arrival in scored:
                    with self._lock:
                        self._remember(arrival)
                    self._filed()
                    if self._closing:
                        return
        except Exception as error:  # the thread must live on: the next photo may do better
            words = f"not filed yet, and kept: {printable(str(error))}"
            with self._lock:
                for one in waiting:
                    if self._known[one.key].state == "waiting":
                        self._known[one.key] = replace(one, words=words)
            return
        if any(one.state == "waiting" for one in self.shown()):
            self._more.set()

    def _scored(self, waiting: Sequence[Arrival]) -> Generator[Arrival, None, None]:
        """Yield each arrival as it is filed or refused."""
        settings = Settings()
        garden, fingerprint = read_garden(self._folder), measuring_fingerprint(settings)
        readings = kept_folder(self._folder) / READINGS
        store = ReadingStore(readings, fingerprint)
        classifier = replace(load_classifier(None), summary={})
        jobs = [
            PhotoJob(PhotoFile(self._now_at(one), self._place_for(one)), store, classifier)
            for one in waiting
        ]
        try:
            with (
                open_journal(self._folder) as journal,
                closing(score_all(jobs, over_processes(self._processes))) as scored,
            ):
                for index, result in scored:
                    one = replace(waiting[index], to=result.name)
                    filer = Filer(journal, self._folder, garden, fingerprint, one.plant)
                    yield self._settled(one, result, journal, filer)
        finally:
            remove_leftovers(readings)  # of worker processes that were ended while they wrote

    def _now_at(self, arrival: Arrival) -> Path:
        """Return where the photo lies: in the spool, or in its place if a run ended in between."""
        spooled = self._spool / arrival.key / _FILE
        placed = self._folder / arrival.to
        return placed if arrival.to and not spooled.exists() and placed.is_file() else spooled

    def _place_for(self, arrival: Arrival) -> str:
        """Return a free place among the garden's photos."""
        if arrival.to:
            return arrival.to
        day = f"{arrival.key[:4]}-{arrival.key[4:6]}-{arrival.key[6:8]}"
        folder = arrival.plant if _is_plain(arrival.plant) else f"added/{day}"
        stem, ending = Path(arrival.name).stem, Path(arrival.name).suffix
        place, number = f"photos/{folder}/{arrival.name}", 1
        while (self._folder / place).exists() or self._promised(place):
            number += 1
            place = f"photos/{folder}/{stem}-{number}{ending}"
        self._promise(arrival, place)
        return place

    def _promised(self, place: str) -> bool:
        with self._lock:
            return any(one.to == place and one.state == "waiting" for one in self._known.values())

    def _promise(self, arrival: Arrival, place: str) -> None:
        """Write down where a photo goes, so that a run that ends in between finds it again."""
        settled = replace(arrival, to=place)
        _write_about(self._spool / arrival.key, settled)
        with self._lock:
            self._known[arrival.key] = settled

    def _settled(
        self, arrival: Arrival, result: PhotoResult, journal: Journal, filer: Filer
    ) -> Arrival:
        spooled = self._spool / arrival.key / _FILE
        if result.mode is None:
            words = f"“{arrival.name}” {result.why_not}"
            done = replace(arrival, state="refused", words=words)
        elif self._is_there(journal, result.sha256) and spooled.exists():
            words = "is in the record already."
            done = replace(arrival, state="filed", words=words, sha256=result.sha256)
        else:
            done = self._placed(arrival, result, journal, filer, spooled)
        shutil.rmtree(self._spool / arrival.key, ignore_errors=True)
        return done

    def _is_there(self, journal: Journal, sha256: str) -> bool:
        """Whether the record has a photo, and its file is in its place."""
        known = journal.photo(sha256)
        if known is None:
            return False
        with suppress(UnreadablePhoto):
            return content_hash(self._folder / known.photo) == sha256
        return False

    def _placed(
        self,
        arrival: Arrival,
        result: PhotoResult,
        journal: Journal,
        filer: Filer,
        spooled: Path,
    ) -> Arrival:
        place = self._folder / arrival.to
        if spooled.exists():
            place.parent.mkdir(parents=True, exist_ok=True)
            spooled.replace(place)
        filed = filer.file(result, place)
        entry = journal.photo(result.sha256)
        plant = filed.filed_plant or ""
        if entry is None:  # read as one of the night, and nothing counted
            return replace(arrival, state="filed", words=result.why_not, plant=plant)
        parts = [f"{plant}:" if plant else "no plant yet:", photo_words(entry), pattern_of(entry)]
        words = " ".join(part for part in parts if part)
        if result.why_not:
            words = f"{words}; {result.why_not}"
        return replace(arrival, state="filed", words=words, plant=plant, sha256=entry.sha256)


def _base_name(name: str) -> str:
    """Return a name without folders, whatever signs part them, and without what steers a disk."""
    base = re.split(r"[/\\]", name)[-1].strip().lstrip(".")
    clean = re.sub(r'[<>:"|?*\x00-\x1f]', "_", base)
    stem, ending = Path(clean).stem[:_LONGEST_NAME], Path(clean).suffix[:10]
    return f"{stem or 'photo'}{ending}"


def _is_plain(plant: str) -> bool:
    """Whether a plant's name is fit to be a folder's."""
    return bool(plant) and _base_name(plant) == plant and plant == printable(plant)


def _copy(source: IO[bytes], to: Path, name: str) -> None:
    size = 0
    with to.open("xb") as stream:
        while piece := source.read(_PIECE):
            size += len(piece)
            if size > MOST_BYTES:
                most = MOST_BYTES // 2**20
                raise RefusedError(f"“{name}” is larger than {most} MB: it is no phone's photo.")
            stream.write(piece)
        stream.flush()
        os.fsync(stream.fileno())


def _write_about(folder: Path, arrival: Arrival) -> None:
    write_whole({folder / _ABOUT: json.dumps(asdict(arrival)).encode()})


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _left_in(spool: Path) -> Iterator[Arrival]:
    for folder in spool.iterdir():
        with suppress(OSError, ValueError, TypeError, KeyError):
            values: Mapping[str, str] = json.loads((folder / _ABOUT).read_bytes())
            to = values["to"] if _is_inside(values["to"]) else ""
            yield Arrival(folder.name, values["name"], values["plant"], to)


def _is_inside(place: str) -> bool:
    return place.startswith("photos/") and ".." not in Path(place).parts
