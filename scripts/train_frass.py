"""Learn ``vision/frass*.onnx`` and ``vision/frass.json``: what tells droppings from all else.

    python -m scripts.train_frass --photos ../shared/photos --lessons FOLDER

Droppings are learned from painted scenes, and from real photos onto which droppings were painted,
for no real photos of them are at hand. What is not a dropping is learned from these, from painted
sick leaves, and from real photos of leaves and plants. Only numbers are kept. Everything is seeded.
Painting takes over an hour of one core and is kept in FOLDER; learning takes three more, and needs
``pip install -e .[train]``.
"""

import argparse
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scripts.fit_layers import fit
from scripts.frass_examples import examples_of, painted_pairs
from scripts.frass_lessons import Lesson, all_lessons, checking_lessons, keep, kept
from scripts.frass_truth import whose
from vision import frass
from vision.frass_close import CLOSE_PATH, load_close
from vision.frass_judge import JUDGE_PATH, WEIGHED, Judge, judge_of
from vision.frass_net import NET_PATH, load_network
from vision.frass_spotted import spotted
from vision.layers import layers_of

__all__ = ["Checked", "check", "learn_judge"]

Floats = NDArray[np.float32]
Numbers = NDArray[np.intp]

_SEED = 20
_PAIRS, _FIRST_PAIR = 12_000, 900_000

_AIM = 0.95
_LEAST_CHANCE = 0.02  # from which a spot stands for a dropping
FITTED_ON = (
    "Painted dropping scenes and painted sick leaves (vision.rendered), and, as photos without "
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
    rows : ndarray of float32, shape (spots, len(WEIGHED))
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


def check(lessons: Iterable[Lesson]) -> Iterator[Checked]:
    """Yield what the networks see in photos whose droppings are known."""
    for lesson in lessons:
        truth, no_matter = lesson.truth, lesson.no_matter
        things = spotted(lesson.pixels)
        rows = frass.known_of(things).weighed
        numbers = whose(things, truth, no_matter)
        faint = len(np.unique(truth[(no_matter > 0) & (truth > 0)]))
        yield Checked(lesson.kind, rows, numbers, len(np.unique(truth)) - 1, faint)


def learn_judge(photos: Sequence[Checked]) -> dict[str, Any]:
    """Learn how sure to be, and the two figures of the interval."""
    rows, numbers = (
        np.concatenate([getattr(one, name) for one in photos]) for name in ("rows", "whose")
    )
    clear = numbers >= 0
    spot = fit(rows[clear], numbers[clear] > 0, (), WEIGHED, _SEED)
    judge = Judge(layers_of(spot), 1.0, 0.0)
    share = round(_missed_share(photos, judge), 4)
    doubt = _doubt_of(photos, replace(judge, missed_share=share))
    return {"spot": spot, "doubt": doubt, "missed_share": share}


def _missed_share(photos: Sequence[Checked], judge: Judge) -> float:
    """Return droppings that nothing believed in stands for, as a share of those expected."""
    missed = expected = 0.0
    for photo in photos:
        chance = 1 / (1 + np.exp(-judge.spot.log_odds(photo.rows)))
        stood_for = np.count_nonzero((photo.whose > 0) & (chance > _LEAST_CHANCE))
        missed += photo.count - photo.faint - stood_for
        expected += float(chance.sum())
    return missed / max(expected, 1.0)


def _doubt_of(photos: Sequence[Checked], judge: Judge) -> float:
    """Return the least divisor of log-odds, up to 3, with which 95 % of the intervals hold."""
    with_any = [one for one in photos if not one.kind.startswith("none")]
    for doubt in np.arange(1.0, 3.01, 0.1):
        tried = replace(judge, doubt=float(doubt))
        held = [_holds(one, tried) for one in with_any]
        if np.mean(held) >= _AIM:
            break
    return round(float(doubt), 2)


def _holds(photo: Checked, judge: Judge) -> bool:
    low, high = frass.count_interval(judge.spot.log_odds(photo.rows), judge)
    return low <= photo.count and photo.count - photo.faint <= high


def _report(photos: Sequence[Checked], judge: Judge) -> None:
    """Print precision, recall and false alarms by kind."""
    for kind in sorted({one.kind for one in photos}):
        shown = [one for one in photos if one.kind == kind]
        right = wrong = alarms = 0
        for one in shown:
            counted = judge.spot.log_odds(one.rows) >= np.log(frass.COUNTED / (1 - frass.COUNTED))
            right += int(np.count_nonzero(counted & (one.whose > 0)))
            wrong += int(np.count_nonzero(counted & (one.whose == 0)))
            alarms += bool(one.count == 0 and counted.any())
        true = sum(one.count - one.faint for one in shown)
        held = np.mean([_holds(one, judge) for one in shown])
        print(
            f"{kind}: {len(shown)} photos, {true} droppings, found {right}, wrong {wrong}, "
            f"{alarms} false alarms, interval holds in {100 * held:.0f} %"
        )


def learn_networks(photos: Path, folder: Path) -> None:
    """Learn the network that finds spots, and the one that looks at them closely."""
    from scripts.frass_closer import learn_closer, write_closer
    from scripts.frass_network import learn, write_onnx

    if not kept(folder):
        keep(all_lessons(photos), folder)
    lessons = kept(folder)
    write_onnx(learn(lessons, _SEED), NET_PATH)
    load_network.cache_clear()
    examples = [examples_of(lessons), painted_pairs(_FIRST_PAIR, _PAIRS)]
    write_closer(learn_closer(examples, _SEED), CLOSE_PATH)
    load_close.cache_clear()


def main() -> None:
    """Learn, and write the files."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=Path, default=Path("../shared/photos"))
    parser.add_argument("--lessons", type=Path, required=True, help="folder for painted photos")
    parser.add_argument("--judge-only", action="store_true", help="keep the networks as they are")
    args = parser.parse_args()
    if not args.judge_only:
        learn_networks(args.photos, args.lessons)
    photos = list(check(checking_lessons(args.photos)))
    stored = {"fitted_on": FITTED_ON, **learn_judge(photos)}
    _report(photos, judge_of(stored))
    JUDGE_PATH.write_text(json.dumps(stored, separators=(",", ":")) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
