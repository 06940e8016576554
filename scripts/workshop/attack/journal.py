"""The attack on a garden: its journal damaged, its disk full, and data packages crafted.

Each try ends well, or with one sentence and nothing lost; what was not so is returned in words.
"""

import json
import random
import resource
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from typer.testing import CliRunner

from scripts.cli import app
from scripts.garden.data_package import DESCRIPTION
from scripts.workshop.attack.kills import copy_photos, make_garden

__all__ = ["Said", "attack_disk", "attack_imports", "attack_journal", "spotlamp", "started_garden"]

_PHOTOS = 3
_LOGGED = (
    ("rain", "12mm"),
    ("water", "A1"),
    ("note", "looks well", "A2"),
)
_ASKED = (("log",), ("today",), ("plan",), ("trend",))
_VALUES = ("", "-5", "1e308", "nan", "inf", "9" * 30, "0001-01-01", "2025-13-45", "day", "=1+1",
           "\x1b[31m", "x" * 3000, "true", "null", "A1,A2", "－１")  # fmt: skip
_SET_ASIDE = "set aside"  # what every sentence about rows that cannot be read says


@dataclass(frozen=True)
class Said:
    """How a command ended, and what it said on standard error."""

    code: int
    errors: str
    output: str = ""

    @property
    def fault(self) -> str:
        """What is wrong with the way in which it ended; empty when nothing is."""
        # What is told on the way, before the one sentence.
        told = ("photos done", _SET_ASIDE.capitalize(), "is read without them")
        lines = [
            line for line in self.errors.splitlines() if not any(words in line for words in told)
        ]
        if "Traceback" in self.errors:
            return f"a traceback: {lines[-1][:200]}"
        if self.code not in (0, 1, 2):
            return f"ended with {self.code}"
        if self.code == 1 and len(lines) != 1:
            return f"{len(lines)} lines instead of one sentence"
        return ""


def spotlamp(*arguments: object, file_limit: int | None = None) -> Said:
    """Run a command; with an end to the size of any file in a process of its own.

    Others run in this process, as importing everything takes longer than most commands.
    """
    words = [str(argument) for argument in arguments]
    if file_limit is not None:
        return _limited(words, file_limit)
    done = CliRunner().invoke(app, words)
    error = done.exception
    trace = f"Traceback: {error!r}" if error and not isinstance(error, SystemExit) else ""
    return Said(done.exit_code, done.stderr + trace, done.stdout)


def _limited(words: list[str], file_limit: int) -> Said:
    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (file_limit, file_limit))

    command = [sys.executable, "-m", "scripts", *words]
    done = subprocess.run(
        command, capture_output=True, text=True, errors="replace", preexec_fn=limit, check=False
    )
    return Said(done.returncode, done.stderr, done.stdout)


def started_garden(folder: Path) -> Path:
    """Make a garden with photos filed and some lines logged; return its folder."""
    copy_photos(folder / "photos", _PHOTOS)
    garden = folder / "garden"
    make_garden(garden)
    _score(folder, garden)
    for words in _LOGGED:
        spotlamp("log", *words, "--garden", garden)
    return garden


def _score(folder: Path, garden: Path, file_limit: int | None = None) -> Said:
    out = folder / f"results-{garden.name}"
    options = ("--out", out, "--garden", garden, "--jobs", 1)
    return spotlamp("score", folder / "photos", *options, file_limit=file_limit)


def _exported(garden: Path, package: Path) -> tuple[Said, dict[str, bytes]]:
    """Return how the export ended, and the tables: all that the journal knows."""
    shutil.rmtree(package, ignore_errors=True)
    said = spotlamp("export", package, "--garden", garden)
    return said, {path.name: path.read_bytes() for path in sorted(package.glob("*.csv"))}


def attack_journal(folder: Path, tries: int, seed: int) -> list[str]:
    """Damage the journal's file again and again, ask for it, and restore it."""
    chance = random.Random(seed)
    garden = started_garden(folder)
    _, whole = _exported(garden, folder / "whole")
    problems = []
    for number in range(tries):
        harmed = folder / "harmed"
        shutil.rmtree(harmed, ignore_errors=True)
        shutil.copytree(garden, harmed)
        harm = chance.choice(_HARMS)
        file = harmed / "journal.sqlite"
        file.write_bytes(harm(chance, file.read_bytes()))
        name = f"damage {number} ({harm.__name__.strip('_')})"
        faults = _after_damage(harmed, folder / "package", whole)
        problems += [f"{name}: {what}" for what in faults]
    return problems


def _truncated(chance: random.Random, data: bytes) -> bytes:
    return data[: int(chance.random() * len(data))]


def _emptied(_chance: random.Random, _data: bytes) -> bytes:
    return b""


def _zeroed(chance: random.Random, data: bytes) -> bytes:
    at = chance.randrange(len(data))
    length = min(chance.choice((64, 4096, len(data))), len(data) - at)
    return data[:at] + bytes(length) + data[at + length :]


def _flipped(chance: random.Random, data: bytes) -> bytes:
    """Flip bits of bytes that are in use: most of a young journal's pages is empty."""
    harmed = bytearray(data)
    used = [at for at, byte in enumerate(data) if byte]
    for _ in range(chance.choice((1, 1, 5, 50))):
        harmed[chance.choice(used)] ^= 1 << chance.randrange(8)
    return bytes(harmed)


_HARMS: tuple[Callable[[random.Random, bytes], bytes], ...] = (
    _truncated,
    _emptied,
    _zeroed,
    _flipped,
)


def _after_damage(garden: Path, package: Path, whole: dict[str, bytes]) -> Iterator[str]:
    """Yield what went wrong: a silent loss, a traceback, or no way back."""
    said, tables = _exported(garden, package)
    yield from _silent_loss("export", said, tables, whole)
    back = spotlamp("restore", "--garden", garden)
    if back.fault:
        yield f"restore: {back.fault}"
    if back.code == 0:
        again, tables = _exported(garden, package)
        named = "Put back" in back.output or _SET_ASIDE in back.output.casefold()
        if again.code != 0 and not named:
            yield "restore says that all is well, and export fails"
        if not named:
            yield from _silent_loss("export after restore", again, tables, whole)
    for words in _ASKED:
        if fault := spotlamp(*words, "--garden", garden).fault:
            yield f"{words[0]}: {fault}"


def _silent_loss(
    what: str, said: Said, tables: dict[str, bytes], whole: dict[str, bytes]
) -> Iterator[str]:
    if said.fault:
        yield f"{what}: {said.fault}"
    told = (said.errors + said.output).casefold()
    if said.code == 0 and tables != whole and _SET_ASIDE not in told:
        yield f"{what}: other rows than before, and no word of it"


def attack_disk(folder: Path, tries: int, seed: int) -> list[str]:
    """Score into a garden while no file may grow beyond some size, then without that limit."""
    chance = random.Random(seed)
    copy_photos(folder / "photos", _PHOTOS)
    make_garden(folder / "calm")
    _score(folder, folder / "calm")
    _, tables = _exported(folder / "calm", folder / "whole")
    whole = _lines(tables)  # the moments at which all was filed differ
    problems = []
    for number in range(tries):
        garden = folder / f"full-{number}"
        make_garden(garden)
        said = _score(folder, garden, file_limit=chance.randrange(100, 200_000))
        if said.fault:
            problems.append(f"full disk {number}: {said.fault}")
        again = _score(folder, garden)
        _, tables = _exported(garden, folder / "package")
        if again.code != 0 or _lines(tables) != whole:
            problems.append(f"full disk {number}: not whole afterwards, {again.errors[-200:]}")
        shutil.rmtree(garden)
        shutil.rmtree(folder / f"results-{garden.name}", ignore_errors=True)
    return problems


def _lines(tables: dict[str, bytes]) -> dict[str, int]:
    return {name: data.count(b"\n") for name, data in tables.items()}


def attack_imports(folder: Path, tries: int, seed: int) -> list[str]:
    """Import data packages with values, lines and bytes that do not belong there."""
    chance = random.Random(seed)
    garden = started_garden(folder)
    _exported(garden, folder / "whole")
    make_garden(folder / "other")
    spotlamp("log", "water", "A1", "--garden", folder / "other")
    _, before = _exported(folder / "other", folder / "package")
    problems = []
    for number in range(tries):
        target = folder / "target"
        for old in (target, folder / "crafted"):
            shutil.rmtree(old, ignore_errors=True)
        shutil.copytree(folder / "other", target)
        shutil.copytree(folder / "whole", folder / "crafted")
        _craft(folder / "crafted", chance)
        said = spotlamp("import", folder / "crafted", "--garden", target, "--edited")
        faults = [said.fault] if said.fault else []
        exported, after = _exported(target, folder / "package")
        if said.code != 0 and after != before:
            faults.append("refused, and the journal is another")
        asked = [exported, *(spotlamp(*words, "--garden", target) for words in _ASKED)]
        faults += [one.fault for one in asked if one.fault]
        if exported.code != 0:
            faults.append(f"cannot be exported afterwards: {exported.errors[-200:]}")
        problems += [f"import {number}: {fault}" for fault in faults]
    return problems


def _craft(package: Path, chance: random.Random) -> None:
    """Change a cell, a line, some bytes or the description, and sign it as the program would."""
    tables = [path for path in sorted(package.glob("*.csv")) if path.stat().st_size > 200]
    path = chance.choice([*tables, *tables, package / DESCRIPTION])
    lines = path.read_bytes().decode("utf-8").split("\r\n")
    row = chance.randrange(min(1, len(lines) - 1), max(2, len(lines) - 1))
    way = chance.randrange(4)
    if way == 0 and path.suffix == ".csv":
        cells = lines[row].split(",")
        cells[chance.randrange(len(cells))] = chance.choice(_VALUES)
        lines[row] = ",".join(cells)
    elif way == 1:
        lines.insert(row, lines[row % len(lines)])
    elif way == 2:
        del lines[row % len(lines)]
    data = "\r\n".join(lines).encode("utf-8")
    if way == 3:
        data = _flipped(chance, data)
    path.write_bytes(data)
    _sign(package, path)


def _sign(package: Path, path: Path) -> None:
    """Put a changed table's checksum into the description, so that only its values speak."""
    if path.name == DESCRIPTION:
        return
    described = json.loads((package / DESCRIPTION).read_bytes())
    for resource_ in described["resources"]:
        if resource_.get("path") == path.name and "hash" in resource_:
            resource_["hash"] = f"sha256:{sha256(path.read_bytes()).hexdigest()}"
    (package / DESCRIPTION).write_text(json.dumps(described), "utf-8")
