"""Processes that share out work, and end with the run whatever happens to it.

Each process is handed one job at a time (``scripts.common.worker`` is what runs in it), so that it
is known which job it died of, or which takes too long. It hears of the end of its parent through
the pipe by which it gets its jobs, from its first moment on.
"""

import os
import pickle
import signal
import subprocess
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any, TypeVar

import cv2
from threadpoolctl import threadpool_limits

from scripts.common.worker import read_frame, write_frame
from vision.errors import SpotlampError

__all__ = ["Companion", "Done", "WorkersLostError", "spread_over_processes", "use_one_thread"]

Job = TypeVar("Job")
Result = TypeVar("Result")

_ROOT = Path(__file__).parents[2]
_NONE = object()


@dataclass(frozen=True, eq=False)
class Done:
    """A job whose result is known already: it stands among the others and costs no process."""

    result: Any


class WorkersLostError(SpotlampError):
    """A worker process ended by itself; the message is one sentence for people."""


def spread_over_processes(
    function: Callable[[Job], Result],
    jobs: Iterable[Job],
    processes: int,
    *,
    longest_seconds: float | None = None,
    on_lost: Callable[[Job, str], Result] | None = None,
) -> Iterator[Result]:
    """Yield the function's result for each job as it comes, in no order.

    Parameters
    ----------
    function : callable
        At the top level of a module, so that another process can find it. What it raises is
        raised here, and ends the work.
    jobs : iterable
        What it is called with, one by one; taken as processes become free. Of one that is `Done`
        already the result is yielded.
    processes : int
        Processes at most.
    longest_seconds : float, optional
        A job that takes longer is given up, and its process ended.
    on_lost : callable, optional
        Takes a job whose process ended by itself, or was ended because the job took too long, and
        what happened, as words that go on after the job's name; returns what is yielded in its
        place. The other jobs go on. Without it such an end is an error.

    Raises
    ------
    WorkersLostError
        When a process could not be started, or ended by itself and nobody takes its job.
    """
    yield from _in_processes(function, jobs, processes, longest_seconds, on_lost)


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
    function: Callable[[Job], Result],
    jobs: Iterable[Job],
    processes: int,
    longest_seconds: float | None,
    on_lost: Callable[[Job, str], Result] | None,
) -> Iterator[Result]:
    replies: SimpleQueue[tuple[_Worker, bytes | None]] = SimpleQueue()
    coming, waiting = iter(jobs), deque[Any]()
    yield from _fill(waiting, coming, processes)
    start = pickle.dumps(_findable(function))
    workers = {_Worker(start, replies) for _ in waiting}
    try:
        while workers:
            worker, reply = _next_reply(replies, workers, longest_seconds)
            if worker not in workers:  # the end of one that was ended
                continue
            worker_done = worker.busy
            found = _found(worker, reply, longest_seconds, on_lost)
            if reply is None or worker.late or not waiting:
                worker.end()
                workers.remove(worker)
                if waiting:
                    worker = _Worker(start, replies)
                    workers.add(worker)
            else:
                worker.give(waiting.popleft())
            if worker_done:
                yield found
            yield from _fill(waiting, coming, processes)
    finally:  # interrupted or out of disk: nobody waits for the jobs under way
        for worker in workers:
            worker.end()


def _fill(waiting: deque[Any], coming: Iterator[Any], number: int) -> Iterator[Any]:
    """Take as many jobs as may wait; yield the results of those that are done already."""
    while len(waiting) < number and (job := next(coming, _NONE)) is not _NONE:
        if isinstance(job, Done):
            yield job.result
        else:
            waiting.append(job)


class _Worker:
    """One process, the job that it has, and a thread that waits for its replies.

    The first reply says that it is ready; each one after it answers a job.
    """

    def __init__(self, start: bytes, replies: "SimpleQueue[tuple[_Worker, bytes | None]]") -> None:
        self.busy = self.late = False
        self.job: Any = None
        self._began = 0.0
        with _deaf_to_interrupts():
            self.process = subprocess.Popen(
                [sys.executable, "-P", "-m", "scripts.common.worker"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                env=_environment(),
            )
        self.send(start)
        threading.Thread(target=self._listen, args=(replies,), daemon=True).start()

    def give(self, job: object) -> None:
        """Hand over a job."""
        self.job, self.busy, self._began = job, True, time.monotonic()
        self.send(pickle.dumps(job))

    def seconds_left(self, longest_seconds: float) -> float:
        """Return how long the job may still take; without a job for ever."""
        if not self.busy:
            return float("inf")
        return max(0.0, self._began + longest_seconds - time.monotonic())

    def kill(self) -> None:
        """End the process; its listener then tells of the end."""
        with suppress(OSError):
            self.process.kill()

    def end(self) -> None:
        """End the process, if it runs, and wait for its end."""
        self.kill()
        self.process.wait()
        if self.process.stdin:
            with suppress(OSError):
                self.process.stdin.close()

    def send(self, data: bytes) -> None:
        """Send a message, unless the process has ended."""
        if self.process.stdin:
            with suppress(OSError):  # it has just ended: the listener tells
                write_frame(self.process.stdin, data)

    def _listen(self, replies: "SimpleQueue[tuple[_Worker, bytes | None]]") -> None:
        if self.process.stdout is None:
            return
        with self.process.stdout as stream:
            while (reply := read_frame(stream)) is not None:
                replies.put((self, reply))
        replies.put((self, None))


class Companion:
    """One process beside this one, which does one job after the other; messages stay pickled.

    Parameters
    ----------
    start : bytes
        The function, pickled.
    """

    def __init__(self, start: bytes) -> None:
        self.start = start
        self._worker: _Worker | None = None
        self._replies: SimpleQueue[tuple[_Worker, bytes | None]] = SimpleQueue()

    def do(self, job: bytes, longest_seconds: float) -> tuple[str, Any]:
        """Have a pickled job done; a process that was ended has a new one in its place.

        Returns
        -------
        str
            ``answer`` or ``lost``.
        bytes or str
            The pickled answer, as the process gave it; or what happened, as words that go on after
            the job's name.
        """
        if self._worker is None:
            self._replies = SimpleQueue()
            self._worker = _Worker(self.start, self._replies)
            self._replies.get()  # it is ready; if it has ended, the job will not come back
        self._worker.send(job)
        try:
            _, reply = self._replies.get(timeout=longest_seconds)
        except Empty:
            return self._lost(longest_seconds)
        return self._lost(None) if reply is None else ("answer", reply)

    def _lost(self, late_seconds: float | None) -> tuple[str, Any]:
        if self._worker is not None:
            self._worker.end()
        self._worker = None
        return "lost", _what(late_seconds)


def _environment() -> dict[str, str]:
    """Return the environment in which a process finds this package, wherever it stands."""
    paths = (str(_ROOT), os.environ.get("PYTHONPATH", ""))
    return {**os.environ, "PYTHONPATH": os.pathsep.join(path for path in paths if path)}


def _findable(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return the function as another process finds it: not in the script that was started here."""
    started = sys.modules["__main__"].__spec__
    if function.__module__ != "__main__" or started is None:
        return function
    __import__(started.name)
    found: Callable[..., Any] = getattr(sys.modules[started.name], function.__name__)
    return found


def _next_reply(
    replies: "SimpleQueue[tuple[_Worker, bytes | None]]",
    workers: set[_Worker],
    longest_seconds: float | None,
) -> tuple[_Worker, bytes | None]:
    """Wait for the next reply, or for the end of a process that was ended for being late."""
    while longest_seconds is not None:
        soonest = min(workers, key=lambda worker: worker.seconds_left(longest_seconds))
        left = soonest.seconds_left(longest_seconds)
        if soonest.late or left == float("inf"):
            break
        try:
            return replies.get(timeout=left) if left else replies.get_nowait()
        except Empty:
            soonest.late = True
            soonest.kill()
    return replies.get()


def _found(
    worker: _Worker,
    reply: bytes | None,
    longest_seconds: float | None,
    on_lost: Callable[[Any, str], Result] | None,
) -> Any:  # noqa: ANN401  whatever the function returns
    """Return what came of the worker's job; None for one that says that it is ready."""
    if reply is None:
        return _lost(worker, longest_seconds, on_lost)
    if not worker.busy:
        return None
    raised, result = pickle.loads(reply)
    if raised:
        raise result
    return result


def _lost(
    worker: _Worker,
    longest_seconds: float | None,
    on_lost: Callable[[Any, str], Result] | None,
) -> Result:
    if not worker.busy or on_lost is None:
        raise WorkersLostError(
            "The system ended a worker process, probably for want of memory: try --jobs 1; "
            "what is already measured is kept."
        )
    return on_lost(worker.job, _what(longest_seconds if worker.late else None))


def _what(late_seconds: float | None) -> str:
    """Return what happened to a job that did not come back, as words that go on after its name."""
    if late_seconds is not None:
        return f"took longer than {late_seconds:.0f} s"
    return "ended the process that measured it, probably for want of memory"


@contextmanager
def _deaf_to_interrupts() -> Iterator[None]:
    """Let the process started meanwhile ignore Ctrl-C, which a terminal sends to all of them.

    This process ends them itself; otherwise each would print its own traceback first. A new
    process takes over what its parent ignores, so this one is deaf too, for the moment of the
    start.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
