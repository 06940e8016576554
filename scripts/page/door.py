"""Who may come in from the home network: each device gives the terminal's code once.

A code serves one device and is then another. Wrong ones are slowed, each wait twice the last, and
after a few the door stays shut for a while and the code is thrown away. A device that came in keeps
a token; only its hash is stored.
"""

import hashlib
import hmac
import json
import math
import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from typing import Literal

from scripts.common.files import write_whole

__all__ = ["CODE_DIGITS", "MOST_WRONG", "Answer", "Door"]

CODE_DIGITS = 8
MOST_WRONG = 10
"""Wrong codes after which the door is shut: one in ten million guesses would open it by then."""

_FIRST_WAIT_S = 1.0
_LONGEST_WAIT_S = 60.0
_SHUT_S = 15 * 60.0
_MOST_DEVICES = 50
_TOKEN_BYTES = 32


@dataclass(frozen=True)
class Answer:
    """What came of a code that was given.

    Attributes
    ----------
    what : {"in", "wrong", "wait", "shut"}
        ``wait`` and ``shut``: the code was not looked at.
    token : str
        What the device shows from now on; empty unless it came in.
    wait_s : int
        Seconds until the next code is looked at.
    """

    what: Literal["in", "wrong", "wait", "shut"]
    token: str = ""
    wait_s: int = 0


class Door:
    """Lets devices in that give the code.

    Parameters
    ----------
    kept : Path
        File of the hashes of the devices' tokens.
    show : callable
        Told each new code, to show it where only the grower sees it.
    clock : callable
        Seconds that only go on.
    """

    def __init__(
        self,
        kept: Path,
        show: Callable[[str], None] = lambda code: None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._kept, self._show, self._clock = kept, show, clock
        self._lock = Lock()
        self._devices = _devices_in(kept)
        self._wrong = 0
        self._closed_until = -math.inf
        self._code = self._new_code()

    def open(self) -> None:
        """Show the first code."""
        self._show(self._code)

    def knows(self, token: str) -> bool:
        """Whether a device with this token came in before."""
        return _hash(token) in self._devices

    def give(self, code: str) -> Answer:
        """Return what comes of a code that a device gives."""
        with self._lock:
            left = math.ceil(max(0.0, self._closed_until - self._clock()))
            if left > 0:
                return Answer("shut" if self._wrong == 0 else "wait", wait_s=left)
            given = "".join(sign for sign in code if sign.isascii() and sign.isdigit())
            if not hmac.compare_digest(given, self._code):
                return self._refuse()
            return Answer("in", self._admit())

    def _refuse(self) -> Answer:
        self._wrong += 1
        if self._wrong >= MOST_WRONG:
            self._wrong = 0
            self._closed_until = self._clock() + _SHUT_S
            self._change_code()
            return Answer("shut", wait_s=int(_SHUT_S))
        wait = min(_LONGEST_WAIT_S, _FIRST_WAIT_S * 2 ** (self._wrong - 1))
        self._closed_until = self._clock() + wait
        return Answer("wrong", wait_s=math.ceil(wait))

    def _admit(self) -> str:
        token = secrets.token_urlsafe(_TOKEN_BYTES)
        self._devices = [*self._devices, _hash(token)][-_MOST_DEVICES:]
        write_whole({self._kept: json.dumps(self._devices).encode()})
        self._kept.chmod(0o600)
        self._wrong = 0
        self._change_code()
        return token

    def _change_code(self) -> None:
        self._code = self._new_code()
        self._show(self._code)

    def _new_code(self) -> str:
        return f"{secrets.randbelow(10**CODE_DIGITS):0{CODE_DIGITS}}"


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _devices_in(kept: Path) -> list[str]:
    try:
        devices = json.loads(kept.read_bytes())
    except (OSError, ValueError):
        return []
    return [one for one in devices if isinstance(one, str)] if isinstance(devices, list) else []
