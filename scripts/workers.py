"""Processes that share out work, and end with the run whatever happens to it."""

import os
import signal
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from typing import TypeVar

import cv2
from threadpoolctl import threadpool_limits

__all__ = ["WorkersLostError", "spread_over_processes", "use_one_thread"]

Job = TypeVar("Job")
Result = TypeVar("Result")


class WorkersLostError(Exception):
    """A worker process ended by itself; the message is one sentence for people."""


def spread_over_processes(
    function: Callable[[Job], Result], jobs: Sequence[Job], processes: int
) -> Iterator[Result]:
    """Yield the function's result for each job as it comes, in no order.

    Parameters
    ----------
    function : callable
        At the top level of a module, so that another process can find it.
    jobs : sequence
        What it is called with, one by one.
    processes : int
        Processes at most; with one the work is done in this process.

    Raises
    ------
    WorkersLostError
        When a process was ended from outside, as for want of memory.
    """
    processes = min(processes, len(jobs))
    if processes <= 1:
        yield from map(function, jobs)
    else:
        yield from _in_processes(function, jobs, processes)


def use_one_thread() -> None:
    """Keep this process's libraries in one thread: the jobs are spread over the processes."""
    cv2.setNumThreads(1)
    _one_blas_thread()


@cache
def _one_blas_thread() -> None:
    """Keep NumPy's products in one thread, once a process.

    The layers of our networks are so small that several threads take ten times as long with them.
    """
    threadpool_limits(1, "blas")


def _in_processes(
    function: Callable[[Job], Result], jobs: Sequence[Job], processes: int
) -> Iterator[Result]:
    from joblib import Parallel, delayed
    from joblib.externals.loky import get_reusable_executor
    from joblib.externals.loky.process_executor import TerminatedWorkerError

    parallel = Parallel(n_jobs=processes, return_as="generator_unordered", backend="loky")
    finished = False
    try:
        with _workers_deaf_to_interrupts():
            results = parallel(delayed(_in_worker)(function, job, os.getpid()) for job in jobs)
        yield from results
        finished = True
    except TerminatedWorkerError as error:
        raise WorkersLostError(
            "The system ended a worker process, probably for want of memory: try --jobs 1; "
            "the photos already measured are kept."
        ) from error
    finally:
        if not finished:  # interrupted or out of disk: nobody waits for the photos under way
            get_reusable_executor().shutdown(wait=True, kill_workers=True)


@contextmanager
def _workers_deaf_to_interrupts() -> Iterator[None]:
    """Let the processes started meanwhile ignore Ctrl-C, which a terminal sends to all of them.

    This process ends them itself; otherwise each would print its own traceback first. A new
    process takes over what its parent ignores, so this one is deaf too, for the moment of the
    start (about 0.05 s).
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _in_worker(function: Callable[[Job], Result], job: Job, parent: int) -> Result:
    _leave_with(parent)
    return function(job)


@cache
def _leave_with(parent: int) -> None:
    """Let this worker end when its parent has ended.

    A killed parent cannot say goodbye, and its workers would wait for it for ever.
    """

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(1)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()
