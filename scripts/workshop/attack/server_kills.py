"""Kill stations and the PostgreSQL server while stations file, and see whether the journal holds.

    python -m scripts.workshop attack server_kills [--clients 20] [--servers 5] [--seed 1]

Two stations file the same photos at the same time, and each logs notes of its own. Now a station
is killed (SIGKILL, which no program can answer) and another takes its place; now the server is
killed with all its processes and started again, and the stations have to go on by themselves.
At the end each photo that a station was told to be filed must be there once and whole, and each
note that it was told to be logged once; what it was just about to say may be there once or not.
Costs about two minutes, and needs PostgreSQL.
"""

import argparse
import random
import subprocess
import sys
import tempfile
import time
from collections import Counter
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from models.entries import Find, LeafEntry, LogEntry, PhotoEntry
from models.journal import Journal, open_journal
from scripts.workshop.attack.server import Server
from vision.records import Lesion

__all__ = ["ServerOutcome", "kill_on_server"]

_DATABASE = "garden"
_STATIONS = ("east", "west")
_START = datetime(2025, 6, 1, 9, tzinfo=UTC)
_MOST_LEAVES = 4
_LONGEST_SECONDS = 600
_UNDISTURBED = 3  # notes that each station gets through between two kills, at least
_PAUSE_SECONDS = 0.3


@dataclass(frozen=True)
class ServerOutcome:
    """What the killing did.

    Attributes
    ----------
    photos, notes : int
        That are in the journal at the end.
    in_doubt : int
        Notes that a killed station was just about to log.
    problems : tuple of str
        What was wrong; empty when the journal held.
    """

    photos: int
    notes: int
    in_doubt: int
    problems: tuple[str, ...]


def kill_on_server(folder: Path, clients: int, servers: int, seed: int) -> ServerOutcome:
    """Let two stations file while they and their server are killed, and look at the journal.

    Parameters
    ----------
    folder : Path
        Empty, of a short name; the server and what the stations say go into it.
    clients, servers : int
        How many stations, and how often the server, are killed.
    seed : int
        Of the moments and of who is killed.
    """
    chance = random.Random(seed)
    data = folder / "server"
    data.mkdir()
    server = Server(data)
    stations: list[_Station] = []
    server.start()
    try:
        server.run("postgres", f"CREATE DATABASE {_DATABASE}")
        stations += [_Station(server.url(_DATABASE), name, folder) for name in _STATIONS]
        kills = ["client"] * clients + ["server"] * servers
        chance.shuffle(kills)
        for kill in kills:
            _wait_for(stations)
            time.sleep(chance.uniform(0, _PAUSE_SECONDS))
            if kill == "client":
                chance.choice(stations).kill()
            else:
                server.kill()
                time.sleep(chance.uniform(0, _PAUSE_SECONDS))
                server.start()
        _wait_for(stations)
        codes = [station.end() for station in stations]
        with open_journal(server.url(_DATABASE)) as journal:
            outcome = _judged(journal, [station.said() for station in stations])
        ended = [f"a station ended with {code}" for code in codes if code]
        return replace(outcome, problems=(*outcome.problems, *ended))
    finally:
        for station in stations:
            station.end()
        server.stop()


class _Station:
    """A process that files, and says on a file what it is about to do and what is done."""

    def __init__(self, url: str, name: str, folder: Path) -> None:
        self._url, self._name = url, name
        self._said, self._stop = folder / f"{name}.txt", folder / f"{name}.stop"
        self._said.touch()
        self._process = self._begun()

    def _begun(self) -> subprocess.Popen[bytes]:
        # What was in doubt when the last one was killed is not said again.
        first = 1 + sum(line.startswith("ask") for line in self.said())
        command = [sys.executable, "-m", __name__, "--station", self._url, self._name]
        with self._said.open("ab") as out:
            return subprocess.Popen([*command, str(first), str(self._stop)], stdout=out)

    def said(self) -> list[str]:
        """Return all whole lines that it said, and that those before it said."""
        return self._said.read_text("utf-8").split("\n")[:-1]

    def kill(self) -> None:
        self._process.kill()
        self._process.wait()
        self._process = self._begun()

    def end(self) -> int:
        """Let it come to its end, and return with what code it ended."""
        self._stop.touch()
        return self._process.wait(_LONGEST_SECONDS)

    def wait_for(self, done: int) -> None:
        """Wait until so many notes are logged.

        Raises
        ------
        TimeoutError
            When it does not get there, or has ended.
        """
        deadline = time.monotonic() + _LONGEST_SECONDS
        while sum(line.startswith("done") for line in self.said()) < done:
            if time.monotonic() > deadline or self._process.poll() is not None:
                raise TimeoutError(f"the station {self._name} does not go on")
            time.sleep(0.01)


def _wait_for(stations: list[_Station]) -> None:
    counts = [sum(line.startswith("done") for line in station.said()) for station in stations]
    for station, count in zip(stations, counts, strict=True):
        station.wait_for(count + _UNDISTURBED)


def _judged(journal: Journal, said: list[list[str]]) -> ServerOutcome:
    asked, done = ({line.split()[1] for line in _of(said, word)} for word in ("ask", "done"))
    notes = Counter(entry.text for entry in journal.log_entries())
    problems = [f"the note {note} is lost" for note in sorted(done - notes.keys())]
    problems += [f"nobody said the note {note}" for note in sorted(notes.keys() - asked)]
    problems += [f"the note {note} is there {count} times" for note, count in notes.items()
                 if count > 1]  # fmt: skip
    photos = {photo.sha256: photo for photo in journal.photos()}
    for number in sorted({int(line.split()[1]) for line in _of(said, "filed")}):
        photo = _photo(number)
        if photos.get(photo.sha256) != photo:
            problems.append(f"the photo {number} is lost or differs")
    for photo in photos.values():
        number = int(photo.sha256, 16)
        lesions = [asdict(lesion) for lesion in journal.lesions(photo.sha256)]
        if photo != _photo(number) or lesions != [asdict(one) for one in _lesions(number)]:
            problems.append(f"the photo {number} is not whole")
        if journal.versions(photo.sha256) != (photo.version,):
            problems.append(f"the photo {number} has several readings")
    if len(photos) != len(journal.known_photos()):
        problems.append("a photo is there without its reading")
    return ServerOutcome(len(photos), notes.total(), len(asked - done), tuple(problems))


def _of(said: list[list[str]], word: str) -> list[str]:
    return [line for lines in said for line in lines if line.startswith(f"{word} ")]


def _photo(number: int) -> PhotoEntry:
    leaves = tuple(
        LeafEntry(leaf, 1000.0 * leaf, 1, 1.5, 2.5, 4.0, 3.0, 5.0, row_px=9.5, col_px=number / 4)
        for leaf in range(1, 2 + number % _MOST_LEAVES)
    )
    return PhotoEntry(
        f"A1/{number}.jpg", f"{number:064x}", _START + timedelta(minutes=number), plant="A1",
        version="1", leaves=leaves, severity_pct=number / 8,
    )  # fmt: skip


def _lesions(number: int) -> list[Lesion]:
    leaves = range(1, 2 + number % _MOST_LEAVES)
    rest = (100.5, 17.75, 0.5, 0.75, 1.25, 0.875, 12.0, 2.5, 40.0, False)
    return [Lesion(leaf, 100.0 + number, 99.5, *rest) for leaf in leaves]


def work_as_station(url: str, name: str, first: int, stop: Path) -> None:
    """File and log until a file appears; say each step before and after it."""
    with open_journal(url) as journal:
        number = first
        while not stop.exists():
            photo, find = _photo(number), Find("dropping", 1, 5.5, 6.5, 3.5, 2.5, 0.75)
            journal.file_reading(photo, _lesions(number), [find])
            print(f"filed {number}", flush=True)
            print(f"ask {name}-{number}", flush=True)
            journal.log(LogEntry(0, "note", _START, ("A1",), text=f"{name}-{number}"))
            print(f"done {name}-{number}", flush=True)
            number += 1


def main() -> None:
    """Kill, look, print; or be a station."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else "")
    for name, usual in (("clients", 20), ("servers", 5), ("seed", 1)):
        parser.add_argument(f"--{name}", type=int, default=usual)
    parser.add_argument("--station", nargs=4, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.station:
        url, name, first, stop = args.station
        work_as_station(url, name, int(first), Path(stop))
        return
    with tempfile.TemporaryDirectory(prefix="pg-") as folder:
        Path(folder).chmod(0o755)  # the server runs as another user
        outcome = kill_on_server(Path(folder), args.clients, args.servers, args.seed)
    print(f"{args.clients} stations and {args.servers} times the server killed.")
    print(f"{outcome.photos} photos, {outcome.notes} notes; in doubt: {outcome.in_doubt}.")
    print("\n".join(outcome.problems) or "Nothing is lost, and nothing is there twice.")
    raise SystemExit(bool(outcome.problems))


if __name__ == "__main__":
    main()
