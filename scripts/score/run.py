"""A run over many photos: each is scored by one function, in parallel, then tables are written.

The whole story is ``score_paths``.
"""

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, closing, nullcontext
from dataclasses import dataclass, replace
from itertools import chain
from pathlib import Path

from models.pattern import load_classifier
from scripts.common.files import marker_of, remove_leftovers, write_whole
from scripts.common.parquet import Part, require_parquet, write_parquet
from scripts.common.tables import TablePieces
from scripts.common.workers import WorkersLostError
from scripts.score.columns import EXTRA_TABLES, TABLES
from scripts.score.photo import PhotoJob
from scripts.score.pictures import picture_names
from scripts.score.results import PhotoResult
from scripts.score.spool import ResultSpool
from scripts.score.spread import Spread, over_processes, score_all
from scripts.score.store import ReadingStore, Settings, measuring_fingerprint
from vision.errors import SpotlampError
from vision.night.torch_off import pair_torch_off
from vision.photo.address import Place
from vision.photo.find import Finding, PhotoFile, printable
from vision.photo.search import PhotoSearch

__all__ = [
    "PARQUET",
    "PROBLEMS",
    "READINGS",
    "NoPhotosError",
    "Run",
    "WorkersLostError",
    "score_paths",
]

READINGS = ".readings"
PARQUET = "parquet"
PROBLEMS = "problems.txt"


class NoPhotosError(SpotlampError):
    """There was no photo to score; the message is one sentence for people."""


@dataclass(frozen=True, eq=False)
class Run:
    """What a run did.

    Attributes
    ----------
    out : Path or Address
        Folder of the tables.
    finding : Finding
        The photos found in folders of this computer, and all that was passed over.
    results : sequence of PhotoResult
        One a photo, in the order of their names.
    overlays : tuple of Path or Address
        Each photo's overlay, in the same order; empty when overlays were not asked for.
    torch_off_count : int
        Torch-off photos, which belong to others and are no results of their own.
    """

    out: Place
    finding: Finding
    results: Sequence[PhotoResult]
    overlays: tuple[Place, ...] = ()
    torch_off_count: int = 0

    @property
    def photo_count(self) -> int:
        """How many photos were found."""
        return len(self.results) + self.torch_off_count


def _as_it_is(result: PhotoResult, path: Place) -> PhotoResult:
    return result


def score_paths(
    paths: Sequence[Place],
    out: Place,
    *,
    masks: bool = False,
    overlays: bool = False,
    jobs: int | None = None,
    settings: Settings | None = None,
    explain: bool = False,
    dark_frame: Path | None = None,
    parquet: bool = False,
    garden: str = "",
    cluster: str = "",
    on_result: Callable[[PhotoResult, Place], PhotoResult] = _as_it_is,
    on_start: Callable[[int | None], None] = lambda total: None,
    on_done: Callable[[PhotoResult], None] = lambda result: None,
) -> Run:
    """Score photos and folders of photos into a folder of tables and pictures.

    Parameters
    ----------
    paths : sequence of Path or Address
        Photos, and folders that are walked with all their sub-folders.
    out : Path or Address
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
    parquet : bool
        Whether the tables are written as Parquet too.
    garden : str
        Name of the garden of all photos, by which these are parted; by default the first of
        several folders in a photo's name.
    cluster : str
        Address of the scheduler of a cluster that measures, in the place of this computer.
    on_result : callable
        Takes each photo's result as it comes, in this process, and where the photo is, to file it;
        gives it back with the plant to which it was filed.
    on_start, on_done : callable
        Told the number of photos once, or None where it is not known yet, then every photo's
        result as it comes.

    Returns
    -------
    Run
        The results in the order of the photos' names, however many processes took part.

    Raises
    ------
    PathNotFound
        When one of the paths does not exist.
    NoPhotosError
        When the paths hold no photo.
    AddressError
        When an address cannot be used.
    CannotWriteError
        When the output folder cannot be written or the disk is full.
    WorkersLostError
        When no process could be started. One that ends later costs the photo that it had.
    UnfitClassifier
        When the pattern classifier cannot be used.
    ParquetError
        When the library for Parquet is missing.
    ClusterError
        When the cluster cannot be used.
    """
    if parquet:
        require_parquet()
    settings = settings or Settings()
    search = PhotoSearch(paths)
    batches = _some(search, paths)
    with _spreading(cluster, jobs) as spread:
        _prepare(out)
        plan = _Plan(out, settings, masks, overlays, dark_frame)
        jobs_to_do = plan.jobs(batches)
        if search.total is not None:
            jobs_to_do = iter(list(jobs_to_do))
        on_start(None if search.total is None else len(plan.under_way))
        results = ResultSpool(out if isinstance(out, Path) else None)
        drawn: list[Place] = []
        try:
            with closing(score_all(jobs_to_do, spread, elsewhere=bool(cluster))) as scored:
                for index, result in scored:
                    file, overlay = plan.under_way.pop(index)
                    results.add(file.name, on_result(result, file.path))
                    drawn += [overlay] if overlay else []
                    on_done(result)
        finally:
            remove_leftovers(out)  # of worker processes that were ended while they wrote
    finding = search.finding()
    _write_tables(out, finding, results, explain=explain)
    if parquet:
        _write_parquet(out / PARQUET, results, garden, explain=explain)
    in_order = tuple(drawn[place] for place in results.order()) if drawn else ()
    return Run(out, finding, results, in_order, plan.found - len(results))


def _spreading(cluster: str, jobs: int | None) -> AbstractContextManager[Spread]:
    if cluster:
        # Here, because the library would cost every other run half a second.
        from scripts.score.cluster import over_cluster

        return over_cluster(cluster)
    return nullcontext(over_processes(jobs or os.cpu_count() or 1))


def _some(search: PhotoSearch, paths: Sequence[Place]) -> Iterator[Sequence[PhotoFile]]:
    """Return the photos found, of which there is one at least."""
    batches = search.batches()
    first = next(batches, None)
    if first is None:
        raise NoPhotosError(_no_photos(paths, search.finding()))
    return chain([first], batches)


def _no_photos(paths: Sequence[Place], finding: Finding) -> str:
    named = ", ".join(f"“{printable(str(path))}”" for path in paths)
    others = f" (files of other kinds: {finding.other_count})" if finding.other_count else ""
    return " ".join([f"No photos were found in {named}{others}.", *finding.problems[:1]])


def _prepare(out: Place) -> None:
    """Make the output folder, mark it so that it is not taken for photos, and tidy it."""
    write_whole(marker_of(out))
    remove_leftovers(out)


class _Plan:
    """What is to be done with each photo.

    Attributes
    ----------
    found : int
        Photos so far, with those of the torch off.
    under_way : dict of int to (PhotoFile, Path, Address or None)
        Photos whose results are still to come, each with its overlay's place, by number.
    """

    def __init__(
        self, out: Place, settings: Settings, masks: bool, overlays: bool, dark_frame: Path | None
    ) -> None:
        self._out, self._masks, self._overlays = out, masks, overlays
        self._night = settings.mode == "night"
        self._dark = PhotoFile(dark_frame.absolute(), dark_frame.name) if dark_frame else None
        # The summary is for people and long; the workers, to whom it is sent, do without.
        self._classifier = replace(load_classifier(settings.classifier), summary={})
        fingerprint = measuring_fingerprint(settings)
        self._store = ReadingStore(out.absolute() / READINGS, fingerprint)
        self.found = 0
        self.under_way: dict[int, tuple[PhotoFile, Place | None]] = {}

    def jobs(self, batches: Iterable[Sequence[PhotoFile]]) -> Iterator[PhotoJob]:
        """Yield each photo's job, with its torch-off photo, which is no photo of its own."""
        number = 0
        for batch in batches:
            self.found += len(batch)
            names = picture_names([file.name for file in batch])
            pictures = {file.name: name for file, name in zip(batch, names, strict=True)}
            photos, torch_off = pair_torch_off(batch)
            for file in photos:
                overlay = Path("overlays", f"{pictures[file.name]}.jpg") if self._overlays else None
                mask = Path("masks", f"{pictures[file.name]}.png") if self._masks else None
                self.under_way[number] = (file, overlay and self._out / overlay.as_posix())
                number += 1
                yield self._job(file, torch_off.get(file.name, self._dark), mask, overlay)

    def _job(
        self, file: PhotoFile, torch_off: PhotoFile | None, mask: Path | None, overlay: Path | None
    ) -> PhotoJob:
        out = self._out.absolute()  # a worker process may stand in another folder
        return PhotoJob(
            _standing(file),
            self._store,
            self._classifier,
            mask=mask and out / mask.as_posix(),
            overlay=overlay and out / overlay.as_posix(),
            torch_off=torch_off and _standing(torch_off),
            night=self._night,
        )


def _standing(file: PhotoFile) -> PhotoFile:
    return replace(file, path=file.path.absolute())


def _write_tables(
    out: Place, finding: Finding, results: Sequence[PhotoResult], *, explain: bool
) -> None:
    tables = TABLES | EXTRA_TABLES if explain else TABLES
    files: dict[Place, bytes | Iterable[bytes]] = {
        out / f"{name}.csv": TablePieces(table, results) for name, table in tables.items()
    }
    named = [f"“{printable(r.name)}” {r.why_not}\n" for r in results if r.why_not]
    problems = [*named, *(f"{sentence}\n" for sentence in finding.problems)]
    if problems:
        files[out / PROBLEMS] = "".join(problems).encode("utf-8", errors="backslashreplace")
    write_whole(files)
    if not problems:
        (out / PROBLEMS).unlink(missing_ok=True)


def _write_parquet(
    out: Place, results: Sequence[PhotoResult], garden: str, *, explain: bool
) -> None:
    for name, table in (TABLES | EXTRA_TABLES if explain else TABLES).items():
        parts = ((Part.of(garden or _garden_of(one), one.taken_at), one) for one in results)
        write_parquet(out / name, table, parts)


def _garden_of(result: PhotoResult) -> str:
    """Return the first folder in a photo's name, if the plant's own folder lies below it."""
    first, _, rest = result.name.partition("/")
    return first if "/" in rest else ""
