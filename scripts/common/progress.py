"""How far a run is, on standard error: a bar on a terminal, plain lines anywhere else."""

import sys
import time
from types import TracebackType
from typing import Self

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

__all__ = ["PhotoProgress", "progress_line"]

_SECONDS_BETWEEN_LINES = 5.0


class PhotoProgress:
    """Photos done, photos in all, time left. Use as a context; call ``start``, then ``done``."""

    def __init__(self) -> None:
        self._bar = Progress(
            TextColumn("Measuring"),
            BarColumn(),
            MofNCompleteColumn(),
            TextColumn("photos, left"),
            TimeRemainingColumn(),
            console=Console(stderr=True),
            disable=not sys.stderr.isatty(),
            transient=True,
        )
        self._total: int | None = 0
        self._count = 0
        self._began = self._last_line = time.monotonic()

    def __enter__(self) -> Self:
        self._bar.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._bar.stop()

    def start(self, total: int | None) -> None:
        """Tell how many photos there are; None where that is not known yet.

        Told again, the count begins anew.
        """
        self._total, self._count = total, 0
        self._began = self._last_line = time.monotonic()
        self._task = self._bar.add_task("", total=total)

    def done(self, result: object) -> None:
        """Tell that one more photo is done, whatever came of it."""
        self._count += 1
        self._bar.advance(self._task)
        now = time.monotonic()
        if self._bar.disable and self._due(now):
            self._last_line = now
            print(progress_line(self._count, self._total, now - self._began), file=sys.stderr)

    def _due(self, now: float) -> bool:
        last = self._count == self._total
        return last or now - self._last_line >= _SECONDS_BETWEEN_LINES


def progress_line(count: int, total: int | None, seconds: float) -> str:
    """Return a plain line: photos done and the time left, judged from the time so far.

    >>> progress_line(10, 40, 20.0)
    '10 of 40 photos done, about 60 s left'
    """
    if total is None:
        return f"{count} photos done"
    line = f"{count} of {total} photos done"
    if count == total:
        return line
    return f"{line}, about {seconds / count * (total - count):.0f} s left"
