"""What is done before anybody asks: the garden is gathered, and its record looked through.

Gathering a garden for the first time reads all photos of its season, and takes seconds. So it is
gathered when the page starts, and again when photos were filed; who comes then finds it done. Now
and then each row of the record is held against its checksum, as the commands do: what is kept of
plants' days would otherwise hide what a disk damages after it was read.
"""

import threading
from contextlib import suppress
from contextvars import copy_context
from time import monotonic

from scripts.page.standing import Desk
from vision.errors import SpotlampError

__all__ = ["Ahead"]

_FIRST_S, _EVERY_S = 60, 3600  # after the start, and then: until the record is looked through


class Ahead:
    """Gathers a garden in a thread of its own.

    Parameters
    ----------
    desk : Desk
        Hands out the garden as it stands.
    """

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._asked = threading.Event()
        self._closing = False
        self._worker: threading.Thread | None = None

    def start(self) -> None:
        """Gather the garden, and go on until the page ends."""
        work = copy_context()  # who listens to remarks, listens to ours
        self._worker = threading.Thread(
            target=work.run, args=(self._work,), name="ahead", daemon=True
        )
        self._worker.start()

    def gather(self) -> None:
        """Gather what has changed; returns at once."""
        self._asked.set()

    def close(self) -> None:
        """End, after what is being done just now."""
        self._closing = True
        self._asked.set()
        if self._worker is not None:
            self._worker.join()

    def _work(self) -> None:
        due = monotonic() + _FIRST_S
        while not self._closing:
            with suppress(SpotlampError):  # the page that is asked for says it
                self._desk.standing()
                if monotonic() >= due:
                    due = monotonic() + _EVERY_S
                    self._desk.look_through()
            self._asked.wait(max(0.0, due - monotonic()))
            self._asked.clear()
