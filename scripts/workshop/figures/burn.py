"""Judge the burn check on painted photos before and after a spray test, and print the figures.

``python -m scripts.workshop figures burn --write`` also puts them into the documents. None of these
photos was looked at while the thresholds were chosen.
"""

import argparse
from collections import Counter
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import get_args

import cv2
import numpy as np
from joblib import Parallel, delayed
from numpy.typing import NDArray

from models.care.burn import BurnPhoto, judge_burn
from models.care.records import Verdict
from models.entries import LogEntry
from scripts.workshop.figures.burn_pairs import KINDS, paint_case
from scripts.workshop.figures.write import as_table, fill
from vision.day.burn import read_burn
from vision.measure import measure_day
from vision.photo.decode import read_photo
from vision.photo.find import PhotoFile

__all__ = ["figures", "judge_case"]

FIRST_SEED = 10_000  # the thresholds were chosen on seeds 0 to 49
_JPEG_QUALITY = 92
_PAIRS = dict.fromkeys(KINDS, 30) | {"burn": 80}
_VERDICTS: tuple[Verdict, ...] = get_args(Verdict)
_AT = datetime(2026, 6, 3, 8, tzinfo=UTC)
_SPRAY = LogEntry(1, "spray", datetime(2026, 6, 2, 7, tzinfo=UTC), ("A1",), product="peroxide")


def judge_case(kind: str, seed: int) -> tuple[str, Verdict, float]:
    """Paint a case, store its photos as JPEG, and judge it as the command does.

    Returns
    -------
    kind : str
        What was painted.
    verdict : str
        What was called.
    burnt_pct : float
        Share of the leaf that was painted burnt, percent.
    """
    cv2.setNumThreads(1)
    case = paint_case(kind, seed)
    with TemporaryDirectory() as folder:
        before, after, other_before, other_after = (
            (_as_photo(Path(folder) / f"{number}.jpg", pixels),)
            for number, pixels in enumerate(
                (case.before, case.after, case.other_before, case.other_after)
            )
        )
    verdict = judge_burn("A1", _SPRAY, before, after, [(other_before, other_after)])
    return kind, verdict.verdict, case.burnt_pct


def _as_photo(path: Path, pixels: NDArray[np.uint8]) -> BurnPhoto:
    picture = cv2.cvtColor(pixels, cv2.COLOR_RGB2BGR)
    cv2.imwrite(str(path), picture, [cv2.IMWRITE_JPEG_QUALITY, _JPEG_QUALITY])
    photo = read_photo(PhotoFile(path, path.name))
    day = measure_day(photo)
    return BurnPhoto(path.name, _AT, read_burn(day.photo, day.measurement))


def figures(judged: Sequence[tuple[str, Verdict, float]]) -> str:
    """Return what was called for each kind, and the shares of wrong calls, as Markdown."""
    counts = Counter((kind, verdict) for kind, verdict, _ in judged)
    rows = []
    for kind in KINDS:
        called = [counts[kind, verdict] for verdict in _VERDICTS]
        rows.append((kind, str(sum(called)), *(str(number) for number in called)))
    table = as_table(("between the photos", "pairs", *_VERDICTS), rows)
    return f"{table}\n\n{_summary(judged)}"


def _summary(judged: Sequence[tuple[str, Verdict, float]]) -> str:
    burns = [verdict for kind, verdict, _ in judged if kind == "burn"]
    others = [verdict for kind, verdict, _ in judged if kind != "burn"]
    painted = [share for kind, _, share in judged if kind == "burn"]
    unsure = [verdict for _, verdict, _ in judged].count("cannot tell")
    missed, invented = burns.count("no burn seen"), others.count("burned")
    return (
        f"Burns called “no burn seen”: {_share(missed, len(burns))}. Pairs without burn called "
        f"“burned”: {_share(invented, len(others))}. “Cannot tell”: {_share(unsure, len(judged))}. "
        f"{min(painted):.1f} to {max(painted):.1f} % of the burnt leaves was bleached. "
        "`python -m scripts.workshop figures burn` measures this again."
    )


def _share(number: int, of: int) -> str:
    return f"{number} of {of} ({100 * number / max(1, of):.1f} %)"


def main() -> None:
    """Run over all pairs."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true", help="put the figures into the documents")
    parser.add_argument("--jobs", type=int, default=-1, help="processes at work")
    options = parser.parse_args()
    cases = [(kind, FIRST_SEED + n) for kind, pairs in _PAIRS.items() for n in range(pairs)]
    judged = Parallel(n_jobs=options.jobs)(delayed(judge_case)(*case) for case in cases)
    text = figures(judged)
    print(text)
    if options.write:
        fill("burn", text)


if __name__ == "__main__":
    main()
