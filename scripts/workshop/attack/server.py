"""A PostgreSQL server of our own in a folder, for tests and attacks: started and killed."""

import atexit
import os
import shutil
import signal
import subprocess
import time
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

__all__ = ["GUARDED", "OWNER", "Server", "server_programs"]

OWNER = "owner"
"""The user who may do everything there."""

GUARDED = "guarded"
"""The only user who is asked for a password."""

_QUICK = ("fsync=off", "full_page_writes=off", "synchronous_commit=off", "shared_buffers=16MB")
_LONGEST_START_SECONDS = 300
_DEBIAN = Path("/usr/lib/postgresql")


def server_programs() -> Path | None:
    """Return the folder of the server's programs, the newest; None where there is none."""
    found = shutil.which("postgres")
    if found:
        return Path(found).resolve().parent
    versions = sorted(_DEBIAN.glob("*/bin/postgres"), key=lambda path: int(path.parts[-3]))
    return versions[-1].parent if versions else None


class Server:
    """A server that is reached through a socket in its folder alone.

    Parameters
    ----------
    folder : Path
        Of its data; empty, and of a short name, for a socket's address is short.
    quick : bool
        Whether it need not outlast a kill of the machine: nothing is then forced to the disk.

    Raises
    ------
    FileNotFoundError
        When no server is installed.
    """

    def __init__(self, folder: Path, *, quick: bool = False) -> None:
        programs = server_programs()
        if programs is None:
            raise FileNotFoundError("a PostgreSQL server")
        self._programs, self._folder = programs, folder
        self._options = _QUICK if quick else ()
        self._process: subprocess.Popen[bytes] | None = None
        # The server refuses to run with all rights.
        self._as: dict[str, Any] = {}
        if os.geteuid() == 0:
            self._as = {"user": _somebody(), "extra_groups": ()}
            shutil.chown(folder, self._as["user"])
        how = ["-A", "trust", "-U", OWNER, "-E", "UTF8", "--locale=C", "--no-sync"]
        self._run("initdb", "-D", str(folder / "data"), *how)
        rules = folder / "data" / "pg_hba.conf"
        rules.write_text(f"local all {GUARDED} scram-sha-256\n{rules.read_text()}")
        atexit.register(self.stop)

    def url(self, database: str, user: str = OWNER) -> str:
        """Return the address of a database."""
        return f"postgresql://{user}@/{database}?host={self._folder}"

    def start(self) -> None:
        """Start the server, and wait until it lets in."""
        deadline = time.monotonic() + _LONGEST_START_SECONDS
        # What a killed server has left in the machine's memory may bar the next one for a moment.
        while not self._lets_in():
            if self._process is None or self._process.poll() is not None:
                self._process = self._begun()
            if time.monotonic() > deadline:
                raise TimeoutError((self._folder / "log").read_text("utf-8", "replace")[-2000:])
            time.sleep(0.05)

    def _begun(self) -> subprocess.Popen[bytes]:
        program, settings = self._programs / "postgres", ["listen_addresses=", *self._options]
        command = [program, "-D", self._folder / "data", "-k", self._folder]
        options = [part for one in settings for part in ("-c", one)]
        nothing = subprocess.DEVNULL
        with (self._folder / "log").open("ab") as log:
            return subprocess.Popen(
                [*map(str, command), *options],
                stdin=nothing, stdout=nothing, stderr=log, cwd=self._folder, **self._as,
            )  # fmt: skip

    def stop(self) -> None:
        """End the server in order."""
        if self._process is not None and self._process.poll() is None:
            self._process.send_signal(signal.SIGINT)
            self._process.wait(_LONGEST_START_SECONDS)

    def kill(self) -> None:
        """Kill the server with all its processes, none of which can answer."""
        if self._process is None:
            return
        pids = [self._process.pid, *_children(self._process.pid)]
        for pid in pids:
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        self._process.wait()

    def run(self, database: str, *statements: str) -> str:
        """Run statements as the owner, each by itself, and return what they say."""
        each = [part for statement in statements for part in ("-c", statement)]
        where = ["-h", str(self._folder), "-U", OWNER, "-d", database]
        return self._run("psql", "-X", "-A", "-t", "-q", "-v", "ON_ERROR_STOP=1", *where, *each)

    def _lets_in(self) -> bool:
        try:
            self._run("psql", "-X", "-h", str(self._folder), "-U", OWNER, "-c", "", "postgres")
        except subprocess.CalledProcessError:
            return False
        return True

    def _run(self, program: str, *arguments: str) -> str:
        command = [str(self._programs / program), *arguments]
        done = subprocess.run(
            command, check=True, capture_output=True, text=True, cwd=self._folder, **self._as
        )
        return str(done.stdout)


def _somebody() -> str:
    import pwd

    names = {entry.pw_name for entry in pwd.getpwall()}
    return "postgres" if "postgres" in names else "nobody"


def _children(pid: int) -> Sequence[int]:
    with suppress(OSError):
        found = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
        return [int(one) for one in found]
    return []
