"""Which candidates are caterpillars: parts or whole, joined or not, counted or rejected."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.night_candidates import Candidates
from vision.night_features import Sampled, describe, sample
from vision.night_join import joined
from vision.night_judge import NightJudge
from vision.night_light import NightLight

__all__ = ["COUNTED_FROM", "Found", "decide"]

COUNTED_FROM = 0.5
"""Probability from which a body is counted."""

_JOINED_FROM = 0.5
_SCRAP_SHARE, _SCRAP_REACH, _SCRAP_DOUBT = 0.4, 0.4, 0.45
_WORTH_JOINING = 0.12  # probability of at least one piece being a caterpillar


@dataclass(frozen=True, eq=False)
class Found:
    """One body of the final reading.

    Attributes
    ----------
    seen : Sampled
        The body and its light.
    probability : float
        That it is a caterpillar, 0 to 1.
    """

    seen: Sampled
    probability: float


def decide(found: Candidates, night: NightLight, judge: NightJudge) -> list[Found]:
    """Choose one reading of all candidates.

    Parameters
    ----------
    found : Candidates
        From ``find_candidates``.
    night : NightLight
        The photo.
    judge : NightJudge
        Learned numbers.

    Returns
    -------
    list of Found
        Every bright thing once, the likeliest caterpillar first.
    """
    if not found.seen:
        return []
    chances = [float(p) for p in judge.caterpillar(found.features)]
    standing = _chosen(found, chances)
    groups = _groups(found, judge, standing, chances)
    decided = [Found(found.seen[g[0]], chances[g[0]]) for g in groups if len(g) == 1]
    decided += _joined(found, [g for g in groups if len(g) > 1], night, judge, chances)
    ordered = sorted(decided, key=lambda one: -one.probability)
    return sorted((_as_scrap(one, ordered) for one in ordered), key=lambda one: -one.probability)


def _as_scrap(one: Found, found: Sequence[Found]) -> Found:
    """Doubt a small body beside the end of a much larger one: most are parts of that one.

    A horn, a leg, or what a leaf leaves to be seen of a body's end, too small to be joined by the
    run of its midline.
    """
    ends = one.seen.body.midline[[0, -1]]
    for other in found:
        body = other.seen.body
        if other.probability < COUNTED_FROM or one.seen.body.length > _SCRAP_SHARE * body.length:
            continue
        apart = np.hypot(*(ends[:, None] - body.midline[None, [0, -1]]).T).min()
        if apart < _SCRAP_REACH * body.length:
            return replace(one, probability=_SCRAP_DOUBT * one.probability)
    return one


def _chosen(found: Candidates, chances: Sequence[float]) -> list[int]:
    """Return the numbers of the bodies that stand: a whole, or its parts."""
    dropped: set[int] = set()
    for whole, parts in found.parts_of:
        good = [part for part in parts if chances[part] >= COUNTED_FROM]
        several = len(good) >= 2 and sum(chances[p] for p in good) > chances[whole]
        dropped |= {whole} if several else set(parts)
    return [number for number in range(len(found.seen)) if number not in dropped]


def _groups(
    found: Candidates, judge: NightJudge, standing: Sequence[int], chances: Sequence[float]
) -> list[list[int]]:
    """Group the pieces of one body, the likeliest pairs first; each end is used once at most."""
    group = {number: [number] for number in standing}
    if len(found.pairs):
        likely = judge.pair.probability(found.pair_features)
        for at in np.argsort(-likely):
            i, j = found.pairs[at]
            if likely[at] < _JOINED_FROM:
                break
            if i not in group or j not in group or group[i] is group[j]:
                continue
            if max(chances[i], chances[j]) < _WORTH_JOINING or len(group[i] + group[j]) > 3:
                continue
            both = group[i] + group[j]
            for number in both:
                group[number] = both
    unique = {id(members): members for members in group.values()}
    return list(unique.values())


def _joined(
    found: Candidates,
    groups: Sequence[Sequence[int]],
    night: NightLight,
    judge: NightJudge,
    chances: Sequence[float],
) -> list[Found]:
    """Join groups, and judge each as one body."""
    if not groups:
        return []
    whole = []
    for members in groups:
        body = found.seen[members[0]].body
        for number in members[1:]:
            body = joined(body, found.seen[number].body)
        whole.append(sample(body, night))
    used = {number for members in groups for number in members}
    alone = [one for number, one in enumerate(found.seen) if number not in used]
    rows = describe([*whole, *alone], night)[: len(whole)]
    likely = judge.caterpillar(rows)
    best = [max(chances[number] for number in members) for members in groups]
    return [Found(one, max(float(p), b)) for one, p, b in zip(whole, likely, best, strict=True)]
