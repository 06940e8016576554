"""What is known of caterpillars on one plant.

Every find lapses: a larva lives three to four weeks (UC IPM), and one that is found, or that leaves
signs seen by day, is usually half grown (common practice, no source). After ``find_days`` it has
left the plant, so that no look would find it.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from models.care.season import Season
from models.care.thresholds import Thresholds
from models.care.visits import FeedingSign, NightLook

__all__ = ["NightEvidence", "night_evidence"]


@dataclass(frozen=True)
class NightEvidence:
    """The facts about caterpillars on one plant.

    Attributes
    ----------
    plant : str
        Its name.
    limits : Thresholds
        The garden's.
    look : NightLook or None
        The last count at night, until it lapses.
    look_age_days : int
        Nights since then; 0 without a count.
    left_to_pick : int
        Counted, without those that the grower saw with white cocoons.
    picked_at : datetime or None
        The last picking, where no count is later, until it lapses.
    picked_since_look : bool
        Whether there is such a picking.
    feeding : FeedingSign or None
        The last droppings or eaten leaf, where no look at night is later, until it lapses.
    """

    plant: str
    limits: Thresholds
    look: NightLook | None
    look_age_days: int
    left_to_pick: int
    picked_at: datetime | None
    picked_since_look: bool
    feeding: FeedingSign | None


def night_evidence(season: Season) -> Mapping[str, NightEvidence]:
    """Return the facts about caterpillars of every plant."""
    return {plant: _of(season, plant) for plant in season.plants}


def _of(season: Season, plant: str) -> NightEvidence:
    looks = season.nights[plant]
    look = looks[-1] if looks else None
    looked_at = _last_look(season, plant, look)
    picks = [e.at for e in season.entries("hand_pick", plant)]
    picked_at = picks[-1] if picks and (looked_at is None or picks[-1] >= looked_at) else None
    if picked_at and _lapsed(season, picked_at.date()):
        picked_at = None
    # The grower looked later than the photo and saw none: the count no longer stands.
    stands = look if look is None or looked_at == look.at else None
    if stands and _lapsed(season, stands.night):
        stands = None
    return NightEvidence(
        plant=plant,
        limits=season.limits,
        look=stands,
        look_age_days=0 if stands is None else (season.tonight - stands.night).days,
        left_to_pick=0 if stands is None else stands.count - _with_cocoons(season, plant, stands),
        picked_at=picked_at,
        picked_since_look=picked_at is not None,
        feeding=_feeding(season, plant, looked_at),
    )


def _last_look(season: Season, plant: str, look: NightLook | None) -> datetime | None:
    """Return the last look at night: a photo, or the grower's word that none was there."""
    times = [e.at for e in season.seen("no-caterpillars", plant)]
    return max([*times, *([look.at] if look else [])], default=None)


def _with_cocoons(season: Season, plant: str, look: NightLook) -> int:
    """Return how many the grower saw with cocoons since the last look's night began."""
    seen = [e for e in season.seen("cocoons", plant) if e.at.date() >= look.night]
    return int(sum(1 if e.amount is None else e.amount for e in seen))


def _feeding(season: Season, plant: str, looked_at: datetime | None) -> FeedingSign | None:
    """Return the last sign of feeding that no look at night has followed."""
    found = [
        sign
        for sign in season.feeding[plant]
        if sign.frass_count or sign.chewed_pct >= season.limits.chewed_pct
    ]
    found += [FeedingSign(e.at, 1, 0.0, "") for e in season.seen("droppings", plant)]
    last = max(found, key=lambda sign: sign.at, default=None)
    if last is None or _lapsed(season, last.at.date()):
        return None
    return last if looked_at is None or last.at > looked_at else None


def _lapsed(season: Season, day: date) -> bool:
    return (season.tonight - day).days > season.limits.find_days
