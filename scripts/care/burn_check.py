"""A burn check with the garden's journal: photos found again, read, judged, kept, and drawn."""

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from models.care import BurnVerdict, entry_of, verdict_of
from models.care.burn import (
    BurnCheckError,
    BurnPhoto,
    SprayTest,
    gather_test,
    judge_burn,
    worst,
)
from models.care.records import Verdict
from models.care.thresholds import thresholds_of
from models.entries import PhotoEntry
from models.garden.settings import read_garden
from models.journal import Journal, open_journal
from models.numerals import counted
from scripts.common.files import marker_of, write_whole
from scripts.common.terminal import LINE
from scripts.common.which_garden import known_plant
from scripts.score.pictures import jpg_bytes
from vision.day.burn import read_burn
from vision.day.burn_overlay import draw_burn_check
from vision.measure import measure_day
from vision.photo.address import Place
from vision.photo.decode import UnreadablePhoto, content_hash, read_photo
from vision.photo.find import PhotoFile, find_photos, printable
from vision.records import Photo

__all__ = ["Checked", "check_burn", "report"]

_NEXT: dict[Verdict, str] = {
    "burned": "Spray no other plant. Rinse this one with clean water in the morning, and let it "
    "recover. Then try half the strength on one plant, or leave it at that.",
    "no burn seen": "Look at the sprayed leaves yourself before you spray other sick plants, and "
    "look at those again after a day. The product's label and local rules come first.",
    "cannot tell": "Spray no other plant yet. Photograph the sprayed leaves again: dry, in soft "
    "light, laid on plain dark paper or cloth, one leaf to a photo.",
}


@dataclass(frozen=True)
class Checked:
    """What a burn check gave.

    Attributes
    ----------
    verdict : BurnVerdict
        As it is kept in the journal.
    picture : Path or None
        Before and after side by side; None where one side had no usable photo.
    """

    verdict: BurnVerdict
    picture: Path | None


class _Reader:
    """Reads filed photos, each once, wherever they lie now."""

    def __init__(self, folder: Path, places: Sequence[Path]) -> None:
        self._folder = folder
        found = find_photos(places).photos if places else ()
        hashed = [(_hash_of(file.path), file.path) for file in found]
        self._by_hash = {content: path for content, path in hashed if content}
        self._photos: dict[str, Photo] = {}

    def read_all(self, entries: Sequence[PhotoEntry]) -> tuple[BurnPhoto, ...]:
        """Read photos of one plant; one that is gone or cannot be read is passed over."""
        there = [(entry, self._path(entry)) for entry in entries]
        read = [self._read(entry, path) for entry, path in there if path is not None]
        return tuple(photo for photo in read if photo is not None)

    def _path(self, entry: PhotoEntry) -> Place | None:
        filed = self._folder / entry.photo
        if entry.sha256 in self._by_hash:
            return self._by_hash[entry.sha256]
        return filed if _hash_of(filed) == entry.sha256 else None

    def _read(self, entry: PhotoEntry, path: Place) -> BurnPhoto | None:
        try:
            day = measure_day(read_photo(PhotoFile(path, entry.photo)))
        except UnreadablePhoto:
            return None
        self._photos[entry.sha256] = day.photo
        reading = read_burn(day.photo, day.measurement)
        return BurnPhoto(entry.photo, entry.taken_at, reading, entry.sha256)

    def pixels(self, photo: BurnPhoto) -> Photo:
        """Return a photo that was read, in the light in which it was judged."""
        return self._photos[photo.sha256]


def _hash_of(path: Place) -> str:
    """Return a file's content hash; empty where it cannot be read, as a link that leads nowhere."""
    try:
        return content_hash(path)
    except UnreadablePhoto:
        return ""


def check_burn(
    folder: Path,
    plant: str,
    places: Sequence[Path] = (),
    out: Path | None = None,
    now: datetime | None = None,
) -> Checked:
    """Judge whether a plant's last peroxide spray burned it, and keep the verdict in the log.

    Parameters
    ----------
    folder : Path
        The garden's.
    plant : str
        The sprayed plant.
    places : sequence of Path
        Photos, or folders with them, where they do not lie in the garden's folder.
    out : Path, optional
        Folder of the picture.
    now : datetime, optional
        The present.

    Raises
    ------
    BurnCheckError, GardenError, JournalError, CannotWriteError
        With one sentence.
    """
    garden = read_garden(folder)
    name = known_plant(garden, plant)
    now = now or datetime.now(ZoneInfo(garden.time_zone))
    wait_hours = thresholds_of(garden).wait_hours
    with open_journal(folder) as journal:
        photos, log = journal.photos(mode="day"), journal.log_entries(with_corrected=True)
        test = gather_test(photos, log, name, now, wait_hours=wait_hours)
        reader = _Reader(folder, places)
        before, after = _read_tested(reader, name, test)
        others = [(reader.read_all(early), reader.read_all(late)) for early, late in test.others]
        verdict = judge_burn(name, test.spray, before, after, others)
        picture = _draw(reader, verdict, before, after, out) if out else None
        _keep(journal, verdict)
    return Checked(verdict, picture)


def _read_tested(
    reader: _Reader, plant: str, test: SprayTest
) -> tuple[tuple[BurnPhoto, ...], tuple[BurnPhoto, ...]]:
    sides = reader.read_all(test.before), reader.read_all(test.after)
    for side, entries in zip(sides, (test.before, test.after), strict=True):
        if not side:
            raise BurnCheckError(
                f"“{printable(entries[-1].photo)}” of {plant} is filed, but the photo itself is "
                "not there or cannot be read: name the folder where it lies now."
            )
    return sides


def _keep(journal: Journal, verdict: BurnVerdict) -> None:
    """Log the verdict, unless the same one of the same photos is there already."""
    known = [verdict_of(entry) for entry in journal.log_entries(verdict.plant, kind="burn_check")]
    if verdict not in known:
        journal.log(entry_of(verdict))


def _draw(
    reader: _Reader,
    verdict: BurnVerdict,
    before: Sequence[BurnPhoto],
    after: Sequence[BurnPhoto],
    out: Path,
) -> Path | None:
    shown = [(side, worst(photos)) for side, photos in (("before", before), ("after", after))]
    pictures = [
        (f"{side}: {photo.taken_at:%Y-%m-%d %H:%M}", reader.pixels(photo).pixels, photo.reading)
        for side, photo in shown
        if photo is not None and photo.reading is not None
    ]
    if len(pictures) < 2:
        return None
    drawn = draw_burn_check(pictures, [f"{verdict.plant}: {verdict.verdict}", verdict.reason])
    path = out / f"burn-{verdict.plant}-{verdict.checked_at:%Y-%m-%d}.jpg"
    write_whole({path: jpg_bytes(drawn), **marker_of(out)})
    return path


def report(checked: Checked) -> str:
    """Return the verdict with its figures, ready to be printed."""
    verdict, figures = checked.verdict, checked.verdict.figures
    lines = [f"{verdict.plant}: {verdict.verdict}"]
    if "new_points" in figures:
        hours, others = figures["since_spray_h"], int(figures["unsprayed_plants"])
        lines += [
            f"  {counted(len(verdict.before), 'photo')} before and {len(verdict.after)} after, the "
            f"last {hours:.0f} hours after spray {verdict.spray}; {others} unsprayed plants beside",
            "  of the worst leaf    before    after",
            _row("bleached", figures, "bleached"),
            _row("pale, unsure", figures, "unsure"),
        ]
    texts = (verdict.reason, _NEXT[verdict.verdict])
    lines += [line for text in texts for line in ("", *textwrap.wrap(text, LINE))]
    if checked.picture:
        lines += ["", f"Before and after side by side: {checked.picture}"]
    return "\n".join(lines)


def _row(title: str, figures: Mapping[str, float], name: str) -> str:
    before, after = figures[f"{name}_before_pct"], figures[f"{name}_after_pct"]
    return f"  {title:18} {before:6.2f} % {after:6.2f} %"
