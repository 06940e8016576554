"""Which plant is spot-tested: one, and by a written rule; the grower may choose another."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta

from models.care.evidence import Evidence, needs_care
from models.care.season import PEROXIDE, Season, concerns
from models.care.thresholds import Thresholds
from models.care.visits import Visit

__all__ = [
    "CHOICE_RULE",
    "Choice",
    "choose",
    "doubt_of",
    "is_fresh",
    "late_doubt",
    "may_be_late",
    "may_be_tested",
]

CHOICE_RULE = (
    "The sickest plant that is sick enough to matter, surely and lately photographed, green "
    "enough to see a burn on, not isolated, not resting from a burn, not the only plant of the "
    "garden, and not the healthiest of those photographed."
)
"""Why this plant: it has most to gain, and the garden can best do without it."""


@dataclass(frozen=True)
class Choice:
    """The plant to test.

    Attributes
    ----------
    plant : str
        Its name; empty where none can be tested.
    by_grower : bool
        Whether the grower chose it.
    why_not : str
        Why the grower's own choice is not followed, or why none can be tested; may be empty.
    """

    plant: str = ""
    by_grower: bool = False
    why_not: str = ""


def doubt_of(evidence: Evidence) -> str:
    """Return why a sick plant's reading does not carry the decision to spray, as words; or empty.

    The grower then takes another photo instead. In the order of the table's rows, so that the
    reason given is that of the row that fits.
    """
    visit, limits = evidence.visit, evidence.limits
    if visit is None:
        return "there is no measured photo"
    if visit.doubts:
        return f"its photos are flagged {', '.join(visit.doubts)}"
    if may_be_late(visit):
        return late_doubt(visit, limits)
    if visit.high_pct - visit.low_pct > limits.wide_points:
        return f"the interval is wider than {limits.wide_points:g} points"
    if visit.low_pct < limits.sick_pct:
        return f"the interval reaches below {limits.sick_pct:g} %"
    return late_doubt(visit, limits)


def may_be_late(visit: Visit) -> bool:
    """Whether it looks like blight, and not surely like the early one."""
    return visit.late or visit.blight_kind not in ("", "early")


def late_doubt(visit: Visit, limits: Thresholds) -> str:
    """Return why a plant may have late blight, as words; empty where that is surely not so.

    Nobody's choice opens peroxide on such a plant.
    """
    if may_be_late(visit):
        return "it looks like blight, and early and late cannot be told apart"
    sick = visit.severity_pct >= limits.sick_pct
    if sick and visit.doubts:
        return f"its photos are flagged {', '.join(visit.doubts)}"
    return "its pattern is unsure" if sick and visit.pattern not in ("spot", "blight") else ""


def is_fresh(evidence: Evidence) -> bool:
    """Whether the last measured photo is young enough to spray by."""
    age = evidence.age_days
    return age is not None and age <= evidence.limits.fresh_days


def may_be_tested(evidence: Evidence, everyone: Mapping[str, Evidence]) -> bool:
    """Whether the rule allows to spot-test a plant; see `CHOICE_RULE`."""
    visit = evidence.visit
    return (
        visit is not None
        and needs_care(evidence)
        and not doubt_of(evidence)
        and is_fresh(evidence)
        and evidence.burn is None
        and visit.severity_pct <= evidence.limits.test_most_pct
        and len(everyone) > 1
        and not _is_best(evidence, everyone)
    )


def _is_best(evidence: Evidence, everyone: Mapping[str, Evidence]) -> bool:
    """Whether no other photographed plant is as healthy or healthier; false where it is alone."""
    others = [e.visit.severity_pct for e in everyone.values() if e is not evidence and e.visit]
    visit = evidence.visit
    return visit is not None and bool(others) and visit.severity_pct < min(others)


def choose(season: Season, everyone: Mapping[str, Evidence]) -> Choice:
    """Return the plant to spot-test, by the grower's word or else by the rule."""
    wanted = _wanted(season)
    if wanted:
        reason = _against(everyone.get(wanted))
        if not reason:
            return Choice(wanted, by_grower=True)
    else:
        reason = ""
    allowed = [e for e in everyone.values() if may_be_tested(e, everyone)]
    if not allowed:
        return Choice(why_not=reason)
    # The sickest; of equals the first in the garden's order.
    sickest = max(allowed, key=lambda e: e.visit.severity_pct if e.visit else 0.0)
    return Choice(sickest.plant, why_not=reason)


def _wanted(season: Season) -> str:
    """Return the grower's choice; it lapses when a plant was sprayed after it, or by age."""
    week = timedelta(days=season.limits.photo_days)
    choices = [e for e in season.entries("choice") if e.plants and season.now < e.at + week]
    if not choices:
        return ""
    last = choices[-1]
    plant = last.plants[0]
    used = any(e.at >= last.at and concerns(e, plant) for e in season.sprays(PEROXIDE))
    return "" if used else plant


def _against(evidence: Evidence | None) -> str:
    """Return why a plant that the grower chose is not tested all the same; or empty."""
    if evidence is None:
        return "the plant that you chose does not stand in the garden"
    but = f"you chose {evidence.plant} for the spot-test, but"
    if evidence.alarm is not None:
        return f"{but} it is to be isolated: peroxide does not help there"
    if evidence.visit and not evidence.visit.is_dated:
        return f"{but} nobody knows when its photos were taken: say it, or take new ones"
    if evidence.visit and (doubt := late_doubt(evidence.visit, evidence.limits)):
        return (
            f"{but} it may have late blight, which is never spot-tested ({doubt}): photograph more "
            "leaves, and show one to an extension service or plant clinic"
        )
    if evidence.burn is not None:
        return f"{but} it was burned"
    if evidence.visit is None or not is_fresh(evidence):
        return f"{but} it has no fresh photo to compare with"
    return ""
