"""The work of ``spotlamp serve``: where the page listens, and what the terminal says of it."""

import socket
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import segno
import uvicorn

from models.garden.settings import read_garden
from scripts.common.moments import moment
from scripts.common.terminal import say
from scripts.common.which_garden import chosen_garden
from scripts.page.app import garden_app
from scripts.page.door import Door
from scripts.page.guard import SCHEME
from scripts.page.pictures import kept_folder
from scripts.page.standing import Desk
from vision.errors import SpotlampError

__all__ = ["CannotListenError", "qr_lines", "serve_garden"]

_LOCAL = "127.0.0.1"
_SOMEWHERE = ("192.0.2.1", 9)  # reserved for examples: asked which way leads there, never called
_MOST_AT_ONCE = 200
_QUIET = 2  # light modules around the code


class CannotListenError(SpotlampError):
    """The page cannot listen where it should; the message is one sentence for people."""


def serve_garden(named: Path | None, port: int, at: str | None, *, phone: bool) -> None:
    """Serve a garden's page until it is interrupted.

    Parameters
    ----------
    named : Path or None
        The garden's folder; found from where we stand otherwise.
    port : int
        Where to listen.
    at : str or None
        The moment as of which everything is shown.
    phone : bool
        Whether devices of the home network may come in with a code.

    Raises
    ------
    CannotListenError
        When the port is taken, or there is no home network.
    SpotlampError
        When the garden cannot be used.
    """
    folder = chosen_garden(named).absolute()
    garden = read_garden(folder)
    moment(at, garden.time_zone)  # one that cannot be read is said before anything starts
    network = _address_in_network() if phone else ""
    door = Door(kept_folder(folder) / "devices.json", lambda code: _show(code, network, port))
    hosts = [f"{name}:{port}" for name in (_LOCAL, "localhost", network) if name]
    app = garden_app(
        Desk(folder, at, keeps_days=True), hosts=hosts, port=port, door=door if phone else None
    )
    with _listening("0.0.0.0" if phone else _LOCAL, port) as listener:
        say(f"The garden page of “{garden.name}”: {SCHEME}://{_LOCAL}:{port}/ (Ctrl-C ends it)")
        if phone:
            door.open()
        config = uvicorn.Config(
            app,
            log_level="error",
            access_log=False,
            server_header=False,
            limit_concurrency=_MOST_AT_ONCE,
            timeout_graceful_shutdown=3,
        )
        with suppress(KeyboardInterrupt):
            uvicorn.Server(config).run(sockets=[listener])
    say("The garden page has ended. Photos that still wait are scored when it runs again.")


def _listening(name: str, port: int) -> socket.socket:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((name, port))
    except OSError as error:
        listener.close()
        raise CannotListenError(
            f"Port {port} cannot be used ({error.strerror}): is the page running already? Name "
            "another with --port N."
        ) from error
    return listener


def _address_in_network() -> str:
    """Return this computer's address in the home network."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(_SOMEWHERE)
            return str(asking.getsockname()[0])
        except OSError as error:
            raise CannotListenError(
                "This computer is in no network: connect it to your home network, then start again."
            ) from error


def _show(code: str, network: str, port: int) -> None:
    address = f"{SCHEME}://{network}:{port}/enter"
    say("\n".join(["", *qr_lines(f"{address}?code={code}"), ""]))
    say(f"On a phone of this home network open {address} and give the code {code}.")
    say("Each device gives a code once; then the next one is shown here.")


def qr_lines(text: str) -> Iterator[str]:
    """Yield a QR code as lines of half blocks, light on dark as terminals are."""
    matrix = [[bool(module) for module in row] for row in segno.make(text, micro=False).matrix]
    wide = len(matrix[0]) + 2 * _QUIET
    blank = [[False] * wide] * _QUIET
    side = [False] * _QUIET
    rows = [*blank, *([*side, *row, *side] for row in matrix), *blank]
    if len(rows) % 2:
        rows.append([False] * wide)
    for upper, lower in zip(rows[::2], rows[1::2], strict=True):
        yield "".join(_HALVES[above, below] for above, below in zip(upper, lower, strict=True))


_HALVES = {(True, True): " ", (True, False): "▄", (False, True): "▀", (False, False): "█"}
"""A character for two modules, one above the other, dark ones true."""
