"""Kill the scoring in the middle, again and again, and see whether the journal holds.

    python -m scripts.workshop attack kills [--photos 50] [--kills 20] [--seed 1]

Photos of the sample garden are scored once undisturbed. Then the same is done in another garden,
and each time that some more photos are filed, the run is killed (SIGKILL, which no program can
answer). After each kill the journal must open, hold all that it held, no half photo, and no reading
other than the undisturbed one's; at the end it must be equal. Costs three minutes of two cores.
"""

import argparse
import random
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from models.garden.settings import GARDEN_FILE, garden_text
from models.journal import open_journal
from models.journal.examining import is_sound
from scripts.common.terminal import sample_garden

__all__ = ["Outcome", "copy_photos", "kill_and_compare", "make_garden"]

_ENDINGS = (".jpg", ".jpeg")
_LONGEST_DELAY_SECONDS = 0.1
_LONGEST_RUN_SECONDS = 300

Snapshot = dict[str, Any]


@dataclass(frozen=True)
class Outcome:
    """What the killing did.

    Attributes
    ----------
    filed_at_kill : tuple of int
        Photos that were filed when each kill struck.
    problems : tuple of str
        What was wrong; empty when the journal held.
    """

    filed_at_kill: tuple[int, ...]
    problems: tuple[str, ...]


def kill_and_compare(folder: Path, photos: int, kills: int, seed: int, jobs: int = 2) -> Outcome:
    """Score undisturbed and killed, and compare.

    Parameters
    ----------
    folder : Path
        Empty; gardens, photos and results go into it.
    photos, kills : int
        How many.
    seed : int
        Of the moments.
    jobs : int
        Processes of a run.
    """
    copy_photos(folder / "photos", photos)
    for name in ("calm", "killed"):
        make_garden(folder / name)
    _score(folder, "calm", jobs).wait(_LONGEST_RUN_SECONDS)
    expected = _snapshot(folder / "calm")
    chance = random.Random(seed)
    struck, problems = [], []
    after: Snapshot = {}
    for number in range(kills):
        before = after
        _kill_after(folder, round(number * photos / kills), chance, jobs)
        after = _snapshot(folder / "killed")
        struck.append(len(after))
        problems += [f"{lost[:8]} is gone after a kill" for lost in sorted(before.keys() - after)]
        problems += _problems(folder / "killed", after, expected)
    _score(folder, "killed", jobs).wait(_LONGEST_RUN_SECONDS)
    if _snapshot(folder / "killed") != expected or len(expected) != photos:
        problems.append("The journal differs from the undisturbed one at the end.")
    return Outcome(tuple(struck), tuple(problems))


def copy_photos(target: Path, count: int) -> None:
    """Copy sample photos, each with other bytes behind its picture, so that none is known."""
    garden = sample_garden()
    if garden is None:
        raise FileNotFoundError("the sample garden")
    sources = sorted(path for path in garden.rglob("*") if path.suffix in _ENDINGS)
    for number in range(count):
        copy = target / f"A{number % 4 + 1}" / f"{number:03}.jpg"
        copy.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(sources[number % len(sources)], copy)
        with copy.open("ab") as stream:
            stream.write(number.to_bytes(4, "big"))


def make_garden(folder: Path) -> None:
    """Make a garden of four plants without a journal."""
    folder.mkdir()
    beds = {"North": [["A1", "A2"], ["A3", "A4"]]}
    (folder / GARDEN_FILE).write_text(garden_text("Test", "UTC", beds=beds), "utf-8")


def _score(folder: Path, garden: str, jobs: int) -> subprocess.Popen[bytes]:
    out = folder / f"{garden}-results"
    command = [sys.executable, "-m", "scripts", "score", folder / "photos", "--out", out]
    options = ["--garden", folder / garden, "--jobs", str(jobs)]
    quiet = subprocess.DEVNULL
    return subprocess.Popen([*command, *options], stdout=quiet, stderr=quiet)  # type: ignore[list-item]


def _kill_after(folder: Path, filed: int, chance: random.Random, jobs: int) -> None:
    run = _score(folder, "killed", jobs)
    file = folder / "killed" / "journal.sqlite"
    while run.poll() is None and _count(file) < filed:
        time.sleep(0.005)
    time.sleep(chance.uniform(0, _LONGEST_DELAY_SECONDS))
    run.kill()
    run.wait()


def _count(file: Path) -> int:
    try:
        with closing(sqlite3.connect(f"{file.as_uri()}?mode=ro", uri=True)) as journal:
            return int(journal.execute("SELECT count(*) FROM photos").fetchone()[0])
    except sqlite3.Error:  # not made yet, or being written
        return -1


def _snapshot(garden: Path) -> Snapshot:
    with open_journal(garden) as journal:
        return {
            photo.sha256: (photo, [asdict(lesion) for lesion in journal.lesions(photo.sha256)])
            for photo in journal.photos()
        }


def _problems(garden: Path, after: Snapshot, expected: Snapshot) -> list[str]:
    problems = [
        f"{content[:8]} differs after a kill"
        for content, filed in after.items()
        if expected.get(content) != filed
    ]
    if not is_sound(garden / "journal.sqlite"):
        problems.append("the journal is damaged after a kill")
    return problems


def main() -> None:
    """Kill, compare, print."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else "")
    for name, usual in (("photos", 50), ("kills", 20), ("seed", 1)):
        parser.add_argument(f"--{name}", type=int, default=usual)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        outcome = kill_and_compare(Path(folder), args.photos, args.kills, args.seed)
    print(f"{args.photos} photos; killed when so many were filed: {outcome.filed_at_kill}")
    print("\n".join(outcome.problems) or "The journal held, and is equal to the undisturbed one.")
    raise SystemExit(bool(outcome.problems))


if __name__ == "__main__":
    main()
