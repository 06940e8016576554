"""What runs in a worker process: it takes jobs from its parent one by one, and ends with it.

Nothing heavy is imported before the parent is watched: a parent that is killed while its workers
start cannot tell them.
"""

import os
import pickle
import struct
import sys
import threading
from collections.abc import Callable
from queue import SimpleQueue
from typing import IO, Any

__all__ = ["main", "read_frame", "write_frame"]

_LENGTH = struct.Struct("<Q")


def read_frame(stream: IO[bytes]) -> bytes | None:
    """Return the next message whole; None where the other side has ended."""
    head = stream.read(_LENGTH.size)
    if len(head) < _LENGTH.size:
        return None
    (length,) = _LENGTH.unpack(head)
    data = stream.read(length)
    return data if len(data) == length else None


def write_frame(stream: IO[bytes], data: bytes) -> None:
    """Send a message.

    Raises
    ------
    OSError
        When the other side has ended.
    """
    stream.write(_LENGTH.pack(len(data)) + data)
    stream.flush()


def main() -> None:
    """Load the function that the first message names, then answer each job with its result."""
    messages: SimpleQueue[bytes] = SimpleQueue()
    threading.Thread(target=_receive, args=(sys.stdin.buffer, messages), daemon=True).start()
    answers = _own_stdout()
    function: Callable[[Any], Any] = pickle.loads(messages.get())
    _silence()
    write_frame(answers, b"ready")
    while True:
        write_frame(answers, _answered(function, messages.get()))


def _receive(source: IO[bytes], messages: "SimpleQueue[bytes]") -> None:
    while (message := read_frame(source)) is not None:
        messages.put(message)
    os._exit(1)  # the parent has ended: whatever is under way, nobody waits for it


def _own_stdout() -> IO[bytes]:
    """Keep standard output for answers; what libraries print there goes nowhere."""
    answers = os.fdopen(os.dup(1), "wb")
    _lead_nowhere(1)
    return answers


def _silence() -> None:
    """Drop what libraries write about damaged files, once the program has been loaded.

    What goes wrong in a job is answered, not printed.
    """
    _lead_nowhere(2)


def _lead_nowhere(descriptor: int) -> None:
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, descriptor)
    os.close(nowhere)


def _answered(function: Callable[[Any], Any], message: bytes) -> bytes:
    try:
        return pickle.dumps((False, function(pickle.loads(message))))
    except Exception as error:  # raised again in the parent
        try:
            return pickle.dumps((True, error))
        except Exception:
            return pickle.dumps((True, RuntimeError(f"{type(error).__name__}: {error}")))


if __name__ == "__main__":
    main()
