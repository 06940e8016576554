"""One photo scored: read, measured, called, drawn and kept; the whole story is ``score_photo``."""

import traceback
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path

import models
import scripts
import vision
from models.pattern import (
    Classifier,
    PatternCall,
    combine,
    in_words,
    measure_pattern,
)
from scripts.common.files import write_whole
from scripts.common.workers import use_one_thread
from scripts.score.pictures import mask_png, overlay_jpg
from scripts.score.results import PhotoResult
from scripts.score.store import ReadingStore
from vision.measure import measure_day, measure_night
from vision.night.uv import is_uv_photo
from vision.photo.address import Address, AddressError, Place
from vision.photo.content import Content, read_content
from vision.photo.decode import UnreadablePhoto, content_hash, read_photo
from vision.photo.find import PhotoFile, printable
from vision.records import (
    DayMeasurement,
    DayReading,
    NightMeasurement,
    NightReading,
    Photo,
    TagReading,
)
from vision.tag.scale import leaf_scale

__all__ = ["PhotoJob", "Scored", "call_leaves", "keep", "remember", "score_photo", "unmeasured"]

_OURS = [Path(package.__path__[0]) for package in (vision, models, scripts)]


@dataclass(frozen=True)
class PhotoJob:
    """All that one photo's scoring needs; sent to a worker process as it is.

    Attributes
    ----------
    file : PhotoFile
        Path and name of the photo.
    store : ReadingStore
        Where readings are kept between runs.
    classifier : Classifier
        Calls the patterns.
    mask, overlay : Path, Address or None
        Where the pictures go; None when they are not asked for.
    torch_off : PhotoFile or None
        The same scene with the torch off, for a UV night photo.
    night : bool
        Read the photo as a UV night photo, whatever it looks like.
    contents : mapping of Path or Address to Content
        What was read already of photo and torch-off photo, for a process that cannot reach them.
    hand_back : bool
        Whether pictures and reading are handed back, by a process that cannot reach their places.
    """

    file: PhotoFile
    store: ReadingStore
    classifier: Classifier
    mask: Place | None = None
    overlay: Place | None = None
    torch_off: PhotoFile | None = None
    night: bool = False
    contents: Mapping[Place, Content] = field(default_factory=dict)
    hand_back: bool = False

    def content_of(self, file: PhotoFile) -> Content:
        """Return a file's bytes, read now unless they came with the job.

        Raises
        ------
        UnreadablePhoto
            When it cannot be read.
        """
        return self.contents.get(file.path) or read_content(file.path)


@dataclass(frozen=True, eq=False)
class Scored:
    """A photo's result, with the pictures to be written for it."""

    result: PhotoResult
    pictures: Mapping[Place, bytes] = field(default_factory=dict)


def score_photo(job: PhotoJob) -> Scored:
    """Read, measure and keep one photo, and write the pictures asked for.

    A photo that cannot be read or measured gives a result with a problem; it never raises. What is
    to be handed back is not written here.

    Raises
    ------
    CannotWriteError
        When a picture or the reading cannot be written.
    AddressError
        When the driver of an address is missing.
    """
    use_one_thread()
    scored = _measured(job)
    if job.hand_back:
        return scored
    keep(job, scored)
    return Scored(scored.result)


def keep(job: PhotoJob, scored: Scored) -> None:
    """Write the pictures of a photo, then its reading, if it has one.

    Raises
    ------
    CannotWriteError
        When one of them cannot be written.
    """
    if scored.pictures:
        write_whole(scored.pictures)
    if scored.result.mode is None:
        return
    job.store.put(scored.result)
    remember(job.store, job.file, scored.result.sha256)
    if job.torch_off and scored.result.torch_off_sha256:
        remember(job.store, job.torch_off, scored.result.torch_off_sha256)


def remember(store: ReadingStore, file: PhotoFile, content: str) -> None:
    """Keep the content hash of what lies at an address, so that it need not be fetched for it."""
    if isinstance(file.path, Address):
        store.remember(file.path.mark, content)


def _measured(job: PhotoJob) -> Scored:
    digest = None
    try:
        content = job.content_of(job.file)
        digest = content.sha256
        photo = read_photo(job.file, content)
        del content  # the bytes of a large photo
        score = _score_night if job.night or is_uv_photo(photo.pixels) else _score_day
        return score(job, photo)
    except UnreadablePhoto as error:
        said = str(error).removeprefix(f"“{printable(job.file.path.name)}” ")
        return Scored(unmeasured(job.file, said, digest))
    except AddressError:
        raise
    except Exception as error:
        return Scored(unmeasured(job.file, _surprise(error), digest))


def _score_day(job: PhotoJob, photo: Photo) -> Scored:
    day = measure_day(photo)
    calls = call_leaves(job.classifier, day.photo, day.measurement)
    result = replace(
        _result(photo, day.measurement, day.tag),
        pattern=combine(calls, job.classifier.least_probability),
        leaf_patterns=calls,
    )
    return Scored(result, _draw(job, photo, day.measurement, calls))


def _score_night(job: PhotoJob, photo: Photo) -> Scored:
    off = job.torch_off
    torch_off = read_photo(off, job.content_of(off)) if off else None
    night = measure_night(photo, torch_off)
    content = torch_off.sha256 if torch_off else ""
    result = replace(_result(photo, night.measurement, night.tag), torch_off_sha256=content)
    return Scored(result, _draw(job, photo, night.measurement, (), content))


def call_leaves(
    classifier: Classifier, photo: Photo, measurement: DayMeasurement
) -> tuple[PatternCall, ...]:
    """Call the pattern of each leaf, in the order of the reading's leaves."""
    leaves = measurement.reading.leaves
    measured = (measure_pattern(photo.pixels, measurement, leaf.leaf) for leaf in leaves)
    return tuple(classifier.call(row) for row in measured)


def _draw(
    job: PhotoJob,
    photo: Photo,
    measurement: DayMeasurement | NightMeasurement,
    calls: Sequence[PatternCall],
    torch_off: str = "",
) -> dict[Place, bytes]:
    key = job.store.key(photo.sha256, torch_off)
    pictures: dict[Place, bytes] = {}
    if job.mask:
        pictures[job.mask] = mask_png(photo, measurement, key)
    if job.overlay:
        words = [in_words(call) for call in calls]
        pictures[job.overlay] = overlay_jpg(photo, measurement, key, words)
    return pictures


def _result(
    photo: Photo, measurement: DayMeasurement | NightMeasurement, tag: TagReading | None
) -> PhotoResult:
    reading = measurement.reading
    day, night = None, None
    if isinstance(reading, NightReading):
        night = replace(
            reading, caterpillars=tuple(replace(c, midline_px=()) for c in reading.caterpillars)
        )
    else:
        day = _without_outlines(reading)
    scale = leaf_scale(tag, day) if tag else None
    far_off = ("tag_tilted",) if tag and tag.number is not None and scale is None else ()
    flags = dict.fromkeys((*photo.flags, *reading.flags, *(tag.flags if tag else ()), *far_off))
    return PhotoResult(
        photo.name,
        photo.sha256,
        photo.taken_at,
        photo.taken_from,
        photo.width_px,
        photo.height_px,
        tuple(flags),
        day,
        scale,
        night=night,
        tag=tag,
    )


def _without_outlines(reading: DayReading) -> DayReading:
    """Leave out what no table shows and what would fill the memory in a run of many photos."""
    leaves = tuple(replace(leaf, outline_px=()) for leaf in reading.leaves)
    return replace(reading, leaves=leaves)


def unmeasured(file: PhotoFile, what: str, digest: str | None = None) -> PhotoResult:
    """Return the result of a photo that was not measured, with what is said of it.

    Parameters
    ----------
    file : PhotoFile
        The photo.
    what : str
        Words that go on after its name.
    digest : str, optional
        Its content hash; what lies in a folder is read for it otherwise.
    """
    if digest is None and isinstance(file.path, Path):
        with suppress(UnreadablePhoto):
            digest = content_hash(file.path)
    return PhotoResult(file.name, digest or "", problem=what)


def _surprise(error: Exception) -> str:
    """Return what is wrong when nobody foresaw it, with the place where to look for the repair."""
    frames = traceback.extract_tb(error.__traceback__)
    ours = [frame for frame in frames if _stage(Path(frame.filename))]
    place = (ours or frames)[-1]
    what = printable(" ".join(f"{type(error).__name__}: {error}".split()))
    where = f"{_stage(Path(place.filename)) or place.filename}, line {place.lineno}"
    return f"met an error inside the program ({what}, in {where})."


def _stage(file: Path) -> str:
    """Return a module of ours as ``vision/day/leaf.py``; empty for another's."""
    within = next((folder for folder in _OURS if file.is_relative_to(folder)), None)
    return file.relative_to(within.parent).as_posix() if within else ""
