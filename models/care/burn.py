"""Did a spray burn the tested plant? Photos from before and from 24 hours or more after it.

The verdict compares the bleached share of the worst leaf seen before with that of the worst leaf
seen after, less what changed on unsprayed plants over the same time. ``no burn seen`` never means
that a spray is safe.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from statistics import median

from models.care.burn_log import BEFORE_DAYS
from models.care.records import BurnVerdict, Verdict
from models.care.season import (
    PEROXIDE,
    concerns,
    effective,
    hours_after,
    hours_between,
    products_of,
)
from models.care.seasons import since_new
from models.corrections import SET_ASIDE
from models.entries import LogEntry, PhotoEntry
from vision.day.burn import BurnReading
from vision.errors import SpotlampError
from vision.flags import explain

__all__ = ["BurnCheckError", "BurnPhoto", "SprayTest", "gather_test", "judge_burn", "worst"]

BURNED_FROM_PCT = 0.35
"""New bleached share from which a burn is called. Chosen on painted pairs; gloss stays below."""

_MOST_SURE_PCT = 0.12  # up to this, new bleached share is within what light alone changes
_MOST_UNSURE_PCT = 0.20  # likewise, of patches that may be holes, lesions or glints
_MOST_PALE_GROUND = 0.20  # of a rough ground; a burnt margin does not stand out from more
_ROUGH_GROUND = 4.0  # L* from point to point; straw has 5 and more, real boards up to 2.4
_MOST_GLARE_PCT = 3.0  # of the leaf burnt out: a burn could hide there
_UNUSABLE = frozenset(
    {"blurred", "too_dark", "over_exposed", "small", "all_sick", "grey_photo", "red_blue_swapped"}
)
_AFTER_DAYS = 4


class BurnCheckError(SpotlampError):
    """A burn check cannot be made yet, or from these photos; one sentence for people."""


@dataclass(frozen=True, eq=False)
class BurnPhoto:
    """A photo as the burn check sees it.

    Attributes
    ----------
    photo : str
        Its path in the journal.
    taken_at : datetime
        With its zone.
    reading : BurnReading or None
        None where no leaf was found.
    sha256 : str
        Hash of the file.
    """

    photo: str
    taken_at: datetime
    reading: BurnReading | None
    sha256: str = ""

    @property
    def usable(self) -> bool:
        """Whether bleached tissue could be seen on it."""
        return self.reading is not None and not _UNUSABLE & set(self.reading.flags)


@dataclass(frozen=True, eq=False)
class SprayTest:
    """The photos of a spray test, as the journal has them.

    Attributes
    ----------
    spray : LogEntry
        The spray.
    before, after : tuple of PhotoEntry
        Of the tested plant: of the last days before the spray, and of the last day on which it
        was photographed 24 hours or more after it.
    others : tuple of (tuple of PhotoEntry, tuple of PhotoEntry)
        Before and after of each plant that was not sprayed over that time.
    """

    spray: LogEntry
    before: tuple[PhotoEntry, ...]
    after: tuple[PhotoEntry, ...]
    others: tuple[tuple[tuple[PhotoEntry, ...], tuple[PhotoEntry, ...]], ...]


def gather_test(
    photos: Sequence[PhotoEntry],
    log: Iterable[LogEntry],
    plant: str,
    now: datetime,
    *,
    wait_hours: float = 24,
) -> SprayTest:
    """Find the last peroxide spray of a plant, and the photos that show what it did.

    Parameters
    ----------
    photos, log : sequence of PhotoEntry, iterable of LogEntry
        The garden's record.
    plant : str
        The tested plant.
    now : datetime
        With its zone.
    wait_hours : float
        Before so many hours a burn is not judged.

    Raises
    ------
    BurnCheckError
        When there was no such spray, it is too early, or photos are missing.
    """
    held = since_new(entry for entry in effective(log) if entry.at <= now)
    spray = _last_peroxide(held, plant)
    opens = hours_after(spray.at, wait_hours)
    if now.astimezone(UTC) < opens.astimezone(UTC):
        raise BurnCheckError(
            f"{plant} was sprayed {hours_between(spray.at, now):.0f} hours ago: a burn is judged "
            f"after {wait_hours:.0f} hours, from {opens:%Y-%m-%d %H:%M} on."
        )
    begins = spray.at - timedelta(days=BEFORE_DAYS)
    ends = min(now, hours_after(spray.at, wait_hours + 24 * _AFTER_DAYS))
    # A file's date does not tell on which side of the spray a photo was taken.
    day = [
        photo
        for photo in photos
        if photo.mode == "day" and photo.taken_from != "file" and SET_ASIDE not in photo.flags
    ]

    def shown(name: str) -> tuple[tuple[PhotoEntry, ...], tuple[PhotoEntry, ...]]:
        own = [photo for photo in day if photo.plant == name]
        before = tuple(p for p in own if begins <= p.taken_at < spray.at)
        return before, _last_day([p for p in own if opens <= p.taken_at <= ends])

    before, after = shown(plant)
    _refuse_missing(plant, spray, before, after)
    sprayed = [e for e in held if e.kind == "spray" and begins <= e.at <= ends]
    names = dict.fromkeys(p.plant for p in day if p.plant and p.plant != plant)
    unsprayed = [n for n in names if not any(concerns(entry, n) for entry in sprayed)]
    others = tuple(pair for pair in map(shown, unsprayed) if all(pair))
    return SprayTest(spray, before, after, others)


def _last_peroxide(log: Sequence[LogEntry], plant: str) -> LogEntry:
    sprays = [
        entry
        for entry in log
        if entry.kind == "spray" and PEROXIDE in products_of(entry) and concerns(entry, plant)
    ]
    if not sprays:
        raise BurnCheckError(f"No peroxide spray on {plant} is logged: there is nothing to check.")
    return sprays[-1]


def _last_day(photos: Sequence[PhotoEntry]) -> tuple[PhotoEntry, ...]:
    last = max((photo.taken_at.date() for photo in photos), default=None)
    return tuple(photo for photo in photos if photo.taken_at.date() == last)


def _refuse_missing(
    plant: str,
    spray: LogEntry,
    before: Sequence[PhotoEntry],
    after: Sequence[PhotoEntry],
) -> None:
    if not after:
        raise BurnCheckError(
            f"No photo of {plant} from the days after the wait: photograph the sprayed leaves now."
        )
    if not before:
        raise BurnCheckError(
            f"No photo of {plant} from the {BEFORE_DAYS} days before the spray of "
            f"{spray.at:%Y-%m-%d}: without one, old damage cannot be told from new."
        )


def worst(photos: Iterable[BurnPhoto]) -> BurnPhoto | None:
    """Return the usable photo with most bleached tissue, sure before unsure; None without any."""
    return max(
        (photo for photo in photos if photo.usable),
        key=lambda photo: _figures(photo),
        default=None,
    )


def _figures(photo: BurnPhoto) -> tuple[float, float]:
    reading = photo.reading
    return (reading.bleached_pct, reading.unsure_pct) if reading else (0.0, 0.0)


def judge_burn(
    plant: str,
    spray: LogEntry,
    before: Sequence[BurnPhoto],
    after: Sequence[BurnPhoto],
    others: Sequence[tuple[Sequence[BurnPhoto], Sequence[BurnPhoto]]] = (),
) -> BurnVerdict:
    """Compare photos from before and after a spray.

    Parameters
    ----------
    plant : str
        The tested plant.
    spray : LogEntry
        The spray.
    before, after : sequence of BurnPhoto
        Of the tested plant, at least one each.
    others : sequence of (sequence of BurnPhoto, sequence of BurnPhoto)
        Before and after of each unsprayed plant.

    Returns
    -------
    BurnVerdict
        ``cannot tell`` wherever the photos do not carry a verdict.
    """
    checked_at = max(photo.taken_at for photo in after)
    compared = _compare(before, after, others)
    verdict, reason = _verdict(compared, before, after)
    return BurnVerdict(
        verdict=verdict,
        plant=plant,
        spray=spray.number,
        checked_at=checked_at,
        figures=compared | {"since_spray_h": round(hours_between(spray.at, checked_at), 1)},
        before=tuple(photo.photo for photo in before),
        after=tuple(photo.photo for photo in after),
        reason=reason,
    )


def _compare(
    before: Sequence[BurnPhoto],
    after: Sequence[BurnPhoto],
    others: Sequence[tuple[Sequence[BurnPhoto], Sequence[BurnPhoto]]],
) -> dict[str, float]:
    """Return the figures, rounded as they are shown; empty where a side has no usable photo."""
    if not (worst(before) and worst(after)):
        return {}
    sure = [_most(photos, lambda r: r.bleached_pct) for photos in (before, after)]
    unsure = [_most(photos, lambda r: r.unsure_pct) for photos in (before, after)]
    drifts = [
        _most(later, lambda r: r.bleached_pct) - _most(early, lambda r: r.bleached_pct)
        for early, later in others
        if worst(early) and worst(later)
    ]
    drift = median(drifts) if drifts else 0.0
    figures = {
        "bleached_before_pct": sure[0],
        "bleached_after_pct": sure[1],
        "unsure_before_pct": unsure[0],
        "unsure_after_pct": unsure[1],
        "glare_after_pct": _most(after, lambda r: r.glare_pct),
        "pale_ground_share": _most(after, _pale_and_rough),
        "unsprayed_change_points": drift,
        "new_points": sure[1] - sure[0] - max(0.0, drift),
        "unsprayed_plants": float(len(drifts)),
    }
    return {name: round(value, 3) for name, value in figures.items()}


def _pale_and_rough(reading: BurnReading) -> float:
    return reading.ground_pale if reading.ground_rough > _ROUGH_GROUND else 0.0


def _most(photos: Iterable[BurnPhoto], value: Callable[[BurnReading], float]) -> float:
    return max(value(p.reading) for p in photos if p.usable and p.reading is not None)


def _verdict(
    figures: dict[str, float], before: Sequence[BurnPhoto], after: Sequence[BurnPhoto]
) -> tuple[Verdict, str]:
    if not figures:
        return "cannot tell", _why_unusable(before, after)
    was, now = figures["bleached_before_pct"], figures["bleached_after_pct"]
    seen = f"{was:.1f} % of the worst leaf was bleached before, {now:.1f} % after{_drift(figures)}"
    if figures["new_points"] >= BURNED_FROM_PCT:
        return "burned", f"{seen}."
    doubts = [words for words, doubtful in _doubts(figures) if doubtful]
    if doubts:
        return "cannot tell", f"{seen}; {' and '.join(doubts)}: photograph it again in soft light."
    return "no burn seen", f"{seen}. That does not mean that the spray is safe."


def _doubts(figures: dict[str, float]) -> Iterable[tuple[str, bool]]:
    """Return what could hide a burn, in words, and whether it does."""
    sure = figures["bleached_after_pct"] - figures["bleached_before_pct"]
    unsure = figures["unsure_after_pct"]
    changed = abs(unsure - figures["unsure_before_pct"])
    return (
        ("some pale tissue is new, too little to call it a burn", sure > _MOST_SURE_PCT),
        (
            "pale patches have changed that may be burn, holes, glints or pale lesions",
            min(changed, unsure) > _MOST_UNSURE_PCT,
        ),
        ("glare hides part of the leaf", figures["glare_after_pct"] > _MOST_GLARE_PCT),
        (
            "a burnt margin would not stand out from so pale and rough a ground",
            figures["pale_ground_share"] > _MOST_PALE_GROUND,
        ),
    )


def _drift(figures: dict[str, float]) -> str:
    if not figures["unsprayed_plants"]:
        return "; no unsprayed plant was photographed beside"
    return f"; unsprayed plants changed by {figures['unsprayed_change_points']:+.1f} points"


def _why_unusable(before: Sequence[BurnPhoto], after: Sequence[BurnPhoto]) -> str:
    side = "before" if not worst(before) else "after"
    photo = (before if side == "before" else after)[-1]
    flags = sorted(_UNUSABLE & set(photo.reading.flags)) if photo.reading else ["no_leaf"]
    return f"No photo from {side} the spray can be used: {' '.join(map(explain, flags))}"
