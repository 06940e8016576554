"""Tell how the shipped classifier calls leaves of crops that it has not learned from.

    python -m scripts.workshop figures pattern_unseen --photos ../shared/photos --write

Of potato and pepper on boards (PlantVillage: Hughes & Salathé 2015, arXiv:1511.08060), of bean
(Makerere AI Lab 2020), black gram (Mendeley Data zfcv9fmrgv) and chilli (Mendeley Data tf9dtfz9m6)
in the field. Every leaf is found and measured as ``spotlamp score`` does; nothing is chosen here.
"""

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from models.pattern import Classifier, PatternCall, combine, load_classifier
from scripts.learn.labelled import LabelledPhoto, measure_labelled, read_rows
from scripts.workshop.figures.write import as_table, fill

__all__ = ["Group", "called", "groups_of", "unseen_photos", "unseen_table"]

_PLANTS, _LEAVES, _SEED = 200, 5, 19  # plants drawn from a group, leaves of each


@dataclass(frozen=True)
class Group:
    """Leaves of one crop that show one thing.

    Attributes
    ----------
    name : str
        The crop and what is on its leaves.
    pattern : str
        One of ``models.pattern.CLASSES``.
    calls : tuple of PatternCall
        One a leaf; at least one.
    """

    name: str
    pattern: str
    calls: tuple[PatternCall, ...] = field(repr=False)


def unseen_photos(photos: Path) -> Iterator[LabelledPhoto]:
    """Yield the photos; the session of each is the name of its group."""
    for crop in ("potato", "pepper"):
        folder = photos / crop
        for row in read_rows(folder / "labels.csv", ("photo", "pattern", "label")):
            yield _labelled(folder, row, f"{crop}, {_words(row['label'])}")
    folder = photos / "field"
    for row in read_rows(folder / "labels.csv", ("photo", "source", "pattern", "label")):
        yield _labelled(folder, row, f"{row['source']}, {_words(row['label'])}")


def _labelled(folder: Path, row: dict[str, str], group: str) -> LabelledPhoto:
    return LabelledPhoto(folder / row["photo"], row["photo"], group, row["pattern"])


def _words(label: str) -> str:
    return label.replace("_", " ").replace("-", " ").lower()


def groups_of(
    names: Sequence[str], patterns: Sequence[str], calls: Sequence[PatternCall]
) -> list[Group]:
    """Put the calls of leaves together by group, in the order of their first leaves."""
    kinds = dict.fromkeys(zip(names, patterns, strict=True))
    every = list(zip(names, patterns, calls, strict=True))
    return [
        Group(name, pattern, tuple(c for n, p, c in every if (n, p) == (name, pattern)))
        for name, pattern in kinds
    ]


def _right(group: Group, call: PatternCall) -> bool:
    return call.pattern == group.pattern


def called(group: Group) -> tuple[float, float | None]:
    """Return the share of leaves that are called, and the share of these called rightly."""
    sure = [call for call in group.calls if call.pattern != "unsure"]
    right = float(np.mean([_right(group, call) for call in sure])) if sure else None
    return len(sure) / len(group.calls), right


def _forced(group: Group) -> float | None:
    if group.pattern not in ("spot", "blight"):
        return None
    likelier = ["spot" if call.p_spot > call.p_blight else "blight" for call in group.calls]
    return float(np.mean([one == group.pattern for one in likelier]))


def _late(calls: Sequence[PatternCall]) -> float:
    return float(np.mean([call.blight_kind == "late" for call in calls]))


def _plants(group: Group, least_probability: float) -> list[PatternCall]:
    """Combine leaves drawn at random, as those of one plant would be."""
    chance = np.random.default_rng(_SEED)
    drawn = [
        chance.choice(len(group.calls), min(_LEAVES, len(group.calls)), replace=False)
        for _ in range(_PLANTS)
    ]
    made = [combine([group.calls[one] for one in few], least_probability) for few in drawn]
    return [call for call in made if call is not None]


def unseen_table(groups: Sequence[Group], classifier: Classifier) -> str:
    """Lay the figures out, group by group, and below them what they come to."""
    head = ["crop, and what is on the leaf", "leaves", "truth", "forced", "called",
            "of called right", "late, leaves", f"late, plants of {_LEAVES}"]  # fmt: skip
    rows = [
        [
            group.name,
            str(len(group.calls)),
            group.pattern,
            _digits(_forced(group)),
            _digits(called(group)[0]),
            _digits(called(group)[1] if group.pattern != "other" else None),
            _digits(_late(group.calls)),
            _digits(_late(_plants(group, classifier.least_probability))),
        ]
        for group in groups
    ]
    return as_table(head, rows) + "\n\n" + _summed(groups) + "\n"


def _digits(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}"


def _summed(groups: Sequence[Group]) -> str:
    two = [group for group in groups if group.pattern in ("spot", "blight")]
    forced = [value for group in two if (value := _forced(group)) is not None]
    shares = [called(group) for group in two]
    right = [one for _, one in shares if one is not None]
    healthy = [call for group in groups if group.pattern == "none" for call in group.calls]
    sick = sum(call.pattern in ("spot", "blight") for call in healthy)
    alike = [call for group in groups if group.pattern == "other" for call in group.calls]
    left = float(np.mean([call.pattern in ("unsure", "none") for call in alike]))
    return (
        f"Groups weighing the same, spot is told from blight in **{np.mean(forced):.2f} (lowest "
        f"{min(forced):.2f}, highest {max(forced):.2f}), {np.mean(right):.2f} of those called**, "
        f"with {np.mean([share for share, _ in shares]):.2f} called. Of healthy leaves {sick} of "
        f"{len(healthy)} are called spot or blight; {left:.2f} of the look-alikes end as `unsure` "
        "or `none`. `python -m scripts.workshop figures pattern_unseen` measures it again."
    )


def main() -> None:
    """Measure, call and print, or write."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--photos", type=Path, default=Path("../shared/photos"))
    parser.add_argument("--jobs", type=int, default=None)
    parser.add_argument("--write", action="store_true", help="into the document")
    given = parser.parse_args()
    photos = list(unseen_photos(given.photos))
    leaves, unusable = measure_labelled(photos, given.jobs, lambda _: None)
    classifier = load_classifier()
    calls = [classifier.call(row.astype(np.float32)) for row in leaves.measured]
    groups = groups_of(leaves.session.tolist(), leaves.pattern.tolist(), calls)
    table = unseen_table(groups, classifier)
    print(table, f"{len(unusable)} photos showed no leaf that could be measured.", sep="\n")
    if given.write:
        fill("unseen", table)


if __name__ == "__main__":
    main()
