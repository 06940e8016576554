"""Photos shared out: what is known already first, the rest measured by processes or a cluster."""

from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, Protocol

from scripts.common.workers import Done, spread_over_processes
from scripts.score.kept import kept_reading, lost
from scripts.score.photo import PhotoJob, Scored, keep, score_photo, unmeasured
from scripts.score.results import PhotoResult
from vision.photo.address import Address, Place
from vision.photo.content import read_content
from vision.photo.decode import UnreadablePhoto
from vision.photo.find import printable

__all__ = ["LONGEST_SECONDS", "Spread", "over_processes", "score_all"]

LONGEST_SECONDS = 60.0
"""The longest that one photo may take: more than fifty times what a photo of 12 megapixels does."""
_AT_ONCE = 16  # questions to a store
_AHEAD = 32  # photos; their bytes are in memory where they travel with their jobs

Numbered = tuple[int, PhotoJob]


class Spread(Protocol):
    """Shares out jobs; see `spread_over_processes`."""

    def __call__(
        self,
        function: Callable[[Any], Any],
        jobs: Iterable[Any],
        *,
        longest_seconds: float,
        on_lost: Callable[[Any, str], Any],
    ) -> Iterator[Any]:
        """Yield what the function returns, as it comes."""


def over_processes(processes: int) -> Spread:
    """Return what shares out jobs over processes of this computer."""
    return partial(spread_over_processes, processes=processes)


@dataclass(frozen=True, eq=False)
class _Desk:
    """From where jobs go out, and to which some results come back to be written.

    Attributes
    ----------
    elsewhere : bool
        Whether other computers do the work, which do not see the folders of this one.
    out : dict of int to PhotoJob
        Those whose results are handed back, while they are out.
    """

    elsewhere: bool
    out: dict[int, PhotoJob] = field(default_factory=dict)

    def ready(self, numbered: Numbered) -> Numbered | Done:
        """Return a job with all that it needs on its way, or its result if that is known."""
        index, job = numbered
        files = [file for file in (job.file, job.torch_off) if file and self._is_far(file.path)]
        try:
            job = replace(job, contents={file.path: read_content(file.path) for file in files})
        except UnreadablePhoto as error:
            said = str(error).removeprefix(f"“{printable(job.file.path.name)}” ")
            return Done((index, Scored(unmeasured(job.file, said))))
        if (kept := kept_reading(job)) is not None:
            return Done((index, Scored(kept)))
        if self._is_far(job.store.folder):
            job = replace(job, hand_back=True)
            self.out[index] = replace(job, contents={})
        return index, job

    def settle(self, index: int, scored: Scored) -> PhotoResult:
        """Write what was handed back, and return the result."""
        if (job := self.out.pop(index, None)) is not None:
            keep(job, scored)
        return scored.result

    def asks(self, job: PhotoJob) -> bool:
        """Whether getting it ready takes an answer from afar, or the bytes of its photo."""
        return isinstance(job.store.folder, Address) or self._is_far(job.file.path)

    def _is_far(self, place: Place) -> bool:
        """Whether the processes at work cannot reach a place."""
        if isinstance(place, Address):
            return not place.reached_from_everywhere
        return self.elsewhere


def score_all(
    jobs: Iterable[PhotoJob], spread: Spread, *, elsewhere: bool = False
) -> Generator[tuple[int, PhotoResult], None, None]:
    """Yield every job's number and result, as it is known or measured; each once.

    Parameters
    ----------
    jobs : iterable of PhotoJob
        Taken as they are needed.
    spread : callable
        Shares them out.
    elsewhere : bool
        Whether other computers do the work, which do not see the folders of this one.
    """
    desk = _Desk(elsewhere)
    coming = _ahead(desk, enumerate(jobs))
    for index, scored in spread(
        _score_numbered, coming, longest_seconds=LONGEST_SECONDS, on_lost=_lost
    ):
        yield index, desk.settle(index, scored)


def _ahead(desk: _Desk, numbered: Iterable[Numbered]) -> Iterator[Numbered | Done]:
    """Yield jobs made ready, some ahead where that takes waiting."""
    waiting: deque[Any] = deque()
    with ThreadPoolExecutor(_AT_ONCE) as threads:
        for one in numbered:
            if not desk.asks(one[1]):
                yield desk.ready(one)
                continue
            waiting.append(threads.submit(desk.ready, one))
            if len(waiting) >= _AHEAD:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()


def _score_numbered(job: Numbered | Done) -> tuple[int, Scored]:
    if isinstance(job, Done):
        found: tuple[int, Scored] = job.result
        return found
    return job[0], score_photo(job[1])


def _lost(job: Numbered, what: str) -> tuple[int, Scored]:
    """Name the photo whose process did not come back."""
    return job[0], Scored(lost(job[1], what))
