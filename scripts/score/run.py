"""A run over many photos: each is scored by one function, in parallel, then tables are written.

The whole story is ``score_paths``.
"""

import os
from collections.abc import Callable, Generator, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from models.pattern import (
    Classifier,
    load_classifier,
)
from scripts.common.files import marker_of, remove_leftovers, write_whole
from scripts.common.tables import table_bytes
from scripts.common.workers import WorkersLostError, spread_over_processes
from scripts.score.columns import EXTRA_TABLES, TABLES
from scripts.score.photo import PhotoJob, score_photo, unmeasured
from scripts.score.pictures import carries_key, picture_names
from scripts.score.results import PhotoResult
from scripts.score.store import ReadingStore, Settings, measuring_fingerprint
from vision.errors import SpotlampError
from vision.night.torch_off import pair_torch_off
from vision.photo.decode import UnreadablePhoto, content_hash
from vision.photo.find import Finding, PhotoFile, find_photos, printable
from vision.photo.taken import capture_time

__all__ = [
    "PROBLEMS",
    "READINGS",
    "NoPhotosError",
    "Run",
    "WorkersLostError",
    "score_all",
    "score_paths",
]

READINGS = ".readings"
PROBLEMS = "problems.txt"
LONGEST_SECONDS = 60.0
"""The longest that one photo may take: more than fifty times what a photo of 12 megapixels does."""
MOST_LOSSES = 2
"""Runs in which a photo may end its process, or take too long, before it is set aside."""
_SET_ASIDE = "it is set aside until the file changes"


class NoPhotosError(SpotlampError):
    """There was no photo to score; the message is one sentence for people."""


@dataclass(frozen=True, eq=False)
class Run:
    """What a run did.

    Attributes
    ----------
    out : Path
        Folder of the tables.
    finding : Finding
        The photos found, and what was passed over.
    results : tuple of PhotoResult
        One a photo, in the order of the finding.
    overlays : tuple of Path
        Each photo's overlay, in the same order; empty when overlays were not asked for.
    torch_off_count : int
        Torch-off photos, which belong to others and are no results of their own.
    """

    out: Path
    finding: Finding
    results: tuple[PhotoResult, ...]
    overlays: tuple[Path, ...] = ()
    torch_off_count: int = 0


def score_paths(
    paths: Sequence[Path],
    out: Path,
    *,
    masks: bool = False,
    overlays: bool = False,
    jobs: int | None = None,
    settings: Settings | None = None,
    explain: bool = False,
    dark_frame: Path | None = None,
    on_result: Callable[[PhotoResult], PhotoResult] = lambda result: result,
    on_start: Callable[[int], None] = lambda total: None,
    on_done: Callable[[PhotoResult], None] = lambda result: None,
) -> Run:
    """Score photos and folders of photos into a folder of tables and pictures.

    Parameters
    ----------
    paths : sequence of Path
        Photos, and folders that are walked with all their sub-folders.
    out : Path
        Folder of the results; made when it is not there.
    masks, overlays : bool
        Whether these pictures are written too.
    jobs : int, optional
        Processes; all the machine's cores by default.
    settings : Settings, optional
        What changes a reading.
    explain : bool
        Whether the table of bright things that were not counted is written too.
    dark_frame : Path, optional
        A torch-off photo for all photos that have none beside them.
    on_result : callable
        Takes each photo's result as it comes, in this process, to file it; gives it back with the
        plant to which it was filed.
    on_start, on_done : callable
        Told the number of photos once, then every photo's result as it comes.

    Returns
    -------
    Run
        The results in the order of the photos, however many processes took part.

    Raises
    ------
    NoPhotosError
        When the paths hold no photo.
    CannotWriteError
        When the output folder cannot be written or the disk is full.
    WorkersLostError
        When no process could be started. One that ends later costs the photo that it had.
    UnfitClassifier
        When the pattern classifier cannot be used.
    """
    settings = settings or Settings()
    # The summary is for people and long; the workers, to whom it is sent, do without.
    classifier = replace(load_classifier(settings.classifier), summary={})
    finding = find_photos(paths)
    if not finding.photos:
        raise NoPhotosError(_no_photos(paths, finding))
    _prepare(out)
    store = ReadingStore(out.absolute() / READINGS, measuring_fingerprint(settings))
    photo_jobs = _plan(finding, out, store, classifier, masks=masks, overlays=overlays)
    photo_jobs = _with_torch_off(photo_jobs, settings, dark_frame)
    on_start(len(photo_jobs))
    done: dict[int, PhotoResult] = {}
    try:
        with closing(score_all(photo_jobs, jobs or os.cpu_count() or 1)) as scored:
            for index, result in scored:
                done[index] = on_result(result)
                on_done(result)
    finally:
        remove_leftovers(out)  # of worker processes that were ended while they wrote
    results = tuple(done[index] for index in range(len(photo_jobs)))
    _write_tables(out, finding, results, explain=explain)
    drawn = tuple(out / j.overlay.relative_to(out.absolute()) for j in photo_jobs if j.overlay)
    paired = len(finding.photos) - len(photo_jobs)
    return Run(out, finding, results, drawn, paired)


def _no_photos(paths: Sequence[Path], finding: Finding) -> str:
    named = ", ".join(f"“{printable(str(path))}”" for path in paths)
    others = f" (files of other kinds: {finding.other_count})" if finding.other_count else ""
    return " ".join([f"No photos were found in {named}{others}.", *finding.problems[:1]])


def _prepare(out: Path) -> None:
    """Make the output folder, mark it so that it is not taken for photos, and tidy it."""
    write_whole(marker_of(out))
    remove_leftovers(out)


def _plan(
    finding: Finding,
    out: Path,
    store: ReadingStore,
    classifier: Classifier,
    *,
    masks: bool,
    overlays: bool,
) -> list[PhotoJob]:
    out = out.absolute()  # a worker process may stand in another folder
    pictures = picture_names([file.name for file in finding.photos])
    return [
        PhotoJob(
            replace(file, path=file.path.absolute()),
            store,
            classifier,
            mask=out / "masks" / f"{picture}.png" if masks else None,
            overlay=out / "overlays" / f"{picture}.jpg" if overlays else None,
        )
        for file, picture in zip(finding.photos, pictures, strict=True)
    ]


def _with_torch_off(
    jobs: list[PhotoJob], settings: Settings, dark_frame: Path | None
) -> list[PhotoJob]:
    """Give each photo its torch-off photo, and leave out those that only belong to others."""
    photos, torch_off = pair_torch_off([job.file for job in jobs])
    standing = {photo.name for photo in photos}
    common = PhotoFile(dark_frame.absolute(), dark_frame.name) if dark_frame else None
    return [
        replace(
            job,
            torch_off=torch_off.get(job.file.name, common),
            night=settings.mode == "night",
        )
        for job in jobs
        if job.file.name in standing
    ]


def score_all(
    jobs: Sequence[PhotoJob], processes: int
) -> Generator[tuple[int, PhotoResult], None, None]:
    """Yield every job's number and result: first what is kept, then the rest as it is measured."""
    rest = []
    for index, job in enumerate(jobs):
        kept = _kept(job)
        if kept is None:
            rest.append(index)
        else:
            yield index, kept
    numbered = [(index, jobs[index]) for index in rest]
    yield from spread_over_processes(
        _score_numbered,
        numbered,
        processes,
        longest_seconds=LONGEST_SECONDS,
        on_lost=_lost,
    )


def _score_numbered(pair: tuple[int, PhotoJob]) -> tuple[int, PhotoResult]:
    return pair[0], score_photo(pair[1])


def _lost(pair: tuple[int, PhotoJob], what: str) -> tuple[int, PhotoResult]:
    """Name the photo whose process did not come back, and remember it."""
    index, job = pair
    result = unmeasured(job.file, f"{what}: it was left out, and will be tried once more.")
    if job.store.count_loss(result.sha256) >= MOST_LOSSES:
        result = replace(result, problem=f"{what}, as before: {_SET_ASIDE}.")
    return index, result


def _set_aside(job: PhotoJob, content: str) -> PhotoResult | None:
    """Return what is said of a photo that did not come back too often; None where it may come."""
    if job.store.losses(content) < MOST_LOSSES:
        return None
    said = f"could not be measured in {MOST_LOSSES} runs: {_SET_ASIDE}."
    return PhotoResult(job.file.name, content, problem=said)


def _kept(job: PhotoJob) -> PhotoResult | None:
    """Return the reading kept from an earlier run if nothing of this job must be made anew.

    A photo that is set aside is not made anew either.
    """
    try:
        content = content_hash(job.file.path)
        torch_off = content_hash(job.torch_off.path) if job.torch_off else ""
    except UnreadablePhoto:
        return None
    if aside := _set_aside(job, content):
        return aside
    # A day photo's reading is kept without what lies beside it.
    result = job.store.get(content, torch_off) or job.store.get(content)
    if result is None or (result.mode == "night" and result.torch_off_sha256 != torch_off):
        return None
    key = job.store.key(content, result.torch_off_sha256)
    if not all(carries_key(path, key) for path in (job.mask, job.overlay) if path):
        return None
    try:
        return _dated(replace(result, name=job.file.name), job.file.path)
    except (OSError, OverflowError, ValueError):  # a file date that no calendar knows
        return None


def _dated(result: PhotoResult, path: Path) -> PhotoResult:
    """Return a kept result with today's name and date of the file, where these give its time."""
    if result.taken_from == "exif":
        return result
    modified_at = datetime.fromtimestamp(path.stat().st_mtime)
    taken = capture_time({}, path.absolute(), modified_at, datetime.now())
    flags = tuple(name for name in result.flags if name != "future_date")
    flags = (*flags, "future_date") if taken.future_date else flags
    return replace(result, taken_at=taken.taken_at, taken_from=taken.taken_from, flags=flags)


def _write_tables(
    out: Path, finding: Finding, results: Sequence[PhotoResult], *, explain: bool
) -> None:
    tables = TABLES | EXTRA_TABLES if explain else TABLES
    files = {out / f"{name}.csv": table_bytes(table, results) for name, table in tables.items()}
    named = [f"“{printable(r.name)}” {r.why_not}\n" for r in results if r.why_not]
    problems = [*named, *(f"{sentence}\n" for sentence in finding.problems)]
    if problems:
        files[out / PROBLEMS] = "".join(problems).encode("utf-8", errors="backslashreplace")
    write_whole(files)
    if not problems:
        (out / PROBLEMS).unlink(missing_ok=True)
