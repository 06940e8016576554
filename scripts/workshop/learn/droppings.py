"""Learn the networks and the judge of ``vision/droppings``: what tells droppings from all else.

    python -m scripts.workshop learn droppings --photos ../shared/photos --lessons FOLDER

Droppings are learned from painted scenes, and from real photos onto which droppings were painted,
for no real photos of them are at hand. What is not a dropping is learned from these, from painted
sick leaves, and from real photos of leaves and plants. Only numbers are kept. Everything is seeded.
Painting takes over an hour of one core and is kept in FOLDER; learning takes six more, and needs
``pip install -e .[train]``.
"""

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scripts.workshop.learn.dropping_crops import CROP_PX
from scripts.workshop.learn.dropping_examples import examples_of, joined, painted_pairs
from scripts.workshop.learn.dropping_lessons import (
    Lesson,
    all_lessons,
    checking_lessons,
    keep,
    kept,
)
from scripts.workshop.learn.dropping_truth import whose
from scripts.workshop.learn.kit import fit
from scripts.workshop.learn.options import options_of, share_of
from vision.droppings import close, network
from vision.droppings.close import CLOSE_PATH
from vision.droppings.find import counts, droppings_interval, known_of
from vision.droppings.judge import COMPANY, JUDGE_PATH, KNOWN, in_company, judge_of
from vision.droppings.network import NET_PATH
from vision.droppings.spots import spotted
from vision.learned import layers_of

__all__ = ["Checked", "check", "judged_apart", "learn_judge"]

Floats = NDArray[np.float32]
Numbers = NDArray[np.intp]

_SEED = 20
_PAIRS, _FIRST_PAIR = 12_000, 900_000

_HIDDEN, _ROUNDS = (32, 16), 40  # of the small networks that say how sure to be of a spot
_AIM = 0.95
_LEAST_CHANCE = 0.02  # from which a spot stands for a dropping
FITTED_ON = (
    "Painted dropping scenes and painted sick leaves, and, as photos without "
    "any dropping and with droppings painted onto them: tomato leaves (PlantVillage: Hughes & "
    "Salathé 2015, arXiv:1511.08060, CC BY-SA 3.0), coffee leaves (Esgario, Krohling & Ventura "
    "2020, Computers and Electronics in Agriculture 169:105162, MIT licence), tomato plants (Wu, "
    "Wang, Liu & Sun 2023, doi:10.17632/8h3s6jkyff.1, CC BY 4.0). Only numbers are kept."
)


@dataclass(frozen=True, eq=False)
class Checked:
    """The spots of one photo whose droppings are known.

    Attributes
    ----------
    kind : str
        Of the lesson.
    rows : ndarray of float32, shape (spots, len(KNOWN))
        What is known of each.
    whose : ndarray of intp, shape (spots,)
        The dropping on which it lies; 0 where there is none, -1 where it is no matter.
    count, faint : int
        How many droppings there are, and how many of them are no matter.
    """

    kind: str
    rows: Floats = field(repr=False)
    whose: Numbers = field(repr=False)
    count: int
    faint: int


Judged = tuple[Checked, Floats]
"""A photo, and the log-odds of its spots."""


def check(lessons: Iterable[Lesson]) -> Iterator[Checked]:
    """Yield what the networks see in photos whose droppings are known."""
    for lesson in lessons:
        truth, no_matter = lesson.truth, lesson.no_matter
        things = spotted(lesson.pixels)
        rows = known_of(things).rows
        numbers = whose(things, truth, no_matter)
        faint = len(np.unique(truth[(no_matter > 0) & (truth > 0)]))
        yield Checked(lesson.kind, rows, numbers, len(np.unique(truth)) - 1, faint)


def learn_judge(photos: Sequence[Checked], judged: Sequence[Judged]) -> dict[str, Any]:
    """Learn how sure to be, and from photos that were judged apart the figures of the interval."""
    share = round(_missed_share(judged), 4)
    return {**_learn_spots(photos), "doubt": _doubt_of(judged, share), "missed_share": share}


def judged_apart(photos: Sequence[Checked]) -> list[Judged]:
    """Judge each photo by what was learned from the other half of the photos."""
    halves = photos[0::2], photos[1::2]
    return [
        (photo, judge.log_odds(photo.rows))
        for half, other in (halves, halves[::-1])
        for judge in [judge_of({**_learn_spots(other), "doubt": 1.0, "missed_share": 0.0})]
        for photo in half
    ]


def _learn_spots(photos: Sequence[Checked]) -> dict[str, Any]:
    """Learn how sure to be of a spot alone, and then among the others of its photo.

    The second is learned from photos of which the first has seen the other half only, or it would
    believe the first too much.
    """
    halves = photos[0::2], photos[1::2]
    among = [
        in_company(photo.rows, alone.log_odds(photo.rows))
        for half, other in (halves, halves[::-1])
        for alone in [layers_of(_fit([one.rows for one in other], other, KNOWN))]
        for photo in half
    ]
    return {
        "alone": _fit([photo.rows for photo in photos], photos, KNOWN),
        "among": _fit(among, [*halves[0], *halves[1]], (*KNOWN, *COMPANY)),
    }


def _fit(
    rows: Sequence[Floats], photos: Sequence[Checked], names: tuple[str, ...]
) -> dict[str, Any]:
    """Fit a small network to the rows of photos."""
    every, numbers = np.concatenate(rows), np.concatenate([one.whose for one in photos])
    clear = numbers >= 0
    return fit(every[clear], numbers[clear] > 0, _HIDDEN, names, _SEED, _ROUNDS)


def _missed_share(judged: Sequence[Judged]) -> float:
    """Return droppings that nothing believed in stands for, as a share of those expected."""
    missed = expected = 0.0
    for photo, odds in judged:
        chance = 1 / (1 + np.exp(-odds))
        stood_for = np.count_nonzero((photo.whose > 0) & (chance > _LEAST_CHANCE))
        missed += photo.count - photo.faint - stood_for
        expected += float(chance.sum())
    return missed / max(expected, 1.0)


def _doubt_of(judged: Sequence[Judged], share: float) -> float:
    """Return the least divisor of log-odds, up to 3, with which 95 % of the intervals hold.

    Of those of the painter with care: collages show what no garden does.
    """
    careful = [one for one in judged if one[0].kind.startswith("droppings")]
    for doubt in np.arange(1.0, 3.01, 0.1):
        held = [_holds(one, float(doubt), share) for one in careful]
        if np.mean(held) >= _AIM:
            break
    return round(float(doubt), 2)


def _holds(judged: Judged, doubt: float, share: float) -> bool:
    photo, odds = judged
    low, high = droppings_interval(odds, doubt, share)
    return low <= photo.count and photo.count - photo.faint <= high


def _report(judged: Sequence[Judged], doubt: float, share: float) -> None:
    """Print what was found, wrong and falsely alarming by kind."""
    for kind in sorted({photo.kind for photo, _ in judged}):
        shown = [one for one in judged if one[0].kind == kind]
        right = wrong = alarms = true = 0
        for photo, odds in shown:
            counted = counts(odds)
            right += int(np.count_nonzero(counted & (photo.whose > 0)))
            wrong += int(np.count_nonzero(counted & (photo.whose == 0)))
            alarms += bool(photo.count == 0 and counted.any())
            true += photo.count - photo.faint
        held = np.mean([_holds(one, doubt, share) for one in shown])
        print(
            f"{kind}: {len(shown)} photos, {true} droppings, found {right}, wrong {wrong}, "
            f"{alarms} false alarms, interval holds in {100 * held:.0f} %"
        )


def learn_networks(photos: Path, folder: Path, out: Path, share: float) -> None:
    """Learn the network that finds spots, and the one that looks at them closely.

    The second learns once more, from what it has come to take for droppings.

    Parameters
    ----------
    photos : Path
        Real ones.
    folder : Path
        Of the painted ones, which are painted if they are not there.
    out : Path
        Folder of what is learned.
    share : float
        Of all that is learned from, and of how long.
    """
    from scripts.workshop.learn.convolutions import write_onnx
    from scripts.workshop.learn.dropping_closer import learn_again, learn_closer, write_closer
    from scripts.workshop.learn.dropping_network import learn

    if not kept(folder):
        keep(all_lessons(photos, share), folder)
    lessons = kept(folder)
    write_onnx(learn(lessons, _SEED, share=share), out / NET_PATH.name, CROP_PX)
    see_by(out)
    pairs = painted_pairs(_FIRST_PAIR, share_of(_PAIRS, share))
    closer = learn_closer([examples_of(lessons), pairs], _SEED, share)
    write_closer(closer, out / CLOSE_PATH.name)
    see_by(out)
    learn_again(closer, joined([examples_of(lessons, again=True), pairs]), _SEED, share)
    write_closer(closer, out / CLOSE_PATH.name)
    see_by(out)


def see_by(folder: Path) -> None:
    """Look for droppings by the networks of a folder from now on; those that ship fill gaps."""
    one, other = folder / NET_PATH.name, folder / CLOSE_PATH.name
    network.NET_PATH = one if one.is_file() else NET_PATH
    close.CLOSE_PATH = other if other.is_file() else CLOSE_PATH
    network.load_network.cache_clear()
    close.load_close.cache_clear()


def main() -> None:
    """Learn, and write the files."""
    parser = options_of(__doc__, JUDGE_PATH.parent)
    parser.add_argument("--lessons", type=Path, required=True, help="folder for painted photos")
    parser.add_argument("--judge-only", action="store_true", help="keep the networks as they are")
    args = parser.parse_args()
    if not args.judge_only:
        learn_networks(args.photos, args.lessons, args.out, args.share)
    photos = list(check(checking_lessons(args.photos, args.share)))
    judged = judged_apart(photos)
    stored = {"fitted_on": FITTED_ON, **learn_judge(photos, judged)}
    _report(judged, stored["doubt"], stored["missed_share"])
    path = args.out / JUDGE_PATH.name
    path.write_text(json.dumps(stored, separators=(",", ":")) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
