"""Photos measured by a Dask cluster that exists, in bounded numbers, each counted once.

A worker of the cluster does no measuring itself: a process beside it does, and is handed one job
after the other. So a photo that ends its process is known for certain, and costs no worker that
others use as well. Where a worker of the cluster ends, Dask gives its jobs to another.
"""

import logging
import pickle
import platform
import threading
import warnings
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import CancelledError
from contextlib import contextmanager
from functools import cache, partial
from importlib import import_module
from itertools import count
from typing import Any, NamedTuple

import cv2
import numpy as np

from scripts.common.workers import Companion, Done
from scripts.score.spread import Spread
from scripts.score.store import Settings, measuring_fingerprint, package_version
from vision.errors import SpotlampError
from vision.photo.address import without_secrets

__all__ = ["ClusterError", "over_cluster", "run_beside", "versions"]

SECONDS_TO_ANSWER = 15
_A_THREAD = 2  # jobs that are out for each thread of the cluster: one at work, one on its way
_TRIES = 2
_COUNTED_AFTER = 50  # results, after which the cluster's threads are counted again
_DIGITS = 12


class ClusterError(SpotlampError):
    """A cluster cannot be used; the message is one sentence for people."""


class _Out(NamedTuple):
    """A job that is out, and how often it did not come back."""

    job: Any
    losses: int


@cache
def versions() -> dict[str, str]:
    """Return what must be the same here and in every worker, for equal readings."""
    return {
        "Python": ".".join(platform.python_version_tuple()[:2]),
        "spotlamp": package_version(),
        "measuring": measuring_fingerprint(Settings())[:_DIGITS],
        "NumPy": np.__version__,
        "OpenCV": cv2.__version__,
        "distributed": import_module("distributed").__version__,
    }


_beside = threading.local()


def run_beside(
    start: bytes, job: bytes, longest_seconds: float, wanted: dict[str, str]
) -> tuple[str, Any]:
    """Do a job in the process beside this thread of a worker; runs in the cluster.

    Returns
    -------
    str
        ``answer``, ``lost`` or ``version``.
    bytes or str
        The answer as it came; what happened; or what differs here.
    """
    if versions() != wanted:
        return "version", _difference(wanted, versions())
    companion: Companion | None = getattr(_beside, "companion", None)
    if companion is None or companion.start != start:
        companion = _beside.companion = Companion(start)
    return companion.do(job, longest_seconds)


@contextmanager
def over_cluster(address: str) -> Iterator[Spread]:
    """Give what shares out jobs over a running cluster.

    Parameters
    ----------
    address : str
        Of its scheduler, such as ``tcp://192.168.1.20:8786``.

    Raises
    ------
    ClusterError
        When the library is missing, nobody answers, no worker is there, or versions differ.
    """
    try:
        dask = import_module("distributed")
    except ImportError as error:
        raise ClusterError(
            "A cluster needs the extra “cluster”: pip install 'spotlamp[cluster]'."
        ) from error
    for name in ("distributed", "distributed.client"):  # what it would print is said by us
        logging.getLogger(name).setLevel(logging.CRITICAL)
    shown = without_secrets(address)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of other versions, which are told of below
        try:
            client = dask.Client(address, timeout=SECONDS_TO_ANSWER, set_as_default=False)
        except (OSError, ValueError, TypeError) as error:
            raise ClusterError(
                f"No scheduler answers at “{shown}”: “spotlamp guide region” says how to start one."
            ) from error
        try:
            _check(client, shown)
            yield partial(_spread, dask, client, shown)
        finally:
            client.close()


def _check(client: Any, shown: str) -> None:  # noqa: ANN401  Dask's
    """Refuse a cluster without a worker, and one of other versions."""
    try:
        client.wait_for_workers(1, timeout=SECONDS_TO_ANSWER)
    except TimeoutError as error:
        raise ClusterError(f"The cluster at “{shown}” has no worker: start one.") from error
    found = client.run(versions, on_error="return")
    for worker, told in found.items():
        if isinstance(told, Exception):
            raise ClusterError(
                f"The worker {worker} has no spotlamp that runs ({type(told).__name__}): install "
                "the same version there."
            )
        if told != versions():
            raise ClusterError(_refusal(worker, _difference(versions(), told)))


def _refusal(worker: str, difference: str) -> str:
    return (
        f"The worker {worker} would measure otherwise ({difference}): install the same versions "
        "on all machines."
    )


def _difference(here: dict[str, str], there: dict[str, str]) -> str:
    return ", ".join(
        f"{name} {there.get(name, 'missing')}, here {version}"
        for name, version in here.items()
        if there.get(name) != version
    )


def _spread(
    dask: Any,  # noqa: ANN401  a module without types
    client: Any,  # noqa: ANN401  Dask's
    shown: str,
    function: Callable[[Any], Any],
    jobs: Iterable[Any],
    *,
    longest_seconds: float,
    on_lost: Callable[[Any, str], Any],
) -> Iterator[Any]:
    """Yield the results as they come; a job that did not come back is sent once more."""
    counter = _Counter(dask, client, pickle.dumps(function), longest_seconds)
    coming = iter(jobs)
    while True:
        while counter.has_room() and (job := next(coming, None)) is not None:
            if isinstance(job, Done):
                yield job.result
            else:
                counter.send(_Out(job, 0))
        if not counter.out:
            return
        one, future = counter.next()
        kind, told = _told(dask, future, shown)
        if kind == "answer":
            yield _answer(told)
            continue
        said = on_lost(one.job, told)
        if kind == "lost" and one.losses + 1 < _TRIES:
            counter.send(_Out(one.job, one.losses + 1))
        else:
            yield said


class _Counter:
    """Where jobs go out to the cluster and come back, no more at a time than it has use for."""

    def __init__(self, dask: Any, client: Any, start: bytes, longest_seconds: float) -> None:  # noqa: ANN401  Dask's
        self._client, self._start, self._longest_seconds = client, start, longest_seconds
        self._answers = dask.as_completed(loop=client.loop)
        self._numbers = count()
        self._room = 1
        self.out: dict[str, _Out] = {}

    def has_room(self) -> bool:
        """Whether one more job may go out."""
        return len(self.out) < self._room

    def send(self, one: _Out) -> None:
        """Send a job."""
        if next(self._numbers) % _COUNTED_AFTER == 0:  # workers come and go
            self._room = max(1, _A_THREAD * sum(self._client.nthreads().values()))
        job = pickle.dumps(one.job)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of photos that are large
            future = self._client.submit(
                run_beside, self._start, job, self._longest_seconds, versions(), pure=False
            )
        self.out[future.key] = one
        self._answers.add(future)

    def next(self) -> tuple[_Out, Any]:
        """Wait for the next that comes back, or is lost."""
        future = next(self._answers)
        return self.out.pop(future.key), future


def _told(dask: Any, future: Any, shown: str) -> tuple[str, Any]:  # noqa: ANN401  Dask's
    """Return what came of a job: an answer, or how it was lost.

    Raises
    ------
    ClusterError
        When nothing more can come from this cluster, or not from this worker.
    """
    try:
        kind, told = future.result()
    except dask.KilledWorker:
        return "killed", "was at work in several workers of the cluster when they ended"
    except (CancelledError, OSError) as error:
        raise ClusterError(
            f"The scheduler at “{shown}” is gone; what is already measured is kept."
        ) from error
    if kind == "version":
        raise ClusterError(_refusal("that came last", told))
    return kind, told


def _answer(reply: bytes) -> Any:  # noqa: ANN401  whatever the function returns
    raised, result = pickle.loads(reply)
    if raised:
        raise result
    return result
