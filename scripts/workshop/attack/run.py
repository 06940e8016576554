"""Attack the program with broken files, kills, damage, full disks and crafted data, and judge it.

    python -m scripts.workshop attack run [--quick] [--corpus DIR] [--seed 1] [--only files]

Everything is made from the seed. Files of a corpus from elsewhere are scored too where ``--corpus``
points to some. What has to hold: each photo found is measured, named or counted as passed over; no
traceback, nothing over 20 s, no process over 600 MB; and nothing that was filed is lost without a
word. Prints a table and what did not hold; ends with 1 if anything did not. The whole takes about
an hour of one core, ``--quick`` a few minutes.
"""

import argparse
import csv
import os
import re
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from scripts.workshop.attack.files import HALF_COPIED, make_corpus
from scripts.workshop.attack.journal import attack_disk, attack_imports, attack_journal
from scripts.workshop.attack.kills import kill_and_compare

__all__ = ["Verdict", "attack_files", "judge_run"]

LONGEST_SECONDS = 20
MOST_MB = 600

_SCORE = (
    f"from scripts.score import run; run.LONGEST_SECONDS = {LONGEST_SECONDS}\n"
    "from scripts.cli import app; app()"
)
_SUM = re.compile(r"Photos found: (\d+) = (\d+) measured \+ (\d+) named.* \+ (\d+) passed over\.")
_HUNG = f"took longer than {LONGEST_SECONDS} s"


@dataclass(frozen=True)
class Verdict:
    """What one kind of attack came to.

    Attributes
    ----------
    name : str
        The kind.
    tries : int
        How many files, kills, damages.
    problems : tuple of str
        What did not hold, in words.
    note : str
        What else is worth telling.
    """

    name: str
    tries: int
    problems: tuple[str, ...]
    note: str = ""


def attack_files(photos: Path, out: Path, jobs: int) -> Verdict:
    """Score a folder with the real command, and judge what came of it.

    What took too long is tried once more, as the command itself proposes: beside other work on the
    same machine anything may take long.

    Parameters
    ----------
    photos : Path
        The corpus.
    out : Path
        For the results.
    jobs : int
        Processes.
    """
    verdict = judge_run(*_scored(photos, out, jobs))
    late = sum(_HUNG in problem for problem in verdict.problems)
    if not late:
        return verdict
    again = judge_run(*_scored(photos, out, jobs))
    note = f"{again.note}; {late} took over {LONGEST_SECONDS} s, and were tried once more"
    return replace(again, note=note)


def _scored(photos: Path, out: Path, jobs: int) -> tuple[str, str, int, Path, int]:
    """Score a folder, and return what `judge_run` judges."""
    command = [sys.executable, "-c", _SCORE, "score", str(photos), "--out", str(out)]
    with subprocess.Popen(
        [*command, "--masks", "--overlays", "--jobs", str(jobs)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        text=True, errors="replace",
    ) as run:  # fmt: skip
        peak = _Peak(run.pid)
        shown, errors = run.communicate()
    return shown, errors, run.returncode, out, peak.megabytes()


def judge_run(shown: str, errors: str, code: int, out: Path, peak_mb: int) -> Verdict:
    """Judge a run by what it printed and wrote.

    Parameters
    ----------
    shown, errors : str
        Standard output and standard error.
    code : int
        Exit code.
    out : Path
        Folder of the results.
    peak_mb : int
        The most memory that any of its processes took.
    """
    problems = []
    if code not in (0, 1):
        problems.append(f"ended with {code}")
    noise = [line for line in errors.splitlines() if "photos done" not in line]
    problems += [f"on standard error: {line[:200]}" for line in noise[code == 1 :]]
    if peak_mb > MOST_MB:
        problems.append(f"a process took {peak_mb} MB")
    with (out / "photos.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    named = (out / "problems.txt").read_text("utf-8") if (out / "problems.txt").exists() else ""
    said = _SUM.search(shown)
    found, measured, named_count, passed = map(int, said.groups()) if said else (0, 0, 0, 0)
    read = {row["photo"] for row in rows if row["status"] != "unreadable"}
    as_counted = (len(rows) + passed, len(read), len(rows) - len(read))
    if not found or (found, measured, named_count) != as_counted:
        problems.append(
            f"{found} found = {measured} + {named_count} + {passed} is printed, and {len(read)} "
            f"of {len(rows)} rows are measured"
        )
    if named.count("\n") < named_count:
        problems.append(f"{named_count} named, {named.count(chr(10))} sentences")
    for what in ("error inside the program", _HUNG, "ended the process"):
        problems += [line for line in named.splitlines() if what in line]
    half = [row["photo"] for row in rows if row["photo"].startswith(HALF_COPIED)]
    problems += [f"{name} is half a file and was measured" for name in half if name in read]
    note = (
        f"{measured} measured, {named_count} named, {passed} passed over; at most {peak_mb} MB a "
        "process"
    )
    return Verdict("files", found, tuple(problems), note)


class _Peak:
    """Watches how much memory a process and its children take at most, where the system says it."""

    def __init__(self, pid: int) -> None:
        self._pid, self._most_kb = pid, 0
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self._thread.start()

    def megabytes(self) -> int:
        """Return the most that any of them took, after they have ended."""
        self._thread.join()
        return self._most_kb // 1024

    def _watch(self) -> None:
        while Path(f"/proc/{self._pid}/status").exists():
            with suppress(OSError, ProcessLookupError):
                children = Path(f"/proc/{self._pid}/task/{self._pid}/children").read_text().split()
                for pid in (self._pid, *children):
                    self._look_at(Path(f"/proc/{pid}/status"))
            time.sleep(0.05)

    def _look_at(self, status: Path) -> None:
        with suppress(OSError):
            for line in status.read_text().splitlines():
                if line.startswith("VmHWM:"):
                    self._most_kb = max(self._most_kb, int(line.split()[1]))
                if line.startswith("State:") and "Z" in line.split()[1]:
                    return


def _attack_starts(folder: Path, tries: int, jobs: int) -> Verdict:
    """Kill runs while their workers start; none may be left."""
    problems = []
    command = [sys.executable, "-m", "scripts", "demo", "--out", str(folder / "demo")]
    for number in range(tries):
        run = subprocess.Popen(
            [*command, "--jobs", str(jobs)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        pids: list[str] = []
        began = time.monotonic()
        while not pids and run.poll() is None and time.monotonic() - began < LONGEST_SECONDS:
            with suppress(OSError):
                pids = Path(f"/proc/{run.pid}/task/{run.pid}/children").read_text().split()
            time.sleep(0.002)
        time.sleep(number / tries)
        with suppress(OSError):
            pids = Path(f"/proc/{run.pid}/task/{run.pid}/children").read_text().split()
        os.kill(run.pid, signal.SIGKILL)
        run.wait()
        deadline = time.monotonic() + LONGEST_SECONDS / 2
        while any(map(_works, pids)) and time.monotonic() < deadline:
            time.sleep(0.02)
        problems += [f"start {number}: a worker has stayed" for pid in pids if _works(pid)]
    return Verdict("kills while workers start", tries, tuple(problems))


def _works(pid: str) -> bool:
    try:
        return b"scripts.common.worker" in Path(f"/proc/{pid}/cmdline").read_bytes()
    except OSError:
        return False


def _attacks(args: argparse.Namespace) -> dict[str, Callable[[Path], list[Verdict]]]:
    quick, seed, jobs = args.quick, args.seed, args.jobs

    def files(folder: Path) -> list[Verdict]:
        photos = folder / "corpus"
        photos.mkdir()
        made = make_corpus(photos, seed, 1 if quick else 12, bombs=not quick)
        verdict = attack_files(photos, folder / "out", jobs)
        short = () if verdict.tries == made else (f"{made} photos made, {verdict.tries} found",)
        problems = verdict.problems + short
        verdicts = [replace(verdict, name="files made from the seed", problems=problems)]
        if args.corpus:
            other = attack_files(args.corpus, folder / "out-other", jobs)
            verdicts.append(replace(other, name="files from elsewhere"))
        return verdicts

    def kills(folder: Path) -> list[Verdict]:
        photos, tries = (6, 2) if quick else (50, 40)
        (folder / "kills").mkdir()
        outcome = kill_and_compare(folder / "kills", photos, tries, seed, jobs)
        starts = _attack_starts(folder, 3 if quick else 20, jobs)
        return [Verdict("kills while photos are filed", tries, outcome.problems), starts]

    def told(name: str, attack: Callable[[Path, int, int], list[str]], tries: int) -> Verdict:
        with tempfile.TemporaryDirectory() as folder:
            return Verdict(name, tries, tuple(attack(Path(folder), tries, seed)))

    return {
        "files": files,
        "kills": kills,
        "damage": lambda _: [told("damaged journals", attack_journal, 4 if quick else 60)],
        "disk": lambda _: [told("full disks", attack_disk, 2 if quick else 20)],
        "imports": lambda _: [told("crafted data packages", attack_imports, 4 if quick else 40)],
    }


def _table(verdicts: list[Verdict]) -> str:
    head = "| attack | tries | did not hold | |\n|---|---|---|---|"
    lines = [f"| {v.name} | {v.tries} | {len(v.problems)} | {v.note} |" for v in verdicts]
    return "\n".join([head, *lines])


def main() -> None:
    """Attack, print the table and what did not hold."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else "")
    parser.add_argument("--quick", action="store_true", help="few of each, and no large files")
    parser.add_argument("--corpus", type=Path, help="a folder of further files, scored too")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--only", help="one of: files, kills, damage, disk, imports")
    args = parser.parse_args()
    verdicts: list[Verdict] = []
    for name, attack in _attacks(args).items():
        if args.only in (None, name):
            with tempfile.TemporaryDirectory() as folder:
                verdicts += attack(Path(folder))
    print(_table(verdicts))
    problems = [f"{verdict.name}: {what}" for verdict in verdicts for what in verdict.problems]
    print("\n".join(problems) or "\nAll held.")
    raise SystemExit(bool(problems))


if __name__ == "__main__":
    main()
